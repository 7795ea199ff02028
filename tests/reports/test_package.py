"""The exported package is what the open standard says: the frictionless library finds nothing to complain about."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import frictionless
import polars as pl
import pytest

from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import open_store
from reports.package import descriptor, package_files
from schemas.logs import LOGS
from tests.invented_answers import answers, empty_answers

AS_OF = dt.date(2026, 11, 20)
HOSTILE = ['=HYPERLINK("x")', "+1", "-1", "@SUM(A1)", "plain", "'quoted", 'a "b", c', "two\nlines", "é€漢"]
LOG_FILES = {
    "harvests": "picked_on,crop,weight,note\n"
    + "".join(f'2026-06-18,carrot,1.2 kg,"{note.replace(chr(34), chr(34) * 2)}"\n' for note in HOSTILE),
    "batches": (
        "batch_id,made_on,method,crop,containers,salt,produce,submerged,ph\n"
        "K1,2026-06-25,ferment,kohlrabi,4,50 g,2.5 kg,yes,3.6\n=K2,2026-07-25,jam,plum,2,,,,\n"
    ),
    "sowings": "sowing_id,sown_on,crop,amount\nS1,2026-03-01,carrot,3 m\n",
    "weather": "date,tmin_c,tmax_c\n2026-06-18,-1.5,20\n",
    "plots": "plot,area_m2,share\nnorth,20,yes\n",
}


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, pl.DataFrame]:
    """Typed rows of every log, some without any."""
    folder = tmp_path_factory.mktemp("season")
    for name, content in LOG_FILES.items():
        (folder / f"{name}.csv").write_text(content)
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        frames = {name: store.core(name) for name in LOGS}
    assert {name: frame.height for name, frame in frames.items() if frame.height} == {
        "harvests": len(HOSTILE),
        "batches": 2,
        "sowings": 1,
        "weather": 1,
        "plots": 1,
    }
    return frames


def write(folder: Path, logs: dict[str, pl.DataFrame], tables: dict[str, pl.DataFrame], form: str) -> Path:
    files = package_files(logs, tables, form)
    described = descriptor("Invented garden: 'north' & co.", AS_OF, files, form)
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    path = folder / "datapackage.json"
    path.write_text(json.dumps(described))
    return path


@pytest.mark.parametrize("tables", [answers, empty_answers], ids=["with answers", "without"])
def test_frictionless_finds_no_error_in_the_csv_package(
    tmp_path: Path, logs: dict[str, pl.DataFrame], tables: Callable[[], dict[str, pl.DataFrame]]
) -> None:
    path = write(tmp_path, logs, tables(), "csv")
    report = frictionless.validate(str(path))
    errors = [(task.name, error.title, error.note) for task in report.tasks for error in task.errors]
    assert (report.valid, errors, report.errors) == (True, [], [])
    assert len(report.tasks) == len(logs) + len(tables())
    assert sum(task.stats.get("rows", 0) for task in report.tasks) >= len(HOSTILE) + 5


def test_frictionless_reads_the_values_back(tmp_path: Path, logs: dict[str, pl.DataFrame]) -> None:
    package = frictionless.Package(str(write(tmp_path, logs, {}, "csv")))
    batches = package.get_resource("logs-batches").read_rows()
    assert [
        (row["batch_id"], row["made_on"], row["containers"], row["salt_g"], row["submerged"]) for row in batches
    ] == [
        ("K1", dt.date(2026, 6, 25), 4, 50, True),
        ("'=K2", dt.date(2026, 7, 25), 2, None, None),
    ]


def test_cells_that_a_spreadsheet_would_run_get_an_apostrophe_in_csv_alone(
    tmp_path: Path, logs: dict[str, pl.DataFrame]
) -> None:
    csv = package_files(logs, {}, "csv")["logs/harvests.csv"].decode()
    for text in HOSTILE[:4]:
        quoted = text.replace('"', '""')
        assert f"'{quoted}" in csv
    assert ",'plain" not in csv
    write(tmp_path, logs, {}, "parquet")
    kept = pl.read_parquet(tmp_path / "logs" / "harvests.parquet")
    assert kept["note"].to_list()[0] == HOSTILE[0]
    described = json.loads((tmp_path / "datapackage.json").read_text())
    assert list(frictionless.Package.metadata_validate(described)) == []
    assert {resource["format"] for resource in described["resources"]} == {"parquet"}


def test_frictionless_finds_no_error_in_the_rows_of_the_parquet_package(
    tmp_path: Path, logs: dict[str, pl.DataFrame]
) -> None:
    """Its own Parquet plugin asks for a further library, so it is handed the rows as polars reads them."""
    described = json.loads(write(tmp_path, logs, answers(), "parquet").read_text())
    for resource in described["resources"]:
        frame = pl.read_parquet(tmp_path / resource["path"])
        table = frictionless.Resource(
            data=[frame.columns, *map(list, frame.iter_rows())],
            schema=frictionless.Schema.from_descriptor(resource["schema"]),
        )
        report = frictionless.validate(table)
        assert report.flatten(["title", "note"]) == [], resource["path"]
    assert len(described["resources"]) == len(logs) + len(answers())


def test_a_wrong_cell_would_be_found(tmp_path: Path, logs: dict[str, pl.DataFrame]) -> None:
    path = write(tmp_path, logs, {}, "csv")
    file = tmp_path / "logs" / "weather.csv"
    file.write_bytes(file.read_bytes().replace(b"2026-06-18", b"18.6.26"))
    assert not frictionless.validate(str(path)).valid
