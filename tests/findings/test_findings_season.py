"""Sentences of the season, the plan and the logs: a few invented rows in, the exact sentence out."""

from __future__ import annotations

import datetime as dt

from pipeline.findings.season import data_findings, plan_findings, season_findings
from tests.invented_answers import empty_answers, frame

SEASON = (dt.date(2026, 1, 1), dt.date(2026, 12, 31))
MONDAY = dt.date(2026, 7, 13)


def waste_row(**values: object) -> dict[str, object]:
    zeros = dict.fromkeys(("eaten", "put_by", "given", "wasted", "expired", "left", "over_used", "from_gluts"), 0.0)
    return {f"{name}_kg": value for name, value in zeros.items()} | {"eaten_basis": "logged"} | values


def test_the_season_in_four_sentences() -> None:
    waste = frame(
        "glut_waste",
        [
            waste_row(crop="courgette", picked_kg=20.0, eaten_kg=8.0, wasted_kg=9.0, expired_kg=3.0, from_gluts_kg=7.0),
            waste_row(crop="pea", picked_kg=5.0, put_by_kg=4.0, given_kg=1.0),
        ],
    )
    weeks = frame(
        "glut_weeks",
        [
            {"crop": "courgette", "week": MONDAY, "picked_kg": 12.0},
            {"crop": "pea", "week": MONDAY, "picked_kg": 1.0},
            {"crop": "courgette", "week": MONDAY + dt.timedelta(weeks=1), "picked_kg": 8.0},
        ],
    )
    spoilage = frame(
        "spoilage",
        [
            {"group": "ferment", "batches": 3, "containers": 11, "spoiled": 3, "lost_share": 0.3},
            {"group": "jam", "batches": 2, "containers": 9, "spoiled": 0, "lost_share": 0.0},
        ],
    )
    shelf = frame(
        "shelf",
        [
            {"crop": "cabbage", "method": "ferment", "on_hand": 5, "runs_out_on": dt.date(2027, 2, 3)},
            {"crop": "plum", "method": "jam", "on_hand": 8, "runs_out_on": None},
        ],
    )
    sentences = [finding.sentence for finding in season_findings(waste, weeks, spoilage, shelf, SEASON)]
    # 20 + 5 kg; 12 + 1 kg in the week; lost 9 + 3 = 12 of 25 kg = 48 %.
    assert sentences == [
        "In 2026 you picked 25 kg of 2 crops; the fullest week, from 13 Jul 2026, brought 13 kg.",
        (
            "Of it 8 kg as logged was eaten fresh, 4 kg was put by, 1 kg was given on, and 12 kg (48%) was lost "
            "fresh, 7 kg of that because it came in a glut."
        ),
        "Of 20 containers put by so far, 3 were found spoiled; the largest share was in ferment, 3 of 11 (3 batches).",
        "13 containers of 2 kinds stand on the shelf; cabbage (ferment) runs out first, about 3 Feb 2027.",
    ]


def test_assumed_eating_is_called_assumed() -> None:
    waste = frame("glut_waste", [waste_row(crop="pea", picked_kg=5.0, eaten_kg=5.0, eaten_basis="assumed")])
    weeks = frame("glut_weeks", [{"crop": "pea", "week": MONDAY, "picked_kg": 5.0}])
    empty = empty_answers()
    second = season_findings(waste, weeks, empty["spoilage"], empty["shelf"], SEASON)[1]
    assert "5 kg by what is assumed was eaten fresh" in second.sentence
    assert second.evidence == "thin"


def test_nothing_logged_says_nothing() -> None:
    empty = empty_answers()
    assert not season_findings(empty["glut_waste"], empty["glut_weeks"], empty["spoilage"], empty["shelf"], SEASON)
    assert not plan_findings(empty["sowing_plan"], empty["plan_comparison"])
    assert not data_findings(empty["load_summary"], empty["problems"])


def comparison_row(policy: str, wasted_kg: float, short_kg: float, weeks_without: float) -> dict[str, object]:
    return {
        "policy": policy,
        "wasted_kg": wasted_kg,
        "short_kg": short_kg,
        "weeks_without": weeks_without,
        "sowings": 9.0,
    }


def test_a_simpler_way_that_is_as_good_is_said_to_be() -> None:
    plan = frame(
        "sowing_plan",
        [{"crop": "pea", "sow_on": dt.date(2027, 3, 8), "amount": 3.0, "unit": "m", "expected_kg": 1.0}],
    )
    mine = comparison_row("this plan", 20.0, 30.0, 10.0)
    good = frame("plan_comparison", [mine, comparison_row("equal warmth", 20.5, 31.0, 10.2)])
    worse = frame("plan_comparison", [mine, comparison_row("equal warmth", 20.5, 31.0, 14.0)])
    simple = "Sowing at equal steps of warmth does about as well as the full plan, and is simpler to follow."
    assert simple in [finding.sentence for finding in plan_findings(plan, good)]
    assert simple not in [finding.sentence for finding in plan_findings(plan, worse)]
    assert plan_findings(plan, good)[0].sentence == (
        "The plan for next season has 1 sowing of 1 crop, the first on 8 Mar 2027 (pea)."
    )


def test_what_the_plan_is_worth_in_one_sentence() -> None:
    plan = frame("sowing_plan", [{"crop": "pea", "sow_on": dt.date(2027, 3, 8), "amount": 3.0, "unit": "m"}])
    rows = [comparison_row("this plan", 20.0, 30.0, 10.0), comparison_row("last season", 50.0, 60.0, 31.0)]
    sentences = [finding.sentence for finding in plan_findings(plan, frame("plan_comparison", rows))]
    assert sentences[1] == (
        "Crop-weeks with less than half of what is wanted, kilos not used, and sowings, in weather years that the plan"
        " never saw: this plan: 10 weeks, 20 kg, 9 sowings; sown as last season: 31 weeks, 50 kg, 9 sowings."
    )


def test_rows_set_aside_are_counted_and_the_worst_file_named() -> None:
    summary = frame("load_summary", [{"file": "a.csv", "rows": 10, "set_aside": 2, "accepted": 8}])
    problems = frame("problems", [{"file": "a.csv", "line": 3, "level": "error"}])
    finding = data_findings(summary, problems)[0]
    assert finding.sentence == "2 rows were set aside out of 10; every number here rests on the other 8."
    assert "a.csv first" in finding.action
