"""From the logs to one row per container, on tables small enough to check by eye. All data invented."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipeline.keeping.histories import batch_findings, container_histories
from schemas.logs import LOGS

DTYPES = {"text": pl.String, "int": pl.Int64, "float": pl.Float64, "bool": pl.Boolean, "date": pl.Date}
AS_OF = dt.date(2026, 12, 31)


def core(log: str, rows: list[dict[str, object]]) -> pl.DataFrame:
    schema = {name: DTYPES[kind] for name, kind in LOGS[log].core_columns.items()}
    return pl.DataFrame(rows, schema=schema)


def day(age: int) -> dt.date:
    """The day on which a batch made on 1 January 2026 has this age."""
    return dt.date(2026, 1, 1) + dt.timedelta(days=age)


def histories(
    containers: int,
    looks: list[tuple[int, int | None, str | None, str | None]],
    uses: list[tuple[int, int | None]],
    as_of: dt.date = AS_OF,
) -> list[tuple[float, float | None, str]]:
    """Histories of one batch A made on 1 January 2026; looks are (age, containers, cause, action)."""
    batches = core(
        "batches",
        [{"batch_id": "A", "made_on": day(0), "method": "ferment", "crop": "turnip", "containers": containers}],
    )
    spoilage = core(
        "spoilage",
        [
            {"found_on": day(age), "batch_id": "A", "containers": n, "cause": cause, "action": action}
            for age, n, cause, action in looks
        ],
    )
    consumption = core("consumption", [{"used_on": day(age), "batch_id": "A", "containers": n} for age, n in uses])
    found = container_histories(batches, spoilage, consumption, as_of)
    return found.select("last_sound_days", "found_days", "fate").rows()


SHELF_0 = (0.0, None, "on_shelf")


def test_a_batch_nobody_looked_at_is_known_sound_for_no_time() -> None:
    assert histories(2, [], []) == [SHELF_0, SHELF_0]


def test_a_look_that_finds_nothing_covers_every_container_on_the_shelf() -> None:
    assert histories(2, [(40, 0, None, None)], []) == [(40.0, None, "on_shelf")] * 2


def test_a_spoiled_container_went_off_between_the_last_look_and_the_find_and_the_others_were_sound() -> None:
    assert histories(3, [(40, 0, None, None), (90, 1, "mould", "discarded")], []) == [
        (40.0, 90.0, "spoiled"),
        (90.0, None, "on_shelf"),
        (90.0, None, "on_shelf"),
    ]


def test_without_an_earlier_look_it_was_last_known_sound_when_made() -> None:
    assert histories(1, [(90, 1, "mould", "discarded")], []) == [(0.0, 90.0, "spoiled")]


def test_opening_a_container_for_use_reveals_that_container_only() -> None:
    assert histories(3, [(90, 1, "slime", "composted")], [(60, 1)]) == [
        (60.0, None, "used"),
        (0.0, 90.0, "spoiled"),
        (90.0, None, "on_shelf"),
    ]


def test_a_use_without_a_count_is_one_container() -> None:
    assert histories(2, [], [(10, None)]) == [(10.0, None, "used"), SHELF_0]


def test_two_finds_on_one_day_share_the_look_before_that_day() -> None:
    rows = histories(2, [(30, 0, None, None), (50, 1, "mould", None), (50, 1, "leak", "discarded")], [])
    assert rows == [(30.0, 50.0, "spoiled")] * 2


def test_rows_after_the_stated_day_are_not_known_yet() -> None:
    looks = [(40, 0, None, None), (90, 2, "mould", "discarded")]
    assert histories(2, looks, [(80, 1)], as_of=day(50)) == [(40.0, None, "on_shelf")] * 2
    assert histories(2, [], [], as_of=dt.date(2025, 12, 31)) == []


@pytest.mark.parametrize(
    ("cause", "action", "lost"),
    [
        ("mould", "discarded", True),
        ("mould", None, True),
        (None, None, True),
        (None, "fed to animals", True),
        ("mould", "trimmed", False),
        ("damp", "redried", False),
        ("yeast film", "skimmed", False),
        ("soft", "kept", False),
        ("yeast film", None, False),
        ("rust", None, False),
        ("yeast film", "discarded", True),
        ("rust", "composted", True),
    ],
)
def test_which_findings_lose_the_container(cause: str | None, action: str | None, lost: bool) -> None:
    expected = (0.0, 20.0, "spoiled") if lost else (20.0, None, "on_shelf")
    assert histories(1, [(20, 1, cause, action)], []) == [expected]


def test_a_row_without_a_count_tells_of_one_container_where_it_tells_of_a_loss() -> None:
    rows = [
        {"found_on": day(5), "batch_id": "A", "weight_kg": 0.0},
        {"found_on": day(6), "batch_id": "A", "weight_kg": 0.4},
        {"found_on": day(7), "batch_id": "A", "weight_kg": 0.0, "cause": "mould"},
        {"found_on": day(8), "batch_id": "A", "weight_kg": 0.0, "action": "discarded"},
        {"found_on": day(9), "batch_id": "A", "weight_kg": 0.0, "cause": "rust"},
        {"found_on": day(9), "crop": "turnip", "weight_kg": 1.0, "cause": "rot"},
    ]
    found = batch_findings(core("spoilage", rows))
    assert found.select("found", "lost").rows() == [(0, 0), (1, 1), (1, 1), (1, 1), (1, 0)]


def test_more_logged_than_made_is_cut_to_those_made_in_order_of_date() -> None:
    assert histories(2, [(90, 2, "mould", None)], [(10, 1)]) == [(10.0, None, "used"), (0.0, 90.0, "spoiled")]


def test_containers_carry_what_their_batch_says_and_the_year_made() -> None:
    batches = core(
        "batches",
        [
            {"batch_id": "B", "made_on": day(0), "method": "jam", "crop": "plum", "containers": 1, "lid": "metal"},
            {"batch_id": "A", "made_on": day(0), "method": "dry", "crop": "pear", "containers": 1},
        ],
    ).with_columns(salt_pct=pl.lit(2.0), salt_band=pl.lit("1.75 to 2.25 %"), ignored=pl.lit(1))
    out = container_histories(batches, core("spoilage", []), core("consumption", []), AS_OF)
    assert out["batch_id"].to_list() == ["B", "A"]
    assert out["lid"].to_list() == ["metal", None]
    assert out["year"].to_list() == [2026, 2026]
    assert "salt_basis" not in out.columns
    assert "ignored" not in out.columns
    assert out.schema["salt_pct"] == pl.Float64


def test_empty_logs_give_an_empty_frame_of_the_same_columns() -> None:
    spoilage, consumption = core("spoilage", []), core("consumption", [])
    batch = {"batch_id": "A", "made_on": day(0), "method": "jam", "crop": "plum", "containers": 1}
    some = container_histories(core("batches", [batch]), spoilage, consumption, AS_OF)
    none = container_histories(core("batches", []), spoilage, consumption, AS_OF)
    assert none.height == 0
    assert none.schema == some.schema


LOOKS = st.lists(st.tuples(st.integers(0, 300), st.integers(0, 4), st.just("mould"), st.none()), max_size=5)
USES = st.lists(st.tuples(st.integers(0, 300), st.integers(1, 3)), max_size=5)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(made=st.integers(1, 12), looks=LOOKS, uses=USES)
def test_one_row_per_container_and_sound_before_found(made: int, looks: list, uses: list) -> None:  # type: ignore[type-arg]
    rows = histories(made, looks, uses)
    assert len(rows) == made
    for last_sound, found, fate in rows:
        assert (found is not None) == (fate == "spoiled")
        assert found is None or last_sound <= found
    assert sum(fate == "spoiled" for *_, fate in rows) <= sum(n for _, n, *_ in looks)


def test_the_order_of_the_rows_in_the_logs_changes_nothing() -> None:
    looks = [(40, 0, None, None), (90, 1, "mould", None), (120, 0, None, None)]
    uses = [(10, 1), (100, 1)]
    batches = core(
        "batches",
        [{"batch_id": "A", "made_on": day(0), "method": "jam", "crop": "plum", "containers": 5}],
    )
    spoilage = core(
        "spoilage", [{"found_on": day(a), "batch_id": "A", "containers": n, "cause": c} for a, n, c, _ in looks]
    )
    consumption = core("consumption", [{"used_on": day(a), "batch_id": "A", "containers": n} for a, n in uses])
    forward = container_histories(batches, spoilage, consumption, AS_OF)
    assert_frame_equal(container_histories(batches, spoilage.reverse(), consumption.reverse(), AS_OF), forward)
