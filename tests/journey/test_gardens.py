"""The small invented gardens: each says that it is invented, and its truth is what a plain reader finds in its files.

The reader here shares no code with the product: the csv module, openpyxl, a few regular expressions and a list of
headings. Whatever the product comes to take or refuse, these sums stay.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
import polars as pl
import pytest

from pipeline.cli import main
from pipeline.store.folder import read_settings
from pipeline.store.load import load_folder
from pipeline.store.store import open_store

SAMPLES = Path(__file__).parents[2] / "sample_data"
GARDENS = ("courtyard", "first_year", "twelve_plots", "warm_south")

# What the first check takes of each at least; a door that opens further raises it.
TAKEN_AT_FIRST = {"courtyard": 0.94, "first_year": 0.0, "twelve_plots": 0.85, "warm_south": 0.96}

KINDS = {
    "harvest": "harvests",
    "batch": "batches",
    "preserves": "batches",
    "spoilage": "looks",
    "losses": "looks",
    "consumption": "uses",
    "used": "uses",
    "sowings": "sowings",
}
MEANINGS = {
    "date": "picked on|made on|found on|used on|sown on|date",
    "crop": "crop|what",
    "weight": "weight|weight g|how much",
    "batch": "batch id|which|name|label",
    "containers": "containers|jars|number|how many|how many bad",
    "method": "method|how",
}
MEANING = {heading: meaning for meaning, headings in MEANINGS.items() for heading in headings.split("|")}
METHODS = {
    "frozen": "freeze",
    "bottled": "bottle",
    "fermented": "ferment",
    "stored": "cure",
    "dried": "dry",
    "pickled": "pickle",
}
MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
Row = tuple[int, dict[str, str]]


def plain(heading: str) -> str:
    words = " ".join(re.findall(r"[a-z]+", heading.casefold()))
    return MEANING.get(words, words)


def csv_rows(path: Path) -> Iterator[Row]:
    text = path.read_bytes().decode("utf-8-sig")
    head = text.splitlines()[0]
    reader = csv.reader(io.StringIO(text), delimiter=";" if head.count(";") > head.count(",") else ",")
    headings = next(reader)
    unit = "weight" if any("(g)" in heading and plain(heading) == "weight" for heading in headings) else ""
    for line, cells in enumerate(reader, start=2):
        row = dict(zip(map(plain, headings), cells, strict=True))
        if unit and row[unit].strip().isdigit():
            row[unit] += " g"
        yield line, row


def sheet_rows(path: Path, sheet: str) -> Iterator[Row]:
    table = openpyxl.load_workbook(path)[sheet].iter_rows(values_only=True)
    headings = [str(cell) for cell in next(table)]
    for line, cells in enumerate(table, start=2):
        shown = [
            cell.date().isoformat() if isinstance(cell, dt.datetime) else "" if cell is None else str(cell)
            for cell in cells
        ]
        yield line, dict(zip(map(plain, headings), shown, strict=True))


def grams(cell: str) -> int | None:
    """A weight in kilograms or grams; nothing for a count or a blank."""
    found = re.fullmatch(r"([\d.,]+) ?(kg|g)", cell.strip().casefold())
    if found is None:
        return None
    number = float(found[1].replace(",", "."))
    return round(number * 1000) if found[2] == "kg" else round(number)


def month_of(cell: str, before: str | None) -> str:
    """Year and month of a date that has its day first; without a year, that of the row before, or the next."""
    if re.match(r"\d{4}-", cell):
        return cell[:7]
    _, month, *year = re.findall(r"[A-Za-z]{3,}|\d+", re.sub(r"(?<=\d)(st|nd|rd|th)\b", "", cell))
    number = int(month) if month.isdigit() else MONTHS.index(month[:3].casefold()) + 1
    if year:
        return f"{int(year[0]) % 100 + 2000}-{number:02d}"
    assert before is not None
    same_year = f"{before[:4]}-{number:02d}"
    return same_year if same_year >= before else f"{int(before[:4]) + 1}-{number:02d}"


def kind_of(name: str) -> str | None:
    stem = re.split(r"[\[/]", name)[-1].casefold()
    return next((kind for start, kind in KINDS.items() if stem.startswith(start)), None)


def number(cell: str) -> float:
    return 0.5 if cell.strip() == "half" else float(cell.split(maxsplit=1)[0])


def truth_of(garden: str) -> dict[str, Any]:
    return json.loads((SAMPLES / f"{garden}_truth.json").read_text(encoding="utf-8"))


@cache
def rows_of(garden: str, name: str) -> list[Row]:
    file, _, sheet = name.partition(" [")
    path = SAMPLES / garden / file
    return list(sheet_rows(path, sheet.removesuffix("]")) if sheet else csv_rows(path))


def files_of(garden: str) -> set[str]:
    """Every file, and every sheet of a workbook."""
    folder = SAMPLES / garden
    books = {path: openpyxl.load_workbook(path, read_only=True).sheetnames for path in folder.rglob("*.xlsx")}
    sheets = {f"{path.relative_to(folder).as_posix()} [{sheet}]" for path, names in books.items() for sheet in names}
    return sheets | {path.relative_to(folder).as_posix() for path in folder.rglob("*.csv")}


class Reading:
    """Every file of a garden read plainly, its rows made wrong on purpose left out."""

    def __init__(self, garden: str) -> None:
        self.truth = truth_of(garden)
        self.garden = garden
        self.sums: dict[str, Counter[str]] = defaultdict(Counter)
        self.pieces: dict[str, Counter[str]] = defaultdict(Counter)
        self.methods: Counter[str] = Counter()
        self.numbers: Counter[str] = Counter()
        self.months: dict[tuple[str, int], str] = {}
        wrong = {(row["file"], row["line"]) for row in self.truth["wrong_rows"]}
        for name in self.truth["rows"]:
            kind, before = kind_of(name), None
            for line, row in rows_of(garden, name):
                if kind and (name, line) not in wrong:
                    before = self.months[name, line] = month_of(row["date"], before)
                    getattr(self, kind)(row, before)

    def crop(self, row: dict[str, str]) -> str:
        return str(self.truth["words"][row["crop"].casefold()])

    def harvests(self, row: dict[str, str], month: str) -> None:
        weight = grams(row["weight"])
        if weight is None:
            count, unit = row["weight"].split()
            self.pieces[self.crop(row)][unit] += int(count)
        else:
            self.sums["picked_g"][self.crop(row)] += weight
            self.sums["picked_g_by_month"][month] += weight

    def batches(self, row: dict[str, str], _: str) -> None:
        self.crop(row)
        self.numbers["batches"] += 1
        self.numbers["made"] += int(number(row["containers"]))
        self.methods[METHODS.get(row["method"], row["method"])] += 1

    def looks(self, row: dict[str, str], _: str) -> None:
        if row["batch"]:
            self.numbers["looks"] += 1
            self.numbers["bad"] += int(row["containers"])
        else:
            self.sums["thrown"][self.crop(row)] += grams(row["weight"]) or 0

    def uses(self, row: dict[str, str], _: str) -> None:
        self.numbers["uses"] += 1
        weight = grams(row.get("weight", ""))
        if row["batch"] and weight is not None:
            self.sums["out of batches"][row["batch"]] += weight
        elif row["batch"]:
            self.numbers["used"] += round(1000 * number(row["containers"]))
        else:
            self.sums["fresh"][self.crop(row)] += weight or 0

    def sowings(self, row: dict[str, str], _: str) -> None:
        self.crop(row)
        self.numbers["sowings"] += 1


@pytest.mark.parametrize("garden", GARDENS)
def test_the_truth_is_what_a_plain_reader_finds(garden: str) -> None:
    reading, truth = Reading(garden), truth_of(garden)
    assert files_of(garden) == set(truth["rows"])
    for name, count in truth["rows"].items():
        assert len(rows_of(garden, name)) == count, name
    assert reading.sums["picked_g"] == truth["picked_g"]
    assert reading.sums["picked_g_by_month"] == truth["picked_g_by_month"]
    assert reading.pieces == truth["picked_pieces"]
    assert truth["batches"] == {
        "count": reading.numbers["batches"],
        "containers": reading.numbers["made"],
        "by_method": reading.methods,
    }
    assert truth["looks"] == {"count": reading.numbers["looks"], "bad_containers": reading.numbers["bad"]}
    assert reading.sums["thrown"] == truth["thrown_away_g"]
    assert truth["uses"] == {
        "count": reading.numbers["uses"],
        "containers": reading.numbers["used"] / 1000,
        "fresh_g": reading.sums["fresh"],
        "weight_out_of_batches_g": reading.sums["out of batches"],
    }
    assert truth["sowings"] == reading.numbers["sowings"]


@pytest.mark.parametrize("garden", GARDENS)
def test_each_row_made_wrong_stands_where_the_truth_says(garden: str) -> None:
    for wrong in truth_of(garden)["wrong_rows"]:
        row = dict(rows_of(garden, wrong["file"]))[wrong["line"]]
        assert row[plain(wrong["column"])].removesuffix(" g") == wrong["value"], wrong
        assert wrong["why"]


@pytest.mark.parametrize("garden", GARDENS)
def test_each_garden_says_that_it_is_invented(garden: str) -> None:
    folder = SAMPLES / garden
    about = (folder / "ABOUT.md").read_text(encoding="utf-8")
    assert about.splitlines()[0].endswith("(invented)")
    assert "Everything in this folder is invented" in about
    assert (
        "Follow a tested recipe from your food-safety authority; local rules and qualified advice come first." in about
    )
    assert "invented" in (folder / "rowshelf.toml").read_text(encoding="utf-8").splitlines()[0].casefold()
    assert truth_of(garden)["about"].startswith("Invented.")


def test_the_truth_of_the_twelve_plots_says_what_each_grower_agreed_to() -> None:
    truth = truth_of("twelve_plots")
    typed = {row["plot"]: row["share"].casefold() for _, row in rows_of("twelve_plots", "plots.csv")}
    assert truth["consent"] == {plot: {"yes": "totals", "": "no"}.get(share, share) for plot, share in typed.items()}
    shared = [plot for plot, share in truth["consent"].items() if share != "no"]
    by_plot = truth["picked_g_by_plot"]
    assert sum((Counter(crops) for crops in by_plot.values()), Counter()) == truth["picked_g"]
    assert sum((Counter(by_plot[plot]) for plot in shared), Counter()) == truth["picked_g_of_plots_that_share"]
    assert Counter(crop for plot in shared for crop in by_plot[plot]) == truth["plots_that_share_it"]


@pytest.mark.parametrize("garden", GARDENS)
def test_a_first_check_names_every_file_and_loses_no_row(garden: str, capsys: pytest.CaptureFixture[str]) -> None:
    truth = truth_of(garden)
    status = main(["check", str(SAMPLES / garden), "--json", "--as-of", truth["as_of"]])
    out, err = capsys.readouterr()
    assert status in (0, 1)
    assert "Traceback" not in out + err
    summary = {row["file"]: row for row in json.loads(out)["load_summary"]}
    taken = sum(row["accepted"] for row in summary.values()) / sum(truth["rows"].values())
    assert taken >= TAKEN_AT_FIRST[garden], f"{taken:.1%}"
    for row in summary.values():
        assert row["rows"] == row["accepted"] + row["set_aside"], row
    for name, rows in truth["rows"].items():
        if name in summary:
            assert summary[name]["rows"] == rows, name
        else:
            assert name in out + err, name


@pytest.mark.parametrize("garden", GARDENS)
def test_what_is_taken_is_what_a_plain_reader_reads_and_what_is_wrong_is_named(garden: str) -> None:
    reading, folder = Reading(garden), SAMPLES / garden
    with open_store(None) as store:
        load_folder(store, folder, read_settings(folder), dt.date.fromisoformat(reading.truth["as_of"]))
        problems = store.answer("problems").filter(pl.col("level") != "note")
        picked = store.core("harvests").select("source_file", "source_line", "picked_on", "weight_kg")
    named = set(problems.select("file", "line").iter_rows())
    read = {row["file"] for row in problems.iter_rows(named=True)} | set(picked["source_file"])
    for wrong in reading.truth["wrong_rows"]:
        assert wrong["file"] not in read or (wrong["file"], wrong["line"]) in named, wrong
    for file, line, day, kilos in picked.iter_rows():
        weight = grams(dict(rows_of(garden, file))[line]["weight"])
        assert f"{day:%Y-%m}" == reading.months[file, line], (file, line)
        assert weight is None or round(kilos * 1000) == weight, (file, line)
