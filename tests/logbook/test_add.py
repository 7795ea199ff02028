"""``rowshelf add``: one row into a log, checked as every row is, in the file's own form, and back again."""

from __future__ import annotations

import codecs
import csv
import datetime as dt
import io
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.cli import main
from pipeline.errors import RowshelfError
from pipeline.intake.headers import find_header
from pipeline.logbook import disk
from pipeline.logbook import entry as entering
from pipeline.logbook.days import day_of
from pipeline.logbook.entry import add_row
from pipeline.logbook.form import with_row
from pipeline.logbook.words import cells_of
from schemas.dictionary import blank_log
from schemas.logs import ENTRIES, LATEST_DATE_COLUMN, LOGS

Season = Callable[..., Path]
TODAY = dt.date(2026, 11, 27)
AS_OF = ("--as-of", "2026-11-27")

BATCHES = "batch_id,made_on,method,crop,containers\nB12,2026-09-18,ferment,cabbage,6\n"


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    status = main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    return status, out, err


def add(capsys: pytest.CaptureFixture[str], entry: str, folder: Path, *words: object) -> tuple[int, str, str]:
    return run(capsys, "add", entry, folder, *words, *AS_OF)


@pytest.mark.parametrize(
    "words",
    [
        ("capsicum", "1.9 kg", "--bed", "8"),
        ("capsicum", "1.9", "kg", "--bed", "8"),
        ("2026-11-27", "capsicum", "1.9 kg", "--bed", "8"),
        ("--bed", "8", "--weight", "1.9 kg", "capsicum"),
        ("--crop", "capsicum", "--weight", "1.9 kg", "--bed", "8", "--picked-on", "27/11/2026"),
        ("capsicum", "1.9 kg", "--bed", "8", "--date", "today"),
    ],
)
def test_a_harvest_is_written_in_order_or_by_name(
    words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "garden"
    run(capsys, "start", folder)
    status, out, err = add(capsys, "harvest", folder, *words)
    assert (status, err) == (0, "")
    assert out == (
        f"{folder / 'harvests.csv'} line 2: harvest: picked on 27 Nov 2026, crop capsicum (known as pepper), "
        "weight 1.9 kg, bed 8.\n"
    )
    assert (folder / "harvests.csv").read_text() == blank_log(LOGS["harvests"]) + "2026-11-27,capsicum,1.9 kg,,,8,,\n"


def test_each_entry_has_its_log_and_options_for_every_column(capsys: pytest.CaptureFixture[str]) -> None:
    for entry, log in ENTRIES.items():
        status, out, _ = run(capsys, "add", entry, "--help")
        assert status == 0
        for column in LOGS[log].columns:
            assert f"--{column.name.replace('_', '-')}" in out


def test_a_year_of_every_kind_of_entry_is_taken_by_check(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "garden"
    folder.mkdir()
    for entry, *words in (
        ("sowing", "S1", "carrot", "3", "m", "--sown-on", "2 Mar", "--start", "direct"),
        ("harvest", "carrot", "3 kg", "--sowing-id", "S1"),
        ("batch", "B12", "2026-09-18", "ferment", "cabbage", "6", "--salt", "40 g", "--store", "cellar"),
        ("look", "B12", "0"),
        ("look", "plum", "300 g", "--cause", "rot", "--found-on", "yesterday"),
        ("use", "b12", "2", "--use", "given"),
        ("tasting", "B12", "Ann", "8", "--firmness", "7"),
    ):
        assert add(capsys, entry, folder, *words)[0] == 0, entry
    assert run(capsys, "check", folder, *AS_OF)[0] == 0
    assert (folder / "sowings.csv").read_text().endswith("S1,2026-03-02,carrot,,,,3 m,direct,,,\n")
    assert (folder / "spoilage.csv").read_text().splitlines()[1:] == [
        "2026-11-27,B12,,0,,,,,",
        "2026-11-26,,plum,,300 g,rot,,,",
    ]


@pytest.mark.parametrize(
    ("entry", "words", "row"),
    [
        ("use", ("B13", "1"), "2026-11-27,B13,1,"),
        ("use", ("B12", "9"), "2026-11-27,B12,9,"),
        ("use", ("--batch-id", "B12", "--used-on", "2026-09-01"), "2026-09-01,B12,,"),
        ("use", ("B12", "1", "--used-on", "2026-12-24"), "2026-12-24,B12,1,"),
        ("use", ("B12", "1", "--use", "ferret"), "2026-11-27,B12,1,ferret"),
        ("use", ("B12", "1", "--used-on", "3/4/2026"), "3/4/2026,B12,1,"),
    ],
)
def test_a_row_is_refused_with_the_words_that_check_has_for_it(
    entry: str, words: tuple[str, ...], row: str, season: Season, capsys: pytest.CaptureFixture[str]
) -> None:
    heading = "used_on,batch_id,containers,use\n"
    folder = season(batches=BATCHES, consumption=heading)
    status, out, err = add(capsys, entry, folder, *words)
    assert (status, out) == (1, "")
    assert (folder / "consumption.csv").read_text() == heading
    (folder / "consumption.csv").write_text(heading + row + "\n")
    problems = json.loads(run(capsys, "check", folder, "--json", *AS_OF)[1])["problems"]
    said = [problem["message"] for problem in problems if problem["level"] in {"error", "cell"}]
    assert said
    for message in said:
        assert message in err


def test_a_row_that_would_push_out_another_names_that_one(season: Season, capsys: pytest.CaptureFixture[str]) -> None:
    folder = season(batches=BATCHES, consumption="used_on,batch_id,containers\n2026-11-20,B12,5\n")
    status, _, err = add(capsys, "use", folder, "B12", "2", "--used-on", "2026-10-01")
    assert status == 1
    assert "consumption.csv line 2: containers '5': brings batch B12 to 7 used or lost, but 6 were made" in err


@settings(max_examples=60)
@given(
    delimiter=st.sampled_from([",", ";", "\t"]),
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]),
    order=st.permutations(["picked_on", "Crop", "weight (kg)", "note", "what the cat did"]),
    rows=st.lists(st.sampled_from(["plain", 'a "quoted" word', "two\nlines", "né", "a;b,c\td"]), max_size=4),
    final=st.booleans(),
    note=st.text(st.characters(codec="cp1252", exclude_categories=["Cc", "Zl", "Zp"]), max_size=20),
)
def test_only_the_new_line_changes(
    delimiter: str, line_end: str, encoding: str, order: list[str], rows: list[str], final: bool, note: str
) -> None:
    out = io.StringIO()
    writer = csv.DictWriter(out, order, delimiter=delimiter, lineterminator=line_end, quoting=csv.QUOTE_ALL)
    writer.writeheader()
    for row in rows:
        writer.writerow({"picked_on": "2026-06-18", "Crop": "carrot", "weight (kg)": "1", "note": row})
    text = out.getvalue() if final else out.getvalue().removesuffix(line_end)
    mark = codecs.BOM_UTF16_LE if encoding == "utf-16" else b""
    before = mark + text.encode("utf-16-le" if mark else encoding)
    header = find_header(LOGS["harvests"], [(1, tuple(order))], delimiter)
    assert header is not None
    found = with_row(before, encoding, header, {"crop": "pea", "weight": "1,5 kg", "note": note})
    assert found.content.startswith(before)
    assert found.content[len(before) :] == found.tail
    after = found.content.decode(encoding)
    assert after.endswith(line_end) == final
    read = list(csv.DictReader(io.StringIO(after, newline=""), delimiter=delimiter))
    assert [row["note"] for row in read] == [*rows, note]
    assert (read[-1]["Crop"], read[-1]["weight (kg)"], read[-1]["picked_on"]) == ("pea", "1,5 kg", "")
    assert found.line == len(list(io.StringIO(text, newline=""))) + 1


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_a_file_of_another_form_takes_a_row_and_gives_it_back(
    encoding: str, season: Season, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "Menge;Crop;Date;weight\r\n;Möhre né;2026-06-18;1,5 kg\r\n;carrot;2026-06-19;2 kg"
    folder = season(harvests=text.encode(encoding))
    before = (folder / "harvests.csv").read_bytes()
    assert add(capsys, "harvest", folder, "pea", "0,5 kg")[0] == 0
    assert (folder / "harvests.csv").read_bytes().decode(encoding) == text + "\r\n;pea;2026-11-27;0,5 kg"
    assert run(capsys, "check", folder, *AS_OF)[0] == 0
    assert run(capsys, "add", "--undo", folder)[0] == 0
    assert (folder / "harvests.csv").read_bytes() == before


def test_a_column_that_the_file_lacks_is_added_to_its_heading(
    season: Season, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = season(harvests="date,crop,weight\n2026-06-18,carrot,1 kg\n")
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg", "--bed", "8", "--note", "wet, cold")
    assert (status, err) == (0, "harvests.csv: had no column bed or note; it was added to the heading.\n")
    assert (folder / "harvests.csv").read_text() == (
        'date,crop,weight,bed,note\n2026-06-18,carrot,1 kg\n2026-11-27,pea,1 kg,8,"wet, cold"\n'
    )
    assert run(capsys, "check", folder, *AS_OF)[0] == 0


def test_no_column_is_added_over_a_cell_without_a_heading(season: Season, capsys: pytest.CaptureFixture[str]) -> None:
    text = "date,crop,weight\n2026-06-18,carrot,1,5 kg\n"
    folder = season(harvests=text)
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg", "--bed", "8")
    assert status == 1
    assert "harvests.csv: line 2 has 4 cells where the heading has 3, so no column can be added" in err
    assert (folder / "harvests.csv").read_text() == text


def test_a_letter_that_the_encoding_lacks_is_refused(season: Season, capsys: pytest.CaptureFixture[str]) -> None:
    folder = season(harvests="date,crop,weight,note\n2026-06-18,carrot,1 kg,été\n".encode("cp1252"))
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg", "--note", "groszek zielony żółty")
    assert status == 1
    assert "'ż' cannot be written in this file's encoding (Windows-1252)" in err


def test_the_newest_file_is_taken_and_named(season: Season, capsys: pytest.CaptureFixture[str]) -> None:
    folder = season(
        harvests="date,crop,weight\n2024-06-18,pea,1 kg\n2024-09-18,pea,1 kg\n",
        **{"harvests-2025": "date,crop,weight\n2025-06-18,pea,1 kg\n2025-09-18,pea,1 kg\n"},
    )
    status, out, err = add(capsys, "harvest", folder, "pea", "1 kg")
    assert status == 0
    assert out.startswith(f"{folder / 'harvests-2025.csv'} line 4: ")
    assert err == "2 files hold harvests; written to harvests-2025.csv (--file names another).\n"
    assert add(capsys, "harvest", folder, "pea", "1 kg", "--picked-on", "2024-07-01")[1].startswith(
        f"{folder / 'harvests.csv'} line 4: "
    )
    assert add(capsys, "harvest", folder, "pea", "1 kg", "--file", "harvests.csv")[1].startswith(
        f"{folder / 'harvests.csv'} line 5: "
    )
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg", "--file", "weather.csv")
    assert status == 2
    assert "not one of the harvests files here; name one of harvests-2025.csv, harvests.csv." in err


def test_of_several_folders_the_one_of_the_plot_or_the_batch_is_taken_and_none_is_guessed(
    season: Season, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = season()
    for plot in ("north", "south"):
        (folder / plot).mkdir()
        (folder / plot / "harvests.csv").write_text("date,crop,weight\n2026-06-18,pea,1 kg\n")
        (folder / plot / "batches.csv").write_text(BATCHES.replace("B12", plot))
        (folder / plot / "consumption.csv").write_text("used_on,batch_id,containers\n")
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg")
    assert status == 2
    assert "harvests: kept in 2 folders (north/harvests.csv, south/harvests.csv), so say which with --file" in err
    assert add(capsys, "harvest", folder, "pea", "1 kg", "--plot", "South")[0] == 0
    assert (folder / "south" / "harvests.csv").read_text().endswith("2026-11-27,pea,1 kg,South\n")
    assert add(capsys, "use", folder, "north", "1")[0] == 0
    assert (folder / "north" / "consumption.csv").read_text().endswith("2026-11-27,north,1\n")
    assert add(capsys, "harvest", folder, "pea", "1 kg", "--file", "north/harvests.csv")[0] == 0


def test_a_workbook_is_refused_with_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "garden"
    run(capsys, "start", folder, "--workbook")
    before = (folder / "logs.xlsx").read_bytes()
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg")
    assert status == 1
    assert "logs.xlsx [harvests]: these rows are kept in a workbook" in err
    assert "save the sheet as harvests.csv" in err
    assert (folder / "logs.xlsx").read_bytes() == before


def test_nothing_is_written_through_a_link(season: Season, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = season(batches=BATCHES)
    real = tmp_path / "elsewhere.csv"
    real.write_text("date,crop,weight\n")
    (folder / "harvests.csv").symlink_to(real)
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg")
    assert status == 1
    assert "a link to another file, which is not written through" in err
    assert real.read_text() == "date,crop,weight\n"


def test_a_full_disk_leaves_the_file_as_it_was(
    season: Season, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    text = "date,crop,weight\n"
    folder = season(harvests=text)
    monkeypatch.setattr(disk.os, "fsync", full)
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg")
    assert status == 1
    assert "cannot be written (No space left on device)" in err
    assert (folder / "harvests.csv").read_text() == text
    assert [path.name for path in folder.iterdir() if path.name.startswith(".rowshelf-") and path.stat().st_size] == []


@pytest.mark.parametrize("what", ["mkstemp", "lock"])
def test_a_folder_that_cannot_be_written_is_said(
    what: str, season: Season, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise OSError(30, "Read-only file system")

    folder = season(harvests="date,crop,weight\n")
    monkeypatch.setattr(*((disk.tempfile, "mkstemp") if what == "mkstemp" else (disk.FileLock, "acquire")), fail)
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg")
    assert status == 1
    assert "cannot be written (Read-only file system)" in err


def test_what_another_program_wrote_in_this_moment_is_not_lost(
    season: Season, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = season(harvests="date,crop,weight\n")
    saved = "date,crop,weight\n2026-06-18,carrot,1 kg\n"
    read = entering._typed_row

    def while_it_is_checked(*given: object) -> object:
        (folder / "harvests.csv").write_text(saved)
        return read(*given)

    monkeypatch.setattr(entering, "_typed_row", while_it_is_checked)
    status, _, err = add(capsys, "harvest", folder, "pea", "1 kg")
    assert status == 1
    assert "harvests.csv: was changed by another program in this moment. Nothing was written" in err
    assert (folder / "harvests.csv").read_text() == saved


def test_permissions_stay(season: Season, capsys: pytest.CaptureFixture[str]) -> None:
    folder = season(harvests="date,crop,weight\n")
    (folder / "harvests.csv").chmod(0o640)
    assert add(capsys, "harvest", folder, "pea", "1 kg")[0] == 0
    assert (folder / "harvests.csv").stat().st_mode & 0o777 == 0o640


def test_undo_goes_back_row_by_row_and_only_where_the_row_still_stands_last(
    season: Season, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "date,crop,weight\n2026-06-18,carrot,1 kg"
    folder = season(harvests=text, batches=BATCHES)
    add(capsys, "harvest", folder, "pea", "1 kg")
    add(capsys, "use", folder, "B12", "1")
    status, out, _ = run(capsys, "add", "--undo", folder)
    assert (status, out) == (
        0,
        "Taken back from consumption.csv: use: used on 27 Nov 2026, batch id B12, containers 1.\n",
    )
    assert run(capsys, "add", "--undo", folder)[0] == 0
    assert (folder / "harvests.csv").read_text() == text
    status, _, err = run(capsys, "add", "--undo", folder)
    assert status == 1
    assert "no row was added here that could be taken back" in err

    add(capsys, "harvest", folder, "pea", "1 kg")
    later = (folder / "harvests.csv").read_text() + "\n2026-11-28,pea,2 kg"
    (folder / "harvests.csv").write_text(later)
    status, _, err = run(capsys, "add", "--undo", folder)
    assert status == 1
    assert "harvests.csv: does not end any more with the row that was added last" in err
    assert (folder / "harvests.csv").read_text() == later


def test_a_log_that_was_made_for_a_row_goes_with_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    add(capsys, "harvest", tmp_path, "pea", "1 kg")
    add(capsys, "harvest", tmp_path, "pea", "2 kg")
    run(capsys, "add", "--undo", tmp_path)
    assert (tmp_path / "harvests.csv").exists()
    run(capsys, "add", "--undo", tmp_path)
    assert not (tmp_path / "harvests.csv").exists()


def test_what_was_understood_as_json(season: Season, capsys: pytest.CaptureFixture[str]) -> None:
    folder = season(harvests="date,crop,weight\n")
    status, out, _ = add(capsys, "harvest", folder, "capsicum", "2 lb", "--json")
    answer = json.loads(out)
    assert (status, answer["line"], answer["notes"]) == (0, 2, [])
    assert answer["row"]["crop"] == "pepper"
    assert answer["row"]["picked_on"] == "2026-11-27"
    assert answer["row"]["weight_kg"] == pytest.approx(0.90718474)


@pytest.mark.parametrize("garden", ["courtyard", "warm_south"])
def test_a_garden_of_another_hand_takes_rows_and_is_itself_again(
    garden: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = Path(shutil.copytree(Path(__file__).parents[2] / "sample_data" / garden, tmp_path / garden))
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    rows = (
        ("harvest", "carrot", "400 g"),
        ("batch", "ZZ9", "ferment", "cabbage", "6", "--salt", "40 g"),
        ("use", "ZZ9", "1"),
    )
    for entry, *words in rows:
        assert run(capsys, "add", entry, folder, *words, "--as-of", "2027-06-30")[0] == 0
    for _ in rows:
        assert run(capsys, "add", "--undo", folder)[0] == 0
    after = {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".rowshelf")}
    assert after == before


def test_our_small_file_cannot_lead_out_of_the_folder(
    season: Season, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = season(harvests="date,crop,weight\n")
    outside = tmp_path / "outside.csv"
    outside.write_text("abc")
    row = {"file": "../outside.csv", "tail": b"c".hex(), "understood": "x"}
    (folder / ".rowshelf-added.json").write_text(json.dumps([row]))
    assert run(capsys, "add", "--undo", folder)[0] == 1
    assert outside.read_text() == "abc"


def test_rows_added_at_once_are_all_kept(season: Season) -> None:
    folder = season(harvests="date,crop,weight\n")
    with ThreadPoolExecutor(3) as pool:
        done = list(pool.map(lambda kg: add_row(folder, "harvest", ["pea", f"{kg} kg"], {}, TODAY), range(1, 4)))
    assert len(done) == 3
    assert pl.read_csv(folder / "harvests.csv")["weight"].sort().to_list() == ["1 kg", "2 kg", "3 kg"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("pea", "1 kg", "in the rain", "again"), "4 words where 2 are meant (crop, weight): put quotes around"),
        (("pea",), "weight: empty, and every row needs it"),
        (("pea", "1"), "weight '1': no unit: write such as 1.2 kg"),
    ],
)
def test_words_that_fit_no_place_are_answered_with_what_to_write(
    words: tuple[str, ...], says: str, season: Season, capsys: pytest.CaptureFixture[str]
) -> None:
    status, _, err = add(capsys, "harvest", season(harvests="date,crop,weight\n"), *words)
    assert status in {1, 2}
    assert says in err


@pytest.mark.parametrize("words", [("snow fruit", "1 kg"), ("snow", "fruit", "1", "kg")])
def test_a_crop_nobody_knows_is_taken_with_a_warning(
    words: tuple[str, ...], season: Season, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = season(harvests="date,crop,weight\n")
    status, _, err = add(capsys, "harvest", folder, *words)
    assert status == 0
    assert "crop 'snow fruit': not in the crop reference, taken as typed" in err
    assert (folder / "harvests.csv").read_text().endswith("2026-11-27,snow fruit,1 kg\n")


def test_a_note_cannot_become_a_formula(season: Season, capsys: pytest.CaptureFixture[str]) -> None:
    folder = season(harvests="date,crop,weight,note\n")
    assert add(capsys, "harvest", folder, "pea", "1 kg", "--note", "=1+1")[0] == 0
    assert (folder / "harvests.csv").read_text().endswith(",'=1+1\n")
    status, _, err = add(capsys, "batch", folder, "=B1", "ferment", "cabbage", "6")
    assert status == 1
    assert "begins with '=', as a formula does" in err


def test_two_ways_to_read_the_words_are_asked_about() -> None:
    with pytest.raises(RowshelfError, match=r"can be read as .* or .*: put quotes"):
        cells_of(LOGS["harvests"], ["a", "b", "c"], {LATEST_DATE_COLUMN["harvests"]: "x"}, lambda name, text: True)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("today", TODAY),
        ("Yesterday", dt.date(2026, 11, 26)),
        ("18 Jun", dt.date(2026, 6, 18)),
        ("24 Dec", dt.date(2025, 12, 24)),
        ("18 Jun 2024", dt.date(2024, 6, 18)),
        ("31 Feb", None),
        ("3/4/2026", None),
        ("soon", None),
    ],
)
def test_a_day_is_said_as_people_say_it(text: str, day: dt.date | None) -> None:
    assert day_of(text, TODAY) == day


def test_help_needs_no_heavy_library() -> None:
    code = (
        "import sys; from pipeline.cli import main; main(['add', 'batch', '--help'])\n"
        "heavy = {'polars', 'duckdb', 'pandera', 'numpy', 'rich', 'filelock'}\n"
        "sys.exit(','.join(sorted(heavy & set(sys.modules))) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
