"""Learning the need for warmth, yields and picking days from logs, and predicting first picks."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from pipeline.warmth.clock import calendar_day, day_number, warmth_clock
from pipeline.warmth.starts import STARTS_SCHEMA, YIELDS_SCHEMA, fit_yields, starts_from_logs
from pipeline.warmth.timing import TIMING_SCHEMA, fit_crop_timing, predict_first_pick
from pipeline.warmth.weather_years import WEATHER_SCHEMA, default_climate, fill_weather, weather_years
from schemas.answers import ANSWERS
from schemas.logs import LOGS

DTYPES = {
    "text": pl.String(),
    "int": pl.Int64(),
    "float": pl.Float64(),
    "bool": pl.Boolean(),
    "date": pl.Date(),
}


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def steady(first: str, n_days: int, tmin_c: float = 10.0, tmax_c: float = 10.0) -> pl.DataFrame:
    """Every day the same: warmth over a base of 0 is then a plain multiple of days."""
    dates = pl.date_range(day(first), day(first) + dt.timedelta(days=n_days - 1), interval="1d", eager=True)
    return pl.DataFrame(
        {"date": dates, "tmin_c": [tmin_c] * n_days, "tmax_c": [tmax_c] * n_days}, schema=WEATHER_SCHEMA
    )


def reference(**columns: object) -> pl.DataFrame:
    values = {
        "crop": "kohlrabi",
        "base_c": 0.0,
        "upper_c": 30.0,
        "degree_days_to_first_pick": 500.0,
    } | columns
    return pl.DataFrame(
        {name: [value] for name, value in values.items()},
        schema={name: pl.String() if name == "crop" else pl.Float64() for name in values},
    )


def starts(*rows: tuple[str, str, str | None], crop: str = "kohlrabi") -> pl.DataFrame:
    return pl.DataFrame(
        [(name, crop, day(clock), day(pick) if pick else None) for name, clock, pick in rows],
        schema={
            "sowing_id": pl.String(),
            "crop": pl.String(),
            "clock_from": pl.Date(),
            "first_pick_on": pl.Date(),
        },
        orient="row",
    )


def core(log: str, rows: list[dict[str, object]]) -> pl.DataFrame:
    schema = {name: DTYPES[kind] for name, kind in LOGS[log].core_columns.items()}
    return pl.DataFrame([{name: row.get(name) for name in schema} for row in rows], schema=schema, orient="row")


def test_clock_counts_warmth_up_to_but_without_the_pick_day() -> None:
    clock = warmth_clock(steady("2025-01-01", 10), 4.0, None, None)
    start = day_number(day("2025-01-02"))
    assert clock.between(start, start + 3) == 18.0
    assert clock.between(start, start + 1.5) == 9.0
    assert clock.day_of(start, 18.0) == start + 3
    assert clock.day_of(start, 18.1) == start + 4
    assert clock.day_of(start, 1000.0) is None
    assert np.isnan(clock.between(start, start + 30))
    assert calendar_day(start) == day("2025-01-02")


def test_clock_refuses_to_count_over_a_missing_day() -> None:
    gappy = steady("2025-01-01", 10).filter(pl.col("date") != day("2025-01-05"))
    clock = warmth_clock(gappy, 4.0, None, None)
    first = day_number(day("2025-01-01"))
    assert clock.between(first, first + 4) == 24.0
    assert np.isnan(clock.between(first, first + 5))
    assert clock.between(first + 5, first + 7) == 12.0
    assert clock.day_of(first + 3, 12.0) is None


def test_without_logs_the_reference_stands() -> None:
    timing = fit_crop_timing(starts(), steady("2025-01-01", 10), reference(days_to_first_pick=60.0))
    row = timing.row(0, named=True)
    assert row["degree_days_to_first_pick"] == pytest.approx(500.0)
    assert row["prior_weight"] == pytest.approx(1.0, abs=0.01)
    assert row["n_sowings"] == 0
    assert row["basis"] == "reference only"
    # 7 to 9 days of error for a crop of 60 days: 13 % of need and 7 % between sowings.
    assert 7.0 < row["error_days"] < 10.0
    expected = [column.name for column in ANSWERS["crop_timing"].columns]
    assert timing.columns[: len(expected)] == expected
    assert timing.schema == TIMING_SCHEMA


def test_one_sowing_moves_the_need_part_of_the_way() -> None:
    # 60 days of 10 C: 600 against 500 published. Between them, nearer to the log.
    timing = fit_crop_timing(starts(("a", "2025-05-01", "2025-06-30")), steady("2025-01-01", 365), reference())
    row = timing.row(0, named=True)
    assert 550 < row["degree_days_to_first_pick"] < 590
    assert row["basis"] == "log and reference"
    assert 0.2 < row["prior_weight"] < 0.8


def test_a_wrong_date_pulls_little() -> None:
    weather = steady("2025-01-01", 700)
    good = [(f"g{i}", f"2025-0{i}-01", str(day(f"2025-0{i}-01") + dt.timedelta(days=55))) for i in range(3, 7)]
    fair = fit_crop_timing(starts(*good), weather, reference())["degree_days_to_first_pick"][0]
    wrong = fit_crop_timing(starts(*good, ("w", "2025-03-01", "2026-03-01")), weather, reference())
    assert wrong["degree_days_to_first_pick"][0] == pytest.approx(fair, rel=0.02)
    assert wrong["n_sowings"][0] == 5


def test_pick_before_sowing_or_without_warmth_is_not_learned_from() -> None:
    rows = starts(("a", "2025-06-01", "2025-05-01"), ("b", "2025-06-01", None))
    timing = fit_crop_timing(rows, steady("2025-01-01", 365), reference())
    assert timing["n_sowings"][0] == 0
    frozen = fit_crop_timing(starts(("a", "2025-06-01", "2025-07-01")), steady("2025-01-01", 365, -5, -5), reference())
    assert frozen["degree_days_to_first_pick"][0] == pytest.approx(500.0)


def test_a_pick_soon_after_a_visit_counts_as_ready_in_between() -> None:
    rows = starts(("a", "2025-05-01", "2025-06-30")).with_columns(visited_on=pl.lit(day("2025-06-24")))
    plain = fit_crop_timing(starts(("a", "2025-05-01", "2025-06-30")), steady("2025-01-01", 365), reference())
    between = fit_crop_timing(rows, steady("2025-01-01", 365), reference())
    assert between["degree_days_to_first_pick"][0] < plain["degree_days_to_first_pick"][0]


def test_a_crop_that_waits_in_the_ground_is_not_made_later_by_late_picks() -> None:
    waiting = reference(holding_days=60.0)
    late = starts(*[(f"s{i}", f"2025-0{i}-01", f"2025-0{i + 3}-10") for i in (3, 4, 5)])
    timing = fit_crop_timing(late, steady("2025-01-01", 365), waiting)
    assert timing["degree_days_to_first_pick"][0] == pytest.approx(500.0, rel=0.01)
    # But a pick earlier than published does show that it was ready.
    early = fit_crop_timing(starts(("a", "2025-05-01", "2025-06-10")), steady("2025-01-01", 365), waiting)
    assert early["degree_days_to_first_pick"][0] < 470


def test_late_crops_move_a_crop_that_was_never_logged() -> None:
    crops = pl.concat([reference(), reference(crop="radish"), reference(crop="turnip"), reference(crop="chard")])
    rows = pl.concat(
        [
            starts((f"{crop}{i}", f"2025-0{i}-01", str(day(f"2025-0{i}-01") + dt.timedelta(days=58))), crop=crop)
            for crop in ("kohlrabi", "radish", "turnip")
            for i in (3, 4, 5)
        ]
    )
    timing = fit_crop_timing(rows, steady("2025-01-01", 365), crops)
    chard = timing.filter(pl.col("crop") == "chard").row(0, named=True)
    assert 520 < chard["degree_days_to_first_pick"] < 570
    assert chard["basis"] == "reference and other crops"
    assert chard["prior_weight"] < 1.0


def test_sowings_on_another_clock_are_not_learned_from() -> None:
    crops = reference(clock_from_planting_out=1.0)
    rows = starts(("a", "2025-05-01", "2025-06-30")).with_columns(clock=pl.lit("sowing"))
    assert fit_crop_timing(rows, steady("2025-01-01", 365), crops)["n_sowings"][0] == 0
    rows = rows.with_columns(clock=pl.lit("planting out"))
    assert fit_crop_timing(rows, steady("2025-01-01", 365), crops)["n_sowings"][0] == 1


def test_a_crop_without_any_reference_is_learned_from_its_own_log() -> None:
    weather, rows = steady("2025-01-01", 365), starts(("a", "2025-05-01", "2025-06-20"))
    own = fit_crop_timing(rows, weather, reference(degree_days_to_first_pick=None)).row(0, named=True)
    assert own["degree_days_to_first_pick"] == pytest.approx(500.0, rel=0.01)
    by_days = fit_crop_timing(rows, weather, reference(degree_days_to_first_pick=None, base_c=None))
    assert by_days["basis"].to_list() == ["days"]
    assert by_days["days_to_first_pick"][0] == pytest.approx(50.0, rel=0.05)
    nothing = fit_crop_timing(starts(), weather, reference(degree_days_to_first_pick=None, base_c=None))
    assert nothing.is_empty()
    assert nothing.schema == TIMING_SCHEMA


def test_plain_days_win_only_where_warmth_explains_nothing() -> None:
    # Truth: 60 days at any warmth. The weather runs from 5 C to 25 C and back.
    dates = pl.date_range(day("2024-01-01"), day("2025-12-31"), interval="1d", eager=True)
    mean = 15 - 10 * np.cos(2 * np.pi * np.arange(len(dates)) / 365.25)
    weather = pl.DataFrame({"date": dates, "tmin_c": mean, "tmax_c": mean}, schema=WEATHER_SCHEMA)
    rows = [(f"s{i}", f"2024-{i:02}-01", str(day(f"2024-{i:02}-01") + dt.timedelta(days=60))) for i in range(3, 9)]
    timing = fit_crop_timing(starts(*rows), weather, reference(degree_days_to_first_pick=900.0))
    assert timing["basis"].to_list() == ["days"]
    assert timing["days_to_first_pick"][0] == pytest.approx(60.0, rel=0.01)
    # Sown in one week of each year, days fit as well, but the log cannot tell: warmth stays.
    same = starts(*[(f"s{i}", f"2024-06-{i:02}", f"2024-08-{i:02}") for i in (1, 3, 5, 7)])
    timing = fit_crop_timing(same, weather, reference(degree_days_to_first_pick=900.0))
    assert timing["basis"].to_list() == ["log and reference"]


def test_prediction_by_hand_and_its_limits() -> None:
    timing = fit_crop_timing(starts(), steady("2025-01-01", 5), reference())
    rows = starts(("a", "2025-05-01", None), ("b", "2025-12-01", None))
    rows = pl.concat([rows, starts(("c", "2025-05-01", None), crop="unknown crop")])
    picks = predict_first_pick(timing, rows, steady("2025-01-01", 365))
    assert picks["sowing_id"].to_list() == ["a", "b", "c"]
    # 500 C d at 10 C a day is 50 days.
    assert picks["first_pick_on"].to_list() == [day("2025-06-20"), None, None]
    assert picks["low"][0] < picks["first_pick_on"][0] < picks["high"][0]
    assert predict_first_pick(timing, rows.clear(), steady("2025-01-01", 365)).is_empty()


@pytest.fixture(scope="module")
def simulated() -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame, dict[str, float]]:
    """Invented garden of 12 crops over two years: truth, log, weather. Seed 11."""
    rng = np.random.default_rng(11)
    climate = default_climate(47.0)
    years = weather_years(pl.DataFrame(schema=WEATHER_SCHEMA), climate, 47.0, day("2023-01-01"), 1096, 1, rng)
    dates = pl.date_range(day("2023-01-01"), day("2025-12-31"), interval="1d", eager=True)
    weather = pl.DataFrame({"date": dates, "tmin_c": years.tmin_c[0], "tmax_c": years.tmax_c[0]}, schema=WEATHER_SCHEMA)
    crops = pl.concat(
        [reference(crop=f"crop {i}", base_c=4.0, degree_days_to_first_pick=500.0 + 50.0 * i) for i in range(12)]
    )
    site, truth, rows = 0.08, {}, []
    clock = warmth_clock(weather, 4.0, 30.0, None)
    for name, published in crops.select("crop", "degree_days_to_first_pick").iter_rows():
        truth[name] = published * float(np.exp(site + rng.normal(0, 0.10)))
        for year in (2023, 2024):
            for week in (0, 4, 8):
                sown = day(f"{year}-04-10") + dt.timedelta(weeks=week)
                pick = clock.day_of(day_number(sown), truth[name] * float(np.exp(rng.normal(0, 0.06))))
                if pick is not None:
                    rows.append((f"{name} {sown}", name, sown, calendar_day(pick)))
    log = pl.DataFrame(
        rows,
        schema={
            "sowing_id": pl.String(),
            "crop": pl.String(),
            "clock_from": pl.Date(),
            "first_pick_on": pl.Date(),
        },
        orient="row",
    )
    return crops, log, weather, truth


def test_known_needs_are_found_again(
    simulated: tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame, dict[str, float]],
) -> None:
    crops, log, weather, truth = simulated

    def error(rows: pl.DataFrame) -> float:
        timing = fit_crop_timing(rows, weather, crops)
        found = timing["degree_days_to_first_pick"].to_numpy()
        return float(np.sqrt(np.mean(np.log(found / np.array([truth[c] for c in timing["crop"]])) ** 2)))

    none, two = error(log.clear()), error(log.filter(pl.col("clock_from").dt.year() == 2023).gather_every(2))
    assert none > 0.08
    assert two < 0.6 * none
    assert error(log) < 0.045


def test_eight_in_ten_first_picks_fall_between_low_and_high(
    simulated: tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame, dict[str, float]],
) -> None:
    crops, log, weather, _ = simulated
    past, later = (log.filter(pl.col("clock_from").dt.year() == year) for year in (2023, 2024))
    timing = fit_crop_timing(past, weather, crops)
    picks = predict_first_pick(timing, later, weather).join(later, on="sowing_id", suffix="_true")
    inside = picks.select(pl.col("first_pick_on_true").is_between("low", "high").mean()).item()
    apart = picks.select((pl.col("first_pick_on") - pl.col("first_pick_on_true")).dt.total_days().abs().mean()).item()
    assert 0.70 <= inside <= 0.95
    assert apart < 5.0


def test_starts_take_the_clock_the_first_pick_and_the_visit_before_it() -> None:
    sowings = core(
        "sowings",
        [
            {"sowing_id": "p1", "sown_on": day("2025-04-01"), "crop": "pea", "plot": "1", "start": "direct"},
            {
                "sowing_id": "t1",
                "sown_on": day("2025-03-01"),
                "crop": "tomato",
                "plot": "1",
                "start": "transplant",
                "planted_out_on": day("2025-05-20"),
            },
            {"sowing_id": "t2", "sown_on": day("2025-03-01"), "crop": "tomato", "start": "transplant"},
        ],
    )
    harvests = core(
        "harvests",
        [
            {"picked_on": day("2025-03-15"), "crop": "pea", "weight_kg": 1.0, "sowing_id": "p1"},
            {"picked_on": day("2025-06-20"), "crop": "pea", "weight_kg": 1.0, "sowing_id": "p1"},
            {"picked_on": day("2025-06-25"), "crop": "pea", "weight_kg": 1.0, "sowing_id": "p1"},
            {"picked_on": day("2025-06-16"), "crop": "chard", "weight_kg": 1.0, "plot": "1"},
            {"picked_on": day("2025-06-19"), "crop": "chard", "weight_kg": 1.0, "plot": "2"},
        ],
    )
    found = starts_from_logs(sowings, harvests)
    assert found.schema == STARTS_SCHEMA
    assert found.drop("clock", "ready_on").rows() == [
        ("p1", "pea", day("2025-04-01"), day("2025-06-20"), day("2025-06-16")),
        ("t1", "tomato", day("2025-05-20"), None, None),
        ("t2", "tomato", day("2025-03-01"), None, None),
    ]
    assert found["clock"].to_list() == ["sowing", "planting out", "sowing"]
    assert found["ready_on"].null_count() == 3
    assert starts_from_logs(sowings.clear(), harvests.clear()).schema == STARTS_SCHEMA


def kohlrabi_picks(*days_and_kg: tuple[int, float]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """One sowing on 1 May, picked so many days later."""
    sowing = {"sowing_id": "k", "sown_on": day("2025-05-01"), "crop": "kohlrabi", "plot": "1", "start": "direct"}
    harvests = [
        {"sowing_id": "k", "picked_on": day("2025-05-01") + dt.timedelta(days=n), "crop": "kohlrabi", "weight_kg": kg}
        for n, kg in days_and_kg
    ]
    return core("sowings", [sowing]), core("harvests", harvests)


def test_a_first_pick_that_was_not_written_down_shows_in_the_curve() -> None:
    """Ready on day 50, 20 days of picking; 45 % by day 56.7, 80 % by day 63.3. The pick of day 55 is missing."""
    yields = pl.DataFrame({"crop": ["kohlrabi"], "yield_kg_per_m": [1.0], "picking_days": [20.0], "n": [0]})
    sowings, harvests = kohlrabi_picks((55, 3.5), (60, 3.0), (65, 2.2), (70, 1.3))
    assert starts_from_logs(sowings, harvests)["ready_on"].to_list() == [None]
    whole = starts_from_logs(sowings, harvests, yields)["ready_on"][0]
    assert abs((whole - day("2025-06-20")).days) <= 3
    wrong = kohlrabi_picks((20, 0.4), (55, 3.5), (60, 3.0), (65, 2.2), (70, 1.3))
    ready = starts_from_logs(*wrong, yields)
    assert ready["first_pick_on"][0] == day("2025-05-21")
    assert abs((ready["ready_on"][0] - day("2025-06-20")).days) <= 5
    # The curve says 50 days of 10 C, the first pick as written only 20.
    weather = steady("2025-01-01", 365)
    by_curve, by_first = (
        fit_crop_timing(some, weather, reference())["degree_days_to_first_pick"][0]
        for some in (ready, ready.drop("ready_on"))
    )
    assert by_curve == pytest.approx(500.0, rel=0.06)
    assert by_first < 0.95 * by_curve


def yield_reference() -> pl.DataFrame:
    return pl.DataFrame(
        {
            "crop": ["pea", "chard", "plum"],
            "yield_kg_per_m": [0.4, 1.0, None],
            "picking_days": [14.0, 60.0, None],
            "in_row_cm": [5.0, 20.0, None],
            "row_spacing_cm": [40.0, 40.0, None],
        }
    )


def test_yields_are_shrunk_to_the_reference_and_open_sowings_wait() -> None:
    sowings = core(
        "sowings",
        [
            {
                "sowing_id": "p1",
                "sown_on": day("2025-04-01"),
                "crop": "pea",
                "amount_value": 2.0,
                "amount_unit": "m",
            },
            {
                "sowing_id": "c1",
                "sown_on": day("2025-04-01"),
                "crop": "chard",
                "amount_value": 10.0,
                "amount_unit": "plants",
            },
        ],
    )
    harvests = core(
        "harvests",
        [
            {"picked_on": day("2025-06-20"), "crop": "pea", "weight_kg": 1.0, "sowing_id": "p1"},
            {"picked_on": day("2025-06-27"), "crop": "pea", "weight_kg": 0.6, "sowing_id": "p1"},
            {"picked_on": day("2025-07-01"), "crop": "chard", "weight_kg": 0.3, "sowing_id": "c1"},
            {"picked_on": day("2025-07-10"), "crop": "chard", "weight_kg": 0.2},
        ],
    )
    fitted = fit_yields(sowings, harvests, yield_reference())
    assert fitted.schema == YIELDS_SCHEMA
    assert fitted["n"].to_list() == [1, 0, 0]
    # 1.6 kg on 2 m: 0.8 kg/m against 0.4. One sowing weighs 1/0.35^2 against 1/0.385^2: factor 2^0.548.
    assert fitted["yield_kg_per_m"][0] == pytest.approx(0.4 * 2**0.548, rel=0.005)
    # Two picks draw no curve: the days of picking are the reference's.
    assert fitted["picking_days"][0] == 14.0
    assert fitted.row(1)[1:3] == pytest.approx((1.0, 60.0))
    assert fitted.row(2)[1:3] == (None, None)


def test_yields_of_an_empty_log_are_the_reference() -> None:
    fitted = fit_yields(core("sowings", []), core("harvests", []), yield_reference())
    assert fitted["yield_kg_per_m"].to_list() == pytest.approx([0.4, 1.0, None])
    timing = fit_crop_timing(
        starts(),
        steady("2025-01-01", 5),
        reference(crop="pea", yield_kg_per_m=9.0),
        yields=fitted,
    )
    assert timing.select("spread", "yield_kg_per_m").row(0) == pytest.approx((14.0, 0.4))


def test_filled_weather_lets_a_prediction_run_past_today() -> None:
    climate = pl.DataFrame({"month": range(1, 13), "tmin_c": [10.0] * 12, "tmax_c": [10.0] * 12})
    weather = fill_weather(steady("2025-05-01", 10), climate, day("2025-05-01"), day("2025-12-31"))
    timing = fit_crop_timing(starts(), weather, reference())
    picks = predict_first_pick(timing, starts(("a", "2025-05-01", None)), weather)
    assert picks["first_pick_on"].to_list() == [day("2025-06-20")]
