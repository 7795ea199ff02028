"""Coming gluts in words: a few invented weeks in, the exact sentence out."""

from __future__ import annotations

import datetime as dt

import polars as pl
from core_frames import core

from pipeline.findings.outlook import outlook_findings, usual_batches
from tests.invented_answers import frame

JULY_13 = dt.date(2026, 7, 13)


def weeks(crop: str, *middles: float, need: float | None = 2.0, first: dt.date = JULY_13) -> list[dict[str, object]]:
    return [
        {
            "crop": crop,
            "week": first + dt.timedelta(weeks=number),
            "kg_p50": kg,
            "need_kg": need,
            "over_kg": None if need is None else max(0.0, kg - need),
        }
        for number, kg in enumerate(middles)
    ]


def batch(name: str, crop: str, method: str, kg: float | None) -> dict[str, object]:
    return {"batch_id": name, "made_on": JULY_13, "method": method, "crop": crop, "containers": 1, "produce_kg": kg}


CROPS = pl.DataFrame({"crop": ["bean", "carrot"], "holding_days": [4.0, 60.0]})
BEANS = usual_batches(core("batches", batch("a", "bean", "freeze", 3.0), batch("b", "bean", "freeze", 3.0)))


def test_the_usual_batch_is_of_the_method_that_takes_most() -> None:
    found = usual_batches(
        core(
            "batches",
            batch("a", "bean", "freeze", 2.0),
            batch("b", "bean", "freeze", 4.0),
            batch("c", "bean", "pickle", 5.0),
            batch("d", "pea", "dry", None),
        )
    )
    assert found.rows() == [("bean", "freeze", 3.0)]
    assert usual_batches(core("batches")).is_empty()


def test_a_glut_is_named_with_its_days_kilos_and_batches() -> None:
    # 5 + 5.5 kg in two weeks, 2 kg wanted in each: 6.5 kg over, two batches of 3 kg.
    found = outlook_findings(frame("season_outlook", weeks("bean", 1.0, 5.0, 5.5, 0.5)), BEANS, CROPS)
    assert len(found) == 1
    assert found[0].sentence == (
        "About 10 kg of bean between 20 Jul and 2 Aug: 6 kg more than you eat; two batches of about 3 kg, frozen as "
        "you mostly do."
    )
    assert found[0].action == "Keep time to put by bean from 20 Jul, or promise 6 kg of it to others."
    assert found[0].section == "outlook"


def test_two_gluts_with_a_lean_week_between_are_two() -> None:
    found = outlook_findings(frame("season_outlook", weeks("bean", 5.0, 1.0, 6.0)), BEANS, CROPS)
    assert [finding.sentence.split(":")[0] for finding in found] == [
        "About 5 kg of bean between 13 and 19 Jul",
        "About 6 kg of bean between 27 Jul and 2 Aug, as far as this outlook goes",
    ]


def test_of_a_long_glut_the_fullest_week_is_named() -> None:
    found = outlook_findings(frame("season_outlook", weeks("courgette", 4.0, 9.0, 5.0, 1.0)), BEANS, CROPS)
    assert found[0].sentence == (
        "About 18 kg of courgette between 13 Jul and 2 Aug, most in the week from 20 Jul: 12 kg more than you eat."
    )
    assert found[0].action == "Promise 12 kg of courgette to others from 13 Jul."


def test_a_little_more_than_wanted_is_no_glut_and_an_unknown_need_says_nothing() -> None:
    assert outlook_findings(frame("season_outlook", weeks("bean", 2.4, 2.4)), BEANS, CROPS) == []
    assert outlook_findings(frame("season_outlook", weeks("bean", 9.0, need=None)), BEANS, CROPS) == []
    assert outlook_findings(frame("season_outlook", []), BEANS, CROPS, 5.0) == []


def test_what_nobody_eats_fresh_then_is_called_so() -> None:
    found = outlook_findings(frame("season_outlook", weeks("bean", 3.5, need=0.0)), BEANS, CROPS)
    assert found[0].sentence.endswith(
        "none of it is eaten fresh then; one batch of about 3 kg, frozen as you mostly do."
    )


def test_what_can_wait_in_the_bed_calls_for_nothing() -> None:
    found = outlook_findings(frame("season_outlook", weeks("carrot", 5.0, 0.0)), BEANS, CROPS, kitchen_kg_per_week=1.0)
    assert len(found) == 1
    assert found[0].sentence == (
        "About 5 kg of carrot between 13 and 19 Jul: 3 kg more than you eat. It can wait in the bed, usually for 9 "
        "weeks."
    )
    assert found[0].action == ""


def test_weeks_on_end_that_fill_the_kitchen_are_told_once() -> None:
    rows = weeks("bean", 6.0, 9.0, 6.0, 2.0)
    found = outlook_findings(frame("season_outlook", rows), BEANS, CROPS, kitchen_kg_per_week=3.0)
    assert found[-1].sentence == (
        "In every week between 13 Jul and 2 Aug more will be ripe beyond what you eat than your kitchen takes, 3 kg; "
        "most in the week from 20 Jul, about 7 kg."
    )


def test_a_week_that_is_more_than_the_kitchen_takes() -> None:
    rows = weeks("bean", 6.0) + weeks("courgette", 5.0)
    found = outlook_findings(frame("season_outlook", rows), BEANS, CROPS, kitchen_kg_per_week=6.0)
    assert found[-1].sentence == (
        "In the week from 13 Jul about 7 kg will be ripe beyond what you eat, more than the 6 kg that your kitchen "
        "takes in a week."
    )
    assert len(outlook_findings(frame("season_outlook", rows), BEANS, CROPS, kitchen_kg_per_week=7.5)) == 2


def test_the_outlook_of_batches_keeps_its_columns_when_empty() -> None:
    assert usual_batches(core("batches")).schema == {"crop": pl.String, "method": pl.String, "batch_kg": pl.Float64}
