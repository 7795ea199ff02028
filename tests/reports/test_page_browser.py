"""The season review in a real browser: headless Chromium, without network."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
import polars.selectors as cs
import pytest
from headless import Window, first_paint, own
from invented_answers import AS_OF, CROPS, GARDEN, answers, empty_answers, review_html

from reports.page import review_page
from schemas.page import Finding, Garden

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

OPEN_ALL = "document.querySelectorAll('details').forEach(d => d.open = true)"
LETTUCE = "xpath=./li[contains(., 'lettuce')]"

HOSTILE = "</script><script>document.title='x'</script><img src=http://a.invalid/x onerror=\"document.title='x'\">"


@pytest.fixture(scope="module")
def review(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("review") / "index.html"
    file.write_text(review_html(), encoding="utf-8")
    return file


def test_the_page_opens_without_network_and_complains_of_nothing(opened: Window, review: Path) -> None:
    page, seen = opened(review)
    page.wait_for_timeout(200)
    assert [entry for entry in seen if not entry.startswith("request: data:")] == own(review)
    assert page.title() == "Invented garden on a made-up island: season review, 1\u00a0Jan to 31\u00a0Dec\u00a02026"


@pytest.mark.parametrize("width", [320, 360, 1280])
def test_no_part_of_the_page_sticks_out_sideways(opened: Window, review: Path, width: int) -> None:
    """WCAG 2.2, 1.4.10: at 320 px a page scrolls one way only; wide tables scroll inside their region."""
    page, _ = opened(review, width)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth") == width
    outside = """[...document.querySelectorAll('body *')].filter(e => !e.closest('.scroll, svg, .skip, .unseen')
        && e.getBoundingClientRect().right > innerWidth + 1).map(e => e.tagName + ' ' + e.className)"""
    assert page.evaluate(outside) == []


def test_a_long_word_in_a_log_does_not_widen_the_page(
    opened: Window, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "reports.blocks.to_svg", lambda _chart, name, _slug: f"<svg role='img' aria-label='{name}'></svg>"
    )
    long = pl.lit("x" * 300)
    tables = answers()
    tables["problems"] = tables["problems"].with_columns(value=long, message=long)
    tables["use_first"] = tables["use_first"].with_columns(reason=long, batch_id=long)
    file = tmp_path / "long.html"
    file.write_text(review_page(GARDEN, [Finding("season", "y" * 300)], tables, ["z" * 300]), encoding="utf-8")
    page, _ = opened(file, 320)
    assert page.evaluate("document.documentElement.scrollWidth") == 320


def test_letters_of_charts_are_11_pixels_or_more_on_a_telephone(opened: Window, review: Path) -> None:
    page, _ = opened(review, 360)
    heights = page.evaluate(
        """[...document.querySelectorAll('svg text')].map(t => parseFloat(t.getAttribute('font-size'))
           * t.ownerSVGElement.getBoundingClientRect().width / t.ownerSVGElement.viewBox.baseVal.width)"""
    )
    assert len(heights) > 100
    assert min(heights) >= 11


def test_a_keyboard_reaches_the_content_and_every_table(opened: Window, review: Path) -> None:
    page, _ = opened(review, 360)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    assert page.evaluate("document.activeElement.getBoundingClientRect().left") >= 0
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    stops = page.evaluate("[...document.querySelectorAll('.scroll')].map(region => region.tabIndex)")
    assert len(stops) > 10
    assert set(stops) == {0}
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.closest('details').open") is True
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className").startswith("scroll")


def test_a_reader_without_eyes_hears_each_chart_by_one_name(opened: Window, review: Path) -> None:
    page, _ = opened(review)
    names = [picture.get_attribute("aria-label") for picture in page.get_by_role("img").all()]
    assert len(names) == 9
    assert len(set(names)) == 9
    assert names[0] is not None
    assert names[0].startswith("Chart: Share lost so far, by way of keeping.")


def test_every_hatch_is_found_by_its_bar(opened: Window, review: Path) -> None:
    page, _ = opened(review)
    missing = """[...document.querySelectorAll('svg [fill^="url("]')]
        .filter(e => !document.getElementById(e.getAttribute('fill').slice(5, -1))).length"""
    assert page.evaluate(missing) == 0
    assert page.evaluate("document.querySelectorAll('svg [fill^=\"url(\"]').length") > 10


def test_the_page_reads_without_javascript(opened: Window, review: Path) -> None:
    page, _ = opened(review, script=False)
    assert page.get_by_role("heading", level=1).inner_text() == GARDEN.name
    assert page.get_by_role("heading", level=2).count() == 10
    assert page.locator("figure svg").first.is_visible()
    page.get_by_text("Table: Balance of each crop").click()
    assert page.get_by_role("rowheader", name="courgette").first.is_visible()


def shown_crops(page: Page) -> set[str]:
    """First cells of the rows in sight of all tables by crop, and the crops of the sowings in sight."""
    rows = page.evaluate(
        """[...document.querySelectorAll('tr[data-c]')].filter(e => e.checkVisibility()).map(e => e.textContent)"""
    )
    items = page.evaluate(
        """[...document.querySelectorAll('li[data-c]')].filter(e => e.checkVisibility()).map(e => e.textContent)"""
    )
    return {crop for crop, _, _ in CROPS if any(crop in text for text in (*rows, *items))}


@pytest.mark.parametrize("script", [True, False])
def test_one_crop_can_be_asked_for_by_keyboard_and_without_script(
    opened: Window, review: Path, *, script: bool
) -> None:
    page, _ = opened(review, script=script)
    page.evaluate(OPEN_ALL)
    everything = page.locator("tr[data-c]").count()
    assert shown_crops(page) == {crop for crop, _, _ in CROPS}
    assert not page.get_by_text("Tables by crop and lists of sowings show").is_visible()
    page.get_by_role("radio", name="every crop").focus()
    for _ in range(7):
        page.keyboard.press("ArrowDown")
    assert page.get_by_role("radio", name="lettuce").is_checked()
    assert shown_crops(page) == {"lettuce"}
    assert (
        page.get_by_text("Tables by crop and lists of sowings show").inner_text()
        == "Tables by crop and lists of sowings show lettuce only. Change"
    )
    assert page.locator("figure svg").first.is_visible()
    lists = page.locator("ul.told:has(> [data-c])")
    assert [one.is_visible() for one in lists.all()] == [one.locator(LETTUCE).count() > 0 for one in lists.all()]
    page.get_by_role("radio", name="every crop").check()
    assert len([row for row in page.locator("tr[data-c]").all() if row.is_visible()]) == everything


def test_paper_gets_every_crop_whatever_is_asked_for(opened: Window, review: Path) -> None:
    page, _ = opened(review)
    page.evaluate(OPEN_ALL)
    page.get_by_role("radio", name="lettuce").check()
    page.emulate_media(media="print")
    assert shown_crops(page) == {crop for crop, _, _ in CROPS}
    assert not page.get_by_text("Tables by crop and lists of sowings show").is_visible()


def test_a_table_without_the_crop_says_so(opened: Window, review: Path) -> None:
    page, _ = opened(review)
    page.evaluate(OPEN_ALL)
    page.get_by_role("radio", name="plum").check()  # a tree: no row in the plan
    told = page.evaluate(
        """[...document.querySelectorAll('.scroll:has([data-c])')]
           .map(e => [e.textContent.includes('plum'), getComputedStyle(e, '::after').content])"""
    )
    assert {found for found, _ in told} == {True, False}
    assert all((said == '"None of this crop."') != found for found, said in told)


def test_pictures_wait_unseen_without_moving_the_page(opened: Window, review: Path) -> None:
    """They are drawn when they come into sight; their place is kept, so that a link still leads to its part."""
    page, _ = opened(review)
    page.evaluate("document.documentElement.style.scrollBehavior = 'auto'")
    before = page.evaluate("document.documentElement.scrollHeight")
    page.get_by_role("link", name="How each number was made").click()
    assert abs(page.evaluate("document.getElementById('methods').getBoundingClientRect().top")) < 60
    for at in range(0, before, 700):
        page.evaluate(f"scrollTo(0, {at})")
    assert page.evaluate("document.documentElement.scrollHeight") == before


def test_dark_keeps_charts_on_a_light_card(opened: Window, review: Path) -> None:
    page, _ = opened(review, dark=True)
    ground = "getComputedStyle(document.querySelector('{}')).backgroundColor"
    assert page.evaluate(ground.format(".chart")) == "rgb(255, 255, 255)"
    assert page.evaluate(ground.format("body")) == "rgb(20, 26, 24)"


def test_hostile_names_do_not_run_even_without_the_page_s_policy(opened: Window, tmp_path: Path) -> None:
    """The policy in the head would stop a script as well; it is taken out, so that escaping stands alone."""
    text = cs.string() - cs.ends_with("evidence")  # a word of ours
    tables = {
        name: rows.with_columns(pl.when(text.is_not_null()).then(pl.lit(HOSTILE)).name.keep())
        for name, rows in answers().items()
    }
    other = tables["glut_waste"].with_columns(crop=pl.lit(f"{HOSTILE} body {{ display: none }}"))
    tables["glut_waste"] = pl.concat([tables["glut_waste"], other])  # with a second crop one can be asked for
    garden = Garden(HOSTILE, AS_OF, GARDEN.season_from, GARDEN.season_to, GARDEN.plan_from, GARDEN.plan_to)
    html = review_page(garden, [Finding("season", HOSTILE, HOSTILE, HOSTILE)], tables, [HOSTILE])
    bare = html.replace("default-src 'none'; style-src 'unsafe-inline'; img-src data:", "")
    assert bare != html
    file = tmp_path / "hostile.html"
    file.write_text(bare, encoding="utf-8")
    page, seen = opened(file)
    page.wait_for_timeout(200)
    assert page.title().startswith(HOSTILE)
    assert page.evaluate("document.scripts.length + document.images.length") == 0
    page.get_by_text("Show one crop").click()
    page.get_by_role("radio").last.check()
    assert page.get_by_role("heading", level=1).is_visible()
    assert "only-2" in page.evaluate("document.querySelector('input:checked').id")
    assert [entry for entry in seen if not entry.startswith("request: data:")] == own(file)


def test_the_page_prints_with_every_part(opened: Window, review: Path) -> None:
    page, _ = opened(review)
    page.emulate_media(media="print")
    assert page.get_by_role("heading", level=2).count() == 10
    assert not page.get_by_role("navigation").is_visible()
    printed = page.locator("details.printed table")
    assert printed.count() >= 5
    assert all(table.is_visible() for table in printed.all())
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    pdf = page.pdf(prefer_css_page_size=True)
    assert pdf.startswith(b"%PDF")
    pages = pdf.count(b"/Type /Page\n")
    assert 5 <= pages <= 30


def test_no_chart_is_cut_by_a_page_end(opened: Window, review: Path) -> None:
    page, _ = opened(review)
    page.emulate_media(media="print")
    breaks = page.evaluate("[...document.querySelectorAll('figure')].map(f => getComputedStyle(f).breakInside)")
    assert set(breaks) == {"avoid"}
    page.set_viewport_size({"width": 688, "height": 1009})
    heights = page.evaluate("[...document.querySelectorAll('figure')].map(f => f.getBoundingClientRect().height)")
    assert max(heights) < 1009, "a figure higher than an A4 page (182 by 267 mm at 96 dots an inch) must be cut"


def test_an_empty_folder_s_page_opens_too(opened: Window, tmp_path: Path) -> None:
    file = tmp_path / "empty.html"
    file.write_text(review_page(GARDEN, [], empty_answers(), []), encoding="utf-8")
    page, seen = opened(file, 320)
    assert [entry for entry in seen if not entry.startswith("request: data:")] == own(file)
    assert page.evaluate("document.documentElement.scrollWidth") == 320
    assert page.get_by_text("picked_on,crop,weight").is_visible()


def test_first_paint_is_measured(opened: Window, review: Path) -> None:
    """Printed and not asserted: a shared machine paints when it can."""
    times = []
    for _ in range(3):
        page, _ = opened(review)
        times.append(first_paint(page))
    size = review.stat().st_size
    print(f"first contentful paint {sorted(times)[1]:.0f} ms (middle of 3); page {size / 1000:.0f} kB")
    assert min(times) > 0
