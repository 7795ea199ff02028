"""Workbooks: the sheets of .xlsx and .ods files are read like CSV files, and a blank one is written."""

from __future__ import annotations

import datetime as dt
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intake_frames import take_logs

from pipeline.errors import RowshelfError
from pipeline.intake import workbook
from pipeline.intake.read import find_logs
from pipeline.intake.workbook import plain_number
from pipeline.settings import Settings
from pipeline.start import start_folder
from pipeline.store.load import load_folder
from pipeline.store.store import open_store
from schemas.codes import CODES
from schemas.dictionary import blank_columns
from schemas.logs import LOGS

AS_OF = dt.date(2026, 11, 20)


def xlsx(path: Path, **sheets: list[list[object]]) -> None:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name.replace("_", " "))
        for row in rows:
            sheet.append(row)
    path.parent.mkdir(exist_ok=True)
    book.save(path)


def ods(path: Path, content: str) -> None:
    """A minimal OpenDocument spreadsheet (ISO/IEC 26300) around some tables."""
    names = {"office": "office", "table": "table", "text": "text"}
    spaces = " ".join(f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in names)
    path.parent.mkdir(exist_ok=True)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr(
            "content.xml",
            f"<office:document-content {spaces}><office:body><office:spreadsheet>{content}"
            "</office:spreadsheet></office:body></office:document-content>",
        )


def cell(kind: str, value: str, text: str = "") -> str:
    attribute = {"float": "value", "percentage": "value", "date": "date-value", "string": ""}[kind]
    typed = f' office:{attribute}="{value}"' if attribute else ""
    return f'<table:table-cell office:value-type="{kind}"{typed}><text:p>{text or value}</text:p></table:table-cell>'


def row(*cells: str, times: int = 1) -> str:
    again = f' table:number-rows-repeated="{times}"' if times > 1 else ""
    return f"<table:table-row{again}>{''.join(cells)}</table:table-row>"


def texts(*values: str) -> list[str]:
    return [cell("string", value) for value in values]


TYPED = [
    ["Our harvest", None, None, None],
    ["picked_on", "crop", "Weight (kg)", "note"],
    [dt.date(2026, 6, 18), "carrot", 1.25, 3],
    [dt.datetime.combine(dt.date(2026, 6, 19), dt.time(8, 30)), "peas", "800 g", None],
    [None, None, None, None],
    ["3/4/2026", "pea", 2, "ambiguous"],
    [dt.date(2026, 6, 20), "pea", 0.1 + 0.2, True],
    [46191, "pea", 1, "a day number"],
    ["Total", None, "=SUM(C3:C8)", None],
]


def test_a_sheet_is_read_as_typed_with_sheet_and_row_named(tmp_path: Path) -> None:
    xlsx(tmp_path / "season" / "garden.xlsx", Harvests_2026=TYPED)
    taken = take_logs(tmp_path / "season")
    assert taken.core.select("picked_on", "crop", "weight_kg", "note", "source_line").rows() == [
        (dt.date(2026, 6, 18), "carrot", 1.25, "3", 3),
        (dt.date(2026, 6, 19), "pea", 0.8, None, 4),
        (dt.date(2026, 6, 20), "pea", 0.3, "true", 7),
    ]
    assert taken.found() == [
        (1, "", "lines_above_header"),
        (6, "picked_on", "ambiguous_date"),
        (8, "picked_on", "not_a_date"),
        (9, "", "summary_row"),
    ]
    assert set(taken.problems["file"]) == {"garden.xlsx [Harvests 2026]"}
    assert taken.raw["weight"].to_list() == ["1.25", "800 g", "2", "0.3", "1", None]


def test_an_opendocument_sheet_gives_the_same_rows(tmp_path: Path) -> None:
    date, number = ("date", "2026-06-18"), ("float", "1.25")
    ods(
        tmp_path / "season" / "garden.ods",
        '<table:table table:name="harvests"><table:table-header-rows>'
        + row(*texts("picked_on", "crop", "Weight (kg)", "note"))
        + "</table:table-header-rows>"
        + row(cell(*date), *texts("carrot"), cell(*number), '<table:table-cell table:number-columns-repeated="16000"/>')
        + row('<table:table-cell table:number-columns-repeated="16384"/>', times=3)
        + row(
            cell("date", "2026-06-19T08:30:00"),
            *texts("pea", "800 g"),
            '<table:table-cell office:value-type="string"><office:annotation><text:p>remark</text:p>'
            '</office:annotation><text:p>two<text:s text:c="2"/>words</text:p><text:p>below</text:p>'
            "</table:table-cell>",
        )
        + row(*texts("soon", "pea", "1 kg"), times=2)
        + row('<table:table-cell table:number-columns-repeated="16384"/>', times=1_048_560)
        + "</table:table>",
    )
    taken = take_logs(tmp_path / "season")
    assert taken.core.select("crop", "weight_kg", "note", "source_line").rows() == [
        ("carrot", 1.25, None, 2),
        ("pea", 0.8, "two  words\nbelow", 6),
    ]
    assert taken.found() == [(7, "picked_on", "not_a_date"), (8, "picked_on", "not_a_date")]
    assert set(taken.problems["file"]) == {"garden.ods [harvests]"}


@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_a_percentage_stays_one(tmp_path: Path, ending: str) -> None:
    head = ["batch_id", "made_on", "method", "crop", "containers", "vinegar_acid_pct"]
    path = tmp_path / "season" / f"log.{ending}"
    if ending == "xlsx":
        xlsx(path, batches=[head, ["B1", dt.date(2026, 6, 18), "pickle", "pea", 2, 0.05]])
        book = openpyxl.load_workbook(path)
        book["batches"]["F2"].number_format = "0.0%"
        book.save(path)
    else:
        line = row(
            *texts("B1"), cell("date", "2026-06-18"), *texts("pickle", "pea", "2"), cell("percentage", "0.05", "5%")
        )
        ods(path, f'<table:table table:name="batches">{row(*texts(*head))}{line}</table:table>')
    taken = take_logs(tmp_path / "season")
    assert taken.raw["vinegar_acid_pct"].to_list() == ["5%"]
    assert taken.core["vinegar_acid_pct"].to_list() == [5.0]


def test_sheets_are_logs_by_their_names_and_others_are_noted(tmp_path: Path) -> None:
    head = [["picked_on", "crop", "weight"]]
    xlsx(tmp_path / "garden.xlsx", Harvests=head, plots=[["plot"]], Sketch=[["x"]])
    xlsx(tmp_path / "harvests-2025.xlsx", Sheet1=head)
    (tmp_path / "~$garden.xlsx").write_bytes(b"lock")
    found = find_logs(tmp_path)
    assert [(log.name, log.kind) for log in found.logs] == [
        ("garden.xlsx [Harvests]", "harvests"),
        ("garden.xlsx [plots]", "plots"),
        ("harvests-2025.xlsx [Sheet1]", "harvests"),
    ]
    assert found.notes == (
        (
            "garden.xlsx [Sketch]: not read, its name does not start with the name of a log and its headings fit none; "
            'if it is one, write under [files] in rowshelf.toml: "Sketch" = "harvests" (or another log), or "none" to '
            "leave it out"
        ),
    )


def damaged(path: Path) -> None:
    whole = io.BytesIO()
    openpyxl.Workbook().save(whole)
    path.write_bytes(whole.getvalue()[:3000])


def bomb(path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("xl/workbook.xml", "w") as entry:
        entry.write(b" " * (2 << 20))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: path.write_bytes(b"PK not really"), "cannot be read as a workbook"),
        (damaged, "cannot be read as a workbook"),
        (bomb, "unpacks to 2 MB, too much for a workbook. Save its sheets as .csv."),
    ],
)
def test_a_workbook_that_cannot_be_read_stops_the_load_with_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, make: Callable[[Path], None], words: str
) -> None:
    monkeypatch.setattr(workbook, "LARGEST_BYTES", 1 << 20)
    make(tmp_path / "harvests.xlsx")
    with pytest.raises(RowshelfError, match=words) as error:
        find_logs(tmp_path)
    assert str(error.value).startswith("harvests.xlsx: ")


def test_a_sheet_that_repeats_a_row_without_end_is_refused(tmp_path: Path) -> None:
    head = row(*texts("picked_on", "crop", "weight"))
    line = row(*texts("2026-06-18", "pea", "1 kg"), times=2_000_000_000)
    ods(tmp_path / "harvests.ods", f'<table:table table:name="a">{head}{line}</table:table>')
    with pytest.raises(RowshelfError, match="more than 1,048,576 rows in a sheet"):
        find_logs(tmp_path)


def test_far_cells_take_no_memory(tmp_path: Path) -> None:
    xlsx(tmp_path / "season" / "harvests.xlsx", a=[["picked_on", "crop", "weight"], ["2026-06-18", "pea", "1 kg"]])
    book = openpyxl.load_workbook(tmp_path / "season" / "harvests.xlsx")
    book["a"].cell(1_048_576, 16_384, "far")
    book.save(tmp_path / "season" / "harvests.xlsx")
    taken = take_logs(tmp_path / "season")
    assert taken.core["source_line"].to_list() == [2]
    assert taken.aside() == [1_048_576]


@given(st.floats(-1e12, 1e12))
def test_a_number_is_written_in_full_with_one_reading(value: float) -> None:
    assert float(plain_number(value)) == pytest.approx(value, rel=1e-14, abs=1e-300)
    assert "e" not in plain_number(value)
    assert plain_number(1.25) == "1.25"
    assert plain_number(1.234) == "1.2340"
    assert plain_number(3.0) == "3"


def test_the_blank_workbook_has_the_columns_words_and_notes_of_the_contracts(tmp_path: Path) -> None:
    written = start_folder(tmp_path / "season", workbook=True)
    assert sorted(path.name for path in written) == ["COLUMNS.md", "logs.xlsx", "rowshelf.toml"]
    assert start_folder(tmp_path / "season", workbook=True) == []
    book = openpyxl.load_workbook(tmp_path / "season" / "logs.xlsx")
    assert [sheet.title for sheet in book.worksheets if sheet.sheet_state == "visible"] == list(LOGS)
    batches = book["batches"]
    assert [heading.value for heading in batches[1]] == [column.name for column in blank_columns(LOGS["batches"])]
    assert batches["A1"].comment.text.startswith("Needed. Your own label for the batch")
    lists = {str(offer.sqref): offer.formula1 for offer in batches.data_validations.dataValidation}
    assert lists["C2:C1048576"] == "words!$B$1:$B$8"
    assert [line[0].value for line in book["words"]["B1:B8"]] == list(CODES["method"].words)
    assert batches.column_dimensions["A"].number_format == "@"
    assert batches.column_dimensions["B"].number_format == "yyyy-mm-dd"


def test_a_blank_workbook_loads_without_a_problem_and_takes_rows(tmp_path: Path) -> None:
    start_folder(tmp_path, workbook=True)
    with open_store(None) as store:
        report = load_folder(store, tmp_path, Settings(), AS_OF)
        assert (report.notes, store.answer("problems").height) == ((), 0)
        book = openpyxl.load_workbook(tmp_path / "logs.xlsx")
        book["harvests"].append([dt.date(2026, 6, 18), "carrot", "2 1/2 lb"])
        book["batches"].append(["K1", dt.date(2026, 6, 18), "ferment", "carrot", 3])
        book["consumption"].append([dt.date(2026, 6, 1), "K1", None, 1])
        book.save(tmp_path / "logs.xlsx")
        load_folder(store, tmp_path, Settings(), AS_OF)
        assert store.core("harvests")["weight_kg"].to_list() == pytest.approx([2.5 * 0.45359237])
        problem = store.answer("problems").row(0, named=True)
        assert (problem["file"], problem["line"]) == ("logs.xlsx [consumption]", 2)
        assert problem["message"] == (
            "before batch K1 was made on 2026-06-18 (logs.xlsx [batches] line 2): check both dates"
        )
        summary = store.answer("load_summary").filter(file="logs.xlsx [batches]").row(0, named=True)
        assert (summary["rows"], summary["accepted"], summary["set_aside"]) == (1, 1, 0)
    assert json.dumps(report.notes) == "[]"
