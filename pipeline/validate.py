"""3. Typed rows -> accepted rows and rows set aside, each with its reason."""

from __future__ import annotations

import polars as pl

from pipeline.normalise import PROBLEM_COLUMNS, Typed
from schemas.contracts import bounds_sentence, contract
from schemas.logs import LOGS, Log


class ContractBrokenError(RuntimeError):
    """The frame itself is wrong (a column missing or mistyped): a fault of ours, not of the data."""


def split(kind: str, typed: Typed) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows that keep the contract of their log, and every problem of the rest.

    Args:
        kind: name of the log.
        typed: rows of one file from :func:`pipeline.normalise.type_rows`.

    Returns:
        ``(accepted, problems)``; a row is accepted if no problem of level ``error`` names its line.
    """
    failures = contract_failures(kind, typed.core)
    unread = typed.problems.filter(pl.col("level") == "error").select("line", "column")
    fresh = failures.join(unread, on=["line", "column"], how="anti", maintain_order="left")
    problems = pl.concat([typed.problems, fresh]).unique(["line", "column", "rule"], keep="first", maintain_order=True)
    bad_lines = problems.filter(pl.col("level") == "error")["line"].unique()
    accepted = typed.core.filter(~pl.col("source_line").is_in(bad_lines.to_list()))
    return accepted, problems.sort("line", maintain_order=True)


def contract_failures(kind: str, core: pl.DataFrame) -> pl.DataFrame:
    """Each break of the log's contract as a problem, in row order."""
    import pandera.polars as pa
    from pandera.config import ValidationDepth, config_context

    try:
        # Said here, since an environment variable could turn the checks of values off.
        with config_context(validation_depth=ValidationDepth.SCHEMA_AND_DATA):
            contract(kind).validate(core, lazy=True)
    except pa.errors.SchemaErrors as errors:
        return _as_problems(LOGS[kind], core, errors.failure_cases)
    return pl.DataFrame(schema=PROBLEM_COLUMNS)


def _as_problems(log: Log, core: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    if failures["index"].null_count():
        raise ContractBrokenError(str(failures))
    by_core = {name: column for column in log.columns for name, _ in column.core_columns}
    rows = failures["index"].cast(pl.Int64)
    places = core.select("source_file", "source_line")[rows]
    problems = []
    for failure, place in zip(failures.iter_rows(named=True), places.iter_rows(named=True), strict=True):
        column = by_core[failure["column"]]
        empty = failure["check"] == "not_nullable"
        outside = failure["check"] == bounds_sentence(column) if column.ge is not None else False
        rule = "required" if empty else "out_of_bounds" if outside else "inconsistent"
        message = f"{column.name} is empty: {column.description}" if empty else failure["check"]
        if outside:
            message = f"expected {message}"
        problems.append(
            (
                place["source_file"],
                place["source_line"],
                column.name,
                failure["failure_case"],
                rule,
                "error",
                message,
            )
        )
    return pl.DataFrame(problems, schema=PROBLEM_COLUMNS, orient="row")
