"""What `check` prints: problems by file, in line order, each with its mend."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import polars as pl

from pipeline import build
from reports.terminal import MOST_SHOWN, check_json, check_text, load_text
from tests.test_load import AS_OF

Season = Callable[..., Path]


def test_problems_are_grouped_by_file_in_line_order_with_counts_and_the_mend(season: Season) -> None:
    folder = season(
        harvests="picked_on,crop,weight\n2026-06-18,carrot,5\nsoon,carrot,1 kg\n2026-06-19,carrot,1 kg\n",
        batches="batch_id,made_on,method,crop,containers\nB1,2026-06-18,fermnt,carrot,2\n",
    )
    found = build.check(folder, AS_OF, lambda _: None)
    words = "freeze, dry, pickle, ferment, jam, bottle, cure, other"
    no_unit = "no unit: write such as 1.2 kg, 800 g or 3 lb 4 oz, or name the unit in the header"
    assert check_text(found.summary, found.problems).splitlines() == [
        "batches.csv: 1 row = 0 accepted + 1 set aside",
        f"  line 2, method 'fermnt': expected one of {words}; did you mean 'ferment'? [set aside]",
        "harvests.csv: 3 rows = 1 accepted + 2 set aside",
        f"  line 2, weight '5': {no_unit} [set aside]",
        "  line 3, picked_on 'soon': expected a date, such as 2026-06-18 [set aside]",
        "",
        "2 files: 4 rows = 1 accepted + 3 set aside; 0 warnings",
        "1 not a date, 1 unit missing, 1 unknown word",
    ]
    assert json.loads(check_json(found.summary, found.problems))["load_summary"][1]["set_aside"] == 2
    assert sorted(path.name for path in folder.iterdir()) == ["batches.csv", "harvests.csv"]


def test_a_terminal_shows_the_first_problems_of_a_file_and_says_how_many_more(season: Season) -> None:
    lines = "".join(f"2026-06-18,carrot,{number}\n" for number in range(MOST_SHOWN + 7))
    found = build.check(season(harvests="picked_on,crop,weight\n" + lines), AS_OF, lambda _: None)
    shown = check_text(found.summary, found.problems).splitlines()
    assert "  and 7 more: --json lists all" in shown
    assert sum(line.startswith("  line ") for line in shown) == MOST_SHOWN


def test_no_logs_says_where_to_begin() -> None:
    assert load_text(pl.DataFrame()).startswith("No logs found.")
