"""Loading: every row of every file ends up accepted or set aside with its reason, and the store mirrors the folder."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.errors import StoreError
from pipeline.settings import Settings
from pipeline.store.load import READING_VERSION, LoadReport, load_folder
from pipeline.store.store import STORE_VERSION, Store, open_store

AS_OF = dt.date(2026, 11, 20)
Season = Callable[..., Path]

HARVESTS = """picked_on,crop,weight,plot
2026-06-18,Carrots,1.2 kg,north
2026-06-19,carrot,800g,north
2026-06-20,courgette,3 lb 4 oz,south
2026-31-06,carrot,1 kg,north
2026-06-21,carrot,5,north
"""
BATCHES = """batch_id,made_on,method,crop,containers,salt,produce
K1,2026-06-25,ferment,kohlrabi,4,50 g,2.5 kg
K2,2026-07-25,ferment,kohlrabi,2,40 g,2.5 kg
"""


def load(store: Store, folder: Path, settings: Settings | None = None, as_of: dt.date = AS_OF) -> LoadReport:
    return load_folder(store, folder, settings or Settings(), as_of)


def problems_of(store: Store) -> list[tuple[str, int, str, str]]:
    rows = store.answer("problems").sort("file", "line", "column")
    return [(row["file"], row["line"], row["column"], row["rule"]) for row in rows.iter_rows(named=True)]


def state(store: Store) -> dict[str, list[tuple[object, ...]]]:
    """All that a load writes, in a fixed order."""
    tables = {}
    for schema, table in store.con.execute(
        "select table_schema, table_name from information_schema.tables where table_schema in ('raw', 'core', 'out')"
    ).fetchall():
        rows = store.con.execute(f"from {schema}.{table}").fetchall()
        tables[f"{schema}.{table}"] = sorted(rows, key=repr)
    return tables


def test_rows_are_accepted_or_set_aside_each_with_its_reason(season: Season) -> None:
    folder = season(harvests=HARVESTS)
    with open_store(None) as store:
        load(store, folder)
        summary = store.answer("load_summary").row(0, named=True)
        assert (summary["rows"], summary["accepted"], summary["set_aside"]) == (5, 3, 2)
        assert problems_of(store) == [
            ("harvests.csv", 5, "picked_on", "no_such_day"),
            ("harvests.csv", 6, "weight", "unit_missing"),
        ]
        core = store.core("harvests")
        assert core["crop"].to_list() == ["carrot", "carrot", "courgette"]
        assert core["weight_kg"].to_list() == pytest.approx([1.2, 0.8, 3.25 * 0.45359237])
        assert core["source_line"].to_list() == [2, 3, 4]
        raw = store.frame("from raw.harvests order by source_line")
        assert raw["weight"].to_list() == ["1.2 kg", "800g", "3 lb 4 oz", "1 kg", "5"]


def test_header_units_extra_columns_and_short_rows(season: Season) -> None:
    folder = season(harvests="picked_on;crop;Weight (g);basket\n2026-06-18;Möhre;1200;blue\n2026-06-19;carrot;1,5\n")
    with open_store(None) as store:
        load(store, folder)
        assert store.core("harvests")["weight_kg"].to_list() == pytest.approx([1.2, 0.0015])
        assert json.loads(store.frame("from raw.harvests where source_line = 2")["extra"][0]) == {"basket": "blue"}
        assert problems_of(store) == [
            ("harvests.csv", 1, "basket", "extra_column"),
            ("harvests.csv", 2, "crop", "unknown_crop"),
        ]


def test_lines_that_are_no_rows_are_set_aside_and_kept_as_typed(season: Season) -> None:
    folder = season(
        harvests="picked_on,crop,weight\n"
        "2026-06-18,carrot,1,5 kg\n"  # a decimal comma without quotes
        "picked_on,crop,weight\n"
        "\n"
        '2026-06-19,"carrot,1 kg\n'  # a quote that is never closed
        "2026-06-20,carrot,2 kg\n"
        "Total,,4.5 kg\n"
    )
    with open_store(None) as store:
        load(store, folder)
        assert problems_of(store) == [
            ("harvests.csv", 2, "", "too_many_cells"),
            ("harvests.csv", 3, "", "repeated_header"),
            ("harvests.csv", 5, "", "unreadable_line"),
            ("harvests.csv", 7, "", "summary_row"),
        ]
        assert store.core("harvests")["source_line"].to_list() == [6]
        summary = store.answer("load_summary").row(0, named=True)
        assert (summary["rows"], summary["accepted"], summary["set_aside"]) == (5, 1, 4)
        kept = store.frame("select extra from raw.harvests where source_line = 2")["extra"][0]
        assert json.loads(kept) == ["2026-06-18", "carrot", "1", "5 kg"]


def test_quoted_newlines_keep_line_numbers_right(season: Season) -> None:
    folder = season(
        harvests='picked_on,crop,weight,note\n2026-06-18,carrot,1 kg,"two\nlines"\n2026-06-19,carrot,x kg,\n'
    )
    with open_store(None) as store:
        load(store, folder)
        assert problems_of(store) == [("harvests.csv", 4, "weight", "not_a_quantity")]
        assert store.core("harvests")["note"].to_list() == ["two\nlines"]


def test_a_file_without_header_or_without_a_needed_column(season: Season) -> None:
    folder = season(
        harvests="2026-06-18,carrot,1 kg\n2026-06-19,carrot,1 kg\n",
        batches="batch_id,made_on\nK1,2026-01-01\n",
    )
    with open_store(None) as store:
        load(store, folder)
        found = problems_of(store)
        assert ("harvests.csv", 1, "", "no_header") in found
        assert [column for _, _, column, rule in found if rule == "missing_column"] == [
            "containers",
            "crop",
            "method",
        ]
        summary = store.answer("load_summary")
        assert summary["set_aside"].to_list() == [1, 2]


def test_counted_produce_takes_the_weight_of_the_crop_reference(season: Season) -> None:
    folder = season(
        harvests="picked_on,crop,weight\n2026-06-18,oddroot,3 heads\n2026-06-18,oddleaf,3 heads\n",
        crops="crop,aliases,piece_kg\noddroot,odd root,0.5\noddleaf,,\n",
    )
    with open_store(None) as store:
        load(store, folder)
        row = store.core("harvests").row(0, named=True)
        assert (row["crop"], row["weight_kg"], row["weight_estimated"]) == ("oddroot", 1.5, True)
        assert ("harvests.csv", 3, "weight", "piece_unknown") in problems_of(store)


CROSS = [
    (
        "a batch that is not there",
        {"batches": BATCHES, "consumption": "used_on,batch_id,containers\n2026-08-01,K11,1\n"},
        (
            "consumption.csv",
            2,
            "unknown_batch",
            "no such batch in the batches log; did you mean 'K1' (batches.csv line 2)?",
        ),
    ),
    (
        "used before it was made",
        {"batches": BATCHES, "consumption": "used_on,batch_id,containers\n2026-06-01,K1,1\n"},
        (
            "consumption.csv",
            2,
            "before_made",
            "before batch K1 was made on 2026-06-25 (batches.csv line 2): check both dates",
        ),
    ),
    (
        "more used than made",
        {
            "batches": BATCHES,
            "consumption": "used_on,batch_id,containers\n2026-08-01,K2,1\n2026-08-02,K2,2\n",
        },
        (
            "consumption.csv",
            3,
            "more_than_made",
            "brings batch K2 to 3 used or lost, but 2 were made (batches.csv line 3): check both numbers",
        ),
    ),
    (
        "the same label twice",
        {"batches": BATCHES + "k1,2026-08-01,dry,pear,1,,\n"},
        (
            "batches.csv",
            4,
            "duplicate_id",
            "stands already in batches.csv line 2: give this one a label of its own",
        ),
    ),
    (
        "the same day twice",
        {"weather": "date,tmin_c,tmax_c\n2026-06-18,5,20\n2026-06-18,6,20\n"},
        ("weather.csv", 3, "duplicate_id", "stands already in weather.csv line 2: take one of the two out"),
    ),
    (
        "a day that has not come",
        {"harvests": "picked_on,crop,weight\n2062-06-18,carrot,1 kg\n"},
        (
            "harvests.csv",
            2,
            "date_in_future",
            "after 2026-11-20, the day this is computed for: check the year",
        ),
    ),
]


@pytest.mark.parametrize(("what", "logs", "expected"), CROSS, ids=[case[0] for case in CROSS])
def test_contradictions_between_logs_name_both_places(
    season: Season, what: str, logs: dict[str, str], expected: tuple[str, int, str, str]
) -> None:
    with open_store(None) as store:
        load(store, season(**logs))
        found = store.answer("problems").filter(pl.col("level") == "error")
        assert found.select("file", "line", "rule", "message").rows() == [expected], what


WARNED = [
    (
        "a sowing that is not there",
        {
            "sowings": "sowing_id,sown_on,crop,amount\nS1,2026-03-01,carrot,3 m\n",
            "harvests": "picked_on,crop,weight,sowing_id\n2026-06-18,carrot,1 kg,S11\n",
        },
        (
            "harvests.csv",
            2,
            "unknown_sowing",
            "no such sowing in the sowings log; did you mean 'S1' (sowings.csv line 2)?",
        ),
    ),
    (
        "a plot that is not there",
        {"plots": "plot,people\nnorth,2\n", "harvests": "picked_on,crop,weight,plot\n2026-06-18,carrot,1 kg,nord\n"},
        ("harvests.csv", 2, "unknown_plot", "no such plot in the plots log; did you mean 'north' (plots.csv line 2)?"),
    ),
    (
        "more put by than picked",
        {
            "harvests": "picked_on,crop,weight\n2026-06-18,kohlrabi,4.7 kg\n",
            "batches": BATCHES,
        },
        (
            "batches.csv",
            2,
            "used_more_than_picked",
            (
                "all logs together use 5.0 kg of kohlrabi but 4.7 kg were picked (first: harvests.csv line 2): "
                "are pickings missing?"
            ),
        ),
    ),
]


@pytest.mark.parametrize(("what", "logs", "expected"), WARNED, ids=[case[0] for case in WARNED])
def test_doubtful_rows_are_taken_with_a_warning_that_names_both_places(
    season: Season, what: str, logs: dict[str, str], expected: tuple[str, int, str, str]
) -> None:
    with open_store(None) as store:
        load(store, season(**logs))
        found = store.answer("problems").filter(pl.col("level") == "warning")
        assert found.select("file", "line", "rule", "message").rows() == [expected], what
        assert store.answer("load_summary")["set_aside"].sum() == 0


def test_four_percent_more_put_by_than_picked_is_no_problem(season: Season) -> None:
    with open_store(None) as store:
        load(store, season(harvests="picked_on,crop,weight\n2026-06-18,kohlrabi,4.8 kg\n", batches=BATCHES))
        assert store.answer("problems").height == 0


def test_a_dried_batch_weighs_less_than_what_went_in(season: Season) -> None:
    head = "batch_id,made_on,method,crop,containers,produce,finished\n"
    folder = season(batches=head + "D1,2026-06-18,dry,pear,1,2 kg,2.1 kg\nD2,2026-06-18,dry,pear,1,2 kg,300 g\n")
    with open_store(None) as store:
        load(store, folder)
        assert store.core("batches")["batch_id"].to_list() == ["D2"]
        assert ("batches.csv", 2, "finished", "inconsistent") in problems_of(store)


def test_a_batch_set_aside_is_named_where_its_uses_are(season: Season) -> None:
    folder = season(
        batches="batch_id,made_on,method,crop,containers\nP1,2026-08-01,picle,beetroot,4\n",
        consumption="used_on,batch_id,containers\n2026-09-01,P1,1\n",
    )
    with open_store(None) as store:
        load(store, folder)
        message = store.answer("problems").filter(pl.col("file") == "consumption.csv")["message"][0]
        assert (
            message == "no such batch in the batches log: its row (batches.csv line 2) was set aside, mend that first"
        )


def test_a_misspelt_batch_is_offered_the_nearest_also_where_that_one_was_set_aside(season: Season) -> None:
    folder = season(
        batches="batch_id,made_on,method,crop,containers\nPLUM-1,2026-08-01,picle,plum,4\n",
        consumption="used_on,batch_id,containers\n2026-09-01,PLUM1,1\n",
    )
    with open_store(None) as store:
        load(store, folder)
        message = store.answer("problems").filter(pl.col("file") == "consumption.csv")["message"][0]
        assert message == "no such batch in the batches log; did you mean 'PLUM-1' (batches.csv line 2)?"


def test_labels_are_compared_without_case(season: Season) -> None:
    folder = season(batches=BATCHES, consumption="used_on,batch_id,containers\n2026-08-01,k1,1\n")
    with open_store(None) as store:
        load(store, folder)
        assert store.core("consumption")["batch_id"].to_list() == ["K1"]


def test_loading_twice_changes_nothing_and_reads_nothing(season: Season) -> None:
    folder = season(harvests=HARVESTS, batches=BATCHES)
    with open_store(None) as store:
        first = load(store, folder)
        before = state(store)
        second = load(store, folder)
        assert (first.read, second.read, second.unchanged) == (2, 0, 2)
        assert state(store) == before


def test_the_store_mirrors_the_folder_whatever_the_order_of_changes(season: Season) -> None:
    uses = "used_on,batch_id,containers\n2026-08-01,K1,1\n2026-08-02,K2,2\n"
    with open_store(None) as at_once:
        folder = season(harvests=HARVESTS, batches=BATCHES, consumption=uses)
        load(at_once, folder)
        wanted = state(at_once)
    with open_store(None) as store:
        (folder / "batches.csv").unlink()
        load(store, folder)
        assert store.core("consumption").is_empty()  # their batches are not there yet
        season(batches=BATCHES)
        load(store, folder)
        assert state(store) == wanted  # the uses have come back with them
        (folder / "consumption.csv").unlink()
        report = load(store, folder)
        assert report.vanished == 1
        assert store.core("consumption").is_empty()
        assert store.answer("load_summary")["file"].to_list() == ["batches.csv", "harvests.csv"]
        season(consumption=uses)
        load(store, folder)
        assert state(store) == wanted


def test_files_are_read_again_once_our_way_of_reading_changes(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = season(harvests=HARVESTS)
    with open_store(None) as store:
        load(store, folder)
        monkeypatch.setattr("pipeline.store.load.READING_VERSION", READING_VERSION + 1)
        assert (load(store, folder).read, load(store, folder).read) == (1, 0)


def test_a_change_of_date_order_reads_every_file_again(season: Season) -> None:
    folder = season(harvests="picked_on,crop,weight\n3/4/2026,carrot,1 kg\n")
    with open_store(None) as store:
        load(store, folder)
        assert store.core("harvests").is_empty()
        load(store, folder, Settings(date_order="day-first"))
        assert store.core("harvests")["picked_on"].to_list() == [dt.date(2026, 4, 3)]


def test_a_row_dated_later_comes_back_when_its_day_has_come(season: Season) -> None:
    folder = season(harvests="picked_on,crop,weight\n2026-11-19,carrot,1 kg\n")
    with open_store(None) as store:
        load(store, folder, as_of=dt.date(2026, 11, 1))
        assert store.core("harvests").is_empty()
        load(store, folder, as_of=dt.date(2026, 11, 19))
        assert store.core("harvests").height == 1


def test_a_newer_store_is_refused_an_older_one_rebuilt(season: Season, tmp_path: Path) -> None:
    path = tmp_path / "store.duckdb"
    folder = season(harvests=HARVESTS)
    with open_store(path) as store:
        load(store, folder)
        store.set_setting("version", str(STORE_VERSION + 1))
    with pytest.raises(StoreError, match="newer rowshelf"), open_store(path):
        pass
    con = duckdb.connect(str(path))
    con.execute("update raw.settings set value = '0' where name = 'version'")
    con.close()
    with open_store(path) as store:
        assert store.core("harvests").is_empty()
        load(store, folder)
        assert store.core("harvests").height == 3


def test_a_store_of_another_layout_is_rebuilt(season: Season, tmp_path: Path) -> None:
    """Such as one from before a table got a new column."""
    path = tmp_path / "store.duckdb"
    folder = season(harvests=HARVESTS)
    with open_store(path) as store:
        load(store, folder)
        store.con.execute("drop table out.spoilage")
        store.set_setting("layout", "another")
    with open_store(path) as store:
        load(store, folder)
        assert store.core("harvests").height == 3
        assert store.answer("spoilage").is_empty()


def test_a_file_that_is_no_store_and_a_foreign_database_are_left_alone(tmp_path: Path) -> None:
    text = tmp_path / "notes.duckdb"
    text.write_text("not a database, " * 100)
    with pytest.raises(StoreError, match="not a store"), open_store(text):
        pass
    foreign = tmp_path / "foreign.duckdb"
    con = duckdb.connect(str(foreign))
    con.execute("create table mine (x int)")
    con.close()
    with pytest.raises(StoreError, match="not one of rowshelf's"), open_store(foreign):
        pass


def test_columns_of_the_store_say_what_they_mean(season: Season) -> None:
    with open_store(None) as store:
        comment = store.con.execute(
            "select comment from duckdb_columns() where schema_name = 'core' and table_name = 'batches'"
            " and column_name = 'salt_g'"
        ).fetchone()
        assert comment == ("weight of salt (g)",)
