"""What differs between the batches that spoiled and those that kept. All batches are invented."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipeline.keeping.differences import shrunk_ratio, spoilage_differences
from schemas.answers import ANSWERS

KINDS = {"text": pl.String, "int": pl.Int64, "float": pl.Float64}
RECORDED = {
    "lid": pl.String,
    "store": pl.String,
    "piece": pl.String,
    "sweetener": pl.String,
    "starter": pl.String,
    "salt_band": pl.String,
    "salt_basis": pl.String,
    "submerged": pl.Boolean,
    "vented": pl.Boolean,
    "heat_processed": pl.Boolean,
}


def batch(name: str, spoiled: int, sound: int, method: str = "jam", **recorded: Any) -> list[dict[str, Any]]:
    """Containers of one batch: those spoiled at the age of 100 days, and those sound at 200."""
    made = dict.fromkeys(RECORDED) | {"batch_id": name, "method": method} | recorded
    lost = made | {"last_sound_days": 100.0, "found_days": 100.0, "fate": "spoiled"}
    kept = made | {"last_sound_days": 200.0, "found_days": None, "fate": "on_shelf"}
    return [lost] * spoiled + [kept] * sound


def histories(*batches: list[dict[str, Any]]) -> pl.DataFrame:
    days = dict.fromkeys(("last_sound_days", "found_days"), pl.Float64)
    schema = {"batch_id": pl.String, "method": pl.String, "fate": pl.String} | days | RECORDED
    return pl.DataFrame([row for rows in batches for row in rows], schema=schema)


def asked(table: pl.DataFrame, draws: int = 199) -> pl.DataFrame:
    return spoilage_differences(table, np.random.default_rng(1), draws)


def counts(table: pl.DataFrame) -> list[tuple[Any, ...]]:
    return asked(table).select("factor", "value", "batches", "containers", "spoiled", "expected").sort("value").rows()


def test_a_table_small_enough_to_check_by_eye() -> None:
    table = asked(
        histories(
            batch("A", 3, 1, lid="cloth"),
            batch("B", 1, 3, lid="metal"),
            batch("C", 0, 4, lid="metal"),
            batch("D", 0, 4),
        )
    )
    assert dict(table.schema) == {
        column.name: KINDS[column.dtype] for column in ANSWERS["spoilage_differences"].columns
    }
    cloth, metal = table.rows(named=True)
    # Of the twelve containers whose lid was recorded four spoiled, a third, all at one age.
    assert [cloth[name] for name in ("factor", "value", "batches", "containers", "spoiled")] == [
        "lid",
        "cloth",
        1,
        4,
        3,
    ]
    assert (cloth["expected"], metal["expected"]) == pytest.approx((4 / 3, 8 / 3))
    assert cloth["low"] < 1 < cloth["ratio"] < 3 / (4 / 3) < cloth["high"]
    assert metal["ratio"] < 1
    assert (cloth["evidence"], cloth["p_value"]) == ("too little", None)


def test_each_method_has_an_expectation_of_its_own() -> None:
    table = histories(
        batch("A", 2, 2, "ferment", lid="metal"),
        batch("B", 2, 2, "ferment", lid="cloth"),
        batch("C", 0, 4, lid="metal"),
        batch("D", 1, 3, lid="cloth"),
    )
    assert counts(table) == [
        ("lid", "cloth", 2, 8, 3, pytest.approx(2 + 0.5)),
        ("lid", "metal", 2, 8, 2, pytest.approx(2 + 0.5)),
    ]


def test_only_methods_in_which_values_differ_and_something_spoiled_are_compared() -> None:
    table = histories(
        batch("A", 4, 0, "ferment", lid="cloth"),
        batch("B", 3, 1, "ferment", lid="cloth"),
        batch("C", 0, 4, "freeze", lid="bag"),
        batch("D", 0, 4, "freeze", lid="plastic"),
        batch("E", 1, 3, "jam", lid="metal"),
        batch("F", 1, 3, "jam", lid="glass"),
    )
    assert [row[:5] for row in counts(table)] == [("lid", "glass", 1, 4, 1), ("lid", "metal", 1, 4, 1)]
    assert asked(table.filter(pl.col("method") != "jam")).height == 0


def test_batches_nobody_looked_at_do_not_count() -> None:
    unseen = [row | {"last_sound_days": 0.0} for row in batch("C", 0, 4, lid="plastic")]
    table = histories(batch("A", 1, 3, lid="cloth"), batch("B", 1, 3, lid="metal"), unseen)
    assert [row[1] for row in counts(table)] == ["cloth", "metal"]


def test_values_in_words() -> None:
    made = {"lid": "metal", "salt_basis": "of all"}
    table = histories(
        batch("A", 1, 3, "ferment", salt_band="1 to 1.75 %", submerged=True, **made),
        batch("B", 0, 4, "ferment", salt_band="2.25 to 2.75 %", submerged=False, starter="whey", **made),
        # Salt only seasons a pickle, and a starter belongs to neither of its batches.
        batch("C", 1, 3, "pickle", salt_band="1 to 1.75 %", **made),
        batch("D", 0, 4, "pickle", salt_band="2.25 to 2.75 %", **made),
    )
    values = asked(table).select("factor", "value", "batches").sort("factor", "value").rows()
    assert values == [
        ("salt", "1 to 1.75 % of all", 1),
        ("salt", "2.25 to 2.75 % of all", 1),
        ("starter", "none", 1),
        ("starter", "whey", 1),
        ("submerged", "no", 1),
        ("submerged", "yes", 1),
    ]


def test_histories_that_carry_few_columns_or_no_rows() -> None:
    table = histories(batch("A", 3, 1, lid="cloth"), batch("B", 0, 4, lid="metal"))
    few = table.select("batch_id", "method", "last_sound_days", "found_days", "fate", "lid")
    assert_frame_equal(asked(few), asked(table))
    for nothing in (table.clear(), few.clear(), few.drop("lid")):
        found = asked(nothing)
        assert found.height == 0
        assert found.schema == asked(table).schema


def test_p_values_against_every_way_of_dealing_the_records_out() -> None:
    """Two factors at once, three batches a value: the worst of both, over all deals of the six records."""
    lost = [5, 3, 4, 1, 2, 0]
    lid, store = [0, 0, 0, 1, 1, 1], [0, 1, 0, 1, 0, 1]
    table = histories(
        *(
            batch(f"B{i}", d, 6 - d, lid=["cloth", "metal"][a], store=["pantry", "cellar"][b])
            for i, (d, a, b) in enumerate(zip(lost, lid, store, strict=True))
        )
    )
    residual = np.array(lost) - np.mean(lost)
    sd = np.sqrt(3 * 0.5 * (residual**2).sum() / 5)

    def worst(order: tuple[int, ...]) -> float:
        sums = [abs(residual[list(order)] @ (1 - 2 * np.array(factor))) / 2 for factor in (lid, store)]
        return max(sums) / sd

    deals = np.array([worst(order) for order in itertools.permutations(range(6))])
    for row in asked(table, 4000).iter_rows(named=True):
        own = (row["spoiled"] - row["expected"]) / sd
        assert row["p_value"] == pytest.approx(np.mean(deals >= own - 1e-9), abs=0.03)


def invented(
    rng: np.random.Generator, batches: int, lid_ratio: float = 1.0, shared: float = 1.0, *, confounded: bool = False
) -> pl.DataFrame:
    """Batches of eight, looked at every 30 days for two years; jars of a batch share a gamma factor.

    Ferments spoil four times as fast as jam. Jars under cloth spoil ``lid_ratio`` times as fast; with
    ``confounded``, ferments are mostly under cloth and jam is not. Everything else is drawn at random.
    """
    method = rng.choice(["ferment", "jam"], batches)
    chance = np.where(method == "ferment", 0.8, 0.2) if confounded else np.full(batches, 0.4)
    lid = np.where(rng.random(batches) < chance, "cloth", "metal")
    rate = np.where(method == "ferment", 0.4, 0.1) * np.where(lid == "cloth", lid_ratio, 1.0)
    rate = rate * rng.gamma(1 / shared, shared, batches)
    day = np.ceil(rng.exponential(365 / np.maximum(rate, 1e-9)[:, None], (batches, 8)) / 30) * 30
    lost = (day <= 720).ravel()
    made = pl.DataFrame(
        {
            "batch_id": np.arange(batches),
            "method": method,
            "lid": lid,
            "store": rng.choice(["pantry", "cellar", "fridge"], batches),
            "piece": rng.choice(["whole", "chunk", "shred"], batches),
            "submerged": rng.random(batches) < 0.7,
            "vented": rng.random(batches) < 0.5,
        }
    )
    jars = pl.DataFrame(
        {
            "batch_id": np.repeat(np.arange(batches), 8),
            "last_sound_days": np.where(lost, day.ravel() - 30, 720.0),
            "found_days": pl.Series(np.where(lost, day.ravel(), np.nan)).fill_nan(None),
            "fate": np.where(lost, "spoiled", "on_shelf"),
        }
    )
    return jars.join(made, on="batch_id", maintain_order="left")


def accused(table: pl.DataFrame, rng: np.random.Generator, draws: int = 99) -> set[str]:
    found = spoilage_differences(table, rng, draws)
    return set(found.filter(pl.col("p_value") <= 0.05)["value"])


def test_innocents_are_seldom_accused() -> None:
    """100 households of 24 batches in which nothing recorded matters."""
    rng = np.random.default_rng(5)
    wrong = sum(bool(accused(invented(rng, 24), rng)) for _ in range(100))
    # 5 % of 100 is 5; 11 or more would come by chance 1 time in 100.
    assert wrong < 11


def test_a_lid_that_matters_is_found_and_sized() -> None:
    rng = np.random.default_rng(2)
    table = invented(rng, 60, lid_ratio=5.0, shared=0.3)
    found = spoilage_differences(table, rng)
    worst = found.row(0, named=True)
    assert (worst["factor"], worst["value"], worst["evidence"]) == ("lid", "cloth", "enough")
    assert worst["p_value"] <= 0.01
    assert 1 < worst["low"] < worst["ratio"] <= worst["spoiled"] / worst["expected"]
    assert found.filter(pl.col("value") == "metal")["ratio"][0] < 1
    assert (found.slice(1)["p_value"] > 0.05).all()


def test_a_lid_used_on_what_spoils_anyway_is_not_accused() -> None:
    """Cloth goes with ferments, which spoil four times as fast; within a method it does nothing."""
    rng = np.random.default_rng(8)
    tables = [invented(rng, 60, shared=0.3, confounded=True) for _ in range(12)]
    assert sum("cloth" in accused(table, rng) for table in tables) <= 1
    as_one = [table.with_columns(method=pl.lit("all alike")) for table in tables]
    assert sum("cloth" in accused(table, rng) for table in as_one) >= 6


def test_intervals_of_the_ratio_hold_1_where_nothing_matters() -> None:
    rng = np.random.default_rng(6)
    rows = pl.concat(
        [spoilage_differences(invented(rng, batches), rng, 1) for batches in (8, 24, 60) for _ in range(12)]
    )
    holds = rows.select((pl.col("low") <= 1) & (pl.col("high") >= 1)).to_series()
    assert rows.height > 350
    assert holds.mean() >= 0.95


RECORD = st.tuples(
    st.integers(0, 3), st.integers(0, 3), st.sampled_from(["jam", "dry"]), st.sampled_from(["metal", "glass", None])
)


@settings(derandomize=True, deadline=None, max_examples=20)
@given(st.lists(RECORD, max_size=14))
def test_p_values_are_shares_and_ratios_lie_in_their_intervals(records: list[tuple[int, int, str, str | None]]) -> None:
    table = histories(*(batch(f"B{i}", d, n, m, lid=lid) for i, (d, n, m, lid) in enumerate(records)))
    found = asked(table, 19)
    assert found["p_value"].drop_nulls().is_between(0, 1, closed="right").all()
    assert (found["p_value"].is_null() == (found["batches"] < 3)).all()
    assert (found["low"] <= found["ratio"]).all()
    assert (found["ratio"] <= found["high"]).all()
    assert found["expected"].sum() == pytest.approx(found["spoiled"].sum())
    assert_frame_equal(asked(table.sample(fraction=1.0, shuffle=True, seed=4), 19), found)


def test_ratios_agree_with_drawing_from_the_prior() -> None:
    from scipy.stats import poisson

    spoiled, expected, variance = np.array([6.0, 0.0]), np.array([2.5, 1.5]), np.array([0.3, 1.0])
    low, middle, high = shrunk_ratio(spoiled, expected, variance)
    rng = np.random.default_rng(3)
    log_ratio = rng.normal(0, 0.7, 100_000)
    order = np.argsort(log_ratio)
    for k in range(2):
        factor = rng.gamma(1 / variance[k], variance[k], log_ratio.size)
        weight = poisson.pmf(spoiled[k], np.exp(log_ratio) * factor * expected[k])[order]
        share = np.cumsum(weight) / weight.sum()
        drawn = np.exp(log_ratio[order][np.searchsorted(share, [0.025, 0.5, 0.975])])
        assert [low[k], middle[k], high[k]] == pytest.approx(drawn, rel=0.03)


def test_where_nothing_is_expected_the_prior_stands() -> None:
    low, middle, high = shrunk_ratio(np.zeros(1), np.zeros(1), np.ones(1))
    assert (low[0], middle[0], high[0]) == pytest.approx((np.exp(-1.96 * 0.7), 1, np.exp(1.96 * 0.7)), rel=0.01)
