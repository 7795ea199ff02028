"""Charts: what is drawn, by which marks, and that a picture stands safely inside a page."""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from invented_answers import AS_OF, answers, empty_answers, frame

from reports import charts, plan_charts
from reports.drawing import LETTERS, PATTERNS, WIDTH, AnyChart, to_svg

SVG = "{http://www.w3.org/2000/svg}"


def of(grouping: str, tables: dict[str, pl.DataFrame]) -> pl.DataFrame:
    """Rows of ``spoilage`` of one grouping."""
    return tables["spoilage"].filter(pl.col("grouping") == grouping)


def drawn(tables: dict[str, pl.DataFrame]) -> dict[str, AnyChart | None]:
    """Every chart by name."""
    return {
        "curves": charts.keeping_curves(tables["keeping_curves"]),
        "lost": charts.share_lost(of("method", tables)),
        "salt_lost": charts.share_lost(of("salt_band", tables)),
        "salt": charts.salt_levels(tables["salt_levels"]),
        "use": charts.harvest_use(tables["glut_waste"]),
        "weeks": charts.glut_weeks(tables["glut_weeks"], tables["glut_waste"]),
        "runout": charts.shelf_runout(tables["shelf"], AS_OF),
        "timetable": plan_charts.sowing_timetable(tables["sowing_plan"]),
        "outlook": plan_charts.harvest_outlook(tables["harvest_outlook"]),
        "worth": plan_charts.plan_comparison(tables["plan_comparison"]),
    }


NAMES = tuple(drawn(empty_answers()))


@pytest.fixture(scope="module")
def pictures() -> dict[str, ET.Element]:
    """Every chart of the invented answers, as parsed SVG."""
    return {
        name: ET.fromstring(to_svg(chart, f"Chart of {name}", name))
        for name, chart in drawn(answers()).items()
        if chart is not None
    }


def words(picture: ET.Element) -> list[str]:
    """Every text in a picture, in order."""
    return ["".join(text.itertext()).replace("\u00a0", " ") for text in picture.iter(f"{SVG}text")]


def rows(chart: AnyChart | None) -> list[dict[str, Any]]:
    """The rows a chart draws."""
    assert chart is not None
    values: list[dict[str, Any]] = chart.data.values
    return values


def test_nothing_to_draw_gives_no_chart() -> None:
    assert set(drawn(empty_answers()).values()) == {None}


def test_every_chart_is_valid_vega_lite() -> None:
    for chart in drawn(answers()).values():
        assert chart is not None
        assert chart.to_dict(validate=True)["$schema"].startswith("https://vega.github.io/schema/vega-lite/")


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_has_a_role_and_a_name_and_nothing_else_speaks(pictures: dict[str, ET.Element], name: str) -> None:
    root = pictures[name]
    assert root.get("role") == "img"
    assert root.get("aria-label") == f"Chart of {name}"
    assert not [e for e in root.iter() if e is not root and (e.get("role") or e.get("aria-label"))]


@pytest.mark.parametrize("name", NAMES)
def test_ids_of_a_picture_start_with_its_own_name(pictures: dict[str, ET.Element], name: str) -> None:
    ids = [element.get("id", "") for element in pictures[name].iter() if "id" in element.attrib]
    used = [
        value.removeprefix("url(#").removesuffix(")")
        for element in pictures[name].iter()
        for value in element.attrib.values()
        if value.startswith("url(#")
    ]
    assert all(mark.startswith(f"{name}-") for mark in ids)
    assert len(set(ids)) == len(ids)
    assert set(used) <= set(ids)


@pytest.mark.parametrize("name", NAMES)
def test_letters_are_11_pixels_or_more_on_a_telephone(pictures: dict[str, ET.Element], name: str) -> None:
    """A telephone 360 px wide leaves a chart about 340."""
    width = float(pictures[name].get("width", "0"))
    sizes = {float(e.get("font-size", "0px").removesuffix("px")) for e in pictures[name].iter(f"{SVG}text")}
    assert width <= WIDTH + 20
    assert min(sizes) == LETTERS
    assert min(sizes) * 340 / width > 11


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_names_no_outside_thing(pictures: dict[str, ET.Element], name: str) -> None:
    texts = ET.tostring(pictures[name], encoding="unicode").replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert "http" not in texts
    assert "<image" not in texts
    assert "<script" not in texts
    assert "undefined" not in texts
    assert "NaN" not in texts


def test_the_same_rows_give_the_same_picture() -> None:
    chart = charts.share_lost(of("method", answers()))
    assert chart is not None
    assert to_svg(chart, "x", "x") == to_svg(chart, "x", "x")


HOSTILE = "</script><script>document.title='x'</script><b onload=\"x\">&"


def test_a_hostile_name_is_text_in_a_picture() -> None:
    balance = answers()["glut_waste"].head(1).with_columns(crop=pl.lit(HOSTILE))
    chart = charts.harvest_use(balance)
    assert chart is not None
    picture = to_svg(chart, HOSTILE, "use")
    assert "<script" not in picture
    assert "<b " not in picture
    assert ET.fromstring(picture).get("aria-label") == HOSTILE


def test_a_control_character_in_a_name_is_shown_as_a_mark() -> None:
    """XML 1.0 cannot hold them, and a log can."""
    balance = answers()["glut_waste"].head(1).with_columns(crop=pl.lit("a\x07b\x1b[2Jc\x00d\uffffe"))
    chart = charts.harvest_use(balance)
    assert chart is not None
    assert any(word.startswith("a\ufffdb\ufffd[2J") for word in words(ET.fromstring(to_svg(chart, "x", "use"))))


def test_share_lost_writes_estimate_batches_and_how_sure(pictures: dict[str, ET.Element]) -> None:
    seen = words(pictures["lost"])
    assert "31 %" in seen
    assert "cure3 batches" in seen
    assert {"enough", "thin", "too little"} <= set(seen)


def test_share_lost_leaves_out_a_group_without_an_estimate() -> None:
    table = of("method", answers()).with_columns(
        lost_share=pl.when(pl.col("group") == "jam").then(None).otherwise("lost_share")
    )
    assert not [row for row in rows(charts.share_lost(table)) if row["row"].startswith("jam")]


def test_keeping_curves_draw_one_panel_per_group_with_its_last_share(pictures: dict[str, ET.Element]) -> None:
    seen = words(pictures["curves"])
    assert [method for method in seen if method in {"bottle", "cure", "dry", "ferment", "freeze", "jam", "pickle"}] == [
        "bottle", "cure", "dry", "ferment", "freeze", "jam", "pickle",
    ]  # fmt: skip
    assert "78 %" in seen


def rows_of(chart: AnyChart | None) -> list[dict[str, Any]]:
    """The rows that a chart was given."""
    assert chart is not None
    rows: list[dict[str, Any]]
    (rows,) = chart.to_dict()["datasets"].values()
    return rows


def test_the_salt_picture_names_the_limit_and_counts_batches(pictures: dict[str, ET.Element]) -> None:
    told = words(pictures["salt"])
    assert "ferment, brined: % of all in the jar" in told
    assert "published: 2 %" in told
    assert {"batches", "2", "4", "9", "11", "?"} <= set(told)


def test_salt_steps_never_run_below_the_published_limit() -> None:
    levels = answers()["salt_levels"]
    steps = [row for row in rows_of(charts.salt_levels(levels)) if "step" in row]
    assert [(row["salt"], row["kept"]) for row in steps] == [
        (2.25, 0.7),
        (2.75, 0.7),
        (2.75, 0.8),
        (pytest.approx(3.125 + charts.STEP_BEYOND), 0.8),
    ]
    # A band that holds the limit is drawn from the limit on; one below it has its mark and no step.
    known = levels.with_columns(kept_12m=0.6, kept_12m_low=0.3, kept_12m_high=0.8, kept_12m_isotonic=0.6)
    drawn_from = [row["salt"] for row in rows_of(charts.salt_levels(known)) if "step" in row]
    assert min(drawn_from) == 2.0
    # A level that was not followed breaks the line.
    gap = known.with_columns(
        pl.when(pl.col("from_pct") != 2.25).then(pl.col(name)).alias(name) for name in ("kept_12m", "kept_12m_isotonic")
    )
    assert len({row["run"] for row in rows_of(charts.salt_levels(gap)) if "step" in row}) == 2


def test_each_salt_picture_has_its_own_limit_and_shade() -> None:
    levels = answers()["salt_levels"]
    dry = levels.with_columns(method=pl.lit("dry"), limit_pct=pl.lit(None, pl.Float64))
    rows = rows_of(charts.salt_levels(pl.concat([levels, dry])))
    said = {row["panel"]: row["said"] for row in rows if "said" in row}
    assert said == {
        "ferment, brined: % of all in the jar": "published: 2 %",
        "dry, brined: % of all in the jar": "no salt limit in our tables: keep to the recipe",
    }
    assert {row["panel"] for row in rows if "limit" in row} == {"ferment, brined: % of all in the jar"}
    assert charts.salt_levels(levels.with_columns(kept_12m=pl.lit(None, pl.Float64))) is None


@pytest.mark.parametrize(("months", "marks"), [(3, [0, 1, 2, 3]), (9, [0, 3, 6, 9]), (20, [0, 6, 12, 18])])
def test_ages_are_marked_at_months_people_count_in(months: int, marks: list[int]) -> None:
    curves = answers()["keeping_curves"]
    scale = months * 30.4 / curves["age_days"].max()  # type: ignore[operator]
    curves = curves.with_columns((pl.col("age_days") * scale).cast(pl.Int64))
    chart = charts.keeping_curves(curves)
    assert chart is not None
    axis = chart.to_dict()["spec"]["layer"][0]["encoding"]["x"]["axis"]
    assert axis["values"][: len(marks)] == marks


def test_the_bars_of_a_crop_add_up_to_the_whole() -> None:
    bars = rows(charts.harvest_use(answers()["glut_waste"]))
    ends = {row["row"]: row["to"] for row in bars}
    assert len(ends) == 12
    assert all(abs(end - 1) < 1e-9 for end in ends.values())
    assert bars[0]["row"].startswith("tomato")
    assert all(row["from"] <= row["mid"] <= row["to"] for row in bars)


def test_loss_is_told_by_pattern_as_well_as_colour(pictures: dict[str, ET.Element]) -> None:
    hatches = {pattern.get("id") for pattern in pictures["use"].iter(f"{SVG}pattern")}
    assert hatches == {f"use-hatch{colour[1:]}" for colour in PATTERNS}
    fills = {element.get("fill") for element in pictures["use"].iter(f"{SVG}path")}
    assert not fills & set(PATTERNS)


def test_weeks_show_the_crops_that_lost_most_to_gluts(pictures: dict[str, ET.Element]) -> None:
    """By hand: courgette 58 x .36 x .8, plum 64 x .24 x .8, tomato 71 x .11 x .8 kg from gluts."""
    seen = words(pictures["weeks"])
    assert [crop for crop in seen if crop in {"courgette", "plum", "tomato", "bean", "lettuce"}] == [
        "courgette", "plum", "tomato",
    ]  # fmt: skip
    assert {"picked", "used", "could be used"} <= set(seen)


def test_what_lasts_beyond_two_years_is_said_and_not_drawn_to_scale(pictures: dict[str, ET.Element]) -> None:
    seen = words(pictures["runout"])
    assert "4 Jan 2027" in seen
    assert "lasts beyond 2 years" in seen
    assert "no use logged yet" in seen


def test_a_timetable_has_a_row_per_sowing_and_names_each_crop_once(pictures: dict[str, ET.Element]) -> None:
    seen = words(pictures["timetable"])
    assert seen.count("lettuce") == 1
    assert {"20 Mar", "10 Apr", "1 May", "22 May", "12 Jun"} <= set(seen)
    marks = [row["mark"] for row in rows(plan_charts.sowing_timetable(answers()["sowing_plan"]))]
    assert (marks.count("sow"), marks.count("plant out"), marks.count("pick")) == (15, 9, 15)


def test_a_sowing_without_forecast_is_drawn_by_its_day_alone() -> None:
    plan = frame("sowing_plan", [{"crop": "garlic", "sow_on": dt.date(2026, 10, 20), "amount": 40.0, "unit": "plants"}])
    chart = plan_charts.sowing_timetable(plan)
    assert chart is not None
    assert "20 Oct" in words(ET.fromstring(to_svg(chart, "x", "x")))


def test_the_plan_is_told_apart_from_other_ways_by_weight_of_letters(pictures: dict[str, ET.Element]) -> None:
    bold = {"".join(e.itertext()) for e in pictures["worth"].iter(f"{SVG}text") if e.get("font-weight") == "bold"}
    assert "this plan" in bold
    assert "all at once" not in bold
    assert "34.5" in words(pictures["worth"])


def test_days_are_the_same_days_west_of_greenwich() -> None:
    """A day read in local time would become the day before in Los Angeles; these tests run anywhere else."""
    script = (
        "import datetime as dt, sys; sys.path.insert(0, 'tests')\n"
        "from invented_answers import answers, AS_OF\n"
        "from reports import charts\n"
        "from reports.drawing import to_svg\n"
        "sys.stdout.write(to_svg(charts.shelf_runout(answers()['shelf'], AS_OF), 'x', 'x'))"
    )
    root = Path(__file__).parents[2]
    west = subprocess.run(
        [sys.executable, "-c", script],
        env=os.environ | {"TZ": "America/Los_Angeles", "PYTHONPATH": str(root)},
        cwd=root,
        capture_output=True,
        check=True,
        text=True,
        encoding="utf-8",
    )
    chart = charts.shelf_runout(answers()["shelf"], AS_OF)
    assert chart is not None
    assert west.stdout == to_svg(chart, "x", "x")
