"""The season review as HTML: what it says, in which order, and that no log can write markup into it."""

from __future__ import annotations

import base64
import csv
import dataclasses
import datetime as dt
import io
import itertools
import re
from collections import Counter
from html import escape
from html.parser import HTMLParser
from importlib import resources

import icalendar
import polars as pl
import pytest
from invented_answers import AS_OF, FINDINGS, GARDEN, NOTES, answers, empty_answers, frame, review_html

from reports.page import review_page
from reports.words import NBSP
from schemas.logs import LOGS
from schemas.page import Finding, Garden

HOSTILE = "</script><script>document.title='x'</script><img src=x onerror=alert(1)>\" onload=\"x"
VOID = {"meta", "link", "br", "img", "hr", "input"}


class Outline(HTMLParser):
    """Elements of a page in order, and that each is closed."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """Attributes of every element of one tag."""
        return [attributes for name, attributes in self.elements if name == tag]


@pytest.fixture(scope="module")
def page() -> str:
    return review_html()


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leaves the pictures out, for tests of what stands around them: drawing is most of the time of a page."""
    monkeypatch.setattr(
        "reports.blocks.to_svg", lambda _chart, name, _slug: f'<svg role="img" aria-label="{escape(name)}"></svg>'
    )


@pytest.fixture(scope="module")
def outline(page: str) -> Outline:
    return Outline(page)


@pytest.fixture(scope="module")
def text(page: str) -> str:
    """What a reader reads, on one line, with ordinary spaces."""
    body = re.sub(r"<svg.*?</svg>|<style>.*?</style>", " ", page, flags=re.DOTALL)
    plain = re.sub(r"<[^>]+>", " ", body).replace("&#39;", "'").replace("&amp;", "&").replace(NBSP, " ")
    return re.sub(r"\s+", " ", plain)


def test_every_element_is_closed_and_every_id_is_its_own(outline: Outline) -> None:
    assert outline.open == []
    ids = Counter(a["id"] for _, a in outline.elements if "id" in a)
    assert [name for name, times in ids.items() if times > 1] == []


def test_every_reference_inside_the_page_has_its_target(outline: Outline) -> None:
    ids = {a["id"] for _, a in outline.elements if "id" in a}
    assert {a["aria-labelledby"] for _, a in outline.elements if "aria-labelledby" in a} <= ids
    links = {(a["href"] or "")[1:] for a in outline.all("a") if (a["href"] or "").startswith("#")}
    assert links <= ids


def test_the_page_reads_from_top_to_bottom_in_the_order_of_a_decision(outline: Outline) -> None:
    headings = [a["id"] for a in outline.all("h2")]
    assert headings == [
        "season", "next", "kept", "harvest", "shelf", "plan", "trials", "cautions", "problems", "methods",
    ]  # fmt: skip


def test_there_is_one_h1_and_no_level_is_skipped(outline: Outline) -> None:
    levels = [int(tag[1]) for tag, _ in outline.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


def test_the_page_has_language_viewport_landmarks_and_a_skip_link(outline: Outline) -> None:
    assert outline.all("html") == [{"lang": "en"}]
    assert {"name": "viewport", "content": "width=device-width, initial-scale=1"} in outline.all("meta")
    assert all(len(outline.all(tag)) == 1 for tag in ("header", "main", "footer", "nav"))
    assert outline.all("a")[0]["href"] == "#content"


def test_every_table_has_a_caption_and_scopes_in_a_region_a_keyboard_reaches(outline: Outline) -> None:
    assert len(outline.all("table")) == len(outline.all("caption")) > 10
    assert all(a.get("scope") in {"col", "row"} for a in outline.all("th"))
    regions = [a for a in outline.all("div") if (a.get("class") or "").startswith("scroll")]
    assert len(regions) == len(outline.all("table"))
    assert all(a["tabindex"] == "0" and a["role"] == "region" and a["aria-labelledby"] for a in regions)


def test_every_chart_is_a_named_picture_in_a_figure_with_its_table(page: str, outline: Outline) -> None:
    pictures = outline.all("svg")
    assert len(pictures) == len(outline.all("figure")) == len(outline.all("figcaption")) == 9
    assert all(a["role"] == "img" and (a["aria-label"] or "").startswith("Chart: ") for a in pictures)
    for after in page.split("</figure>")[1:]:
        assert re.match(r"\s*(<details|<div class=\"scroll)", after)


def test_the_page_loads_nothing_and_runs_nothing(page: str, outline: Outline) -> None:
    assert not {"script", "iframe", "object", "embed", "img", "video", "audio", "form"} & {
        t for t, _ in outline.elements
    }
    assert not [name for _, a in outline.elements for name in a if name.startswith("on")]
    links = [a.get(name) or "" for _, a in outline.elements for name in ("href", "src") if a.get(name)]
    assert all(link.startswith(("#", "data:")) for link in links)
    assert "@import" not in page
    assert not re.findall(r"url\((?!#)", page)
    (policy,) = [a["content"] for a in outline.all("meta") if a.get("http-equiv") == "Content-Security-Policy"]
    assert policy == "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def test_the_page_is_small_enough_to_send(page: str) -> None:
    assert len(page.encode()) < 1_000_000


def test_the_season_comes_first_in_a_few_sentences_with_numbers(text: str) -> None:
    start = text.index("The season in short You picked 408 kg of 12 crops")
    assert start < text.index("What to do next Courgettes lost 21 kg")


def test_actions_are_ranked_by_weight_and_say_how_sure_they_are(text: str) -> None:
    part = text[text.index("What to do next Courgettes") :]
    actions = [part.index(f.action) for f in sorted(FINDINGS, key=lambda f: -f.weight) if f.action]
    assert actions == sorted(actions)
    assert "above it 10 of 182. \u25cf\u25cf\u25cb Evidence: thin (a hint, not proof). Weigh salt to 2.5 %" in part


def test_a_sentence_stands_once(text: str) -> None:
    for finding in FINDINGS:
        assert text.count(finding.sentence) == 1


@pytest.mark.usefixtures("undrawn")
def test_the_standing_caution_is_there_with_and_without_cautions(text: str) -> None:
    standing = (
        "Follow a tested recipe from your food-safety authority; local rules and qualified advice come first. "
        "Nothing on this page says that a jar may be eaten."
    )
    assert standing in text
    without = review_page(GARDEN, [], answers() | {"cautions": empty_answers()["cautions"]}, [])
    assert standing in re.sub(r"\s+", " ", without)
    assert "No logged batch broke a limit that is checked here." in without


def test_a_caution_says_what_to_do_the_limit_its_source_and_what_was_found(text: str) -> None:
    assert (
        "Serious: salt of a ferment, 1 batch. Look at every jar before use; follow a tested recipe next time. "
        "The limit: a figure invented for this test (invented for this test; from memory). "
        "Found: 1.4 % salt of all: K-4."
    ) in text


@pytest.mark.usefixtures("undrawn")
def test_a_limit_that_several_batches_break_is_told_once_and_serious_ones_come_first() -> None:
    row = {"limit": "4.6", "source": "invented", "read_as": "from memory", "message": "Measure."}
    rows = [
        row | {"batch_id": "A", "severity": "caution", "rule": "ph_missing", "found": "no pH"},
        row | {"batch_id": "B", "severity": "caution", "rule": "ph_missing", "found": "no pH"},
        row | {"batch_id": "C", "severity": "caution", "rule": "ph_missing", "found": "5.1"},
        row | {"batch_id": "D", "severity": "serious", "rule": "bulging", "found": "bulging"},
    ]
    page = review_page(GARDEN, [], answers() | {"cautions": frame("cautions", rows)}, []).replace(NBSP, " ")
    assert page.count("ph missing, 3 batches.") == 1
    assert "Found: no pH: A, B; 5.1: C." in page
    assert page.index("Serious: bulging") < page.index("Caution: ph missing")


@pytest.mark.usefixtures("undrawn")
def test_what_a_row_leaves_open_is_not_lost() -> None:
    tables = empty_answers() | {
        "cautions": frame("cautions", [{"batch_id": "A", "severity": "serious", "rule": "bulging"}]),
        "problems": frame("problems", [{"level": "error", "message": "no log was found"}]),
        "sowing_plan": frame("sowing_plan", [{"crop": "garlic", "sow_on": dt.date(2026, 10, 20), "amount": 40.0}]),
    }
    page = review_page(GARDEN, [], tables, []).replace(NBSP, " ")
    assert "Found: not known: A." in page
    assert "the folder: 1 error" in page
    assert "<strong>20 Oct:</strong> garlic, 40</li>" in page


def test_each_sowing_is_a_line_under_its_month(text: str) -> None:
    assert "Sow in Mar 2027 20 Mar: lettuce, 12 plants; plant out 13 Apr; pick 4 Jun to 18 Jun" in text
    assert "Sow in Apr 2027 1 Apr: carrot, 3.5 m; pick 25 Jun to 14 Aug" in text


@pytest.mark.parametrize("grouping", ["salt_band", "method, salt_band", "salt_band, salt_basis"])
@pytest.mark.usefixtures("undrawn")
def test_salt_levels_are_found_under_any_grouping_that_holds_them(grouping: str) -> None:
    spoilage = answers()["spoilage"].with_columns(pl.col("grouping").replace("salt_band", grouping))
    page = review_page(GARDEN, [], {"spoilage": spoilage}, [])
    assert page.count("What spoiled, by salt level") > 0
    assert "What spoiled, by salt band" not in page


@pytest.mark.usefixtures("undrawn")
def test_the_salt_picture_says_the_published_limit_and_where_it_is_from() -> None:
    page = review_page(GARDEN, [], answers(), []).replace(NBSP, " ")
    assert "Share with no spoilage found by 12 months, by salt level" in page
    assert "Published, in brine, salt of all that is in the jar: 2 % (an invented standard). For other food" in page
    assert "The grey part lies below what is published and is no advice" in page
    assert "Share lost so far, by salt level" not in page
    # As long as no level was followed for 12 months, what each lost so far is drawn.
    young = answers()["salt_levels"].with_columns(kept_12m=pl.lit(None, pl.Float64))
    page = review_page(GARDEN, [], answers() | {"salt_levels": young}, [])
    assert "Share lost so far, by salt level" in page
    assert "Share with no spoilage found by 12 months, by salt level" not in page


@pytest.mark.usefixtures("undrawn")
def test_makes_are_compared_on_liking_firmness_and_losses_where_they_were_scored() -> None:
    whole = review_page(GARDEN, [], answers(), []).replace(NBSP, " ")
    liking, firmness, losses = (
        f"Makes compared: {what}" for what in ("which was liked", "which was firmer", "what each")
    )
    assert whole.index(liking) < whole.index(firmness) < whole.index(losses)
    unscored = answers()["trials"].with_columns(mean_firmness=pl.lit(None, pl.Float64))
    page = review_page(GARDEN, [], answers() | {"trials": unscored}, [])
    assert firmness not in page
    assert losses in page


def test_no_jar_is_called_safe(text: str) -> None:
    assert re.findall(r"(?i)\bsafe\b", text) == []


def test_problems_are_grouped_by_file_with_counts(text: str) -> None:
    assert "harvests.csv: 3 errors, 1 warning" in text
    assert "Line 17, weight, \u201c1.2\u201d: a weight needs its unit: write for example 1.2 kg" in text
    assert "did you mean kohlrabi? (warning; the row was taken)" in text


@pytest.mark.usefixtures("undrawn")
def test_of_many_problems_the_first_200_are_shown_and_the_file_named() -> None:
    row = {"file": "a.csv", "column": "crop", "value": "x", "rule": "r", "level": "error", "message": "m"}
    many = frame("problems", [row | {"line": line} for line in range(2, 352)])
    shown = review_page(GARDEN, [], answers() | {"problems": many}, [])
    assert shown.count("<strong>Line ") == 200
    assert "The first 200 of 350 follow; tables/problems.csv has all." in shown
    assert f"a.csv: 350{NBSP}errors" in shown


def test_every_method_names_its_source(text: str) -> None:
    assert "Kaplan and Meier 1958" in text
    assert "Aalen and Johansen 1978" in text
    assert "Wilson (1927" in text
    assert "Baskerville and Emin 1969" in text
    assert "Wong (2011" in text
    assert NOTES[0] in text


@pytest.mark.usefixtures("undrawn")
def test_invented_data_is_said_to_be_invented(page: str) -> None:
    real = dataclasses.replace(GARDEN, invented=False)
    assert "Invented data." in page
    assert "Invented data." not in review_page(real, FINDINGS, answers(), NOTES)


def test_rows_saved_from_the_page_are_those_of_the_table_to_the_last_digit(outline: Outline) -> None:
    links = {a["download"]: a["href"] or "" for a in outline.all("a") if "download" in a}
    saved = base64.b64decode(links["plan_comparison.csv"].split("base64,")[1]).decode()
    rows = list(csv.DictReader(io.StringIO(saved, newline="")))
    assert [float(row["wasted_kg"]) for row in rows] == answers()["plan_comparison"]["wasted_kg"].to_list()


def test_the_calendar_saved_from_the_page_has_every_sowing(outline: Outline) -> None:
    (link,) = [a["href"] or "" for a in outline.all("a") if a.get("download") == "sowings.ics"]
    events = icalendar.Calendar.from_ical(base64.b64decode(link.split("base64,")[1])).walk("VEVENT")
    sown = [event for event in events if str(event["summary"]).startswith("Sow ")]
    assert len(sown) == answers()["sowing_plan"].height


@pytest.mark.usefixtures("undrawn")
def test_a_hostile_log_writes_no_markup() -> None:
    tables = {
        name: rows.with_columns(pl.when(pl.col(pl.String).is_null()).then(None).otherwise(pl.lit(HOSTILE)).name.keep())
        for name, rows in answers().items()
    }
    garden = Garden(HOSTILE, AS_OF, GARDEN.season_from, GARDEN.season_to, GARDEN.plan_from, GARDEN.plan_to)
    findings = [Finding(f.section, HOSTILE, HOSTILE, HOSTILE, f.weight) for f in FINDINGS]
    page = review_page(garden, findings, tables, [HOSTILE])
    outline = Outline(page)
    assert "<script" not in page
    assert not {"script", "img"} & {tag for tag, _ in outline.elements}
    assert not [name for _, a in outline.elements for name in a if name.startswith("on")]
    assert outline.open == []


def test_an_empty_folder_gets_a_page_that_says_what_to_log_first() -> None:
    page = review_page(GARDEN, [], empty_answers(), [])
    order = [page.index(line) for line in (
        "picked_on,crop,weight",
        "batch_id,made_on,method,crop,containers,produce,salt,water",
        "found_on,batch_id,containers,cause",
        "sowing_id,sown_on,crop,amount",
    )]  # fmt: skip
    assert order == sorted(order)
    assert [a["id"] for a in Outline(page).all("h2")] == ["first"]
    assert "<svg" not in page
    assert "<table" not in page
    assert page == review_page(GARDEN, [], {}, [])


def test_the_header_lines_of_the_first_page_are_columns_of_the_logs() -> None:
    page = review_page(GARDEN, [], {}, [])
    lines = re.findall(r'aria-label="First line of (\w+)\.csv"><code>([^<]+)</code>', page)
    assert len(lines) == 4
    for log, line in lines:
        columns = line.split(",")
        known = {column.name for column in LOGS[log].columns}
        required = {column.name for column in LOGS[log].columns if column.required}
        assert required <= set(columns) <= known


def test_a_folder_whose_every_row_was_set_aside_shows_why() -> None:
    tables = empty_answers() | {name: answers()[name] for name in ("load_summary", "problems")}
    page = review_page(GARDEN, [], tables, [])
    assert [a["id"] for a in Outline(page).all("h2")] == ["first", "problems"]
    assert "a weight needs its unit" in page


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(
    "missing",
    [
        ("spoilage", "load_summary"),
        ("glut_waste", "cautions"),
        ("yields", "glut_weeks", "sowing_plan"),
        ("shelf", "harvest_outlook", "plan_comparison"),
        ("use_first", "keeping_curves", "salt_response", "spoilage_causes", "trials"),
        ("needs", "crop_timing", "sowing_waste", "problems"),
    ],
)
def test_a_page_without_some_of_its_answers_still_reads(missing: tuple[str, ...]) -> None:
    tables = {name: rows.clear() if name in missing else rows.head(3) for name, rows in answers().items()}
    outline = Outline(review_page(GARDEN, [], tables, []))
    assert outline.open == []
    assert len(outline.all("h2")) >= 9


def test_numbers_that_are_not_finite_read_as_not_known() -> None:
    nan = pl.lit(float("nan"))
    tables = {
        name: rows.head(2).with_columns(nan.alias(c) for c, kind in rows.schema.items() if kind == pl.Float64)
        for name, rows in answers().items()
    }
    page = review_page(GARDEN, [], tables, [])
    assert not re.findall(r">\s*(nan|NaN|inf)\b", page)


@pytest.mark.usefixtures("undrawn")
def test_a_season_across_new_year_names_both_years() -> None:
    days = (dt.date(2026, 8, 1), dt.date(2025, 7, 1), dt.date(2026, 6, 30))
    south = Garden("South", *days, plan_from=dt.date(2026, 7, 1), plan_to=dt.date(2027, 6, 30))
    page = review_page(south, [], answers(), []).replace(NBSP, " ")
    assert "1 Jul 2025 to 30 Jun 2026" in page
    assert "The plan for 1 Jul 2026 to 30 Jun 2027" in page


def palette(css: str, start: str) -> dict[str, str]:
    """Colours set in the rule that follows ``start``."""
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", css[css.index(start) :].split("}", maxsplit=1)[0]))


def contrast(one: str, other: str) -> float:
    """Contrast of two colours by WCAG 2.2, section 1.4.3."""

    def light(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    high, low = sorted((light(one), light(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_21_for_black_on_white_as_in_wcag() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("start", [":root {", "(prefers-color-scheme: dark)"])
def test_letters_have_the_contrast_of_wcag_aa_in_light_and_dark(start: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text."""
    css = resources.files("reports").joinpath("templates/review.css").read_text("utf-8")
    colours = palette(css, start)
    for ink in ("ink", "soft", "accent"):
        assert contrast(colours[ink], colours["ground"]) >= 4.5
        assert contrast(colours[ink], colours["sheet"]) >= 4.5
    assert contrast(colours["note-ink"], colours["note"]) >= 4.5
