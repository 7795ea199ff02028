"""Nothing is lost: properties of generated messy files, and of folders whose files come and go."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_frames import take

from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import Store, open_store

AS_OF = dt.date(2026, 11, 20)
# Each cell beside what it means; None means that no one reading is possible.
DATES = {"2026-06-18": True, "18.6.2026": True, "June 18, 2026": True, "3/4/2026": False, "": False, "soon": False}
CROPS = {"carrot": True, "Peas ": True, "something new": True, "": False, "  ": False}
WEIGHTS = {
    "1.2 kg": 1.2,
    "800 g": 0.8,
    "0,75 kg": 0.75,
    "2 lb": 0.90718474,
    "2½ kg": 2.5,
    "1\u00a0234 g": 1.234,
    "\uff15 kg": 5.0,
    "5": None,
    "1,234 g": None,
    "1.234 g": None,
    "": None,
    "=2*3": None,
    "-1 kg": None,
}
notes = st.text(
    st.characters(codec="utf-8", exclude_characters="\x00\r", exclude_categories=["Cs", "Co", "Cn"]), max_size=8
)
rows_of_cells = st.lists(
    st.tuples(st.sampled_from(list(DATES)), st.sampled_from(list(CROPS)), st.sampled_from(list(WEIGHTS)), notes),
    max_size=12,
)


@settings(max_examples=80)
@given(
    rows=rows_of_cells,
    delimiter=st.sampled_from([",", ";", "\t"]),
    encoding=st.sampled_from(["utf-8", "utf-16", "utf-8-sig"]),
    ending=st.sampled_from(["\n", "\r\n"]),
    blank_after=st.sets(st.integers(0, 12)),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
)
def test_no_row_is_ever_lost_whatever_its_cells(
    tmp_path: Path,
    rows: list[tuple[str, str, str, str]],
    delimiter: str,
    encoding: str,
    ending: str,
    blank_after: set[int],
    quoting: int,
) -> None:
    """rows = accepted + set aside; raw keeps every cell; the accepted are those that can be read, as heavy as meant."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=delimiter, lineterminator=ending, quoting=quoting)
    writer.writerow(["picked_on", "crop", "weight", "note"])
    for index, row in enumerate(rows):
        writer.writerow(row)
        if index in blank_after:
            text.write(ending)
    taken = take(tmp_path / "season", text.getvalue().encode(encoding))

    independent = csv.reader(io.StringIO(text.getvalue(), newline=""), delimiter=delimiter)
    filled = [cells for cells in list(independent)[1:] if any(cell.strip() for cell in cells)]
    columns = ("picked_on", "crop", "weight", "note")
    kept = [[row[name] or "" for name in columns] for row in taken.raw.iter_rows(named=True) if row["extra"] is None]
    odd = [json.loads(extra) for extra in taken.raw["extra"].drop_nulls()]
    assert sorted([*kept, *odd]) == sorted(filled)

    good = [row for row in rows if DATES[row[0]] and CROPS[row[1]] and WEIGHTS[row[2]] is not None]
    assert taken.core.height == len(good)
    assert taken.core["weight_kg"].sum() == pytest.approx(sum(WEIGHTS[row[2]] or 0.0 for row in good))
    errors = taken.problems.filter(pl.col("level") == "error")
    once = errors.filter(pl.col("rule") == "ambiguous_date")  # said once for the column, whatever the number of rows
    spoken_for = taken.raw.filter(pl.col("picked_on") == "3/4/2026") if once.height else taken.raw.clear()
    assert set(errors["line"]) | set(spoken_for["source_line"]) == set(taken.aside())
    assert once.height <= 1
    assert taken.raw["source_line"].n_unique() == taken.raw.height == taken.core.height + len(taken.aside())


def state(store: Store) -> dict[str, list[tuple[object, ...]]]:
    """All that a load writes, in a fixed order."""
    tables = store.con.execute(
        "select table_schema, table_name from information_schema.tables where table_schema in ('raw', 'core', 'out')"
    ).fetchall()
    return {
        f"{schema}.{table}": sorted(store.con.execute(f"from {schema}.{table}").fetchall(), key=repr)
        for schema, table in tables
    }


LOGS = {
    "sowings.csv": (
        "sowing_id,sown_on,crop,amount\nS1,2026-03-01,carrot,3 m\ns2,2026-03-02,pea,12\nS1,2026-03-03,pea,1 m\n"
    ),
    "harvests.csv": "picked_on,crop,weight,sowing_id\n2026-06-18,carrot,1 kg,s1\n2026-06-19,pea,1 kg,S9\n",
    "harvests-2.csv": "picked_on,crop,weight\n2026-06-18,carrot,2 kg\nsoon,pea,1 kg\n",
    "batches.csv": (
        "batch_id,made_on,method,crop,containers\nK1,2026-06-25,ferment,carrot,2\nk1,2026-06-26,dry,carrot,2\n"
    ),
    "consumption.csv": (
        "used_on,batch_id,containers\n2026-08-01,k1,1\n2026-08-02,K1,1\n2026-08-03,K1,1\n2026-06-01,K1,1\n"
    ),
    "crops.csv": "crop,aliases\nskirret,crummock\n",
}
KINDS = sorted(LOGS)


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Callable[[frozenset[str]], dict[str, list[tuple[object, ...]]]]:
    """What a new store says of a folder of some of the logs."""
    folder = tmp_path_factory.mktemp("fresh")
    known: dict[frozenset[str], dict[str, list[tuple[object, ...]]]] = {}

    def loaded(names: frozenset[str]) -> dict[str, list[tuple[object, ...]]]:
        if names not in known:
            put(folder, names)
            with open_store(None) as store:
                load_folder(store, folder, Settings(), AS_OF)
                known[names] = state(store)
        return known[names]

    return loaded


def put(folder: Path, names: frozenset[str]) -> None:
    """Make a folder hold exactly these logs."""
    for name, content in LOGS.items():
        if name in names:
            (folder / name).write_text(content)
        else:
            (folder / name).unlink(missing_ok=True)


@pytest.fixture(scope="module")
def shared_store() -> Iterator[Store]:
    with open_store(None) as store:
        yield store


@settings(max_examples=8)
@given(steps=st.lists(st.frozensets(st.sampled_from(KINDS)), min_size=1, max_size=3))
def test_the_store_depends_on_what_the_folder_holds_not_on_how_it_came_to_hold_it(
    tmp_path: Path,
    shared_store: Store,
    fresh: Callable[[frozenset[str]], dict[str, list[tuple[object, ...]]]],
    steps: list[frozenset[str]],
) -> None:
    """Loading A then B is loading B then A; loading twice is loading once; a removed file takes its rows along."""
    folder = tmp_path / "season"
    folder.mkdir(exist_ok=True)
    for names in steps:
        put(folder, names)
        load_folder(shared_store, folder, Settings(), AS_OF)
        load_folder(shared_store, folder, Settings(), AS_OF)
    names = steps[-1]
    found, wanted = state(shared_store), fresh(names)
    assert {name for name in found if found[name] != wanted[name]} == set()
    summary = found["out.load_summary"]
    assert {str(row[0]) for row in summary} == set(names)
    assert all(rows == accepted + aside for _, _, rows, accepted, aside, *_ in summary)


def test_removing_a_file_removes_exactly_its_rows(tmp_path: Path) -> None:
    put(tmp_path, frozenset({"harvests.csv", "harvests-2.csv"}))
    with open_store(None) as store:
        load_folder(store, tmp_path, Settings(), AS_OF)
        before = store.frame("from raw.harvests order by all")
        (tmp_path / "harvests-2.csv").unlink()
        load_folder(store, tmp_path, Settings(), AS_OF)
        after = store.frame("from raw.harvests order by all")
        assert after.equals(before.filter(pl.col("source_file") == "harvests.csv"))
        assert set(store.core("harvests")["source_file"]) == {"harvests.csv"}
        assert "harvests-2.csv" not in set(store.answer("problems")["file"])
