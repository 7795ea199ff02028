"""A log counts once: a file or sheet whose rows stand in another of the same log is set aside as its copy.

Rows are compared by what they were read as, so another delimiter, date form or encoding hides no copy, and a remark
changed afterwards does not either.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

import polars as pl

from pipeline.intake.shape import PROBLEM_COLUMNS
from schemas.contracts import core_types
from schemas.logs import LOGS

if TYPE_CHECKING:
    from pipeline.store.store import Store

COPY_RULE = "copy_of_log"

MOSTLY = 0.9
"""Share of a file's rows that stand in another from which it is its copy."""
FEW_ROWS, VERY_FEW_ROWS = 5, 3
"""Below these a likeness may be chance: fewer than 5 rows must all stand in the other, and with fewer than 3 the name
must say that it is a copy."""

NOT_COMPARED = {"source_file", "source_line", "note"}

_COPY_WORDS = re.compile(
    r"\b(?:copy|copies|copie|copia|kopie|kopia|kopi|backup|bak|old|older|duplicate|dup)\b|\(\d+\)|~", re.IGNORECASE
)


@dataclass(frozen=True)
class Likeness:
    """Two files of one log and how many rows they share."""

    log: str
    one: str
    other: str
    rows_one: int
    rows_other: int
    shared: int


def set_copies_aside(store: Store, decided: Callable[[str], bool]) -> pl.DataFrame:
    """Take the rows of copies out of ``core``.

    Args:
        store: with all files read.
        decided: whether the person has said that a file counts.

    Returns:
        A problem for every row taken out.
    """
    gone: set[str] = set()
    problems = [pl.DataFrame(schema=PROBLEM_COLUMNS)]
    for likeness in _likenesses(store):
        if gone & {likeness.one, likeness.other}:
            continue
        copy, kept = _which(likeness)
        if not _is_copy(likeness) or decided(copy):
            continue
        problems.append(_reasons(store, likeness, copy, kept))
        store.con.execute(f"delete from core.{likeness.log} where source_file = ?", [copy])  # noqa: S608
        gone.add(copy)
    return pl.concat(problems)


def _likenesses(store: Store) -> list[Likeness]:
    """Pairs of files of one log that share rows, most shared first."""
    found = []
    for log in LOGS:
        if store.frame(f"select distinct source_file from core.{log} limit 2").height < 2:  # noqa: S608
            continue
        rows = store.frame(
            f"""
            with held as (
                select source_file as file, {_meaning(log)} as meaning, count(*) as n from core.{log} group by all
            ),
            sizes as (select file, sum(n)::bigint as size from held group by all)
            select one.file as one, other.file as other, any_value(a.size) as rows_one, any_value(b.size) as rows_other,
                sum(least(one.n, other.n))::bigint as shared
            from held as one
            join held as other on one.meaning = other.meaning and one.file < other.file
            join sizes as a on a.file = one.file
            join sizes as b on b.file = other.file
            group by one.file, other.file
            order by 5 desc, 1, 2
            """  # noqa: S608
        )
        found += [Likeness(log, *row) for row in rows.iter_rows()]
    return found


def _meaning(log: str) -> str:
    """A number for what a row says, whatever file it stands in."""
    return f"hash({', '.join(name for name in core_types(log) if name not in NOT_COMPARED)})"


def _which(pair: Likeness) -> tuple[str, str]:
    """The copy and what it is a copy of: the one that holds less, else the one whose name says so or comes later."""
    if pair.rows_one != pair.rows_other:
        return (pair.one, pair.other) if pair.rows_one < pair.rows_other else (pair.other, pair.one)
    kept, copy = sorted((pair.one, pair.other), key=_lateness)
    return copy, kept


def _lateness(name: str) -> tuple[bool, bool, int, int, str]:
    return bool(_COPY_WORDS.search(name)), "[" in name, name.count("/"), len(name), name


def _is_copy(pair: Likeness) -> bool:
    fewer = min(pair.rows_one, pair.rows_other)
    if pair.shared < MOSTLY * fewer:
        return False
    if fewer >= FEW_ROWS:
        return True
    return pair.shared == fewer and (fewer >= VERY_FEW_ROWS or bool(_COPY_WORDS.search(_which(pair)[0])))


def _reasons(store: Store, pair: Likeness, copy: str, kept: str) -> pl.DataFrame:
    """Why each row of a copy is not counted."""
    size = pair.rows_one if copy == pair.one else pair.rows_other
    meaning = _meaning(pair.log)
    rows = store.frame(
        f"""
        select mine.source_file as file, mine.source_line as line, min(theirs.source_line) as there
        from (select *, {meaning} as meaning from core.{pair.log} where source_file = $copy) as mine
        left join (select *, {meaning} as meaning from core.{pair.log} where source_file = $kept) as theirs
            using (meaning)
        group by all order by line
        """,  # noqa: S608
        {"copy": copy, "kept": kept},
    )
    why = f"{copy} is a copy of {kept} ({pair.shared} of its {size} rows stand there), and a log counts once"
    mend = (
        f'delete or move one of the two, or write "{copy}" = "{pair.log}" under [files] in rowshelf.toml if both count'
    )
    said = (
        pl.when(pl.col("there").is_null())
        .then(pl.lit("this row does not stand there, but its file is set aside: "))
        .otherwise(pl.format("this row stands there in line {}: ", "there"))
    )
    return rows.select(
        "file",
        pl.col("line").cast(pl.Int64),
        column=pl.lit(""),
        value=pl.lit(None, dtype=pl.String),
        rule=pl.lit(COPY_RULE),
        level=pl.lit("error"),
        message=pl.lit(f"{why}; ") + said + pl.lit(mend),
    ).select(pl.col(name).cast(dtype) for name, dtype in PROBLEM_COLUMNS.items())


def decided_by(files: Collection[str]) -> Callable[[str], bool]:
    """Whether rowshelf.toml names a file, or its file or sheet alone, under ``[files]``."""
    named = {name.casefold().strip() for name in files}

    def decided(name: str) -> bool:
        plain = name.casefold()
        own = PurePosixPath(plain).name
        return bool(named & {plain, own, own.rpartition(".")[0]})

    return decided
