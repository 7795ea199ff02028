"""Which log a file or sheet holds, by the words of its name and by its headings."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from pipeline.intake.nearest import nearest
from schemas.headings import FILE_WORDS, OUTWEIGHED
from schemas.logs import LOGS

LEAST_COLUMNS = 3
"""Headings that must be known before a file is taken for a log by them alone."""
ALIKE_PCT = 85


class Fit(NamedTuple):
    """How well the headings of a file fit a log: how many are known, and whether rows can count."""

    columns: int
    complete: bool


def plain_title(title: str) -> str:
    """A name in a form that is compared: lower case, single spaces, without its ending."""
    plain = re.sub(r"\.(?:csv|tsv|xlsx|ods)$", "", title.strip().casefold())
    return " ".join(re.split(r"[\s_\-.]+", plain)).strip()


def named_kinds(title: str) -> tuple[str, ...]:
    """The logs that the words of a name are about; what is done goes before where it is done."""
    words = re.findall(r"[^\W\d_]+", plain_title(title))
    runs = {" ".join(words[at : at + length]) for length in (1, 2, 3) for at in range(len(words))}
    found = {kind for kind, known in FILE_WORDS.items() if runs & set(known)}
    if not found:
        spelled = {word: kind for kind, known in FILE_WORDS.items() for word in known}
        near = (nearest(word, spelled, ALIKE_PCT) for word in words if len(word) > 4)
        found = {spelled[word] for word in near if word}
    kept = {kind for kind in found if not OUTWEIGHED.get(kind, frozenset()) & found}
    return tuple(kind for kind in LOGS if kind in kept)


def kind_of_words(title: str) -> str | None:
    """The one log that a name is about, if it is about one."""
    kinds = named_kinds(title)
    return kinds[0] if len(kinds) == 1 else None


def fitting_kinds(title: str, fit_of: Callable[[str], Fit]) -> tuple[str, ...]:
    """The logs that a file may hold: one where it is clear, several where a grower is to be asked.

    Args:
        title: the name of the file or sheet.
        fit_of: how well its headings fit a log.
    """
    named = named_kinds(title)
    if len(named) == 1 and (by_headings := _clearly_another(named[0], fit_of)):
        return by_headings
    if len(named) == 1:
        return named if fit_of(named[0]).columns >= 1 else ()
    fits = {kind: fit_of(kind) for kind in named or LOGS}
    able = {kind: fit for kind, fit in fits.items() if fit.complete and fit.columns >= (2 if named else LEAST_COLUMNS)}
    most = max((fit.columns for fit in able.values()), default=0)
    return tuple(kind for kind, fit in able.items() if fit.columns == most)


def _clearly_another(named: str, fit_of: Callable[[str], Fit]) -> tuple[str, ...]:
    """The logs whose headings a file may hold, where its name only says where: ``plot1.csv`` with pickings."""
    own = fit_of(named)
    fits = {kind: fit for kind in LOGS if kind != named and (fit := fit_of(kind)).complete}
    most = max((fit.columns for fit in fits.values()), default=0)
    best = tuple(kind for kind, fit in fits.items() if fit.columns == most)
    enough = max(LEAST_COLUMNS, own.columns + 2)
    return best if most >= enough else ()


def why_not(title: str, fits: tuple[str, ...]) -> str:
    """What to say of a file that is not read, with the line that settles it."""
    named = named_kinds(title)
    if len(named) == 1 and not fits:
        needed = ", ".join(column.name for column in LOGS[named[0]].columns if column.required)
        return (
            f"its name says {named[0]}, but no line names the columns of that log: write them in its first line, "
            f"such as {needed}"
        )
    line = f'write under [files] in rowshelf.toml: "{title}" = '
    if len(fits) > 1:
        choices = " or ".join(f'"{kind}"' for kind in fits)
        return f'its headings fit {" and ".join(fits)}: {line}{choices}; or "none" if it is no log'
    return (
        "its name does not start with the name of a log and its headings fit none; "
        f'if it is one, {line}"harvests" (or another log), or "none" to leave it out'
    )
