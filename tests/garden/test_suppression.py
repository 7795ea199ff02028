"""Tables that may be shown: what is withheld, and that an attacker cannot work it out."""

from __future__ import annotations

import math
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.garden.suppression import (
    CELL_TYPES,
    COLUMNS,
    DOMINATED,
    FEW,
    GRAND,
    PROTECTS,
    ROWS,
    Key,
    Rule,
    enough_plots,
    feasible_intervals,
    suppress,
)

HANDBOOK = "Handbook on Statistical Disclosure Control, 2nd edition, section 4.2 (read in its published source)"


def given_by(*rows: tuple[str, str, str, float]) -> pl.DataFrame:
    """Contributions: row, column, plot, value."""
    return pl.DataFrame(rows, schema=["row", "column", "plot", "value"], orient="row")


def one_cell(*values: float) -> pl.DataFrame:
    """One cell to which plot A, B, C, ... gave these values."""
    return given_by(*(("r", "c", chr(65 + n), float(value)) for n, value in enumerate(values)))


def why(cells: pl.DataFrame, row: str | None, column: str | None) -> str | None:
    at = pl.col("row").eq_missing(pl.lit(row)) & pl.col("column").eq_missing(pl.lit(column))
    reason: str | None = cells.filter(at)["withheld"].item()
    return reason


def interval(bounds: pl.DataFrame, row: str | None, column: str | None) -> tuple[float, float]:
    at = pl.col("row").eq_missing(pl.lit(row)) & pl.col("column").eq_missing(pl.lit(column))
    low, high = bounds.filter(at).select("low", "high").row(0)
    return low, high


LARGE = given_by(
    *(
        (row, column, plot, kg)
        for row, kg in (("bean", 2.0), ("kale", 3.0))
        for column in ("June", "July")
        for plot in ("A", "B", "C", "D")
    )
)


def test_nothing_is_withheld_where_every_figure_rests_on_many_plots() -> None:
    cells = suppress(LARGE)
    assert cells["withheld"].null_count() == cells.height == 9
    assert cells.filter(pl.col("row").is_null(), pl.col("column").is_null())["value"].item() == 40.0
    assert cells.filter(pl.col("row") == "bean", pl.col("column").is_null()).row(0) == ("bean", None, 16.0, 4, None)


def test_the_figures_of_a_single_plot_are_all_withheld() -> None:
    cells = suppress(given_by(("bean", "June", "A", 2.0), ("bean", "July", "A", 1.0), ("kale", "June", "A", 3.0)))
    assert cells.filter(pl.col("value") > 0).is_empty()
    assert cells["withheld"].drop_nulls().unique().to_list() == [FEW]
    assert cells.filter(pl.col("withheld").is_null()).select("row", "column", "value").rows() == [("kale", "July", 0.0)]


def test_a_cell_of_two_plots_takes_three_others_with_it() -> None:
    """The least pattern in a table with totals is a rectangle."""
    rows = [(row, column, plot, 5.0) for row in ("a", "b", "c") for column in ("1", "2", "3") for plot in "ABCD"]
    cells = suppress(given_by(*(r for r in rows if not (r[0] == "a" and r[1] == "1" and r[2] in "CD"))))
    assert why(cells, "a", "1") == FEW
    assert cells.filter(pl.col("withheld") == PROTECTS).height == 3
    assert cells.filter(pl.col("row").is_null() | pl.col("column").is_null())["withheld"].null_count() == 7


def test_without_the_others_the_attack_succeeds() -> None:
    """The same table with only the sensitive cell withheld: its value comes back to the last digit."""
    rows = [(row, column, plot, 5.0) for row in ("a", "b", "c") for column in ("1", "2", "3") for plot in "ABCD"]
    cells = suppress(given_by(*(r for r in rows if not (r[0] == "a" and r[1] == "1" and r[2] in "CD"))))
    sums = pl.when(pl.col("withheld") == PROTECTS).then(20.0).otherwise("value")
    careless = cells.with_columns(value=sums, withheld=pl.col("withheld").replace(PROTECTS, None))
    assert interval(feasible_intervals(careless), "a", "1") == pytest.approx((10.0, 10.0))
    low, high = interval(feasible_intervals(cells), "a", "1")
    assert low <= 7.5
    assert high >= 12.5


@pytest.mark.parametrize(
    ("contributions", "reason"),
    [
        # Example 1: the second largest is off by 2 % only
        ((50_000, 49_000, 1_000), DOMINATED),
        # Example 2 with p = 10: the estimate is 15.4 % too high, so the cell is safe
        ((52_000, 50_000, 8_000), None),
        # Example 1b: two companies tell each other's figures
        ((10, 10), FEW),
        # Example 1d: 99 % of the turnover is one company's
        ((99, *[0.02] * 50), DOMINATED),
    ],
)
def test_the_rules_agree_with_the_handbook_s_examples(contributions: tuple[float, ...], reason: str | None) -> None:
    """Source: the handbook named above."""
    assert why(suppress(one_cell(*contributions), totals=()), "r", "c") == reason


def test_the_attack_gives_the_handbook_s_interval() -> None:
    """Example 3 of the handbook named above, from Geurts 1992, Table 10: X11 lies between 3 and 6."""
    shown: list[dict[str, Any]] = [
        {"row": "1", "column": None, "value": 7.0},
        {"row": "2", "column": None, "value": 3.0},
        {"row": "3", "column": "1", "value": 3.0},
        {"row": "3", "column": "2", "value": 3.0},
        {"row": "3", "column": None, "value": 6.0},
        {"row": None, "column": "1", "value": 9.0},
        {"row": None, "column": "2", "value": 7.0},
        {"row": None, "column": None, "value": 16.0},
    ]
    hidden = [{"row": row, "column": column, "withheld": FEW} for row in ("1", "2") for column in ("1", "2")]
    cells = pl.DataFrame([*hidden, *shown], schema=CELL_TYPES).sort("row", "column", nulls_last=True)
    assert interval(feasible_intervals(cells), "1", "1") == pytest.approx((3.0, 6.0))


def test_a_cell_of_one_plot_nearly_alone_is_free_beyond_the_handbook_s_protection_level() -> None:
    """Example 5 of the handbook named above: upper protection level p/100 x1 - (X - x1 - x2)."""
    rows = [(row, column, plot, 30.0) for row in ("a", "b") for column in ("1", "2") for plot in "ABCD"]
    rows = [r for r in rows if r[:2] != ("a", "1")] + [
        ("a", "1", "A", 300.0),
        ("a", "1", "B", 20.0),
        ("a", "1", "C", 10.0),
    ]
    cells = suppress(given_by(*rows))
    assert why(cells, "a", "1") == DOMINATED
    _, high = interval(feasible_intervals(cells), "a", "1")
    assert high >= 330 + 0.10 * 300 - (330 - 300 - 20)


def test_two_cells_of_one_plot_each_do_not_give_one_another_away() -> None:
    """Singletons: each of the two plots knows its own figure, so two hidden cells in a row are not enough."""
    rows = [("a", "1", "A", 4.0), ("a", "2", "B", 6.0), ("b", "1", "B", 3.0), ("b", "2", "A", 5.0)]
    rows += [(row, column, plot, 8.0) for row in ("a", "b") for column in ("3", "4") for plot in "ABC"]
    rows += [("c", column, plot, 8.0) for column in ("1", "2", "3", "4") for plot in "ABC"]
    cells = suppress(given_by(*rows))
    owned: dict[Key, tuple[float, float]] = {("a", "1"): (4.0, 4.0), ("b", "2"): (5.0, 5.0)}  # what A knows
    low, high = interval(feasible_intervals(cells, owned), "a", "2")
    assert high - low >= 0.25 * 6.0


def test_a_plot_that_was_alone_in_one_cell_does_not_learn_another_s_figure() -> None:
    """Four hidden cells in a rectangle have one degree of freedom, and C's own cell would take it away."""
    rows = [("a", "1", "A", 13.0), ("a", "1", "B", 9.0), ("a", "2", "D", 23.0)]
    rows += [("b", "1", "C", 20.0), ("b", "2", "A", 27.0), ("b", "2", "B", 11.0)]
    cells = suppress(given_by(*rows))
    assert set(cells.drop_nulls(["row", "column"])["withheld"]) == {FEW}
    owned: dict[Key, tuple[float, float]] = {("b", "1"): (20.0, 20.0)}
    low, high = interval(feasible_intervals(cells, owned), "a", "2")
    assert high - low >= 0.25 * 23.0


def test_a_sensitive_cell_can_be_smaller_as_well_as_larger() -> None:
    """The corner opposite holds 1 kg only, so the sensitive cell could sink by no more than that."""
    rows = [("a", "1", plot, 10.0) for plot in "AB"] + [("b", "2", plot, 0.25) for plot in "ABCD"]
    rows += [(row, column, plot, 10.0) for row, column in (("a", "2"), ("b", "1")) for plot in "ABCD"]
    cells = suppress(given_by(*rows), Rule(other_share=0.001))
    low, high = interval(feasible_intervals(cells), "a", "1")
    assert low <= 15.0
    assert high >= 25.0


def test_two_hidden_cells_of_the_same_plot_do_not_give_its_sum_away() -> None:
    """The row's total less what is shown would be plot A's own kilos for the two months together."""
    rows = [("a", "1", "A", 4.0), ("a", "2", "A", 6.0), ("b", "1", "A", 3.0), ("b", "2", "A", 5.0)]
    rows += [("a", "3", plot, kg) for plot, kg in (("A", 5.0), ("B", 7.0), ("C", 6.0))]
    rows += [(row, column, plot, 8.0) for row in ("b", "c") for column in ("3", "4") for plot in "ABC"]
    rows += [("c", column, plot, 8.0) for column in ("1", "2") for plot in "ABC"]
    cells = suppress(given_by(*rows))
    together = cells.filter(pl.col("row") == "a", pl.col("withheld").is_not_null())
    assert why(cells, "a", None) is not None or why(cells, "a", "3") == PROTECTS
    assert together.height >= 3


def test_a_total_on_too_few_plots_is_withheld_too() -> None:
    rows = [("okra", "June", "A", 4.0), ("okra", "July", "B", 6.0)]
    rows += [("bean", column, plot, 8.0) for column in ("June", "July") for plot in "ABC"]
    cells = suppress(given_by(*rows))
    assert why(cells, "okra", None) == FEW
    low, high = interval(feasible_intervals(cells), "okra", None)
    assert low <= 7.5
    assert high >= 12.5


def test_totals_that_are_not_shown_protect_nothing_and_need_no_protection() -> None:
    rows = [
        ("a", "1", "A", 4.0),
        *(("b", "1", plot, 8.0) for plot in "ABC"),
        *(("b", "2", plot, 8.0) for plot in "ABC"),
    ]
    assert suppress(given_by(*rows), totals=())["withheld"].drop_nulls().to_list() == [FEW]
    by_row = suppress(given_by(*rows), totals=(ROWS,))
    assert by_row.select("row", "column", "withheld").rows() == [
        ("a", "1", FEW),
        ("a", "2", None),
        ("a", None, FEW),
        ("b", "1", None),
        ("b", "2", None),
        ("b", None, None),
    ]
    by_column = suppress(given_by(*rows), totals=(COLUMNS,))
    assert why(by_column, "b", "1") == PROTECTS or why(by_column, None, "1") == PROTECTS


def test_groups_without_totals_are_shown_or_not() -> None:
    rows = [("jam", "A", 5.0), ("jam", "B", 5.0), ("jam", "C", 5.0), ("dry", "A", 9.0), ("pickle", "A", 90.0)]
    rows += [("pickle", "B", 1.0), ("pickle", "C", 1.0), ("empty", "A", 0.0)]
    groups = pl.DataFrame(rows, schema=["group", "plot", "value"], orient="row")
    assert enough_plots(groups).rows() == [("dry", None, FEW), ("jam", 3, None), ("pickle", None, DOMINATED)]
    assert enough_plots(groups.clear()).columns == ["group", "plots", "withheld"]


def test_the_grand_total_may_stand_without_totals_of_columns() -> None:
    """A has 10 of 12 kg in row a and is alone in row b, so the grand total is nearly its own and nothing is known."""
    rows = [("a", "1", "A", 8.0), ("a", "1", "B", 1.0), ("a", "1", "C", 1.0), ("a", "2", "A", 1.0)]
    cells = suppress(given_by(*rows, ("a", "3", "A", 1.0), ("b", "1", "A", 1.0)), totals=(ROWS, GRAND))
    assert why(cells, None, None) == DOMINATED
    bounds = feasible_intervals(cells)
    assert set(bounds["low"]) == {0.0}
    assert set(bounds["high"]) == {math.inf}
    large = suppress(LARGE, totals=(ROWS, GRAND))
    assert large.select("row", "column").rows()[-1] == (None, None)
    assert large.filter(pl.col("row").is_null())["value"].to_list() == [40.0]


def test_an_empty_table_stays_empty() -> None:
    cells = suppress(given_by().cast({"row": pl.String, "column": pl.String, "plot": pl.String, "value": pl.Float64}))
    assert cells.schema == pl.Schema(CELL_TYPES)
    assert feasible_intervals(cells).is_empty()


KILOS = st.floats(0.05, 80.0).map(lambda kg: round(kg, 2))


@st.composite
def contributions(draw: st.DrawFn, most: int = 4) -> pl.DataFrame:
    """A table of up to ``most`` rows, columns and plots beyond two of each, thinly filled."""
    rows, columns, plots = (draw(st.integers(2, most)) for _ in range(3))
    cells = st.tuples(st.integers(0, rows), st.integers(0, columns), st.integers(0, plots))
    filled = draw(st.dictionaries(cells, KILOS, min_size=6, max_size=30))
    return given_by(*((f"r{r}", f"c{c}", f"p{p}", kg) for (r, c, p), kg in filled.items()))


def true_sums(table: pl.DataFrame, cells: pl.DataFrame) -> list[float]:
    """The sum of every cell of ``cells``, straight from the contributions."""
    sums = []
    for row, column in cells.select("row", "column").iter_rows():
        part = table.filter(pl.lit(row is None) | (pl.col("row") == row)) if row else table
        part = part.filter(pl.col("column") == column) if column else part
        sums.append(math.fsum(part["value"]))
    return sums


@given(contributions(), st.sampled_from([(ROWS, COLUMNS), (ROWS, GRAND), (COLUMNS,)]))
@settings(max_examples=16)
def test_an_attacker_outside_cannot_pin_any_withheld_cell(table: pl.DataFrame, totals: tuple[str, ...]) -> None:
    rule = Rule()
    cells = suppress(table, rule, totals)
    checked = cells.with_columns(truth=pl.Series(true_sums(table, cells)))
    shown = checked.filter(pl.col("withheld").is_null())
    assert shown["value"].to_list() == pytest.approx(shown["truth"].to_list())
    assert shown.filter(pl.col("plots").is_between(1, rule.smallest_group - 1)).is_empty()
    attacked = feasible_intervals(cells).join(checked, on=["row", "column"], nulls_equal=True)
    for row in attacked.iter_rows(named=True):
        assert row["low"] <= row["truth"] + 1e-6
        assert row["high"] >= row["truth"] - 1e-6
        if row["withheld"] == PROTECTS:
            assert row["high"] - row["low"] >= rule.other_share * row["truth"] * 0.999
        else:
            assert row["low"] <= (1 - rule.sensitive_share) * row["truth"] * 1.001
            assert row["high"] >= (1 + rule.sensitive_share) * row["truth"] * 0.999


def of_others(table: pl.DataFrame, plot: str, row: str | None, column: str | None) -> list[float]:
    """What each other plot gave to a cell."""
    part = table.filter(pl.col("plot") != plot)
    part = part if row is None else part.filter(pl.col("row") == row)
    part = part if column is None else part.filter(pl.col("column") == column)
    return part.group_by("plot").agg(pl.col("value").sum())["value"].to_list() or [0.0]


@given(contributions(most=3))
@settings(max_examples=6)
def test_no_plot_can_pin_what_another_gave_to_a_sensitive_cell(table: pl.DataFrame) -> None:
    """Each plot knows its own figures, and that it was alone where it was.

    Where two others are left, neither nearly alone, it may learn their sum: every shown cell of three tells that.
    """
    rule = Rule()
    cells = suppress(table, rule)
    truth = dict(zip(cells.select("row", "column").iter_rows(), true_sums(table, cells), strict=True))
    for plot in table["plot"].unique().sort():
        own = dict(zip(truth, true_sums(table.filter(pl.col("plot") == plot), cells), strict=True))
        known = {key: (own[key], own[key] if truth[key] - own[key] < 1e-9 else math.inf) for key in truth}
        bounds = feasible_intervals(cells, known)
        sensitive = bounds.join(
            cells.filter(pl.col("withheld").is_in([FEW, DOMINATED])), on=["row", "column"], nulls_equal=True
        )
        for row, column, low, high in sensitive.select("row", "column", "low", "high").iter_rows():
            others = of_others(table, plot, row, column)
            if len(others) < rule.smallest_group - 1 or sum(others) - max(others) < 0.1 * max(others):
                assert high - low >= rule.sensitive_share * sum(others) * 0.999
