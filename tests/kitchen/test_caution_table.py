"""What was done -> which cautions, how severe: a table of invented batches, each read against the published limits.

The cautions column lists rules; ``!`` marks a serious one. Sources are those of the rules in ``cautions.csv``.
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.kitchen.cautions import batch_cautions
from pipeline.reference import caution_rules, crop_reference
from schemas.logs import LOGS

TABLE = list(csv.DictReader(Path(__file__).with_name("batches_and_cautions.csv").read_text("utf-8").splitlines()))
TYPES = {"text": pl.String, "int": pl.Int64, "float": pl.Float64, "bool": pl.Boolean, "date": pl.Date}
READ = {"float": float, "int": int, "bool": lambda text: text == "yes"}
RULES, CROPS = caution_rules(), crop_reference()
COLUMNS = LOGS["batches"].core_columns
Row = dict[str, object]


def frame(log: str, rows: list[Row]) -> pl.DataFrame:
    schema = {name: TYPES[kind] for name, kind in LOGS[log].core_columns.items()}
    return pl.DataFrame([dict.fromkeys(schema) | row for row in rows], schema=schema)


def batch_of(case: dict[str, str]) -> Row:
    cells = dict(cell.split("=", 1) for cell in case["columns"].split(";"))
    typed: Row = {name: READ.get(COLUMNS[name], str)(text) for name, text in cells.items()}
    return {"batch_id": case["batch"], "containers": 4, "note": case["note"] or None} | typed


def flagged(cases: list[dict[str, str]], more_note: str = "") -> dict[str, set[str]]:
    """The rules that each batch breaks; ``!`` behind a serious one."""
    batches = [batch_of(case) for case in cases]
    for batch in batches:
        batch["note"] = " ".join(filter(None, (str(batch["note"] or ""), more_note))) or None
    looks: list[Row] = []
    mixed: list[Row] = []
    for case in cases:
        if case["look"]:
            cause, action = case["look"].split(";")
            day = dt.date(2026, 9, 1)
            looks.append(
                {"found_on": day, "batch_id": case["batch"], "containers": 1, "cause": cause, "action": action}
            )
        mixed += [{"batch_id": case["batch"], "crop": crop} for crop in case["ingredients"].split(";") if crop]
    found = batch_cautions(
        frame("batches", batches), frame("spoilage", looks), RULES, CROPS, frame("ingredients", mixed)
    )
    broken: dict[str, set[str]] = {case["batch"]: set() for case in cases}
    for row in found.iter_rows(named=True):
        broken[row["batch_id"]].add(row["rule"] + "!" * (row["severity"] == "serious"))
    return broken


FLAGGED = flagged(TABLE)


def test_the_table_is_long_enough_and_names_a_source_for_each_batch() -> None:
    assert len(TABLE) >= 150
    assert len({case["batch"] for case in TABLE}) == len(TABLE)
    assert all(case["sources"] for case in TABLE)


@pytest.mark.parametrize("case", TABLE, ids=[case["batch"] for case in TABLE])
def test_a_batch_breaks_the_limits_that_it_breaks_and_no_other(case: dict[str, str]) -> None:
    assert FLAGGED[case["batch"]] == set(case["cautions"].split())


@pytest.mark.parametrize("rule", RULES["id"].to_list())
def test_every_rule_has_a_batch_that_trips_it_and_one_that_does_not(rule: str) -> None:
    tripped = [rule in {name.rstrip("!") for name in FLAGGED[case["batch"]]} for case in TABLE]
    assert any(tripped)
    assert not all(tripped)


EXCUSE = st.builds(
    lambda who, what, why, end: f"{who} {what} {why}{end}",
    st.sampled_from(["I", "we", "neighbour says", "grandma always", "the book said to", "not sure if we", "next time"]),
    st.sampled_from(
        [
            *(
                "pressure canned them",
                "used the pressure canner",
                "did not pressure can",
                "boiled them for three hours",
            ),
            *("added lemon juice", "forgot the lemon juice", "put in vinegar", "used no oil", "kept them oil free"),
            *("heat-processed all jars", "kept it in the freezer first", "measured pH 3.5", "salted well"),
            *("all seals are fine", "had no trouble with it before", "kept it cold", "followed the tested recipe"),
        ]
    ),
    st.sampled_from(["as always", "because it works", "so it is fine", "this time", "properly", "for 40 years"]),
    st.sampled_from([".", "!", "?", " :)", ", ok", ""]),
)


@settings(max_examples=40)
@given(st.lists(EXCUSE, min_size=1, max_size=3).map(" ".join))
def test_no_note_lifts_what_the_columns_say(note: str) -> None:
    after = flagged(TABLE, note)
    for batch, before in FLAGGED.items():
        assert before <= after[batch], (batch, note)
