"""Files as people keep them: each lands right, or its rows are set aside with what to write instead."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intake_frames import Taken, take

from pipeline.intake.read import find_logs, kind_of, open_log
from pipeline.intake.records import Form, clean_part, record_by_record
from pipeline.intake.text import LONGEST_LINE, find_encoding

PLAIN = "picked_on,crop,weight,note\n2026-06-18,carrot,1.2 kg,größer € £5\n2026-06-19,peas,800 g,\n"


def rows(taken: Taken) -> list[tuple[object, ...]]:
    return taken.core.select("crop", "weight_kg", "note").rows()


SAME = [
    ("UTF-8", PLAIN.encode()),
    ("UTF-8 with a byte order mark", PLAIN.encode("utf-8-sig")),
    ("UTF-16 with a mark", PLAIN.encode("utf-16")),
    ("UTF-16 big-endian with a mark", b"\xfe\xff" + PLAIN.encode("utf-16-be")),
    ("UTF-16 without a mark", PLAIN.encode("utf-16-le")),
    ("UTF-16 big-endian without a mark", PLAIN.encode("utf-16-be")),
    ("UTF-32", PLAIN.encode("utf-32")),
    ("cp1252", PLAIN.encode("cp1252")),
    ("CRLF", PLAIN.replace("\n", "\r\n").encode()),
    ("CR, as old machines wrote", PLAIN.replace("\n", "\r").encode()),
    ("LF and CRLF mixed", PLAIN.replace("note\n", "note\r\n").encode()),
    ("no line end at the end", PLAIN.rstrip("\n").encode()),
    ("semicolons", PLAIN.replace(",", ";").encode()),
    ("tabs", PLAIN.replace(",", "\t").encode()),
    ("bars", PLAIN.replace(",", "|").encode()),
    ("every cell quoted", "\n".join('"' + line.replace(",", '","') + '"' for line in PLAIN.splitlines()).encode()),
    ("spaces around the cells", PLAIN.replace(",", " , ").encode()),
    ("non-breaking spaces", PLAIN.replace("1.2 kg", "1.2\u00a0kg").replace("800 g", "\u2009800\u202fg ").encode()),
    ("full-width digits", PLAIN.replace("1.2 kg", "\uff11.\uff12 kg").encode()),
    ("empty lines, and lines of delimiters", PLAIN.replace("\n", "\n\n,,,\n").encode()),
    ("trailing delimiters", PLAIN.replace("\n", ",,\n").encode()),
    ("trailing empty cells left out", PLAIN.replace("800 g,\n", "800 g\n").encode()),
    ("header in capitals with spaces", PLAIN.replace("picked_on,crop,weight", "PICKED ON, Crop ,WEIGHT").encode()),
    ("header with hyphens", PLAIN.replace("picked_on", "picked-on").encode()),
    ("other words for the columns", PLAIN.replace("picked_on,crop,weight", "Date,crop,Qty").encode()),
    ("columns in another order", b"note,weight,picked_on,crop\n"
     + "größer € £5,1.2 kg,2026-06-18,carrot\n,800 g,2026-06-19,peas\n".encode()),
    ("a title in a merged cell above", ("Our harvest 2026,,,\n,,,\n" + PLAIN).encode()),
    ("a comment block above", ("Kept by hand\nsee the shed door\n\n" + PLAIN).encode()),
    ("a mark in front of a word", PLAIN.replace("2026-06-18,", "\u200e2026-06-18,").encode()),
]  # fmt: skip


@pytest.mark.parametrize(("what", "content"), SAME, ids=[what for what, _ in SAME])
def test_the_same_log_in_other_clothes_gives_the_same_rows(tmp_path: Path, what: str, content: bytes) -> None:
    taken = take(tmp_path / "season", content)
    assert rows(taken) == [("carrot", 1.2, "größer € £5"), ("pea", 0.8, None)], what
    assert taken.aside() == []


HEADERS = [
    ("Weight (kg)", "1.2", 1.2),
    ("weight in kg", "1.2", 1.2),
    ("WEIGHT [g]", "1200", 1.2),
    ("weight_g", "1200", 1.2),
    ("weight, lb", "2", 0.90718474),
    ("Weight/kg", "1,2", 1.2),
    ("weight_kg", "1200 g", 1.2),
    ("Weight (kg) *", "1.2", 1.2),
    ("weight (approx)", "1.2", None),
    ("weight_kg (g)", "1.2", None),
    ("weight (stone)", "1.2", None),
    ("weight (ml)", "1.2", None),
]


@pytest.mark.parametrize(("header", "cell", "kg"), HEADERS)
def test_a_bare_number_takes_the_unit_that_its_header_names(
    tmp_path: Path, header: str, cell: str, kg: float | None
) -> None:
    taken = take(tmp_path / "season", f'picked_on;crop;"{header}"\n2026-06-18;carrot;{cell}\n')
    if kg is None:
        assert taken.found()[-1][2] in {"unit_missing", "wrong_unit"}
    else:
        assert taken.core["weight_kg"].to_list() == pytest.approx([kg])


@pytest.mark.parametrize(
    ("header", "celsius"),
    [("tmin_c,tmax_c", 50.0), ("Tmin (°F),Tmax (°F)", 10.0), ("tmin in F,tmax in F", 10.0), ("TMIN °C,TMAX °C", 50.0)],
)
def test_temperatures_take_the_degrees_that_their_header_names(tmp_path: Path, header: str, celsius: float) -> None:
    taken = take(tmp_path / "season", f"date,{header}\n2026-06-18,50,50\n", "weather.csv")
    assert taken.core["tmin_c"].to_list() == pytest.approx([celsius])


def test_a_column_of_degrees_is_known_by_its_unit_beside_one_of_the_same_name(tmp_path: Path) -> None:
    head = "Batch,Date,Method,Crop,Jars,Store,Store (F)\n"
    taken = take(tmp_path / "season", head + "K1,2026-06-18,ferment,pea,2,Root cellar,50\n", "batches.csv")
    assert taken.core.select("batch_id", "containers", "store", "store_c").rows() == [("K1", 2, "cellar", 10.0)]
    assert taken.found() == []


@pytest.mark.parametrize(
    ("log", "header", "known"),
    [
        ("consumption", "Date,Batch,Jars,Remarks", ["used_on", "batch_id", "containers", "note"]),
        ("sowings", "Sowing No.,Date sown,Crop,Amount", ["sowing_id", "sown_on", "crop", "amount"]),
        ("harvests", "Date picked,Crop,Qty,Comments", ["picked_on", "crop", "weight", "note"]),
    ],
)
def test_headings_that_people_use(tmp_path: Path, log: str, header: str, known: list[str]) -> None:
    (tmp_path / f"{log}.csv").write_text(header + "\n1,2,3,4\n")
    found = open_log(find_logs(tmp_path).logs[0]).header
    assert found is not None
    assert sorted(found.columns) == sorted(known)
    assert found.extra == {}


def test_a_point_before_three_digits_has_two_readings_where_a_comma_is_the_decimal_point(tmp_path: Path) -> None:
    rows = "picked_on{0}crop{0}weight\n2026-06-18{0}pea{0}1.250 kg\n2026-06-19{0}pea{0}1.25 kg\n"
    german = take(tmp_path / "a", rows.format(";") + "2026-06-20;pea;1.234,5 kg\n")
    assert german.core["weight_kg"].to_list() == [1.25, 1234.5]
    assert german.message("two_readings") == "'1.250' can be read in two ways: write 1250 or 1.25"
    english = take(tmp_path / "b", rows.format(","))
    assert english.core["weight_kg"].to_list() == [1.25, 1.25]


@pytest.mark.parametrize("word", ["?", "n/a", "Unknown"])
def test_a_word_for_not_known_is_an_empty_cell(tmp_path: Path, word: str) -> None:
    head = "batch_id,made_on,method,crop,containers,ph,lid,submerged,salt,note\n"
    line = f"K1,2026-06-18,ferment,pea,2,{word},{word},{word},{word},{word}\n"
    taken = take(tmp_path / "season", head + line, "batches.csv")
    assert taken.found() == []
    assert taken.core.select("ph", "lid", "submerged", "salt_g", "note").rows() == [(None, None, None, None, word)]


def test_an_area_in_square_feet_is_not_read_as_square_metres(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "plot,Area (sq ft),people\nnorth,100,2\n", "plots.csv")
    assert taken.core["area_m2"].to_list() == [None]
    assert json.loads(taken.raw["extra"][0]) == {"Area (sq ft)": "100"}
    assert taken.found() == [(1, "Area (sq ft)", "extra_column")]


def test_unknown_columns_are_kept_as_typed_and_reported_with_the_nearest(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", 'picked_on,crop,weight,basket,nots\n2026-06-18,pea,1 kg,"b, ""x""",fine\n')
    assert json.loads(taken.raw["extra"][0]) == {"basket": 'b, "x"', "nots": "fine"}
    assert [problem[2] for problem in taken.found()] == ["extra_column", "extra_column"]
    assert "did you mean 'note'?" in str(taken.problems.filter(pl.col("column") == "nots")["message"][0])


def test_a_column_that_stands_twice_counts_only_where_both_agree(tmp_path: Path) -> None:
    taken = take(
        tmp_path / "season",
        "picked_on,crop,weight,weight\n2026-06-18,pea,1 kg,1 kg\n2026-06-19,pea,1 kg,2 kg\n2026-06-20,pea,,3 kg\n",
    )
    assert taken.core["source_line"].to_list() == [2]
    assert taken.found() == [
        (1, "weight", "repeated_column"),
        (3, "", "two_readings"),
        (4, "", "two_readings"),
    ]
    assert taken.message("two_readings") == "a column stands more than once and its cells differ: keep one of them"


def test_a_column_of_its_own_name_goes_before_another_word_for_it(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "picked_on,crop,quantity,weight\n2026-06-18,pea,3 heads,1 kg\n")
    assert taken.core["weight_kg"].to_list() == [1.0]
    assert json.loads(taken.raw["extra"][0]) == {"quantity": "3 heads"}


ASIDE = [
    ("a decimal comma without quotes", "2026-06-18,pea,1,5 kg,x\n", "too_many_cells"),
    ("the header again", "picked_on,crop,weight,note\n", "repeated_header"),
    ("a sum", "Total,,4.5 kg,\n", "summary_row"),
    ("a sum further in", ",Grand total:,4.5 kg,\n", "summary_row"),
    ("a yearly sum", "Total 2026,,4.5 kg,\n", "summary_row"),
    ("a quote that is never closed", '2026-06-18,"pea,1 kg,\n', "unreadable_line"),
    ("text behind a closing quote", '2026-06-18,"pea"s,1 kg,\n', "unreadable_line"),
    ("a zero byte", "2026-06-18,pea,1\x00 kg,\n", "unreadable_bytes"),
    ("a block of zero bytes", "\x00" * 50 + "\n", "unreadable_bytes"),
    ("an empty date", ",pea,1 kg,\n", "required"),
    ("a number without unit", "2026-06-18,pea,5,\n", "unit_missing"),
    ("two readings of a number", '2026-06-18,pea,"1,234 kg",\n', "two_readings"),
    ("two readings of a date", "3/4/2026,pea,1 kg,\n", "ambiguous_date"),
    ("a formula", "2026-06-18,pea,=B2*2,\n", "formula"),
    ("a sum of a month", "2026-06-30,Total,40 kg,\n", "summary_row"),
    ("a sum in words", "Total weight for June,,40 kg,\n", "summary_row"),
    ("a sum in another language", "Summe,,40 kg,\n", "summary_row"),
    ("a weight that is not known", "2026-06-18,pea,?,\n", "required"),
    ("more than can be carried", "2026-06-18,pea,9000 kg,\n", "out_of_bounds"),
    ("a negative weight", "2026-06-18,pea,-1 kg,\n", "out_of_bounds"),
    ("a text in place of a record", "rained all week\n", "not_a_date"),
    ("a measured cell as long as a letter", "2026-06-18,pea," + "9" * 300 + ",\n", "too_long"),
    ("a cell longer than any cell", "2026-06-18,pea,1 kg," + "x" * 140_000 + "\n", "unreadable_line"),
]


@pytest.mark.parametrize(("what", "line", "rule"), ASIDE, ids=[what for what, _, _ in ASIDE])
def test_a_line_that_cannot_be_read_is_set_aside_alone_and_kept_as_typed(
    tmp_path: Path, what: str, line: str, rule: str
) -> None:
    taken = take(
        tmp_path / "season",
        f"picked_on,crop,weight,note\n2026-06-18,pea,1 kg,before\n{line}2026-06-19,pea,2 kg,after\n",
    )
    assert taken.core["note"].to_list() == ["before", "after"], what
    assert taken.aside() == [3]
    assert (3, rule) in {(number, found) for number, _, found in taken.found()}
    kept = taken.raw.filter(pl.col("source_line") == 3).row(0, named=True)
    columns = (kept[name] or "" for name in ("picked_on", "crop", "weight", "note"))
    cells = json.loads(kept["extra"]) if kept["extra"] else list(columns)
    assert ",".join(cells).rstrip(",").replace('"', "") == line.rstrip(",\n").replace('"', "")


def test_formulas_are_text_in_a_note(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", 'picked_on,crop,weight,note\n2026-06-18,pea,1 kg,"=HYPERLINK(""x"")"\n')
    assert taken.core["note"].to_list() == ['=HYPERLINK("x")']


def test_quoted_line_breaks_keep_line_numbers_right(tmp_path: Path) -> None:
    taken = take(
        tmp_path / "season",
        'picked_on,crop,weight,note\r\n2026-06-18,pea,1 kg,"two\r\nlines, and ""quotes"""\r\n2026-06-19,pea,x,\r\n',
    )
    assert taken.core["note"].to_list() == ['two\r\nlines, and "quotes"']
    assert taken.found() == [(4, "weight", "not_a_quantity")]


def test_bytes_that_are_no_text_set_their_row_aside_and_stay_readable_in_raw(tmp_path: Path) -> None:
    # 0x81 is defined neither in UTF-8 as a first byte nor in cp1252 (Unicode mapping table of cp1252).
    cp1252 = take(
        tmp_path / "a", b"picked_on,crop,weight,note\n2026-06-18,pea,1 kg,\x81x\n2026-06-19,pea,2 kg,caf\xe9\n"
    )
    assert rows(cp1252) == [("pea", 2.0, "café")]
    assert json.loads(cp1252.raw["extra"][0]) == ["2026-06-18", "pea", "1 kg", "\\x81x"]
    mixed = take(
        tmp_path / "b", b"picked_on,crop,weight,note\n2026-06-18,pea,1 kg,caf\xe9\n2026-06-19,pea,2 kg,caf\xc3\xa9\n"
    )
    assert rows(mixed) == [("pea", 2.0, "café")]
    assert (2, "", "unreadable_bytes") in mixed.found()
    cut = take(tmp_path / "c", "picked_on,crop,weight,note\n2026-06-18,pea,1 kg,x\n".encode("utf-16") + b"\x0a")
    assert cut.core.height == 1
    assert (3, "", "unreadable_bytes") in cut.found()


def test_a_file_read_as_windows_text_says_so(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "picked_on,crop,weight,note\n2026-06-18,pea,1 kg,café\n".encode("cp1252"))
    assert taken.found() == [(1, "", "encoding")]


@pytest.mark.parametrize("content", ["", "\n\n \n", "picked_on,crop,weight\n", "picked_on,crop,weight", "\ufeff"])
def test_an_empty_file_and_a_header_alone_hold_no_rows_and_no_problem(tmp_path: Path, content: str) -> None:
    taken = take(tmp_path / "season", content)
    assert (taken.raw.height, taken.core.height, taken.problems.height) == (0, 0, 0)


def test_without_a_header_every_line_is_set_aside_with_one_sentence(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "2026-06-18,carrot,1 kg\n\n2026-06-19,carrot,2 kg\n")
    assert (taken.raw.height, taken.core.height) == (2, 0)
    assert taken.found() == [(1, "", "no_header")]
    assert taken.problems["value"].to_list() == ["2026-06-18,carrot,1 kg"]
    assert taken.message("no_header") == (
        "no header found, so all 2 lines are set aside: "
        "the first line names the columns, such as picked_on, crop, weight"
    )


def test_a_required_column_that_is_missing_sets_every_row_aside(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "picked_on,crop,note\n2026-06-18,carrot,x\n")
    assert (taken.raw.height, taken.core.height) == (1, 0)
    assert taken.found() == [(1, "weight", "missing_column")]


def test_columns_of_which_one_is_needed_are_missed_once(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "used_on,use,jars\n2026-06-18,eaten,1\n2026-06-19,eaten,1\n", "consumption.csv")
    assert (taken.raw.height, taken.core.height) == (2, 0)
    assert taken.found() == [(1, "batch_id or crop", "missing_column")]
    assert taken.message("missing_column") == (
        "no such column (the batch it came from; the crop, for fresh produce), so every row is set aside: "
        "name it in this line"
    )


def test_a_broken_contract_shows_the_cell_as_typed_and_says_what_to_write(tmp_path: Path) -> None:
    head = "found_on,batch_id,crop,containers,weight,cause\n"
    lines = "2026-06-18,,pea,,-2 lb,rot\n,,pea,,1 kg,rot\n2026-06-18,K1,,,,mould\n2026-06-18,,,1,,mould\n"
    taken = take(tmp_path / "season", head + lines, "spoilage.csv")
    assert taken.problems.sort("line").select("line", "column", "value", "message").rows() == [
        (2, "weight", "-2 lb", "expected between 0 and 5000 kg"),
        (3, "found_on", None, "empty, and every row needs it: day you looked (such as 2026-06-18)"),
        (4, "containers", None, "write how many containers were bad; 0 where all were sound"),
        (5, "batch_id", None, "fill in batch_id or crop"),
    ]


def test_a_cell_that_cannot_be_read_is_no_missing_cell(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "used_on,crop,weight\n2026-06-18,pea,5\n", "consumption.csv")
    assert taken.found() == [(2, "weight", "unit_missing")]


def test_degrees_that_contradict_each_other_are_shown_as_typed(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "date,Tmin (F),Tmax (F)\n2026-07-01,80,55\n", "weather.csv")
    assert taken.problems.select("column", "value", "message").rows() == [
        ("tmin_c", "80", "the lowest temperature is above the highest: check both")
    ]


def test_a_header_that_was_sorted_into_the_table_loses_no_row(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "2026-06-18,carrot,1 kg\npicked_on,crop,weight\n2026-06-19,carrot,2 kg\n")
    assert taken.core["source_line"].to_list() == [3]
    assert taken.found() == [(1, "", "above_header")]
    assert taken.message("above_header") == "stands above the header (line 2): move it below"


def test_a_title_above_the_header_is_noted_with_its_text(tmp_path: Path) -> None:
    taken = take(tmp_path / "season", "Our harvest,,\npicked_on,crop,weight\n2026-06-19,carrot,2 kg\n")
    assert taken.problems.select("line", "value", "rule", "level").rows() == [
        (1, "Our harvest", "lines_above_header", "note")
    ]


def test_ten_thousand_broken_lines_in_a_row_are_ten_thousand_rows_set_aside(tmp_path: Path) -> None:
    bad = '2026-06-18,"pea"s,1 kg\n' * 10_000
    taken = take(tmp_path / "season", f"picked_on,crop,weight\n{bad}2026-06-19,pea,2 kg\n")
    assert (taken.raw.height, taken.core["source_line"].to_list()) == (10_001, [10_002])


def test_a_line_of_a_hundred_megabytes_is_set_aside_and_the_next_is_read(tmp_path: Path) -> None:
    path = tmp_path / "season"
    path.mkdir()
    with (path / "harvests.csv").open("wb") as file:
        file.write(b"picked_on,crop,weight,note\n2026-06-18,pea,1 kg,x\n2026-06-19,pea,2 kg,")
        for _ in range(100):
            file.write(b"y" * 1_000_000)
        file.write(b"\r\n2026-06-20,pea,3 kg,z\n")
    taken = take(path, (b""), "empty_harvests.csv")
    assert taken.core["source_line"].to_list() == [2, 4]
    assert taken.found() == [(3, "", "unreadable_line")]
    assert taken.message("unreadable_line") == f"the line is longer than {LONGEST_LINE:,} characters: split it"


def test_a_log_is_known_by_the_start_of_its_name(tmp_path: Path) -> None:
    assert kind_of("Harvests-2026.csv") == "harvests"
    assert kind_of("my harvests.csv") is None
    for name in ("harvest.csv", "harvests.txt", "notes.csv", "harvests.tsv", ".harvests.csv", "photo.jpg"):
        (tmp_path / name).write_text("x")
    found = find_logs(tmp_path)
    assert [log.name for log in found.logs] == ["harvests.tsv"]
    assert found.notes == (
        (
            "harvest.csv: not read, its name says harvests, but no line names the columns of that log: write them in "
            "its first line, such as picked_on, crop, weight"
        ),
        "harvests.txt: not read, a .txt file: save it as .csv, .xlsx or .ods",
        (
            "notes.csv: not read, its name does not start with the name of a log and its headings fit none; if it is "
            'one, write under [files] in rowshelf.toml: "notes" = "harvests" (or another log), or "none" to leave it '
            "out"
        ),
    )


@given(st.text("é漢\u20ac½a\n", max_size=30), st.sampled_from(["utf-8", "utf-16", "utf-8-sig", "utf-32"]))
def test_whatever_stands_in_a_file_its_encoding_is_found(tmp_path: Path, text: str, encoding: str) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(("picked_on,crop,weight\n" + text).encode(encoding))
    assert path.read_bytes().decode(find_encoding(path)) == "picked_on,crop,weight\n" + text


CELLS = ["a", "b c", "1,5", '"x"', '""', '"a""b"', '"p,q"', '"l1\nl2"', '"m\r\nn"', ' "s" ', '5" pot', "", "  ", "é"]
CELLS += ['"', 'x"y', '"unclosed', '"a"b', "\ufeff", "#c", "NULL", '""""', '"\n"']


@given(
    st.lists(st.lists(st.sampled_from(CELLS), min_size=1, max_size=4), max_size=6),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n"]),
    st.sampled_from(["", "\r", "\n"]),
)
def test_the_fast_way_to_split_records_gives_what_the_csv_reader_gives(
    records: list[list[str]], delimiter: str, ending: str, last: str
) -> None:
    data = ("".join(delimiter.join(record) + ending for record in records) + last).encode()
    form = Form(delimiter, 3)
    clean = clean_part(data, form, 7)
    if clean is not None:
        part, used, lines = clean
        slow, slow_used, slow_lines = record_by_record(data[:used], form, 7, final=False)
        assert part.cells.equals(slow.cells)
        assert (used, lines, slow.odd) == (slow_used, slow_lines, ())


def test_the_fast_way_is_taken_for_a_clean_piece() -> None:
    clean = clean_part(b'a,b,"c,\nd"\r\n,"",\n1,2,3\n4,5,"6', Form(",", 3), 10)
    assert clean is not None
    part, used, lines = clean
    assert part.cells.rows() == [("a", "b", "c,\nd", 10), (None, None, None, 12), ("1", "2", "3", 13)]
    assert (used, lines) == (23, 4)
