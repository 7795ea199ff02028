"""Words as given on a command line -> cells of one row of a log.

Words without a name fill, in order, the columns that every row needs; the day is today where it is not said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from pipeline.errors import UsageError
from schemas.logs import LATEST_DATE_COLUMN, Log

MOST_WORDS = 12
"""More words than this are not tried in groups."""

Reads = Callable[[str, str], bool]
"""Whether a text reads well as a column: a known crop, a batch of this folder, a weight with its unit."""


@dataclass(frozen=True)
class Slot:
    """A place that a word without a name fills: a column, or several of which one is meant."""

    columns: tuple[str, ...]

    @property
    def shown(self) -> str:
        """The place as it stands in a help text."""
        return " or ".join(self.columns)


def slots_of(log: Log, *, day: bool = False) -> tuple[Slot, ...]:
    """The places of a log that words without a name fill, in order; with the day or without it."""
    own = LATEST_DATE_COLUMN.get(log.name)
    needed = (Slot((column.name,)) for column in log.columns if column.required and (day or column.name != own))
    return (*needed, *map(Slot, log.needs_one_of))


def cells_of(log: Log, words: Sequence[str], named: Mapping[str, str], reads: Reads) -> dict[str, str]:
    """The cells of one row; an empty word leaves its cell empty.

    Args:
        log: the log the row is for.
        words: texts in the order of :func:`slots_of`. The day may stand among them, in its place in the log, and a
            cell of several words (``1.9 kg``) need not be quoted where only one way of grouping them reads well.
        named: texts by column.
        reads: whether a text reads well as a column.

    Raises:
        UsageError: the words fit no place, or can be read in two ways.
    """
    own = LATEST_DATE_COLUMN.get(log.name, "")
    free = _free(slots_of(log), named)
    dated = free if own in named else _free(slots_of(log, day=True), named)
    found = _ways(free, dated, words, reads) or _ways(free, dated, words, _any_crop(reads))
    if len(found) > 1:
        ways = " or ".join(_said(way) for way in found[:2])
        message = f"can be read as {ways}: put quotes around each cell, or name it, such as --{_option(free[0])}."
        raise UsageError(message)
    return dict(named) | (found[0] if found else _in_order(free, dated, words, reads))


def _ways(free: Sequence[Slot], dated: Sequence[Slot], words: Sequence[str], reads: Reads) -> list[dict[str, str]]:
    return (_best(dated, words, reads) if dated != free else []) or _best(free, words, reads)


def _any_crop(reads: Reads) -> Reads:
    """A crop that nobody knows, or that stands for several, is a crop all the same: the checks will say what of it."""
    return lambda name, text: reads(name, text) or (name == "crop" and not any(letter.isdigit() for letter in text))


def _free(slots: Sequence[Slot], named: Mapping[str, str]) -> tuple[Slot, ...]:
    return tuple(slot for slot in slots if not any(name in named for name in slot.columns))


def _best(slots: Sequence[Slot], words: Sequence[str], reads: Reads) -> list[dict[str, str]]:
    """The ways of laying all words in the slots in which every cell reads well."""
    if not slots or not len(slots) <= len(words) <= MOST_WORDS:
        return []
    return [cells for grouped in _grouped(words, len(slots)) for cells in _laid(slots, grouped) if _all(cells, reads)]


def _all(cells: Mapping[str, str], reads: Reads) -> bool:
    return all(reads(name, text) for name, text in cells.items())


def _grouped(words: Sequence[str], groups: int) -> Iterator[tuple[str, ...]]:
    """Every way to make ``groups`` texts of neighbouring words."""
    for cuts in combinations(range(1, len(words)), groups - 1):
        edges = (0, *cuts, len(words))
        yield tuple(" ".join(words[edges[at] : edges[at + 1]]) for at in range(groups))


def _laid(slots: Sequence[Slot], texts: Sequence[str]) -> Iterator[dict[str, str]]:
    for names in product(*(slot.columns for slot in slots)):
        if not {"crop", "containers"} <= set(names) or {"crop", "containers"} <= {slot.columns[0] for slot in slots}:
            yield dict(zip(names, texts, strict=True))  # fresh produce is weighed; a batch is counted, or weighed


def _in_order(free: Sequence[Slot], dated: Sequence[Slot], words: Sequence[str], reads: Reads) -> dict[str, str]:
    """Words laid in the slots one by one, though not all read well: the checks will say what is wrong with which."""
    slots = dated if len(words) == len(dated) and not (free and len(words) == len(free)) else free
    if len(words) > len(slots):
        takes = ", ".join(slot.shown for slot in free) or "nothing more without a name"
        message = (
            f"{len(words)} words where {len(slots)} are meant ({takes}): put quotes around a cell of several words, "
            'and name the others, such as --note "after rain".'
        )
        raise UsageError(message)
    cells: dict[str, str] = {}
    for slot, word in zip(slots, words, strict=False):
        cells[_meant(slot, word, cells, reads)] = word
    return cells


def _meant(slot: Slot, word: str, before: Mapping[str, str], reads: Reads) -> str:
    """Which column of a slot a word is for: the one it reads well as, else what its look suggests."""
    if "weight" in slot.columns and "crop" in before:
        return "weight"
    fitting = [name for name in slot.columns if reads(name, word)]
    if len(slot.columns) == 1 or len(fitting) == 1:
        return (fitting or slot.columns)[0]
    if "batch_id" in slot.columns:
        return "batch_id" if fitting or any(letter.isdigit() for letter in word) else "crop"
    return slot.columns[0]


def _option(slot: Slot) -> str:
    return slot.columns[0].replace("_", "-")


def _said(cells: Mapping[str, str]) -> str:
    return ", ".join(f"{name} {text!r}" for name, text in cells.items())
