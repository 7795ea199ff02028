"""What stands in the ground and is still to come."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from core_frames import core, reference

from pipeline.plan.outlook import season_outlook
from pipeline.warmth.starts import fit_yields
from pipeline.warmth.timing import fit_crop_timing
from pipeline.warmth.weather_years import WEATHER_SCHEMA
from schemas.answer_frame import answer_types

KOHLRABI = {
    "base_c": 0.0,
    "degree_days_to_first_pick": 500.0,
    "picking_days": 14.0,
    "yield_kg_per_m": 1.5,
    "in_row_cm": 10.0,
    "row_spacing_cm": 40.0,
}


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def outlook(sown_on: str, as_of: str, *picked_on: str, need: float | None = 1.0) -> pl.DataFrame:
    """4 m of kohlrabi in steady weather of 10 C: ready after 50 days, 6 kg over 14 days."""
    dates = pl.date_range(day("2025-01-01"), day("2025-12-31"), interval="1d", eager=True)
    weather = pl.DataFrame({"date": dates}).with_columns(tmin_c=10.0, tmax_c=10.0).cast(WEATHER_SCHEMA)
    sowing = {"sowing_id": "a", "sown_on": day(sown_on), "crop": "kohlrabi", "amount_value": 4.0, "amount_unit": "m"}
    sowings = core("sowings", sowing, sowing | {"sowing_id": "b", "crop": "plum"})
    harvests = core(
        "harvests",
        *({"picked_on": day(d), "crop": "kohlrabi", "weight_kg": 1.0, "sowing_id": "a"} for d in picked_on),
    )
    crops = reference(kohlrabi=KOHLRABI, plum={})
    timing = fit_crop_timing(
        pl.DataFrame(
            schema={"sowing_id": pl.String, "crop": pl.String, "clock_from": pl.Date, "first_pick_on": pl.Date}
        ),
        weather,
        crops,
    )
    yields = fit_yields(core("sowings"), core("harvests"), crops)
    needs = pl.DataFrame(
        [("kohlrabi", month, need) for month in range(6, 8)],
        schema={"crop": pl.String, "month": pl.Int64, "fresh_kg_per_week": pl.Float64},
        orient="row",
    )
    return season_outlook(
        sowings, harvests, crops, timing, yields, needs, weather, day(as_of), rng=np.random.default_rng(1)
    )


def test_a_sowing_comes_when_its_warmth_has_come_together() -> None:
    # Sown on 1 May: ready about 20 June. Eight weeks from Monday 2 June hold all of it.
    found = outlook("2025-05-01", "2025-05-28")
    assert dict(found.schema) == answer_types("season_outlook")
    assert found["week"].to_list() == [day("2025-06-02") + dt.timedelta(weeks=w) for w in range(8)]
    assert found["crop"].unique().to_list() == ["kohlrabi"]
    assert found["kg_p50"][0] == 0.0
    # The sowing gives 6 kg; which week is uncertain, so weekly middles add up to less and high ends to more.
    assert found["kg_p10"].sum() < found["kg_p50"].sum() < 6.0 < found["kg_p90"].sum()
    assert found["week"][int(found["kg_p50"].arg_max())] in (day("2025-06-16"), day("2025-06-23"))
    assert (found["kg_p10"] <= found["kg_p90"]).all()


def test_a_sowing_that_is_being_picked_runs_on_from_its_first_pick() -> None:
    found = outlook("2025-05-01", "2025-06-14", "2025-06-09", "2025-06-13")
    # First picked on 9 June, so the second and last week of picking starts on 16 June.
    assert (found["kg_p50"] > 0).to_list() == [True] + [False] * 7
    # The second half of the ripening time brings 36 % of 6 kg.
    assert found["kg_p50"][0] == pytest.approx(0.5**1.47 * 6.0, rel=0.1)


def test_a_late_sowing_comes_today_at_the_earliest_and_is_given_up_in_the_end() -> None:
    late = outlook("2025-05-01", "2025-06-29")
    assert late["kg_p50"][0] > 0
    assert outlook("2025-05-01", "2025-08-15").is_empty()


def test_what_is_over_is_the_middle_less_what_is_wanted() -> None:
    found = outlook("2025-05-01", "2025-06-14", "2025-06-09", "2025-06-13", need=0.5)
    assert found["need_kg"].to_list() == [0.5] * 7 + [0.0]  # the eighth week lies in August, when none is wanted
    assert found["over_kg"][0] == pytest.approx(found["kg_p50"][0] - 0.5)
    assert found["over_kg"][1:].to_list() == [0.0] * 7
    unknown = outlook("2025-05-01", "2025-06-14", "2025-06-09", need=None)
    assert unknown["need_kg"].null_count() == unknown["over_kg"].null_count() == unknown.height


def test_weather_to_come_widens_the_band_of_what_is_not_yet_ripe(monkeypatch: pytest.MonkeyPatch) -> None:
    def weeks_it_may_come(spread_c: float) -> int:
        monkeypatch.setattr("pipeline.plan.outlook.WEATHER_SD_C", spread_c)
        return int((outlook("2025-05-01", "2025-05-09")["kg_p90"] > 0.1).sum())

    assert weeks_it_may_come(3.0) > weeks_it_may_come(0.0)
    # What was picked before comes as it did, whatever the weather.
    begun = [outlook("2025-05-01", "2025-06-14", "2025-06-09")["kg_p50"][0] for _ in range(2)]
    assert begun[0] == begun[1]
