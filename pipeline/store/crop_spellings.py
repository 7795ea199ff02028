"""Crops that no list knows: one name for all their spellings in a folder; and words that must be asked about."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import polars as pl

from pipeline.intake.cells import tidy
from pipeline.intake.shape import PROBLEM_COLUMNS, shorten
from pipeline.reference.names import CropLookup, same_name
from pipeline.reference.own_words import OwnWords, own_names
from schemas.fields import CROP
from schemas.logs import LOGS

if TYPE_CHECKING:
    from pipeline.store.store import Store

UNCLEAR_CROP = "unclear_crop"

NAMING_LOGS = tuple(
    log.name for log in LOGS.values() if log.name != "crops" and any(column.kind == CROP for column in log.columns)
)
"""Logs whose rows name a crop; ``crops`` says what the names mean."""


def settle_crops(store: Store, lookup: CropLookup) -> tuple[pl.DataFrame, set[str]]:
    """Give each unknown crop its most used spelling in ``core``, and ask about words that mean several crops.

    Spellings are counted as typed, so that the answer does not depend on which files were read before.

    Returns:
        A problem for each unclear word at its first place, and the files of which a crop was respelt.
    """
    typed = _typed_crops(store)
    problems = _questions(typed, lookup)
    respelt: set[str] = set()
    for spelling, others in _respellings(typed, lookup):
        for log in NAMING_LOGS:
            changed = store.con.execute(
                f"update core.{log} set crop = ? where crop in (select unnest(?)) returning source_file",  # noqa: S608
                [spelling, others],
            ).fetchall()
            respelt |= {file for (file,) in changed}
    return problems, respelt


class TypedCrop(NamedTuple):
    """How often a crop is named by one spelling, and where first."""

    rows: int
    file: str
    line: int


def _typed_crops(store: Store) -> dict[str, TypedCrop]:
    """The crops of all logs by their spelling, in lower case as typed."""
    each = " union all ".join(
        f"select crop, source_file, source_line from raw.{log} where crop is not null"  # noqa: S608
        for log in NAMING_LOGS
    )
    rows = store.con.execute(
        f"""
        select crop, count(*), min({{'file': source_file, 'line': source_line}}) as first
        from ({each}) group by crop order by first, crop
        """  # noqa: S608
    ).fetchall()
    found: dict[str, TypedCrop] = {}
    for text, count, first in rows:
        crop = tidy(text).casefold()
        before = found.get(crop)
        if crop:
            found[crop] = before._replace(rows=before.rows + count) if before else TypedCrop(count, **first)
    return found


def own_words(store: Store, crops: pl.DataFrame, lookup: CropLookup) -> OwnWords:
    """What a folder calls its crops.

    Args:
        store: a loaded store.
        crops: the crop reference with the grower's crops.
        lookup: its spellings.
    """
    each = " union all ".join(f"select crop from raw.{log} where crop is not null" for log in NAMING_LOGS)  # noqa: S608
    rows = store.con.execute(f"select crop, count(*) from ({each}) group by crop order by crop").fetchall()  # noqa: S608
    counts: dict[str, int] = {}
    for text, count in rows:
        counts[tidy(text)] = counts.get(tidy(text), 0) + count
    named = store.con.execute("select crop from raw.crops where crop is not null order by source_file, source_line")
    names = own_names(counts, lookup, [tidy(text) for (text,) in named.fetchall()])
    return OwnWords(names, frozenset(crops["crop"]))


def _questions(typed: dict[str, TypedCrop], lookup: CropLookup) -> pl.DataFrame:
    asked: dict[str, tuple[str, int, str, str | None, str, str, str]] = {}
    for crop, (_, file, line) in typed.items():
        question = lookup.unclear(crop)
        if question is None:
            continue
        level = "note" if question.is_name and len(question.crops) == 1 else "warning"
        row = (file, line, "crop", shorten(crop), UNCLEAR_CROP, level, question.question())
        asked.setdefault(same_name(crop), row)
    return pl.DataFrame([*asked.values()], schema=PROBLEM_COLUMNS, orient="row")


def _respellings(typed: dict[str, TypedCrop], lookup: CropLookup) -> list[tuple[str, list[str]]]:
    """The most used spelling of each unknown crop that is spelt in more than one way, and the others."""
    spellings: dict[str, dict[str, int]] = {}
    for crop, (rows, _, _) in typed.items():
        if crop not in lookup:
            spellings.setdefault(same_name(crop), {})[crop] = rows
    found = []
    for counts in spellings.values():
        if len(counts) > 1:
            most = min(counts, key=lambda crop: (-counts[crop], len(crop), crop))
            found.append((most, sorted(set(counts) - {most})))
    return found
