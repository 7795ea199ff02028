"""Commands write only where nothing of a person's lies, and a page is there whole or not at all."""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

from pipeline.cli import main
from pipeline.intake.read import OUTPUT_MARKER
from pipeline.store.output import claim, put

Season = Callable[..., Path]
AS_OF = ["--as-of", "2026-11-20"]

# Invented.
LOGS = {
    "harvests": "picked_on,crop,weight\n2026-06-14,pea,800 g\n2026-07-02,courgette,1.5 kg\n",
    "batches": (
        "batch_id,made_on,method,crop,containers,produce,salt\n"
        "KOHL-1,2026-06-18,ferment,kohlrabi,5,2 kg,45 g\nPEA-1,2026-06-25,freeze,pea,4,900 g,\n"
    ),
    "sowings": "sown_on,crop,area\n2026-04-01,pea,2 m2\n",
}
WRITING = {
    "check": "problems.csv",
    "review": "index.html",
    "share": "index.html",
    "labels": "labels.html",
    "export": "datapackage.json",
    "sow": "sowing_plan.csv",
}


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    status = main([str(argument) for argument in arguments])
    err = capsys.readouterr().err
    assert "fault in the program" not in err
    return status, err


def tree(place: Path) -> dict[str, str]:
    """Every file with its checksum, every link with where it leads."""
    return {
        str(path.relative_to(place)): f"-> {path.readlink()}"
        if path.is_symlink()
        else hashlib.sha256(path.read_bytes()).hexdigest()
        for path in place.rglob("*")
        if path.is_symlink() or path.is_file()
    }


@pytest.mark.parametrize("command", WRITING)
def test_a_folder_with_a_persons_files_is_refused_named_and_left_as_it_is(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path, command: str
) -> None:
    folder, mine = season(**LOGS), tmp_path / "m"
    for name in ("charts/sun.svg", "index.html", "index.pdf", "sowings.ics", WRITING[command]):
        (mine / name).parent.mkdir(parents=True, exist_ok=True)
        (mine / name).write_text("mine")
    before = tree(tmp_path)
    status, err = run(capsys, command, folder, "--out", mine, *AS_OF)
    assert status == 2
    assert f"--out {mine}: holds charts, " in err
    assert f"Name a new or empty folder, such as --out {mine}-2." in err
    assert tree(tmp_path) == before


def test_a_folder_named_review_that_a_person_made_is_not_ours_either(
    capsys: pytest.CaptureFixture[str], season: Season
) -> None:
    folder = season(**LOGS)
    (folder / "review").mkdir()
    (folder / "review" / "book.txt").write_text("mine")
    before = tree(folder)
    status, err = run(capsys, "review", folder, *AS_OF)
    assert (status, tree(folder)) == (2, before)
    assert f"such as --out {folder / 'review-2'}" in err


def test_an_empty_folder_is_taken_and_what_a_person_adds_to_it_later_stays(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path
) -> None:
    folder, out = season(**LOGS), tmp_path / "out"
    out.mkdir()
    (out / ".DS_Store").write_bytes(b"\0")
    assert run(capsys, "labels", folder, "--out", out, *AS_OF)[0] == 0
    for name in ("letter.pdf", "charts/sun.svg", "sub/deep/note.txt"):
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_text("mine")
    (out / "link").symlink_to("letter.pdf")
    (out / "empty").mkdir()
    mine = {name: sha for name, sha in tree(out).items() if name not in {"labels.html", OUTPUT_MARKER}}
    assert run(capsys, "labels", folder, "--out", out, *AS_OF)[0] == 0
    assert run(capsys, "sow", folder, "--outlook", "--out", out, *AS_OF)[0] == 0
    found = tree(out)
    assert mine.items() <= found.items()
    assert (out / "empty").is_dir()
    assert "labels.html" in found
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


@pytest.mark.parametrize("name", ["labels.html", "Labels.HTML"])
def test_a_page_that_was_changed_or_is_a_persons_is_not_written_over(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path, name: str
) -> None:
    folder, out = season(**LOGS), tmp_path / "out"
    assert run(capsys, "labels", folder, "--out", out, *AS_OF)[0] == 0
    (out / "labels.html").unlink()
    (out / name).write_text("with my notes")
    before = tree(out)
    status, err = run(capsys, "labels", folder, "--out", out, *AS_OF)
    assert (status, tree(out)) == (2, before)
    assert f"{name} would be written over" in err


def test_nothing_is_written_through_a_link(capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path) -> None:
    folder, other = season(**LOGS), tmp_path / "other"
    other.mkdir()
    links = {name: tmp_path / name for name in ("out", "a.ics", "b.duckdb", "garden")}
    for link in links.values():
        link.symlink_to(other / "made" if link.suffix else other)
    commands = [
        ["labels", folder, "--out", links["out"]],
        ["shelf", folder, "--calendar", links["a.ics"]],
        ["load", folder, "--store", links["b.duckdb"]],
    ]
    for command in commands:
        status, err = run(capsys, *command, *AS_OF)
        assert (status, list(other.iterdir())) == (2, [])
        assert "nothing is written through a link" in err
    assert run(capsys, "start", links["garden"])[0] == 2
    out = tmp_path / "inside"
    target = claim(out, out, "review", [folder])
    put(target, {"index.html": b"a", "tables/a.csv": b"a"})
    shutil.rmtree(out / "tables")
    (out / "tables").symlink_to(other)
    (folder / "harvests-9.csv").symlink_to(other / "gone.csv")
    assert main(["review", str(folder), "--out", str(out), *AS_OF]) != 0
    assert list(other.iterdir()) == []


def test_a_page_that_goes_to_others_never_lies_beside_a_seasons_own(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path
) -> None:
    folder, out = season(**LOGS), tmp_path / "out"
    assert run(capsys, "labels", folder, "--out", out, *AS_OF)[0] == 0
    before = tree(out)
    status, err = run(capsys, "share", folder, "--out", out, *AS_OF)
    assert (status, tree(out)) == (2, before)
    assert "holds what `rowshelf labels` wrote" in err


@pytest.mark.parametrize("what", [".", "..", "season", "harvests.csv", "harvests.csv/out"])
def test_the_season_folder_what_holds_it_and_its_files_are_no_place_for_output(
    capsys: pytest.CaptureFixture[str], season: Season, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    folder = season(**LOGS)
    monkeypatch.chdir(folder.parent if what in {".", "season"} else folder)
    before = tree(folder.parent)
    assert run(capsys, "labels", folder, "--out", what, *AS_OF)[0] == 2
    assert tree(folder.parent) == before


@pytest.mark.parametrize("option", [["--out", ""], ["--out", " "], ["--store", ""], ["--store", "."]])
def test_an_empty_name_is_wrong_usage(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path, option: list[str]
) -> None:
    folder = season(**LOGS)
    before = tree(tmp_path)
    assert run(capsys, "labels", folder, *option, *AS_OF)[0] == 2
    assert tree(tmp_path) == before


def test_a_calendar_is_written_only_over_our_own(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path
) -> None:
    folder = season(**LOGS)
    log = folder / "harvests.csv"
    status, err = run(capsys, "shelf", folder, "--calendar", log, *AS_OF)
    assert (status, log.read_text()) == (2, LOGS["harvests"])
    assert f"write --calendar {log.with_suffix('.ics')}" in err
    assert not (folder / "rowshelf.duckdb").exists()
    ours = tmp_path / "shelf.ics"
    assert run(capsys, "shelf", folder, "--calendar", ours, *AS_OF)[0] == 0
    assert run(capsys, "shelf", folder, "--calendar", ours, *AS_OF)[0] == 0
    event = b"BEGIN:VEVENT\r\nUID:birthday@home.invalid\r\nEND:VEVENT\r\nEND:VCALENDAR"
    added = ours.read_bytes().replace(b"END:VCALENDAR", event)
    for content in (added, b"BEGIN:VCALENDAR\r\nPRODID:-//Another//EN\r\nEND:VCALENDAR\r\n", b""):
        ours.write_bytes(content)
        status, err = run(capsys, "shelf", folder, "--calendar", ours, *AS_OF)
        assert (status, ours.read_bytes()) == (2, content)
        assert f"such as --calendar {tmp_path / 'shelf-2.ics'}" in err


@pytest.mark.parametrize("name", ["harvests-2025.csv", "Batches.XLSX", "notes.ods", "rowshelf.toml", "a.duckdb.wal"])
def test_a_store_is_not_named_as_a_log_or_the_settings(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path, name: str
) -> None:
    folder = season(**LOGS)
    before = tree(tmp_path)
    status, err = run(capsys, "load", folder, "--store", tmp_path / name, *AS_OF)
    assert (status, tree(tmp_path)) == (2, before)
    assert "by its name this would be read as" in err


def _sqlite(path: Path) -> None:
    con = sqlite3.connect(path)
    con.execute("create table mine (a)")
    con.commit()
    con.close()


def _another_database(path: Path) -> None:
    con = duckdb.connect(str(path))
    con.execute("create schema raw; create table raw.settings (name varchar, value varchar)")
    con.execute("create table raw.harvests as select 1 as mine")
    con.close()


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (_sqlite, "an SQLite database"),
        (_another_database, "not one of rowshelf's"),
        (lambda path: path.write_text("picked_on,crop\n"), "text, perhaps a log"),
        (lambda path: path.write_bytes(bytes(range(256))), "a new one is made from the logs"),
        (lambda path: path.touch(), "an empty file, not a store"),
        (lambda path: path.with_name("mine.db.wal").write_text("diary"), "keeps its journal, and is not one"),
    ],
)
def test_a_file_that_is_no_store_of_ours_is_named_and_left(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path, make: Callable[[Path], object], says: str
) -> None:
    folder = season(**LOGS)
    make(tmp_path / "mine.db")
    before = tree(tmp_path)
    status, err = run(capsys, "load", folder, "--store", tmp_path / "mine.db", *AS_OF)
    assert (status, tree(tmp_path)) == (2, before)
    assert says in err


@pytest.mark.parametrize("name", ["raw", "core.duckdb", "out.duckdb", "temp", "main.db", 'it\'s "so".duckdb'])
def test_a_store_may_be_called_as_one_likes(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path, name: str
) -> None:
    folder = season(**LOGS)
    for _ in range(2):
        status, err = run(capsys, "shelf", folder, "--store", tmp_path / name, *AS_OF)
        assert status == 0, err


CHANGES = [
    ("drop table core.harvests", "core.harvests"),
    ("drop table raw.settings", "raw.settings"),
    ("delete from raw.settings", "raw.settings"),
    ("alter table core.batches drop column salt_g", "core.batches"),
    ("alter table out.problems alter line type varchar", "out.problems"),
    ("drop view core.accepted_lines; create table core.accepted_lines (a int)", "core.accepted_lines"),
    ("drop table core.harvests; create view core.harvests as select 1 as a", "core.harvests"),
    ("delete from core.harvests", "rows of core"),
    ("delete from raw.files", "rows of raw"),
]


@pytest.mark.parametrize(("change", "named"), CHANGES)
def test_a_store_changed_by_hand_is_made_anew_and_says_so(
    capsys: pytest.CaptureFixture[str], season: Season, change: str, named: str
) -> None:
    folder = season(**LOGS)
    assert run(capsys, "load", folder, *AS_OF)[0] == 0
    with duckdb.connect(str(folder / "rowshelf.duckdb")) as con:
        con.execute(f"create table raw.mine as select 7 as a; {change}")
    status, err = run(capsys, "load", folder, *AS_OF)
    assert status == 0
    assert f"The store was not as rowshelf made it ({named}), so it was made anew from the logs." in err
    with duckdb.connect(str(folder / "rowshelf.duckdb")) as con:
        assert con.execute("select count(*) from core.harvests").fetchall() == [(2,)]
        assert con.execute("from raw.mine").fetchall() == [(7,)]
    assert "made anew" not in run(capsys, "load", folder, *AS_OF)[1]


@pytest.mark.parametrize("day", ["0001-01-01", "1899-12-31", "2200-01-01", "9999-12-31"])
@pytest.mark.parametrize("command", [*WRITING, "load", "spoilage", "gluts", "shelf"])
def test_a_day_at_the_ends_of_the_calendar_is_wrong_usage(
    capsys: pytest.CaptureFixture[str], season: Season, command: str, day: str
) -> None:
    status, err = run(capsys, command, season(), "--as-of", day)
    assert (status, err) == (
        2,
        f"rowshelf: --as-of {day}: write a date of the years 1900 to 2199, such as 2026-06-18.\n",
    )


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a file name is text")
def test_a_folder_whose_name_is_no_text_is_read_and_written(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path
) -> None:
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/g\xe4rten"))
    season(**LOGS).rename(folder)
    for command in ("load", "shelf", "labels", "spoilage"):
        assert run(capsys, command, folder, *AS_OF)[0] == 0
    assert {"rowshelf.duckdb", "labels"} <= {path.name for path in folder.iterdir()}
    assert run(capsys, "check", os.fsdecode(b"nowhere\xff"))[0] == 2


KILLED = """
import os, signal, sys
from pathlib import Path
from pipeline.store.output import claim, put
steps = [0]
def count(event, args):
    if event in {"open", "os.mkdir", "os.rename", "os.link", "os.remove", "os.rmdir", "ctypes.dlsym"}:
        steps[0] += 1
        if steps[0] == int(sys.argv[2]):
            os.kill(os.getpid(), signal.SIGKILL)
out = Path(sys.argv[1])
target = claim(out, out, "review", [])
files = {"index.html": b"new", "tables/a.csv": b"new", "tables/c.csv": b"new"}
import ctypes, shutil, filecmp
sys.addaudithook(count)
put(target, files)
"""
OLD = {"index.html": b"old", "tables/a.csv": b"old", "tables/b.csv": b"old"}
NEW = {"index.html": b"new", "tables/a.csv": b"new", "tables/c.csv": b"new"}


def test_killed_at_any_step_the_whole_old_page_or_the_whole_new_one_is_there(tmp_path: Path) -> None:
    """The kill comes at each call to the system in turn: every file opened, moved, linked or taken away."""
    found = set()
    for step in range(1, 200, 3):
        out = tmp_path / str(step) / "out"
        put(claim(out, out, "review", []), OLD)
        (out / "mine.txt").write_bytes(b"mine")
        ended = subprocess.run([sys.executable, "-c", KILLED, str(out), str(step)], check=False, timeout=60)
        files = {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}
        assert files.pop("mine.txt") == b"mine"
        del files[OUTPUT_MARKER]
        assert files in (OLD, NEW), step
        found.add(files["index.html"])
        if ended.returncode == 0:
            break
        assert ended.returncode == -signal.SIGKILL
        put(claim(out, out, "review", []), NEW)
        assert [path.name for path in out.parent.iterdir()] == ["out"], step
        assert (out / "mine.txt").read_bytes() == b"mine"
    assert found == {b"old", b"new"}
    assert ended.returncode == 0


def test_a_failure_while_the_page_is_made_leaves_the_old_one_and_nothing_beside_it(tmp_path: Path) -> None:
    out = tmp_path / "out"
    put(claim(out, out, "review", []), OLD)
    before = tree(tmp_path)

    def pieces() -> object:
        yield b"some"
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        put(claim(out, out, "review", []), {"index.html": pieces()})  # type: ignore[dict-item]
    assert tree(tmp_path) == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


AWKWARD = (
    "review/mine.txt",
    "plan/sowing_plan.csv",
    "labels/labels.html",
    "export/datapackage.json",
    "tables/needs.csv",
    "charts/sun.svg",
    "index.html",
    "shelf.ics",
    "rowshelf.duckdb.bak",
    "harvests.csv.part",
    ".rowshelf-new-mine/a.txt",
    "notes.toml",
)


@pytest.mark.parametrize("every_other", [0, 1])
def test_no_command_changes_a_file_that_it_did_not_make(
    capsys: pytest.CaptureFixture[str],
    season: Season,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    every_other: int,
) -> None:
    folder = season(**LOGS)
    monkeypatch.chdir(tmp_path)
    for name in AWKWARD[every_other::2]:
        for place in (folder / name, tmp_path / name, tmp_path / "shared-garden" / name):
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_text(f"mine: {name}")
    (folder / "link.csv").symlink_to("harvests.csv")
    before = tree(tmp_path)
    commands: list[list[object]] = [
        *([command, folder, *AS_OF] for command in (*WRITING, "load", "spoilage", "gluts", "shelf")),
        ["check", folder, "--out", folder / "tables", *AS_OF],
        ["shelf", folder, "--calendar", folder / "shelf.ics", *AS_OF],
        ["load", folder, "--store", folder / "harvests.csv", *AS_OF],
        ["labels", folder, "--out", tmp_path, *AS_OF],
        ["labels", folder, "--out", folder / "charts", *AS_OF],
        ["start", folder],
    ]
    for command in commands:
        assert run(capsys, *command)[0] in {0, 1, 2}
        assert before.items() <= tree(tmp_path).items(), command
