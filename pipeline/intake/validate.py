"""3. Typed rows -> accepted rows and rows set aside, each with its reason.

One odd optional cell costs the cell: its row is taken with the cell unknown, and the problem is of level ``cell``.
"""

from __future__ import annotations

import polars as pl

from pipeline.intake.normalise import Typed
from pipeline.intake.shape import LONGEST_VALUE, no_problems
from schemas.contracts import bounds_sentence, contract
from schemas.dictionary import ANY_TEXT, how_to_write
from schemas.fields import Field
from schemas.logs import LOGS, Log


class ContractBrokenError(RuntimeError):
    """The frame itself is wrong (a column missing or mistyped): a fault of ours, not of the data."""


def split(kind: str, typed: Typed) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows that keep the contract of their log, and every problem of the rest.

    Args:
        kind: name of the log.
        typed: rows of one file from :class:`pipeline.intake.normalise.LogReader`.

    Returns:
        ``(accepted, problems)``; a row is accepted if no problem of level ``error`` names its line. Cells with a
        problem of level ``cell`` are null in it.
    """
    problems = typed.problems
    failures = contract_failures(kind, typed.core)
    if failures.height:
        # A cell that could not be read is null: that it is empty is no second problem.
        unread = _with_groups(LOGS[kind], problems.filter(pl.col("level") == "error").select("line", "column"))
        fresh = failures.join(unread, on=["line", "column"], how="anti", maintain_order="left")
        problems = pl.concat([problems, _as_typed(fresh, typed.raw)])
    if problems.is_empty():
        return typed.core, problems
    problems = problems.unique(["line", "column", "rule"], keep="first", maintain_order=True)
    core, problems = _without_odd_cells(LOGS[kind], typed.core, problems)
    bad_lines = problems.filter(pl.col("level") == "error")["line"].unique()
    accepted = core.filter(~core["source_line"].is_in(bad_lines.implode()))
    return accepted, problems.sort("line", maintain_order=True)


def _without_odd_cells(log: Log, core: pl.DataFrame, problems: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Typed rows with their odd optional cells unknown, and the problems of those cells as such.

    A cell stays an error where its row needs it after all (one of some columns is needed, and it was the one), and
    where two cells contradict each other, since either may be the wrong one.
    """
    optional = {column.name: column for column in log.columns if not column.required}
    is_odd = (pl.col("level") == "error") & pl.col("column").is_in(list(optional)) & (pl.col("rule") != "inconsistent")
    odd = problems.filter(is_odd)
    if odd.is_empty():
        return core, problems
    for (name,), found in odd.group_by("column", maintain_order=True):
        field = optional[str(name)]
        here = pl.col("source_line").is_in(found["line"].implode())
        core = core.with_columns(_unknown(column, here) for column, _ in field.core_columns)
    needed = [
        (list(names), core.filter(pl.all_horizontal(pl.col(log.column(name).core_name).is_null() for name in names)))
        for names in log.needs_one_of
    ]
    still = [
        pl.col("column").is_in(names) & pl.col("line").is_in(rows["source_line"].implode()) for names, rows in needed
    ]
    is_cell = is_odd & ~pl.any_horizontal(False, *still)
    level = pl.when(is_cell).then(pl.lit("cell")).otherwise("level").alias("level")
    return core, problems.with_columns(level)


def _unknown(column: str, here: pl.Expr) -> pl.Expr:
    """The column without its values in these rows; a weight that is not there is not estimated either."""
    nothing = pl.lit(value=False) if column.endswith("_estimated") else pl.lit(None)
    return pl.when(here).then(nothing).otherwise(column).alias(column)


def _with_groups(log: Log, unread: pl.DataFrame) -> pl.DataFrame:
    """Unread cells, and the column blamed where one of some is needed: an unread one may be the one."""
    blamed = (
        unread.filter(pl.col("column").is_in(list(names))).with_columns(pl.lit(names[0]).alias("column"))
        for names in log.needs_one_of
    )
    return pl.concat([unread, *blamed])


def _as_typed(failures: pl.DataFrame, raw: pl.DataFrame) -> pl.DataFrame:
    """Failures with the cell as it stands in the log in place of the value that was read from it."""
    columns = [name for name in failures["column"].unique() if name in raw.columns]
    cells = raw.filter(raw["source_line"].is_in(failures["line"].unique().implode())).unpivot(
        columns, index="source_line", variable_name="column", value_name="cell"
    )
    return failures.join(
        cells, left_on=["line", "column"], right_on=["source_line", "column"], how="left", maintain_order="left"
    ).select(
        pl.col("cell").cast(pl.String).str.head(LONGEST_VALUE).alias("value") if name == "value" else name
        for name in failures.columns
    )


def contract_failures(kind: str, core: pl.DataFrame) -> pl.DataFrame:
    """Each break of the log's contract as a problem."""
    import pandera.polars as pa
    from pandera.config import ValidationDepth, config_context

    try:
        # Said here, since an environment variable could turn the checks of values off.
        with config_context(validation_depth=ValidationDepth.SCHEMA_AND_DATA):
            contract(kind).validate(core, lazy=True)
    except pa.errors.SchemaErrors as errors:
        return _as_problems(LOGS[kind], core, errors.failure_cases)
    return no_problems()


def _as_problems(log: Log, core: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Failures in the words of the contract.

    Raises:
        ContractBrokenError: a failure that is not about a row.
    """
    if failures["index"].null_count():
        raise ContractBrokenError(str(failures))
    by_core = {name: column for column in log.columns for name, _ in column.core_columns}
    kinds = failures.select("column", "check").unique(maintain_order=True)
    words = [(row["column"], row["check"], *_say(by_core[row["column"]], row["check"])) for row in kinds.to_dicts()]
    said = pl.DataFrame(words, schema=["column", "check", "name", "rule", "message"], orient="row")
    rows = failures["index"].cast(pl.Int64)
    return (
        failures.select("failure_case", "column", "check")
        .with_columns(core["source_file"].gather(rows).alias("file"), core["source_line"].gather(rows).alias("line"))
        .join(said, on=["column", "check"], maintain_order="left")
        .select(
            "file",
            "line",
            pl.col("name").alias("column"),
            pl.col("failure_case").cast(pl.String).alias("value"),
            "rule",
            pl.lit("error").alias("level"),
            "message",
        )
    )


def _say(column: Field, check: str) -> tuple[str, str, str]:
    """Name of the column, name of the rule, and the sentence for one kind of failure."""
    if check == "not_nullable":
        how = how_to_write(column)
        example = "" if how == ANY_TEXT else f" ({how})"
        return column.name, "required", f"empty, and every row needs it: {column.description}{example}"
    if column.ge is not None and check == bounds_sentence(column):
        return column.name, "out_of_bounds", f"expected {check}"
    return column.name, "inconsistent", check
