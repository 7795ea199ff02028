"""The shared garden page, its pictures and its printed form."""

from __future__ import annotations

import base64
import csv
import datetime as dt
import io
import re
import shutil
import struct
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import polars as pl
import polars.selectors as cs
import pytest
from headless import CHROMIUM, Window, first_paint, own
from invented_answers import GARDEN, answers
from shared_folders import shared_report

from reports import picture
from reports.page import drawn_review
from reports.share_charts import CROSS, crop_kilos, harvest_calendar, surplus, uses
from reports.share_page import shared_page
from reports.words import NIL
from schemas.contracts import polars_types
from schemas.page import Garden
from schemas.shared import ALL_CROPS, SHARED

HOSTILE = "</script><script>document.title='x'</script><img src=http://a.invalid/x onerror=\"document.title='x'\">"


def frame(table: str, *rows: tuple[Any, ...]) -> pl.DataFrame:
    """Rows of a shared table with its columns and types."""
    types = polars_types()
    schema = {column.name: types[column.dtype] for column in SHARED[table].columns}
    return pl.DataFrame(list(rows), schema=schema, orient="row")


def invented() -> dict[str, pl.DataFrame]:
    """A small INVENTED shared garden: one crop whose kilos are withheld, one month withheld of another."""
    june, july = dt.date(2026, 6, 1), dt.date(2026, 7, 1)
    first, last = dt.date(2027, 6, 20), dt.date(2027, 7, 20)
    return {
        "shared_garden": frame("shared_garden", (4, 180.0, 123.4, 0.6855, dt.date(2026, 1, 1), june, 3)),
        "shared_crops": frame(
            "shared_crops", ("bean", 4, 80.25, 2.5), ("kale", None, None, None), (ALL_CROPS, 4, 123.4, None)
        ),
        "shared_calendar": frame(
            "shared_calendar",
            ("bean", june, 4, 80.25),
            ("bean", july, 0, 0.0),
            ("kale", june, None, None),
            ("kale", july, None, None),
        ),
        "shared_uses": frame(
            "shared_uses", ("bean", "given", 3, 7.5), (ALL_CROPS, "given", 3, 7.5), (ALL_CROPS, "donated", None, None)
        ),
        "shared_spoilage": frame(
            "shared_spoilage", ("jam", 4, 9, 60, 6, 0.1, 0.05, 0.2, 0.88, 0.8, 0.95, 11.5, 4.2, "enough")
        ),
        "shared_keeping": frame("shared_keeping", ("jam", 0, 1.0, 0.9, 1.0), ("jam", 3, 0.97, 0.9, 1.0)),
        "shared_surplus": frame(
            "shared_surplus", ("bean", dt.date(2026, 6, 15), 3, 3), ("bean", dt.date(2026, 6, 22), None, 4)
        ),
        "shared_sowings": frame(
            "shared_sowings",
            ("bean", dt.date(2027, 4, 20), "P1", None, 4.0, "m", 2.0, first, last, 6.0),
            ("bean", dt.date(2027, 5, 4), None, None, 4.5, "m", 2.2, first, last, 6.5),
        ),
        "shared_outlook": frame("shared_outlook", ("bean", dt.date(2027, 6, 21), 1.0, 2.0, 3.0, 2.5)),
        "shared_plan_worth": frame(
            "shared_plan_worth", ("last season", 9.0, 8.0, 12.0, 3.0, 4.0), ("this plan", 5.0, 4.0, 6.5, 2.0, 8.0)
        ),
        "shared_withheld": frame(
            "shared_withheld", ("shared_calendar", "too few plots", 2), ("batches", "rows that name no plot", None)
        ),
    }


@pytest.fixture(scope="module")
def page() -> str:
    return shared_page(GARDEN, invented(), ["A note on this run."])


def words(html: str) -> str:
    """What a reader reads, on one line, with ordinary spaces."""
    body = re.sub(r"<svg.*?</svg>|<style>.*?</style>", " ", html, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body).replace("\u00a0", " "))


def test_the_page_says_first_what_is_shared_and_what_is_not(page: str) -> None:
    headings = re.findall(r'<h2 id="([a-z]+)"', page)
    assert headings == ["shared", "crops", "calendar", "uses", "kept", "surplus", "sowings", "methods"]
    text = words(page)
    assert "4 plots with 180 m² share their figures." in text
    assert "Together they picked 123 kg, 0.69 kg per m²." in text
    assert "short in 6.5 crop-weeks of a usual year, and in 12 if all sowed as last season" in text
    assert "Kilos by crop and month: 2 figures, too few plots." in text
    assert "batches.csv: rows that name no plot." in text


def test_a_withheld_figure_is_called_so_and_none_picked_is_a_dash(page: str) -> None:
    text = words(page)
    assert "kale withheld withheld withheld" in text
    assert f"bean 80.2 {NIL} 80.2" in text
    assert f"kale withheld {NIL} withheld" in text  # kilos, yield not known, plots
    assert "all crops donated withheld withheld" in text


def test_swaps_spread_and_turns_are_told_in_sentences(page: str) -> None:
    text = words(page)
    assert "bean, week of 15 Jun: 3 plots had more than they could use, 3 plots too little." in text
    assert "jam: 11.5 of 100 containers lost in a year; give or take 4.2 from plot to plot." in text
    assert "P1 sows 20 Apr: bean, 4 m; pick from 20 Jun" in text
    assert "Where there is room sows 4 May: bean, 4.5 m" in text


def test_without_enough_plots_the_page_says_so_and_shows_nothing() -> None:
    tables = {"shared_garden": frame("shared_garden", (None, None, None, None, None, None, 5))}
    html = shared_page(GARDEN, tables, [])
    assert "Nothing can be shown: fewer than 5 plots share their figures" in words(html)
    assert re.findall(r'<h2 id="([a-z]+)"', html) == ["shared", "methods"]
    assert "<svg" not in html


def test_every_id_is_its_own_and_every_reference_has_its_target(page: str) -> None:
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'aria-labelledby="([^"]+)"', page)) <= set(ids)
    assert {link[1:] for link in re.findall(r'href="(#[^"]+)"', page)} <= set(ids)


def test_charts_of_nothing_are_none() -> None:
    tables = invented()
    assert crop_kilos(tables["shared_crops"].clear()) is None
    assert harvest_calendar(tables["shared_calendar"].clear()) is None
    assert uses(tables["shared_uses"].clear()) is None
    assert surplus(tables["shared_surplus"].clear()) is None
    assert harvest_calendar(tables["shared_calendar"].filter(pl.col("crop") == "kale")) is not None


def test_each_new_chart_is_valid_by_its_schema() -> None:
    tables = invented()
    for chart in (
        crop_kilos(tables["shared_crops"]),
        harvest_calendar(tables["shared_calendar"]),
        uses(tables["shared_uses"]),
        surplus(tables["shared_surplus"]),
    ):
        assert chart is not None
        assert chart.to_dict(validate=True)


def test_a_withheld_month_is_drawn_as_a_cross_and_its_kilos_nowhere() -> None:
    chart = harvest_calendar(invented()["shared_calendar"])
    assert chart is not None
    (rows,) = chart.to_dict()["datasets"].values()
    assert [(row["crop"], row["month"], row["kg"], row["cross"]) for row in rows] == [
        ("bean", "Jun", 80.25, ""),
        ("kale", "Jun", None, CROSS),
        ("kale", "Jul", None, CROSS),
    ]


# pictures and print


def test_every_chart_of_the_review_becomes_an_svg_and_a_png_on_white() -> None:
    few = {name: table for name, table in answers().items() if name in {"glut_waste", "shelf"}}
    svgs = drawn_review(GARDEN, [], few, []).charts
    assert set(svgs) == {"use", "runout"}
    files = picture.chart_files(svgs)
    assert sorted(files) == ["charts/runout.png", "charts/runout.svg", "charts/use.png", "charts/use.svg"]
    for slug in svgs:
        root = ET.fromstring(files[f"charts/{slug}.svg"])
        ground = root[0]
        assert ground.tag.endswith("rect")
        assert ground.get("fill") == "#fff"
        png = files[f"charts/{slug}.png"]
        assert png.startswith(b"\x89PNG\r\n\x1a\n")
        width, _ = struct.unpack(">II", png[16:24])
        assert width == pytest.approx(2 * float(root.get("viewBox", "").split()[2]), abs=2)


def test_without_a_browser_a_sentence_says_what_to_do(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(shutil, "which", lambda _name: None)
    done, why = picture.print_pdf(tmp_path / "index.html", tmp_path / "index.pdf")
    assert done is None
    assert why == (
        "No PDF was made: no Chromium, Chrome or Edge was found. Open the page in any browser and print it to a "
        "file; it is laid out for A4."
    )


def test_a_browser_that_fails_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(picture, "find_browser", lambda: "/bin/false")
    done, why = picture.print_pdf(tmp_path / "index.html", tmp_path / "index.pdf")
    assert done is None
    assert why.startswith("No PDF was made: /bin/false could not print the page")


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")
def test_a_page_is_printed_to_a_pdf(page: str, tmp_path: Path) -> None:
    file = tmp_path / "index.html"
    file.write_text(page, encoding="utf-8")
    done, why = picture.print_pdf(file, tmp_path / "index.pdf")
    assert (done, why) == (tmp_path / "index.pdf", "")
    assert (tmp_path / "index.pdf").read_bytes().startswith(b"%PDF")


# in a browser, the report of simulated gardens


@pytest.mark.browser
def test_the_report_opens_without_network_and_complains_of_nothing(opened: Window) -> None:
    page, seen = opened(shared_report())
    page.wait_for_timeout(200)
    assert [entry for entry in seen if not entry.startswith("request: data:")] == own(shared_report())
    assert page.title().startswith("5 gardens together: shared garden, ")


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 360, 1280])
def test_no_part_of_the_report_sticks_out_sideways(opened: Window, width: int) -> None:
    page, _ = opened(shared_report(), width)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth") == width


@pytest.mark.browser
def test_what_is_saved_from_the_report_is_its_csv_file_to_the_last_byte(opened: Window) -> None:
    page, _ = opened(shared_report())
    links = page.evaluate("[...document.querySelectorAll('a[download]')].map(a => [a.download, a.href])")
    assert len(links) >= 8
    for name, link in links:
        saved = base64.b64decode(link.split(",")[1])
        if name != "shared_spoilage.csv":  # the page sorts it by loss
            assert saved == (shared_report().parent / "tables" / name).read_bytes()
        rows = list(csv.reader(io.StringIO(saved.decode())))
        assert rows[0] == [column.name for column in SHARED[name.removesuffix(".csv")].columns]


@pytest.mark.browser
def test_hostile_names_do_not_run_even_without_the_page_s_policy(opened: Window, tmp_path: Path) -> None:
    """The policy in the head would stop a script as well; it is taken out, so that escaping stands alone."""
    text = cs.string() - cs.by_name("evidence", require_all=False)  # a word of ours
    tables = {
        name: rows.with_columns(pl.when(text.is_not_null()).then(pl.lit(HOSTILE)).name.keep())
        for name, rows in invented().items()
    }
    garden = Garden(HOSTILE, GARDEN.as_of, GARDEN.season_from, GARDEN.season_to, GARDEN.plan_from, GARDEN.plan_to)
    html = shared_page(garden, tables, [HOSTILE])
    bare = html.replace("default-src 'none'; style-src 'unsafe-inline'; img-src data:", "")
    assert bare != html
    file = tmp_path / "hostile.html"
    file.write_text(bare, encoding="utf-8")
    page, seen = opened(file)
    page.wait_for_timeout(200)
    assert page.title().startswith(HOSTILE)
    assert page.evaluate("document.scripts.length + document.images.length") == 0
    assert [entry for entry in seen if not entry.startswith("request: data:")] == own(file)


@pytest.mark.browser
def test_the_report_prints_with_every_part_and_no_chart_cut(opened: Window) -> None:
    page, _ = opened(shared_report())
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 688, "height": 1009})
    assert page.get_by_role("heading", level=2).count() == 8
    assert not page.get_by_role("navigation").is_visible()
    heights = page.evaluate("[...document.querySelectorAll('figure')].map(f => f.getBoundingClientRect().height)")
    assert max(heights) < 1009, "a figure higher than an A4 page (182 by 267 mm at 96 dots an inch) must be cut"
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")


@pytest.mark.browser
def test_letters_of_charts_are_11_pixels_or_more_on_a_telephone(opened: Window) -> None:
    page, _ = opened(shared_report(), 360)
    heights = page.evaluate(
        """[...document.querySelectorAll('svg text')].map(t => parseFloat(t.getAttribute('font-size'))
           * t.ownerSVGElement.getBoundingClientRect().width / t.ownerSVGElement.viewBox.baseVal.width)"""
    )
    assert len(heights) > 60
    assert min(heights) >= 11


@pytest.mark.browser
def test_first_paint_is_measured(opened: Window) -> None:
    """Printed and not asserted: a shared machine paints when it can."""
    times = []
    for _ in range(3):
        page, _ = opened(shared_report())
        times.append(first_paint(page))
    size = shared_report().stat().st_size
    print(f"first contentful paint {sorted(times)[1]:.0f} ms (middle of 3); page {size / 1000:.0f} kB")
    assert size < 2_000_000
