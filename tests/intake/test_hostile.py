"""What somebody might put into a folder to do harm: it is data, or refused with a sentence, in bounded memory."""

from __future__ import annotations

import datetime as dt
import os
import tracemalloc
from pathlib import Path

import polars as pl
import pytest
from intake_frames import READING, take

from pipeline.cli import main
from pipeline.errors import RowshelfError
from pipeline.intake.normalise import MOST_UNKNOWN_CROPS
from pipeline.intake.read import find_logs, open_log
from pipeline.settings import Settings
from pipeline.store.load import batches, load_folder
from pipeline.store.problem_list import problem_counts
from pipeline.store.store import open_store
from reports.terminal import check_text

AS_OF = dt.date(2026, 11, 20)
HEADER = "picked_on,crop,weight,note\n"

WORDS = [
    "'); DROP TABLE core.harvests; --",
    "<script>alert(1)</script>",
    "=cmd|' /C calc'!A0",
    "{column}",
    "$as_of",
    "%s %(x)s",
    "\\x00\\",
    "\u202eevil",
    "a" * 5000,
    "🥕" * 40,
]


def test_hostile_words_are_kept_as_words(tmp_path: Path) -> None:
    lines = "".join(f'2026-06-18,"{word}",1 kg,"{word}"\n' for word in WORDS)
    batches_log = "batch_id,made_on,method,crop,containers\n" + "".join(
        f'"{word}",2026-06-18,dry,"{word}",2\n' for word in WORDS
    )
    uses = "used_on,batch_id,containers\n" + "".join(f'2026-07-01,"{word}x",1\n' for word in WORDS)
    for name, content in (("harvests", HEADER + lines), ("batches", batches_log), ("consumption", uses)):
        (tmp_path / f"{name}.csv").write_text(content)
    with open_store(None) as store:
        load_folder(store, tmp_path, Settings(), AS_OF)
        # A formula is no crop; everywhere else it is a word.
        taken = [word for word in WORDS if not word.startswith("=")]
        assert store.core("harvests")["note"].to_list() == taken
        assert store.frame("from raw.harvests order by source_line")["crop"].to_list() == WORDS
        assert store.core("batches").height == len(taken)
        assert store.core("consumption").is_empty()
        shown = check_text(store.answer("load_summary"), store.answer("problems"), problem_counts(store))
        assert "\u202e" not in shown


NAMES = [
    "harvests'; drop table raw.files; --.csv",
    "harvests\nnew.csv",
    'harvests".csv',
    "harvests..csv",
    "harvests$x.csv",
]


def test_hostile_file_names_are_names(tmp_path: Path) -> None:
    for name in NAMES:
        (tmp_path / name).write_text(HEADER + "2026-06-18,carrot,1 kg,\nsoon,carrot,1 kg,\n")
    (Path(os.fsdecode(os.fsencode(tmp_path) + b"/harvests\xff.csv"))).write_text(HEADER)
    (tmp_path / "..harvests.csv").write_text("hidden")
    with open_store(None) as store:
        load_folder(store, tmp_path, Settings(), AS_OF)
        assert sorted(store.answer("load_summary")["file"]) == sorted([*NAMES, "harvests\\xff.csv"])
        assert store.core("harvests").height == len(NAMES)
        shown = check_text(store.answer("load_summary"), store.answer("problems"), problem_counts(store))
        assert "harvests new.csv: 2 rows" in shown
        (tmp_path / NAMES[0]).unlink()
        load_folder(store, tmp_path, Settings(), AS_OF)
        assert store.core("harvests").height == len(NAMES) - 1


def test_names_of_files_cannot_steer_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An escape sequence in a file name could rename the window, or hide what stands before it."""
    (tmp_path / "harvests\x1b]0;evil\x07.txt").write_text("x")
    (tmp_path / "harvests\x1b[2J\u202e.csv").write_text(HEADER + "2026-06-18,carrot,1 kg,\n")
    assert main(["load", str(tmp_path), "--as-of", "2026-11-20"]) == 0
    out, err = capsys.readouterr()
    assert "harvests\ufffd]0;evil\ufffd.txt: not read" in err
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    (tmp_path / "harvests\x1b[2J\u202e.csv").write_text(HEADER + "2026-06-18,carrot,2 kg,\n")
    assert main(["load", str(tmp_path), "--as-of", "2026-11-20"]) == 0
    out_again, shown = capsys.readouterr()
    assert "harvests\ufffd[2J\ufffd.csv" in shown
    for text in (out, err, out_again, shown.replace("\x1b[K", "")):
        assert not {"\x1b", "\x07", "\u202e"} & set(text)


def test_links_in_circles_and_endless_files_end(tmp_path: Path) -> None:
    (tmp_path / "harvests.csv").write_text(HEADER + "2026-06-18,carrot,1 kg,\n")
    (tmp_path / "inner").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "harvests-zero.csv").symlink_to("/dev/zero")
    os.mkfifo(tmp_path / "harvests-pipe.csv")
    assert [log.name for log in find_logs(tmp_path).logs] == ["harvests.csv"]
    (tmp_path / "harvests-loop.csv").symlink_to(tmp_path / "harvests-loop.csv")
    with pytest.raises(RowshelfError, match=r"harvests-loop\.csv: cannot be read"):
        find_logs(tmp_path)


def test_a_link_that_leads_nowhere_is_not_taken_for_an_empty_log(tmp_path: Path) -> None:
    (tmp_path / "harvests.csv").symlink_to(tmp_path / "gone.csv")
    with pytest.raises(RowshelfError, match=r"harvests\.csv: cannot be read"):
        find_logs(tmp_path)


def test_a_header_of_a_hundred_thousand_columns_is_no_header(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "picked_on,crop,weight" + ",x" * 100_000 + "\n2026-06-18,carrot,1 kg\n")
    assert taken.found() == [(1, "", "no_header")]
    assert (taken.raw.height, taken.core.height) == (2, 0)


def test_a_row_of_a_hundred_thousand_cells_is_set_aside(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", f"{HEADER}2026-06-18,carrot,1 kg{',x' * 100_000}\n2026-06-19,carrot,2 kg,\n")
    assert (taken.aside(), taken.core["source_line"].to_list()) == ([2], [3])
    assert taken.message("too_many_cells").startswith("100003 cells where the header has 4")


def test_memory_does_not_grow_with_the_length_of_a_cell_or_of_a_file(tmp_path: Path) -> None:
    with (tmp_path / "harvests.csv").open("wb") as file:
        file.write(HEADER.encode() + b'2026-06-18,carrot,1 kg,"')
        for _ in range(60):
            file.write(b"x" * 1_000_000)
        file.write(b'"\n')
        for _ in range(40):
            file.write(b"2026-06-18,carrot,1 kg,fine\n" * 20_000)
    log = find_logs(tmp_path).logs[0]
    tracemalloc.start()
    accepted = sum(core.height for _, core, _ in batches(open_log(log), READING))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert accepted == 800_000
    assert peak < 120 << 20  # some pieces of 16 MB, of a file of 82 MB; polars counts its memory itself


def test_unknown_crops_without_end_are_named_up_to_a_limit(tmp_path: Path) -> None:
    lines = "".join(f"2026-06-18,odd{number},1 kg,\n" for number in range(5000))
    taken = take(tmp_path / "season", HEADER + lines)
    assert taken.core.height == 5000
    assert taken.problems.height == MOST_UNKNOWN_CROPS + 1
    assert taken.problems.filter(pl.col("message").str.contains("4800 more")).height == 1
