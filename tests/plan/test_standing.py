"""What is in the ground when a plan is made, weather already logged, and days too long: small invented gardens."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from core_frames import core, reference

from pipeline.plan.options import PLAN_WEEKS, PlanNoise
from pipeline.plan.plan import BOLTS
from pipeline.plan.season import bolting_weeks
from pipeline.plan.standing import Ground, Stand, standing, stands_of
from pipeline.warmth.weather_years import WEATHER_SCHEMA, WeatherYears, fill_weather, keep_logged
from tests.small_plans import LETTUCE, NORMALS, day, plan_crop, small_plan, steady_season

QUIET = PlanNoise(sowing_cv=0.0, failure=0.0, crop_year_cv=0.0)
KOHLRABI = LETTUCE | {"in_row_cm": 25.0}


def stand(**values: object) -> Stand:
    return Stand(**({"clock": -20, "metres": 2.0, "picked": None, "warmth": 200.0, "ready_before": None} | values))


def stood(one: Stand, **crop: object) -> tuple[np.ndarray, np.ndarray]:
    found = standing(plan_crop(**crop), [one], steady_season(), QUIET, np.random.default_rng(1))
    return found.harvest_kg[:, 0], found.occupied_m2


def test_a_stand_gives_the_rest_of_its_warmth_later() -> None:
    # 500 C d wanted, 200 had, 10 C a day: ready on day 30, picked until day 44; 2 m of 1 kg.
    harvest, bed = stood(stand())
    assert np.flatnonzero(harvest).tolist() == [4, 5, 6]
    assert harvest.sum() == pytest.approx(2.0)
    # Half a square metre a metre, until picked: seven weeks of bed.
    assert bed[:7].tolist() == [1.0] * 7
    assert bed[7:].sum() == 0.0


def test_a_stand_being_picked_has_only_the_rest_to_give() -> None:
    harvest, _ = stood(stand(picked=-7))
    assert np.flatnonzero(harvest).tolist() == [0]
    assert 0.0 < harvest.sum() < 1.0
    gone, bed = stood(stand(picked=-40))
    assert gone.sum() == 0.0
    assert bed.sum() == 0.0


def test_a_stand_that_was_ready_before_the_season_and_not_picked_starts_where_it_was_ready() -> None:
    harvest, _ = stood(stand(warmth=600.0, ready_before=-3))
    assert np.flatnonzero(harvest).tolist() == [0, 1]
    assert harvest.sum() < 2.0


def test_a_frost_ends_a_stand_that_is_up() -> None:
    season = steady_season()
    season.tmin_c[:, 32] = -5.0
    some = standing(plan_crop(kill_c=-3.0), [stand()], season, QUIET, np.random.default_rng(1))
    assert np.flatnonzero(some.harvest_kg[:, 0]).tolist() == [4]


def test_stands_come_from_the_logs() -> None:
    season = steady_season()
    weather = fill_weather(
        pl.DataFrame(
            {
                "date": pl.date_range(day("2025-12-01"), day("2026-01-31"), eager=True),
                "tmin_c": [10.0] * 62,
                "tmax_c": [10.0] * 62,
            }
        ),
        None,
        day("2025-12-01"),
        day("2026-01-31"),
        None,
    )
    sowings = core(
        "sowings",
        {"sowing_id": "K-1", "sown_on": day("2025-12-26"), "crop": "kohlrabi", "amount_value": 2.0, "amount_unit": "m"},
        {"sowing_id": "Q-1", "sown_on": day("2025-12-26"), "crop": "quince", "amount_value": 2.0, "amount_unit": "m"},
    )
    crops = reference(kohlrabi=KOHLRABI, quince={"keeping_days": 60.0})
    found = stands_of(Ground(sowings, core("harvests"), weather), crops, [plan_crop()], season)
    assert list(found) == ["kohlrabi"]
    (one,) = found["kohlrabi"]
    # From 26 December to Monday 5 January: ten days of 10 C.
    assert (one.clock, one.metres, one.picked, one.warmth) == (-10, 2.0, None, pytest.approx(100.0))


def test_the_plan_counts_what_stands_and_says_so() -> None:
    """Six metres of lettuce sown in March, 720 C d: ripe about the end of May, sooner or later as the year goes."""
    sowings = core(
        "sowings",
        {"sowing_id": "L-1", "sown_on": day("2026-03-20"), "crop": "lettuce", "amount_value": 6.0, "amount_unit": "m"},
    )
    weather = fill_weather(pl.DataFrame(schema=WEATHER_SCHEMA), NORMALS, day("2026-01-01"), day("2026-06-01"), 50.0)
    ground = Ground(sowings, core("harvests"), weather)
    crops = reference(lettuce=LETTUCE)
    season = {"crops": crops, "fresh": {"lettuce": 0.8}, "first_day": "2026-01-01", "not_before": day("2026-05-01")}
    alone, counted = small_plan(**season), small_plan(**season, ground=ground)
    assert not any("In the ground already" in note for note in alone.notes)
    assert any(note.startswith("In the ground already, and counted: lettuce (about ") for note in counted.notes)

    def june(plan: pl.DataFrame) -> float:
        weeks = plan.filter(pl.col("week").is_between(day("2026-05-25"), day("2026-07-05")))
        return float(weeks["kg_p90"].sum())

    assert june(counted.harvest_outlook) > june(alone.harvest_outlook) + 2.0


def test_logged_days_are_kept_in_every_made_up_year() -> None:
    years = WeatherYears(day("2026-01-01"), np.zeros((3, 10)), np.ones((3, 10)), ())
    weather = pl.DataFrame(
        {
            "date": [day("2025-12-31"), day("2026-01-03"), day("2026-01-04"), day("2027-01-01")],
            "tmin_c": [9.0, 2.0, None, 9.0],
            "tmax_c": [9.0, 5.0, 5.0, 9.0],
        }
    )
    kept = keep_logged(years, weather)
    assert kept.tmin_c[:, 2].tolist() == [2.0] * 3
    assert kept.tmax_c[:, 2].tolist() == [5.0] * 3
    assert kept.tmin_c.sum() == 6.0
    assert years.tmin_c.sum() == 0.0


def test_a_crop_that_bolts_is_kept_out_of_long_days() -> None:
    spinach = reference(spinach=LETTUCE)
    found = small_plan(crops=spinach, fresh={"spinach": 0.5})
    first = found.sowing_plan["first_pick_on"].to_list()
    # Latitude 50: more than 15 hours of day from early May to early August.
    assert first
    assert not [pick for pick in first if dt.date(2026, 5, 15) < pick < dt.date(2026, 7, 25)]
    other = small_plan(crops=reference(lettuce=LETTUCE), fresh={"lettuce": 0.5})
    assert [pick for pick in other.sowing_plan["first_pick_on"] if dt.date(2026, 5, 15) < pick < dt.date(2026, 7, 25)]


def test_without_a_latitude_nothing_is_known_of_the_days() -> None:
    ready = np.full((PLAN_WEEKS, 1), 170.0)
    assert not bolting_weeks(plan_crop(crop="spinach"), ready, steady_season()).any()


@pytest.mark.parametrize("latitude", [69.6, -77.8, 90.0])
def test_a_polar_place_gives_a_plan_or_reasons_and_no_error(latitude: float) -> None:
    cold = NORMALS.with_columns(pl.col("tmin_c", "tmax_c") - 6.0)
    first = "2026-01-01" if latitude > 0 else "2026-07-01"
    found = small_plan(
        crops=reference(lettuce=LETTUCE, spinach=LETTUCE, tomato=TOMATO_COLD),
        climate=cold,
        latitude=latitude,
        first_day=first,
        fresh={"lettuce": 0.8, "spinach": 0.5, "tomato": 1.0},
    )
    named = set(found.sowing_plan["crop"]) | set(found.skipped["crop"])
    assert named >= {"spinach", "tomato"}
    assert dict(found.skipped.iter_rows()).get("spinach", BOLTS) == BOLTS or "spinach" in named


TOMATO_COLD = LETTUCE | {"base_c": 10.0, "degree_days_to_first_pick": 900.0}
