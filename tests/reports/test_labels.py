"""Batch labels: what they say, and in a real browser whether they fit, are large enough, and can be scanned."""

from __future__ import annotations

import datetime as dt
import io
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import polars as pl
import pytest
import zxingcpp
from PIL import Image

from reports.labels import LONGEST_CODE, MORE, SHEETS, label_sheet

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

TYPES = {
    "batch_id": pl.String,
    "crop": pl.String,
    "method": pl.String,
    "made_on": pl.Date,
    "containers": pl.Int64,
    "salt_pct": pl.Float64,
    "salt_basis": pl.String,
    "produce_kg": pl.Float64,
    "sweetener": pl.String,
    "sweetener_kg": pl.Float64,
    "ph": pl.Float64,
    "ready_from": pl.Date,
    "ready_to": pl.Date,
    "ready_source": pl.String,
    "look_on": pl.Date,
    "look_every_days": pl.Int64,
    "best_by": pl.Date,
    "quality_months": pl.Float64,
    "broken": pl.List(pl.String),
    "warnings": pl.List(pl.String),
    "cautions": pl.Int64,
}
KRAUT: dict[str, Any] = {
    "batch_id": "K26-001",
    "crop": "cabbage",
    "method": "ferment",
    "made_on": dt.date(2026, 12, 1),
    "salt_pct": 2.25,
    "salt_basis": "of produce",
    "ready_from": dt.date(2026, 12, 22),
    "ready_to": dt.date(2027, 1, 12),
    "ready_source": "an invented source",
    "look_on": dt.date(2026, 12, 4),
    "look_every_days": 3,
    "best_by": dt.date(2027, 2, 12),
    "quality_months": 1.0,
}
JAM: dict[str, Any] = {
    "batch_id": "J26-014",
    "crop": "plum",
    "method": "jam",
    "made_on": dt.date(2026, 8, 30),
    "produce_kg": 3.0,
    "sweetener": "honey",
    "sweetener_kg": 2.6,
    "best_by": dt.date(2027, 8, 30),
    "quality_months": 12.0,
    "warnings": ["no honey for children under 1 year"],
    "cautions": 2,
}
# As much as a label can be asked to say.
FULLEST: dict[str, Any] = (
    KRAUT
    | JAM
    | {
        "batch_id": "the third crock from the left, made by the two of us in late autumn, number 12",
        "crop": "brussels sprout with winter radish, dill seed, horseradish leaves and a clove of garlic each",
        "method": "ferment",
        "warnings": ["garlic, herbs or vegetables in oil: never at room temperature; at most 4 days refrigerated"] * 3,
        "ready_source": "a long name of an invented source, with its year and its page; " * 4,
        "look_on": dt.date(2026, 12, 24),
    }
)


def labels(*rows: dict[str, Any]) -> pl.DataFrame:
    plain = dict.fromkeys(TYPES) | {"containers": 1, "broken": [], "warnings": [], "cautions": 0}
    return pl.DataFrame([plain | row for row in rows], schema=TYPES)


def words(html: str) -> str:
    body = re.sub(r"<style>.*?</style>|<svg.*?</svg>", "", html, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", body).replace("\u00a0", " ").split())


def test_a_ferment_says_salt_ready_look_best_by_and_leaves_room_for_its_ph() -> None:
    said = words(label_sheet(labels(KRAUT), garden_name="Invented garden"))
    assert "K26-001 Cabbage, fermented made 1 Dec 2026 salt 2.25 % of produce pH ____" in said
    assert "ready in taste 22 Dec 2026 to 12 Jan 2027 look 4 Dec 2026 every 3 days best by 12 Feb 2027 1 month" in said
    assert "No date says that it may be eaten. Invented garden. Ready by: an invented source." in said
    assert "pH 3.6" in words(label_sheet(labels(KRAUT | {"ph": 3.6})))


def test_jam_says_its_sweetener_and_what_must_stand_on_the_label() -> None:
    said = words(label_sheet(labels(JAM)))
    assert "Plum jam made 30 Aug 2026 honey 2.6 kg for 3 kg best by 30 Aug 2027 12 months" in said
    assert "Limits: no honey for children under 1 year. 2 cautions in the review" in said


@pytest.mark.parametrize(
    ("row", "line"),
    [
        ({"method": "dry", "crop": "pear"}, "Pear, dried made"),
        ({"method": "cure", "crop": "pumpkin"}, "Pumpkin, kept whole made"),
        (
            {
                "method": "pickle",
                "crop": "beetroot",
                "ready_from": dt.date(2026, 9, 1),
                "ready_to": dt.date(2026, 9, 1),
            },
            "Beetroot, in vinegar made 30 Aug 2026 ready in taste 1 Sep 2026 No date",
        ),
        (
            {"method": "pickle", "crop": "leek", "ready_from": dt.date(2026, 9, 3), "ready_to": dt.date(2026, 9, 6)},
            "ready in taste 3 Sep to 6 Sep 2026",
        ),
        ({"method": "ferment", "crop": "turnip"}, "Turnip, fermented made 30 Aug 2026 pH ____ No date"),
        ({"method": "jam", "crop": "fig", "sweetener": "other"}, "made 30 Aug 2026 with sweetener No date"),
        ({"method": "jam", "crop": "fig", "sweetener": "none"}, "made 30 Aug 2026 No date"),
        ({"method": "jam", "crop": "fig", "sweetener": "sugar", "sweetener_kg": 1.0}, "sugar 1 kg No date"),
        ({"method": "other", "crop": "mint", "cautions": 1}, "made 30 Aug 2026 1 caution in the review No date"),
    ],
)
def test_only_what_is_known_is_said(row: dict[str, Any], line: str) -> None:
    base = {"batch_id": "b", "made_on": dt.date(2026, 8, 30)}
    assert line in words(label_sheet(labels(base | row)))


def test_one_label_for_each_container_or_each_batch() -> None:
    frame = labels(KRAUT | {"containers": 3}, JAM)
    each = label_sheet(frame)
    assert [copy for copy in ("1 of 3", "2 of 3", "3 of 3") if copy in words(each)] == ["1 of 3", "2 of 3", "3 of 3"]
    assert each.count("<article") == 4
    assert label_sheet(frame, per_container=False).count("<article") == 2


@pytest.mark.parametrize(("count", "skip", "sheets"), [(10, 0, 1), (11, 0, 2), (10, 1, 2), (1, 9, 1)])
def test_sheets_fill_up_in_order_after_the_places_skipped(count: int, skip: int, sheets: int) -> None:
    html = label_sheet(labels(JAM | {"containers": count}), skip=skip)
    assert html.count('<section class="sheet">') == sheets
    assert html.count('<div class="label"></div>') == skip


def test_nothing_on_hand_is_said_and_no_sheet_is_made() -> None:
    html = label_sheet(labels(), skip=3)
    assert "nothing to label" in html
    assert "<section" not in html


def test_wrong_paper_and_places_are_refused() -> None:
    with pytest.raises(ValueError, match="sheet 'a5': one of a4, letter"):
        label_sheet(labels(JAM), sheet="a5")
    with pytest.raises(ValueError, match="skip 10: a sheet has 10 places"):
        label_sheet(labels(JAM), skip=10)


def test_nothing_from_a_log_is_run_or_loaded() -> None:
    hostile = "</script><script>x</script><img src=http://a.invalid/x onerror=x>&"
    row = KRAUT | {"batch_id": hostile, "crop": hostile, "ready_source": hostile, "warnings": [hostile]}
    html = label_sheet(labels(row), garden_name=hostile)
    assert "<script" not in html
    assert "<img" not in html
    assert "://" not in re.sub(r"http://(www\.w3\.org/2000/svg|a\.invalid)", "", html)


def test_an_id_too_long_to_be_read_back_gets_no_code() -> None:
    assert "<svg" not in label_sheet(labels(JAM | {"batch_id": "x" * (LONGEST_CODE + 1)}))
    assert "<svg" in label_sheet(labels(JAM | {"batch_id": "x" * LONGEST_CODE}))


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    # Twice the screen's 96 dots per inch: less than any printer.
    context = browser.new_context(device_scale_factor=2, viewport={"width": 850, "height": 1200})
    yield context.new_page()
    context.close()


def printed(page: Page, html: str) -> Page:
    page.set_content(html)
    page.emulate_media(media="print")
    return page


def scanned(page: Page) -> list[str]:
    image = Image.open(io.BytesIO(page.locator(".sheet").first.screenshot()))
    found = zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode)
    return sorted(code.text for code in found)


@pytest.mark.browser
@pytest.mark.parametrize("sheet", list(SHEETS))
def test_every_code_of_a_printed_sheet_reads_back_as_its_batch(page: Page, sheet: str) -> None:
    ids = [
        "K26-001",
        "J26-014",
        "b",
        "Crock 7 / 2026",
        "mårmelad-å",
        "大根-12",
        "#=+-@",
        "A" * 40,
        FULLEST["batch_id"],
        "9",
    ]
    printed(page, label_sheet(labels(*({**JAM, "batch_id": name} for name in ids)), sheet=sheet))
    assert scanned(page) == sorted(ids)


@pytest.mark.browser
def test_a_long_id_reads_back(page: Page) -> None:
    name = "".join(chr(33 + place % 90) for place in range(LONGEST_CODE))
    printed(page, label_sheet(labels(JAM | {"batch_id": name})))
    assert scanned(page) == [name]


INSIDE = """() => [...document.querySelectorAll('.label')].flatMap(label => {
  const box = label.getBoundingClientRect();
  return [...label.querySelectorAll('h2, dd, dt, .batch, .copy, .code, .limits, .cautions, .source')].filter(part => {
    const one = part.getBoundingClientRect();
    return one.left < box.left - 1 || one.right > box.right + 1 || one.top < box.top - 1 || one.bottom > box.bottom + 1;
  }).map(part => part.className || part.tagName);
})"""
APART = """() => [...document.querySelectorAll('.told')].filter(told => {
  const parts = [...told.children].map(part => part.getBoundingClientRect());
  return parts.some((part, place) => place > 0 && part.top < parts[place - 1].bottom - 1);
}).length"""


@pytest.mark.browser
@pytest.mark.parametrize("sheet", list(SHEETS))
@pytest.mark.parametrize("row", [KRAUT, JAM, FULLEST], ids=["kraut", "jam", "fullest"])
def test_everything_stands_inside_its_label_and_nothing_overlaps(page: Page, sheet: str, row: dict[str, Any]) -> None:
    printed(page, label_sheet(labels(*[row | {"containers": 4}]), sheet=sheet, garden_name="Invented garden"))
    assert page.evaluate(INSIDE) == []
    assert page.evaluate(APART) == 0


@pytest.mark.browser
@pytest.mark.parametrize("sheet", list(SHEETS))
def test_what_matters_is_legible_at_arms_length(page: Page, sheet: str) -> None:
    # About 3 mm of capital letter at 60 cm, which is 12 point: common practice, no source.
    printed(page, label_sheet(labels(KRAUT, JAM), sheet=sheet))
    sizes = page.evaluate(
        "() => ['h2', 'dd', '.batch'].map(name => Math.min(...[...document.querySelectorAll(name)]"
        ".map(part => parseFloat(getComputedStyle(part).fontSize) * 0.75)))"
    )
    assert min(sizes) >= 12
    printed(page, label_sheet(labels(FULLEST), sheet=sheet))
    least = page.evaluate("() => parseFloat(getComputedStyle(document.querySelector('dd')).fontSize) * 0.75")
    assert least >= 10


@pytest.mark.browser
@pytest.mark.parametrize(("sheet", "width_mm", "height_mm"), [("a4", 210, 297), ("letter", 215.9, 279.4)])
def test_a_sheet_is_one_page_of_its_paper(page: Page, sheet: str, width_mm: float, height_mm: float) -> None:
    printed(page, label_sheet(labels(JAM | {"containers": 11}), sheet=sheet))
    box = page.locator(".sheet").first.bounding_box()
    assert box is not None
    assert box["width"] == pytest.approx(width_mm * 96 / 25.4, abs=1)
    assert box["height"] == pytest.approx(height_mm * 96 / 25.4, abs=1)
    pdf = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)) == 2


BROKEN = JAM | {
    "method": "ferment",
    "broken": ["pH 5.9, limit 4.6", "bulging, kept; limit: discard if leaking, bulging or swollen"],
    "ready_from": dt.date(2026, 9, 1),
    "ready_to": dt.date(2026, 9, 8),
    "ready_source": "an invented source",
}


def test_a_batch_that_breaks_a_limit_has_no_day_to_be_eaten_on() -> None:
    html = label_sheet(labels(BROKEN))
    said = words(html)
    assert MORE not in html
    assert "Breaks a limit: pH 5.9, limit 4.6. Do not eat; see the review. Also broken: bulging, kept; limit:" in said
    assert "ready" not in said.lower().replace("ready in taste and of good quality", "").replace("ready to", "")
    assert "best by" not in said
    assert "invented source" not in said


def all_limits(html: str) -> str:
    return " ".join(" ".join(re.findall(r'<p class="limits[^"]*">(.*?)</p>', html, flags=re.DOTALL)).split())


@pytest.mark.parametrize("sheet", list(SHEETS))
@pytest.mark.parametrize("count", [1, 5, 12, 60])
def test_no_caution_is_cut_but_goes_on_on_another_label(sheet: str, count: int) -> None:
    broken = [f"caution {number}, garlic in oil in the pantry; limit: never" for number in range(count)]
    html = label_sheet(labels(FULLEST | {"broken": broken}), sheet=sheet)
    assert html.count('<article class="label') == 1
    assert all(f"caution {number}, " in all_limits(html) for number in range(count))
    assert all_limits(html).count("Do not eat; see the review.") == 1
    assert (MORE in html) == ('class="label more"' in html)


@pytest.mark.browser
@pytest.mark.parametrize("sheet", list(SHEETS))
@pytest.mark.parametrize("font", ["DejaVu Sans", "Liberation Sans", "Liberation Serif"])
def test_labels_of_broken_batches_fit_in_usual_fonts(page: Page, sheet: str, font: str) -> None:
    broken = [f"caution {number}, Wermutwürste in oil in the pantry; limit: never" for number in range(14)]
    rows = [BROKEN, FULLEST | {"broken": broken}, JAM | {"broken": ["pH 5.9, limit 4.6"] * 4}, KRAUT]
    html = label_sheet(labels(*rows), sheet=sheet, garden_name="Invented garden")
    printed(page, html.replace('"Liberation Sans", ', f'"{font}", '))
    assert page.evaluate(INSIDE) == []
    assert page.evaluate(APART) == 0
