"""What `check` prints: problems by file, in line order, each with its mend."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline import build
from pipeline.store import problem_list
from reports.terminal import MOST_SHOWN, check_json, check_text, load_text

AS_OF = dt.date(2026, 11, 20)
Season = Callable[..., Path]


def test_problems_are_grouped_by_file_in_line_order_with_counts_and_the_mend(season: Season) -> None:
    folder = season(
        harvests="picked_on,crop,weight\n2026-06-18,carrot,5\nsoon,carrot,1 kg\n2026-06-19,carrot,1 kg\n",
        batches="batch_id,made_on,method,crop,containers\nB1,2026-06-18,fermnt,carrot,2\n",
    )
    found = build.check(folder, AS_OF, lambda _: None)
    words = "freeze, dry, pickle, ferment, jam, bottle, cure, other"
    no_unit = "no unit: write such as 1.2 kg, 800 g or 3 lb 4 oz, or name the unit in the header"
    assert check_text(found.summary, found.problems, found.counts).splitlines() == [
        "batches.csv: 1 row = 0 accepted + 1 set aside",
        f"  line 2, method 'fermnt': expected one of {words}; did you mean 'ferment'? [set aside]",
        "harvests.csv: 3 rows = 1 accepted + 2 set aside",
        f"  line 2, weight '5': {no_unit} [set aside]",
        "  line 3, picked_on 'soon': expected a date, such as 2026-06-18 [set aside]",
        "",
        "2 files: 4 rows = 1 accepted + 3 set aside; 0 warnings",
        "1 not a date, 1 unit missing, 1 unknown word",
        "`rowshelf check FOLDER --out DIR` writes this list as problems.csv, each with its row, to tick off.",
    ]
    assert json.loads(check_json(found.summary, found.problems))["load_summary"][1]["set_aside"] == 2
    assert sorted(path.name for path in folder.iterdir()) == ["batches.csv", "harvests.csv"]


def test_a_terminal_shows_the_first_problems_of_a_file_and_says_how_many_more(season: Season) -> None:
    lines = "".join(f"2026-06-18,carrot,{number}\n" for number in range(MOST_SHOWN + 7))
    found = build.check(season(harvests="picked_on,crop,weight\n" + lines), AS_OF, lambda _: None)
    shown = check_text(found.summary, found.problems, found.counts).splitlines()
    assert "  and 7 more: --out DIR writes all as problems.csv" in shown
    assert sum(line.startswith("  line ") for line in shown) == MOST_SHOWN


def test_problems_csv_lists_every_problem_with_its_row_to_tick_off(season: Season, tmp_path: Path) -> None:
    folder = season(
        harvests='picked_on;crop;weight;basket\n2026-06-18;carrot;5;red\nsoon;carrot;"=2+3";\nTotal;;9 kg;\n',
        batches="batch_id,made_on,method,crop,containers\nB1,2026-06-18,fermnt,carrot,2\n",
    )
    found = build.check(folder, AS_OF, lambda _: None, tmp_path / "mend")
    path = tmp_path / "mend" / "problems.csv"
    assert found.notes == (str(path),)
    table = pl.read_csv(path)
    assert table.columns == ["done", "file", "line", "column", "value", "rule", "level", "message", "row"]
    assert table["done"].null_count() == table.height == found.problems.height
    assert table.select("file", "line", "column", "value", "row").rows() == [
        ("batches.csv", 2, "method", "fermnt", "B1 | 2026-06-18 | fermnt | carrot | 2"),
        ("harvests.csv", 1, "basket", None, None),
        ("harvests.csv", 2, "weight", "5", '2026-06-18 | carrot | 5 | {"basket":"red"}'),
        ("harvests.csv", 3, "picked_on", "soon", "soon | carrot | =2+3"),
        ("harvests.csv", 3, "weight", "'=2+3", "soon | carrot | =2+3"),  # no spreadsheet runs it
        ("harvests.csv", 4, "", "Total;;9 kg;", '["Total", "", "9 kg", ""]'),
    ]
    assert sorted(path.name for path in folder.iterdir()) == ["batches.csv", "harvests.csv"]


def test_problems_csv_of_many_lines_comes_in_pieces_with_one_heading(
    season: Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(problem_list, "LINES_AT_ONCE", 3)
    lines = "".join(f"2026-06-18,carrot,{number}\n" for number in range(10))
    folder = season(harvests="picked_on,crop,weight\n" + lines, consumption="used_on,crop,weight\n")
    build.check(folder, AS_OF, lambda _: None, tmp_path / "mend")
    table = pl.read_csv(tmp_path / "mend" / "problems.csv")
    assert table["line"].to_list() == list(range(2, 12))
    assert table["row"].to_list() == [f"2026-06-18 | carrot | {number}" for number in range(10)]


def test_without_problems_the_list_has_its_heading_alone(season: Season, tmp_path: Path) -> None:
    build.check(season(harvests="picked_on,crop,weight\n"), AS_OF, lambda _: None, tmp_path / "mend")
    text = (tmp_path / "mend" / "problems.csv").read_text()
    assert text == "done,file,line,column,value,rule,level,message,row\n"


def test_what_is_shown_of_each_file_is_the_same_whether_all_problems_are_told_or_the_first(season: Season) -> None:
    lines = "".join(f"soon,karrot,{number}\n" for number in range(MOST_SHOWN))
    folder = season(harvests="picked_on,crop,weight\n" + lines, spoilage="found_on,crop,weight\n2026-06-18,pea,5\n")
    whole = build.check(folder, AS_OF, lambda _: None)
    first = build.check(folder, AS_OF, lambda _: None, most=MOST_SHOWN)
    assert first.problems.height == MOST_SHOWN + 1
    assert whole.problems.height == 2 * MOST_SHOWN + 2
    shown = check_text(first.summary, first.problems, first.counts)
    assert shown == check_text(whole.summary, whole.problems, whole.counts)
    assert f"{MOST_SHOWN + 1} unit missing, {MOST_SHOWN} not a date" in shown


def test_no_logs_says_where_to_begin() -> None:
    assert load_text(pl.DataFrame()).startswith("No logs found.")


def test_what_mends_most_rows_is_said_first(season: Season) -> None:
    folder = season(
        harvests="picked_on,crop,weight\n" + "".join(f"2026-06-{day:02},pea,{day}\n" for day in range(1, 8)),
        consumption="used_on,crop,weight\n,pea,1 kg\n,pea,2 kg\n2026-06-03,pea,1 kg\n",
    )
    found = build.check(folder, AS_OF, lambda _: None)
    lines = check_text(found.summary, found.problems, found.counts, found.mends).splitlines()
    unit = "no unit: write such as 1.2 kg, 800 g or 3 lb 4 oz, or name the unit in the header"
    assert lines[:4] == [
        "What mends most:",
        f"  7 rows: harvests.csv, weight, from line 2 '1': {unit}",
        "  2 rows: consumption.csv, used_on, from line 2: empty, and every row needs it: day used (such as 2026-06-18)",
        "",
    ]


def test_lines_that_say_for_good_how_names_were_read_are_printed(season: Season) -> None:
    folder = season(preserves="Date,What,How,Number\n2026-07-05,plums,jam,6\n2026-07-06,pears,jam,4\n")
    found = build.check(folder, AS_OF, lambda _: None)
    text = check_text(found.summary, found.problems, found.counts, found.mends, found.to_settle)
    assert "To say for good how names were read, put this into rowshelf.toml:" in text
    assert '"preserves" = "batches"' in text
    assert '"Number" = "containers"' in text
