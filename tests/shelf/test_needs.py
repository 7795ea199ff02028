"""What next season needs: fresh per week and containers to make, checked by hand."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest
from core_frames import core, reference

from pipeline.settings import CropNeed, Settings
from pipeline.shelf.ledger import shelf_ledger
from pipeline.shelf.needs import fresh_needs, needs_table
from schemas.answer_frame import as_answer

AS_OF = dt.date(2026, 10, 2)  # 91 days before the garden year 2027


def ago(days: int) -> dt.date:
    return AS_OF - dt.timedelta(days=days)


CROPS = reference(
    bean={"fresh_kg_per_person_week": 0.1, "refuse_pct": 20.0},
    kale={"fresh_kg_per_person_week": 0.3},
    plum={},
)
HARVESTS = core(
    "harvests",
    {"picked_on": ago(40), "crop": "bean", "weight_kg": 4.0},
    {"picked_on": ago(40), "crop": "plum", "weight_kg": 9.0},
)
EATEN = core(
    "consumption",
    # 2026-09-21 is a Monday: two rows in one ISO week, one in the next.
    {"used_on": dt.date(2026, 9, 21), "crop": "bean", "weight_kg": 0.5, "use": "eaten"},
    {"used_on": dt.date(2026, 9, 27), "crop": "bean", "weight_kg": 0.7},
    {"used_on": dt.date(2026, 9, 28), "crop": "bean", "weight_kg": 0.4, "use": "eaten"},
    {"used_on": dt.date(2026, 9, 28), "crop": "bean", "weight_kg": 5.0, "use": "given"},
    {"used_on": dt.date(2024, 9, 1), "crop": "bean", "weight_kg": 9.0, "use": "eaten"},  # over two years ago
)


def fresh(settings: Settings) -> dict[str, tuple[float | None, float | None, str]]:
    """Crop: kilograms per week in January and July, and the basis."""
    table = fresh_needs(EATEN, HARVESTS, CROPS, settings, AS_OF)
    assert table.group_by("crop").len()["len"].unique().to_list() == [12]
    rows = {(crop, month): (kg, basis) for crop, month, kg, basis in table.iter_rows()}
    return {crop: (rows[crop, 1][0], rows[crop, 7][0], rows[crop, 7][1]) for crop in table["crop"].unique()}


def test_published_amounts_are_named_as_such() -> None:
    found = fresh(Settings(people=10.0))
    assert found == {
        "bean": (1.0, 1.0, "published amount for 10 people"),
        "plum": (None, None, "not known"),
    }


def test_two_people_where_none_are_named_and_the_basis_says_so() -> None:
    table = fresh_needs(EATEN.clear(), HARVESTS, CROPS, Settings(), AS_OF).filter(crop="bean", month=7)
    assert table.rows() == [("bean", 7, 0.2, "published amount for 2 people, people not set")]


def test_a_part_of_the_log_counts_where_it_is_more_than_the_published_amount() -> None:
    # 1.6 kg in two weeks = 0.8 kg a week, against 0.1 kg for each of 4 people.
    assert fresh(Settings(people=4.0, fresh_use="part"))["bean"] == (
        pytest.approx(0.8),
        pytest.approx(0.8),
        "log in part, 2 eating weeks: at least this",
    )


def test_the_log_goes_before_published_amounts_where_fresh_use_is_logged() -> None:
    # 1.6 kg eaten in two weeks; what was given away is not need, what is over two years old does not count.
    bean = fresh(Settings(fresh_use="logged"))["bean"]
    assert bean == (pytest.approx(0.8), pytest.approx(0.8), "log of 2 eating weeks")
    # Also where the published amount is more: 0.1 kg for each of 10 people.
    assert fresh(Settings(fresh_use="logged", people=10.0))["bean"][0] == pytest.approx(0.8)


def test_a_setting_goes_before_the_log() -> None:
    by_month = (0.0,) * 6 + (1.5,) * 6
    wanted = {"bean": CropNeed(fresh_kg_per_week=by_month), "kale": CropNeed(containers_per_year=3.0)}
    found = fresh(Settings(fresh_use="logged", needs=wanted))
    assert found["bean"] == (0.0, 1.5, "setting")
    # Kale is in no log, but wanted; of fresh kale only the published amount is known.
    assert found["kale"] == (0.6, 0.6, "published amount for 2 people, people not set")


def batch(batch_id: str, days: int, method: str, crop: str, made: int, kg: float | None) -> dict[str, Any]:
    return {
        "batch_id": batch_id,
        "made_on": ago(days),
        "method": method,
        "crop": crop,
        "containers": made,
        "produce_kg": kg,
    }


BATCHES = core(
    "batches",
    batch("P1", 365, "pickle", "bean", 20, 8.0),
    batch("F1", 100, "freeze", "bean", 10, 2.0),
    batch("M1", 90, "ferment", "bean", 4, 5.0),
    batch("X1", 80, "pickle", "bean", 6, None),
    batch("J1", 7, "jam", "plum", 6, 3.0),
)
INGREDIENTS = core(
    "ingredients",
    {"batch_id": "M1", "crop": "bean", "weight_kg": 1.2},
    {"batch_id": "M1", "crop": "kale", "weight_kg": 2.0},
)
USED = core(
    "consumption",
    {"used_on": ago(200), "batch_id": "P1", "containers": 14},
    {"used_on": ago(10), "batch_id": "F1", "containers": 2},
    {"used_on": ago(9), "batch_id": "F1"},
)
LOST = pl.DataFrame(
    {
        "grouping": ["method", "method", "method, lid", "method"],
        "group": ["pickle", "freeze", "pickle, metal", "dry"],
        "lost_share": [0.20, 0.04, 0.9, None],
    }
)


def needs(settings: Settings, lost: pl.DataFrame | None = None) -> dict[str, dict[str, Any]]:
    ledger = shelf_ledger(BATCHES, core("spoilage"), USED, AS_OF)
    fresh_table = fresh_needs(EATEN, HARVESTS, CROPS, settings, AS_OF)
    table = needs_table(
        fresh_table,
        ledger,
        BATCHES,
        INGREDIENTS,
        USED,
        CROPS,
        settings=settings,
        as_of=AS_OF,
        spoilage_by_method=lost,
    )
    return {row["crop"]: row for row in table.to_dicts()}


def test_containers_from_the_log_and_the_shelf() -> None:
    bean = needs(Settings(people=10.0))["bean"]
    # Used: 14 + 2 + 1 = 17 in 365 days, 17 / 365 * 365.25 = 17.01 a year. On hand 40 - 17 = 23. By 1 January,
    # 91 days on, 17.01 * 91 / 365.25 = 4.24 more are used: 18.76 still there, more than a year's use.
    assert bean["containers_per_year"] == pytest.approx(17 / 365 * 365.25)
    assert bean["containers_to_make"] == 0
    assert bean["kg_to_put_by"] == 0.0
    assert bean["basis"] == "fresh: published amount for 10 people; containers: log of 12 months"


def test_expected_spoilage_is_made_up_for() -> None:
    # Of the methods with a known share, 26 pickles (0.20) and 10 frozen (0.04): (5.2 + 0.4) / 36 = 0.15556 lost.
    # Wanted 40 a year: on hand 23 - 40 * 91 / 365.25 = 13.034 by 1 January, of which 0.84444 sound = 11.007.
    # (40 - 11.007) / 0.84444 = 34.33, so 35.
    wanted = {"bean": CropNeed(containers_per_year=40.0)}
    bean = needs(Settings(needs=wanted), LOST)["bean"]
    assert bean["containers_to_make"] == 35
    # Of known weight: 20 jars with 8 / 0.8 = 10 kg, 10 bags with 2 / 0.8 = 2.5 kg, and of the mixed batch 4 jars
    # with 1.2 / 0.8 = 1.5 kg of bean: 14 kg in 34 containers.
    assert bean["kg_to_put_by"] == pytest.approx(35 * 14 / 34)
    assert bean["basis"].endswith("containers: setting")
    # Without a known loss: on hand 13.034, 40 - 13.034 = 26.97, so 27.
    assert needs(Settings(needs=wanted))["bean"]["containers_to_make"] == 27


def test_a_shelf_of_a_week_does_not_tell_a_year() -> None:
    plum = needs(Settings())["plum"]
    assert (plum["containers_per_year"], plum["containers_to_make"], plum["kg_to_put_by"]) == (None, None, None)
    assert plum["basis"] == "fresh: not known; containers: log too short"


def test_a_crop_that_is_only_wanted_has_a_row() -> None:
    wanted = {"kale": CropNeed(fresh_kg_per_week=(0.0,) * 9 + (1.0, 2.0, 3.0), containers_per_year=5.0)}
    kale = needs(Settings(needs=wanted))["kale"]
    # Mean over the three months in which any is wanted; nothing on hand, no weight per container known.
    assert (kale["fresh_kg_per_week"], kale["containers_to_make"], kale["kg_to_put_by"]) == (2.0, 5, None)
    assert kale["basis"] == "fresh: setting; containers: setting"


def test_the_garden_year_of_the_south_starts_in_july() -> None:
    # On 2 October the next garden year is 272 days off: 23 - 40 * 272 / 365.25 is below 0, so all 40 are needed.
    wanted = {"bean": CropNeed(containers_per_year=40.0)}
    assert needs(Settings(latitude=-40.0, needs=wanted))["bean"]["containers_to_make"] == 40


def test_no_logs_and_no_settings_give_empty_tables() -> None:
    nothing = fresh_needs(EATEN.clear(), HARVESTS.clear(), CROPS.clear(), Settings(), AS_OF)
    assert nothing.height == 0
    assert nothing.schema["fresh_kg_per_week"] == pl.Float64
    ledger = shelf_ledger(BATCHES.clear(), core("spoilage"), USED.clear(), AS_OF)
    table = needs_table(
        nothing,
        ledger,
        BATCHES.clear(),
        INGREDIENTS.clear(),
        USED.clear(),
        CROPS.clear(),
        settings=Settings(),
        as_of=AS_OF,
        spoilage_by_method=LOST.clear(),
    )
    assert table.height == 0
    assert table.schema == as_answer(table, "needs").schema
