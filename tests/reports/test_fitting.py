"""Tables for a terminal: no word is broken, and what is left out is counted."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_answers import answers, frame
from rich.cells import cell_len

from reports.fitting import fit, fold_lines, lines_of, what_is_missing, wrap
from reports.tables import Shown
from reports.terminal import answers_text, terminal_text
from schemas.answers import ANSWERS

WORDS = st.text(st.sampled_from("abc\u6728\u00e9"), min_size=1, max_size=9)
TEXTS = st.lists(WORDS, min_size=1, max_size=8).map(" ".join)


@pytest.mark.parametrize("width", [80, 60, 100])
def test_every_answer_fits_and_breaks_no_word(width: int) -> None:
    for name, rows in answers().items():
        if rows.height:
            text = terminal_text(rows, ANSWERS[name], width)
            assert max(map(cell_len, text.splitlines())) <= width, name
            body = text.rpartition("\n\n")[0] if "--wide" in text else text
            roomy = terminal_text(rows, ANSWERS[name], 10_000)
            words = {word for word in body.split() if set(word) != {"\u2500"}}
            assert words - set(roomy.split()) <= set(text.rstrip().splitlines()[-1].split()), name


@given(TEXTS, st.integers(9, 40))
def test_wrapping_keeps_every_word_whole_and_in_order(text: str, width: int) -> None:
    lines = wrap(text, width * 2)
    assert " ".join(lines) == text
    assert all(cell_len(line) <= width * 2 for line in lines)


@given(st.text(st.sampled_from("ab\u6728"), min_size=1, max_size=200), st.integers(2, 30))
def test_a_word_longer_than_the_line_is_cut_and_nothing_lost(word: str, width: int) -> None:
    lines = wrap(word, width)
    assert "".join(lines) == word
    assert all(cell_len(line) <= width for line in lines)


@given(st.lists(st.lists(TEXTS, min_size=4, max_size=4), min_size=1, max_size=30), st.integers(20, 120))
def test_a_table_never_runs_over_and_counts_what_it_leaves_out(rows: list[list[str]], width: int) -> None:
    view = Shown(("Crop", "Method", "Notes on it", "Day"), (False, False, False, True), tuple(map(tuple, rows)))
    table = fit(view, width)
    assert max(map(cell_len, lines_of(table))) <= width
    assert len(table.headings) + len(table.left_out) == 4
    assert len(table.rows) == min(len(rows), 20)
    assert bool(what_is_missing(table)) == bool(table.left_out or len(rows) > 20)


@given(st.lists(TEXTS, min_size=1, max_size=5), st.integers(20, 60))
def test_folded_lines_keep_their_words_and_their_indent(texts: list[str], width: int) -> None:
    folded = fold_lines("\n".join(f"  {text}" for text in texts), width)
    assert folded.split() == " ".join(texts).split()
    assert all(line.startswith("  ") and cell_len(line) <= width for line in folded.splitlines())


def test_rows_beyond_the_first_twenty_are_counted_and_wide_shows_all() -> None:
    rows = frame("use_first", [{"batch_id": f"B{number}", "crop": "pea", "on_hand": 1} for number in range(1340)])
    text = terminal_text(rows, ANSWERS["use_first"], 80)
    assert "20 of 1,340 rows" in text
    assert "--wide shows all, --json prints all." in text
    assert "B19 " in text
    assert "B20 " not in text
    assert "B1339 " in terminal_text(rows, ANSWERS["use_first"], 80, wide=True)


def test_cautions_are_never_cut() -> None:
    rows = frame("cautions", [{"batch_id": f"B{number}", "severity": "serious"} for number in range(45)])
    assert "B44 " in terminal_text(rows, ANSWERS["cautions"], 80)


def test_a_wide_table_has_every_row_and_column_but_no_checksum() -> None:
    rows = answers()["load_summary"].with_columns(sha256=pl.lit("abc123"))
    text = terminal_text(rows, ANSWERS["load_summary"], 80, wide=True)
    assert "harvests.csv" in text
    assert "batches.csv" in text
    assert "412" in text
    assert "abc123" not in text


def test_a_log_can_neither_style_nor_steer_the_terminal() -> None:
    hostile = "[bold red]x[/] \x1b]0;owned\x07\x1b[2J \x9b31m"
    rows = frame("use_first", [{"batch_id": hostile, "crop": "pea", "on_hand": 1, "due_on": dt.date(2026, 6, 18)}])
    text = terminal_text(rows, ANSWERS["use_first"], 80)
    assert "[bold red]x[/]" in text
    assert not set(text) & {"\x1b", "\x07", "\x9b"}


def test_the_width_is_that_of_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    tables = {"spoilage": answers()["spoilage"]}
    for width in (80, 120):
        monkeypatch.setenv("COLUMNS", str(width))
        text = answers_text(tables, ["spoilage"], ["A sentence that is longer than a line of the terminal. " * 3])
        assert width - 30 < max(map(cell_len, text.splitlines())) <= width
