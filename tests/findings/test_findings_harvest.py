"""Findings on harvest, shelf and needs: the rules and the exact sentences. All figures are invented."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl
import pytest

from pipeline.findings.harvest import harvest_findings
from schemas.answer_frame import answer_types
from schemas.page import Finding


def table(name: str, *rows: dict[str, Any]) -> pl.DataFrame:
    schema = answer_types(name)
    return pl.DataFrame([{column: row.get(column) for column in schema} for row in rows], schema=schema)


def waste(crop: str, picked: float, wasted: float, expired: float, **more: Any) -> dict[str, Any]:
    row = {
        "crop": crop,
        "picked_kg": picked,
        "wasted_kg": wasted,
        "expired_kg": expired,
        "over_used_kg": 0.0,
        "from_gluts_kg": 0.0,
        "even_loss_kg": wasted + expired,
        "eaten_basis": "logged",
    }
    return row | more


def findings(**tables: pl.DataFrame) -> list[Finding]:
    names = ("glut_waste", "shelf", "use_first", "needs")
    return harvest_findings(*(tables.get(name, table(name)) for name in names))


def sentences(**tables: pl.DataFrame) -> list[str]:
    return [finding.sentence for finding in findings(**tables)]


GLUT = waste(
    "courgette",
    84.0,
    6.0,
    15.0,
    from_gluts_kg=17.0,
    even_loss_kg=4.0,
    worst_week=dt.date(2025, 7, 14),
)


def test_a_glut_is_named_with_its_week_and_what_even_picking_would_have_lost() -> None:
    total, crop = findings(glut_waste=table("glut_waste", GLUT))
    assert total.sentence == "Of 84 kg picked, 21 kg were lost before they were used, 17 kg of that in gluts."
    assert crop.sentence == (
        "Courgette: of 84 kg picked, 21 kg were lost; 17 kg of that because it came all at once, most of it in "
        "the week of 14 Jul 2025. The same kilos picked evenly would have lost about 4 kg."
    )
    assert (
        crop.action == "Smaller sowings, further apart; for trees and bushes, plan beforehand where the surplus goes."
    )
    assert (crop.section, crop.evidence, crop.weight) == ("harvest", "enough", 21.0)


def test_assumed_eating_is_said_and_is_thin_evidence() -> None:
    total, crop = findings(glut_waste=table("glut_waste", GLUT | {"eaten_basis": "assumed"}))
    for finding in (total, crop):
        assert finding.sentence.endswith(" Eating fresh is assumed at the household's need where it was not logged.")
        assert finding.evidence == "thin"


def test_where_even_picking_would_have_lost_as_much_it_is_not_recommended() -> None:
    crop = findings(glut_waste=table("glut_waste", GLUT | {"even_loss_kg": 18.0}))[1]
    assert "evenly" not in crop.sentence
    assert crop.action == "Decide before the next such week what to put by or give away."


def test_waste_that_gluts_do_not_explain_says_so() -> None:
    crop = findings(glut_waste=table("glut_waste", waste("bean", 30.0, 2.0, 4.5, from_gluts_kg=1.25)))[1]
    assert crop.sentence == "Bean: of 30 kg picked, 6.5 kg were lost; gluts explain 1.2 kg of that."
    assert crop.action == "Grow less of it, or plan beforehand where the surplus goes."


@pytest.mark.parametrize(("wasted", "named"), [(0.9, False), (1.0, True)])
def test_less_than_a_kilogram_lost_is_not_worth_a_sentence(wasted: float, named: bool) -> None:
    assert bool(findings(glut_waste=table("glut_waste", waste("pea", 5.0, wasted, 0.0)))) is named


@pytest.mark.parametrize(("picked", "named"), [(41.0, False), (40.0, True)])
def test_less_than_a_twentieth_lost_is_not_worth_a_sentence(picked: float, named: bool) -> None:
    found = sentences(glut_waste=table("glut_waste", waste("potato", picked, 2.0, 0.0)))
    assert any(sentence.startswith("Potato") for sentence in found) is named


def test_three_crops_are_named_those_that_lost_most() -> None:
    rows = [waste(crop, 10.0, kg, 0.0) for crop, kg in (("a", 2.0), ("b", 5.0), ("c", 3.0), ("d", 4.0))]
    found = sentences(glut_waste=table("glut_waste", *rows))
    assert [sentence[0] for sentence in found] == ["O", "B", "D", "C"]


def test_use_beyond_what_was_picked_asks_for_the_missing_pickings() -> None:
    found = findings(glut_waste=table("glut_waste", waste("pea", 20.0, 0.0, 0.0, over_used_kg=3.2)))
    assert [(finding.section, finding.sentence) for finding in found] == [
        ("data", "Pea: 3.2 kg more was logged as used than as picked by then.")
    ]
    assert findings(glut_waste=table("glut_waste", waste("pea", 64.0, 0.0, 0.0, over_used_kg=3.2))) == []


SHELF = {
    "crop": "plum",
    "method": "jam",
    "on_hand": 30,
    "weeks_left": 300.0,
    "note": "stop making more: lasts beyond 2 years of use",
}


def test_stop_making_more() -> None:
    found = findings(shelf=table("shelf", SHELF))
    assert [(finding.sentence, finding.action) for finding in found] == [
        ("On hand for more than two years at your rate of use: plum jam (30).", "Make no more of these next year.")
    ]
    more = SHELF | {"crop": "pear", "method": "bottle", "on_hand": 39}
    assert sentences(shelf=table("shelf", SHELF, more)) == [
        "On hand for more than two years at your rate of use: bottled pear (39), plum jam (30)."
    ]


def test_what_runs_out_soon_has_its_range() -> None:
    soon = {
        "crop": "bean",
        "method": "freeze",
        "on_hand": 1,
        "weeks_left": 4.0,
        "runs_out_on": dt.date(2026, 3, 3),
        "runs_out_low": dt.date(2026, 2, 20),
        "runs_out_high": dt.date(2026, 5, 9),
        "note": "",
    }
    assert sentences(shelf=table("shelf", soon)) == [
        (
            "Frozen bean: 1 container on hand, gone about 3 Mar 2026 at your rate of use (between 20 Feb 2026 "
            "and 9 May 2026)."
        )
    ]
    assert sentences(shelf=table("shelf", soon | {"runs_out_high": None}))[0].endswith("and much later).")
    assert sentences(shelf=table("shelf", soon | {"weeks_left": 8.1})) == []
    assert sentences(shelf=table("shelf", soon | {"on_hand": 0, "weeks_left": 0.0})) == []


def test_the_three_batches_that_are_due_first() -> None:
    rows = [
        {"batch_id": f"B{n}", "crop": "turnip", "due_on": dt.date(2026, 1, n) if n < 5 else None} for n in range(1, 6)
    ]
    found = findings(use_first=table("use_first", *rows))
    assert [finding.sentence for finding in found] == [
        ("Use or look at first: B1 (turnip, by 1 Jan 2026), B2 (turnip, by 2 Jan 2026), B3 (turnip, by 3 Jan 2026).")
    ]
    assert "discard" in found[0].action
    assert findings(use_first=table("use_first", rows[4])) == []


def test_containers_to_make_next_year() -> None:
    rows = [
        {"crop": "beetroot", "containers_to_make": 12, "kg_to_put_by": 9.04},
        {"crop": "pear", "containers_to_make": 1},
        {"crop": "plum", "containers_to_make": 0, "kg_to_put_by": 0.0},
        {"crop": "kale"},
    ]
    assert sentences(needs=table("needs", *rows)) == [
        "Beetroot: 12 containers to make next year, about 9 kg as picked.",
        "Pear: 1 container to make next year.",
    ]


def test_nothing_known_says_nothing() -> None:
    assert findings() == []
