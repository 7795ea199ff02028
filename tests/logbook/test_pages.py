"""The logbook for the garden gate: a page on a telephone in a real browser, and sheets for a pencil."""

from __future__ import annotations

import re
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from headless import Window, own

from pipeline.cli import main
from reports.logbook_forms import forms
from reports.logbook_page import MOST_BATCHES, log_sheets, logbook_page
from schemas.dictionary import blank_columns
from schemas.logbook import GardenLists
from schemas.logs import ENTRIES, LOGS

if TYPE_CHECKING:
    from playwright.sync_api import Page

Season = Callable[..., Path]
TELEPHONE = 360
HOSTILE = "</script><img src=x onerror=alert(1)>"
LISTS = GardenLists(
    "Up <b>the</b> hill",
    {
        "crop": (("carrot", ""), (HOSTILE, ""), ("=1+1", "")),
        "batch_id": (("B12", "cabbage, kept in salt"), ('"><script>alert(2)</script>', "x")),
        "plot": (("7", ""), ("'onfocus='alert(3)", "")),
    },
)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    file = tmp_path / "logbook.html"
    file.write_text(logbook_page(LISTS), encoding="utf-8")
    return file


def pick(page: Page, entry: str) -> None:
    page.check(f"input[name=kind][value={entry}]", force=True)


def kept(page: Page) -> list[str]:
    return page.locator("#kept .row p").all_inner_texts()


def save(page: Page, log: str, folder: Path) -> Path:
    with page.expect_download() as waiting:
        page.get_by_role("button", name=re.compile(f"^Save {log}")).click()
    file = folder / waiting.value.suggested_filename
    waiting.value.save_as(file)
    return file


@pytest.mark.browser
def test_a_row_is_kept_over_a_reload_and_saved_as_a_log_that_the_folder_reads(
    opened: Window, book: Path, season: Season, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = season(batches="batch_id,made_on,method,crop,containers\nB12,2026-09-18,ferment,cabbage,6\n")
    page, seen = opened(book, TELEPHONE)
    pick(page, "harvest")
    page.fill("#cell-picked_on", "2026-06-18")
    page.fill("#cell-crop", "carrot")
    page.fill("#cell-weight", "1,5")
    page.click("summary")
    page.fill("#cell-note", 'wet, "cold"')
    page.reload()
    assert page.input_value("#cell-note") == 'wet, "cold"', "a row half written is there after a reload"
    page.locator("button.main").click()
    page.fill("#cell-crop", "pea")
    page.fill("#cell-weight", "3 lb 4 oz")
    page.fill("#cell-picked_on", "2026-06-19")
    page.locator("button.main").click()
    pick(page, "use")
    page.fill("#cell-used_on", "2026-11-20")
    page.fill("#cell-batch_id", "B12")
    page.fill("#cell-containers", "2")
    page.locator("button.main").click()
    page.reload()
    assert kept(page) == [
        '2026-06-18, carrot, 1,5 kg, wet, "cold"',
        "2026-06-19, pea, 3 lb 4 oz",
        "2026-11-20, B12, 2",
    ]
    text = page.locator("#text-kept-harvests").input_value()
    harvests, uses = save(page, "harvests", folder), save(page, "consumption", folder)
    assert re.fullmatch(r"harvests-phone-\d{4}-\d\d-\d\d-\d{6}\.csv", harvests.name)
    assert harvests.read_text() == text, "what is copied is what is saved"
    assert uses.read_bytes().startswith(b"used_on,batch_id,crop,containers,weight,use,plot")
    assert kept(page) == []
    assert page.locator("#saved .row").count() == 3
    page.reload()
    assert page.locator("#saved .row").count() == 3
    assert main(["check", str(folder), "--as-of", "2026-11-27"]) == 0
    out = capsys.readouterr().out
    assert f"{harvests.name}: 2 rows = 2 accepted + 0 set aside" in out
    assert f"{uses.name}: 1 row = 1 accepted + 0 set aside" in out
    assert [line for line in seen if line.startswith(("error", "console"))] == []
    assert {line for line in seen if not line.startswith("request: blob")} == set(own(book))


@pytest.mark.browser
def test_every_column_of_every_log_can_be_filled_in(opened: Window, book: Path) -> None:
    page, _ = opened(book, TELEPHONE)
    for entry, log in ENTRIES.items():
        pick(page, entry)
        names = page.eval_on_selector_all("#form [name]", "all => all.map(one => one.name)")
        assert sorted(names) == sorted(column.name for column in LOGS[log].columns)


@pytest.mark.browser
def test_a_link_opens_the_page_at_an_entry_with_cells_filled_in(opened: Window, book: Path) -> None:
    page, _ = opened(book, TELEPHONE)
    for log in ("use", "consumption"):
        page.goto(f"{book.as_uri()}#log=harvest")
        page.goto(f"{book.as_uri()}#log={log}&batch_id=B%2012&containers=1&nothing=x")
        assert page.inner_text("#title") == "Something used"
        assert (page.input_value("#cell-batch_id"), page.input_value("#cell-containers")) == ("B 12", "1")
    page.goto(f"{book.as_uri()}#log=rockets&batch_id=B13")
    assert page.input_value("#cell-batch_id") == "B 12"


@pytest.mark.browser
def test_what_is_missing_is_said_and_nothing_is_kept(opened: Window, book: Path) -> None:
    page, _ = opened(book, TELEPHONE)
    pick(page, "look")
    page.locator("button.main").click()
    assert page.inner_text("#wrong") == "Fill in batch id or crop. Fill in containers or weight."
    assert page.evaluate("document.activeElement.id") == "cell-batch_id"
    pick(page, "harvest")
    page.fill("#cell-crop", "=1+1")
    page.locator("button.main").click()
    assert "Crop: begins with =, as a formula does; write another." in page.inner_text("#wrong")
    assert "Weight: every row needs it." in page.inner_text("#wrong")
    assert kept(page) == []


@pytest.mark.browser
def test_names_from_a_log_are_text_and_never_run(opened: Window, book: Path, tmp_path: Path) -> None:
    page, seen = opened(book, TELEPHONE)
    dialogs: list[str] = []
    page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
    page.goto(f"{book.as_uri()}#log=harvest&crop=<img src=x onerror=alert(4)>&note=%3Cscript%3Ealert(5)%3C/script%3E")
    page.fill("#cell-weight", "1")
    page.fill("#cell-note", "=HYPERLINK(1)")
    page.locator("button.main").click()
    page.reload()
    assert page.inner_text("h1") == "Up <b>the</b> hill"
    offered = page.eval_on_selector_all("#list-crop option", "all => all.map(one => one.value)")
    assert offered == ["carrot", HOSTILE, "=1+1"]
    assert page.locator("main img, main script, main b").count() == 0
    text = save(page, "harvests", tmp_path).read_bytes().decode()
    assert text.endswith(",'=HYPERLINK(1)\r\n")
    assert dialogs == []
    assert [line for line in seen if line.startswith(("error", "console"))] == []


@pytest.mark.browser
def test_a_row_can_be_taken_away(opened: Window, book: Path) -> None:
    page, _ = opened(book, TELEPHONE)
    pick(page, "tasting")
    for taster in ("Ann", "Bo"):
        page.fill("#cell-batch_id", "B12")
        page.fill("#cell-taster", taster)
        page.fill("#cell-liking", "7")
        page.locator("button.main").click()
    page.get_by_role("button", name=re.compile("Take away tasting: .*Ann")).click()
    page.reload()
    assert [row.split(", ")[2] for row in kept(page)] == ["Bo"]


@pytest.mark.browser
def test_the_page_open_twice_loses_no_row_and_rows_of_an_older_page_are_handed_over_whole(
    opened: Window, book: Path, tmp_path: Path
) -> None:
    page, _ = opened(book, TELEPHONE)
    other = page.context.new_page()
    other.goto(book.as_uri())
    for number, tab in enumerate((page, other, page), start=1):
        pick(tab, "harvest")
        tab.fill("#cell-crop", "carrot")
        tab.fill("#cell-weight", str(number))
        tab.locator("button.main").click()
        for one in (page, other):
            one.wait_for_function("n => document.querySelectorAll('#kept .row').length === n", arg=number)
    page.evaluate(
        """key => { const all = JSON.parse(localStorage.getItem(key)); all.kept[0].cells.basket = 'red';
                    localStorage.setItem(key, JSON.stringify(all)); }""",
        f"rowshelf-logbook:{LISTS.name}",
    )
    page.reload()
    lines = save(page, "harvests", tmp_path).read_text().splitlines()
    assert lines[0].endswith(",note,basket")
    assert lines[1].endswith(",1 kg,,,,,,red")


@pytest.mark.browser
def test_a_browser_that_keeps_nothing_says_so(browser: Any, book: Path) -> None:
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.add_init_script("Object.defineProperty(window, 'localStorage', { get() { throw new Error('no'); } })")
    page.goto(book.as_uri())
    assert page.inner_text("#warning").startswith("This browser keeps nothing for this page: save your rows")
    context.close()


@pytest.mark.browser
@pytest.mark.parametrize("dark", [False, True])
def test_the_page_fits_a_telephone_and_is_for_everyone(opened: Window, book: Path, *, dark: bool) -> None:
    page, _ = opened(book, TELEPHONE, dark=dark)
    axe = (resources.files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
    # The page's own policy lets no other script in, so axe comes by the debugger.
    page.evaluate(axe)
    pick(page, "tasting")
    page.fill("#cell-batch_id", "B12")
    page.fill("#cell-taster", "a-very-long-name-without-a-single-space-in-it-that-would-not-fit")
    page.fill("#cell-liking", "7")
    page.locator("button.main").click()
    for entry in ENTRIES:
        pick(page, entry)
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        assert page.evaluate("document.documentElement.scrollWidth") <= TELEPHONE
        small = page.eval_on_selector_all(
            "input, select, button, summary", "all => all.filter(one => one.getBoundingClientRect().height < 44).length"
        )
        assert small == 0
        options = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}}
        found = page.evaluate("options => axe.run(document, options)", options)
        assert [(rule["id"], [node["html"] for node in rule["nodes"]]) for rule in found["violations"]] == []


@pytest.mark.browser
def test_the_sheets_print_one_kind_of_entry_on_each_page(opened: Window, tmp_path: Path) -> None:
    many = tuple((f"B{number}", "cabbage, kept in salt, 18 Sep 2026") for number in range(200))
    lists = GardenLists("Hill", LISTS.offers | {"batch_id": many, "crop": tuple((f"crop {n}", "") for n in range(90))})
    file = tmp_path / "sheets.html"
    file.write_text(log_sheets(lists), encoding="utf-8")
    page, seen = opened(file)
    assert seen == own(file)
    assert f"and {200 - MOST_BATCHES} more" in page.inner_text("main")
    pdf = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page[^s]", pdf)) == len(ENTRIES)
    boxes = {tuple(float(n) for n in box.split()) for box in re.findall(rb"/MediaBox \[([\d. ]+)\]", pdf)}
    assert {(round(box[2] / 72 * 25.4), round(box[3] / 72 * 25.4)) for box in boxes} == {(297, 210)}
    cut = page.eval_on_selector_all(
        "th, .card, .words, .sheet",
        "all => all.filter(one => one.scrollHeight > one.clientHeight + 2).map(one => one.innerText)",
    )
    assert cut == []
    axe = (resources.files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
    page.evaluate(axe)
    found = page.evaluate("axe.run(document)")
    assert [(rule["id"], [node["html"] for node in rule["nodes"]]) for rule in found["violations"]] == []


def test_sheets_and_page_have_every_column_of_the_blank_logs() -> None:
    for form in forms():
        assert [cell.name for cell in form.cells] == [column.name for column in blank_columns(LOGS[form.log])]


def test_hostile_names_are_escaped_on_the_sheets() -> None:
    page = log_sheets(LISTS)
    assert "<img src=x" not in page
    assert "&lt;img src=x" in page
    assert "<script" not in page


def test_start_writes_the_pages_for_this_garden_and_leaves_the_rest_alone(
    season: Season, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = season(
        harvests="date,crop,weight\n2026-06-18,Capsicum,1 kg\n2026-06-19,capsicum,1 kg\n2026-06-20,capsicum,1 kg\n"
        "2026-06-21,cabage,1 kg\n2026-06-21,snowfruit,1 kg\n",
        batches="batch_id,made_on,method,crop,containers\nB12,2026-09-18,ferment,cabbage,6\nB11,2026-08-18,jam,plum,1\n",
        consumption="used_on,batch_id,containers\n2026-10-01,B11,1\n",
    )
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert main(["start", str(folder), "--phone", "--sheets"]) == 0
    out = capsys.readouterr().out
    assert out.splitlines() == [str(folder / "logbook.html"), str(folder / "sheets.html")]
    assert {path.name for path in folder.iterdir()} - {"logbook.html", "sheets.html"} == set(before)
    page = (folder / "logbook.html").read_text()
    assert '"crop": [["cabbage", ""], ["capsicum", ""], ["plum", ""], ["snowfruit", ""]]' in page
    assert '"batch_id": [["B12", "fermented cabbage, 18 Sep 2026"]]' in page
    (folder / "harvests.csv").write_text("date,crop,weight\n2026-06-18,quince,1 kg\n")
    assert main(["start", str(folder), "--phone"]) == 0, "our own page is made anew"
    assert "quince" in (folder / "logbook.html").read_text()
    (folder / "logbook.html").write_text("my own notes")
    assert main(["start", str(folder), "--phone"]) == 1
    assert "no page of ours, so it was not touched" in capsys.readouterr().err
    assert (folder / "logbook.html").read_text() == "my own notes"


def test_a_new_folder_gets_its_logs_and_the_pages(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["start", str(tmp_path / "new"), "--phone", "--no-ask", "--crops", "kumara, oca"]) == 0
    assert '"crop": [["kumara", ""], ["oca", ""]]' in (tmp_path / "new" / "logbook.html").read_text()
    assert (tmp_path / "new" / "harvests.csv").exists()
