"""A heading in the grower's own words -> the column it means: by known words, the cells below it, the nearest name.

Nothing is decided in silence: what is read by another name is said, and where two columns fit a grower is asked.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

from pipeline.intake import cells, quantities
from pipeline.intake.dates import written_as
from pipeline.intake.nearest import nearest
from pipeline.intake.products import known_crops, product
from schemas.codes import NOT_KNOWN
from schemas.fields import AMOUNT, CODE, COUNT, CROP, DATE, IDENTIFIER, MASS, NUMBER, TEMPERATURE, VOLUME, YES_NO, Field
from schemas.headings import DONE, FILLERS, HEADING_UNITS, MASS_HEADINGS, UNIT_HEADINGS, field_of, spellings
from schemas.logs import Log
from schemas.units import BY_SPELLING, CONTAINER_WORDS, COUNT_WORDS, Unit

FITS = 0.6
"""The share of the cells below a heading that must be readable as a column, where its words leave it open."""
CLEARLY = 0.2
"""How much better one column must fit than the next, to be taken without asking."""
LEAST_ALIKE_PCT = 84
"""How alike a heading must be to the name of a column to be taken for a slip of the pen."""
LATEST_YEAR = 2098

Sample = Sequence[tuple[str, ...]]
"""The first rows below a header."""


@dataclass
class Meanings:
    """What the headings mean that are not the column's own: by the index of the heading."""

    columns: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    joined: dict[int, tuple[tuple[int, str], ...]] = field(default_factory=dict)
    """For a cell, the further cells that say the same thing with it: the index, and the unit to put behind it."""
    shared: dict[str, str] = field(default_factory=dict)
    """A column whose values stand among those of another: ``2 jars`` and ``500 g`` below one heading."""
    counted: dict[str, tuple[int, str]] = field(default_factory=dict)
    """A column of counts beside one of weights: its index, and the unit of its numbers."""
    questions: list[tuple[str, tuple[str, ...]]] = field(default_factory=list)
    """Headings that fit more than one column, and those."""


def plain_heading(plain: str) -> str:
    """A heading in the form of ``plain_name`` without words that change nothing."""
    words = [word for word in re.sub(r"[^\w]+", "_", plain).split("_") if word]
    kept = [word for word in words if word not in FILLERS]
    return "_".join(kept if kept and len(kept) < len(words) else words)


@cache
def known_headings(log: Log) -> dict[str, tuple[str, ...]]:
    """Every heading that growers use for the log, and the columns it may stand for."""
    return spellings(log)


def candidates(log: Log, forms: Sequence[str]) -> tuple[str, ...]:
    """The columns that a heading may stand for by its words; the first of its forms that is known counts."""
    known = known_headings(log)
    return next((known[form] for form in forms if form in known), ())


def find_meanings(
    log: Log,
    headings: Mapping[int, tuple[str, str]],
    taken: Mapping[str, int],
    sample: Sample,
    settled: frozenset[int],
    own: frozenset[str],
) -> Meanings:
    """What the headings mean that the log does not know by its own names.

    Args:
        log: the log.
        headings: for each unknown heading, by its index, its words and the unit that it names.
        taken: the columns that are known already.
        sample: the first rows below the header.
        settled: headings that rowshelf.toml says are no column.
        own: columns that stand under their own name, and so hold nothing else.
    """
    found = Meanings(columns=dict(taken))
    _join_units(log, headings, found, sample)
    open_headings = {index: named for index, named in headings.items() if index not in settled | _joined_to(found)}
    _join_weights(log, open_headings, found)
    waiting: dict[int, tuple[str, ...]] = {}
    for index, (words, unit) in open_headings.items():
        if index not in found.columns.values() and index not in _joined_to(found):
            named = candidates(log, (words, plain_heading(words)))
            waiting[index] = tuple(name for name in named if _may_hold(field_of(log, name), unit))
    _count_beside_weight(log, open_headings, waiting, found, sample)
    _settle(log, open_headings, waiting, found, sample)
    _by_likeness(log, open_headings, waiting, found, sample)
    _by_cells(log, open_headings, waiting, found, sample)
    _share(log, found, sample, own)
    return found


def _may_hold(column: Field | None, unit: str) -> bool:
    """Whether a heading that names this unit can be the column: one of another fixed unit is not converted."""
    if column is None or not unit:
        return column is not None
    return column.kind in {MASS, VOLUME, AMOUNT} if unit in BY_SPELLING else column.kind == TEMPERATURE


def _joined_to(found: Meanings) -> frozenset[int]:
    return frozenset(index for others in found.joined.values() for index, _ in others)


def texts_below(found: Meanings, sample: Sample, index: int) -> list[str]:
    """The filled cells below a heading, each with those that belong to it."""
    texts = [joined_text(row, index, found.joined.get(index, ())) for row in sample]
    return [text for text in texts if text and text.casefold() not in NOT_KNOWN]


def joined_text(row: Sequence[str], index: int, others: Sequence[tuple[int, str]]) -> str:
    """A cell and the further cells that say one thing with it."""
    parts = [cell_at(row, index)]
    for other, unit in others:
        more = cell_at(row, other)
        if more and unit:
            parts.append(f"{more} {unit}")
        elif more and parts[0] and not _LETTER.search(parts[0]):
            parts.append(more)
    return " ".join(part for part in parts if part)


def cell_at(row: Sequence[str], index: int) -> str:
    """The cell without outer spaces; an empty text where the row is short."""
    return row[index].strip() if index < len(row) else ""


_LETTER = re.compile(r"[^\W\d_]")


def _join_units(log: Log, headings: Mapping[int, tuple[str, str]], found: Meanings, sample: Sample) -> None:
    """A column of units belongs to the number at its left."""
    known = {*BY_SPELLING, *COUNT_WORDS, *CONTAINER_WORDS}
    for index, (words, _) in headings.items():
        texts = [text.casefold().rstrip(".") for text in texts_below(found, sample, index)]
        units = sum(text in known for text in texts)
        if words not in UNIT_HEADINGS or index == 0 or units < FITS * len(texts):
            continue
        numbers = [at for at in range(index) if _share_of(found, sample, at, _is_number) >= FITS]
        measured = [
            at for name, at in found.columns.items() if (got := field_of(log, name)) and got.kind in {MASS, AMOUNT}
        ]
        places = numbers or [at for at in measured if at < index]
        if places:
            found.joined[max(places)] = ((index, ""),)


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[\d.,/ \u00bc-\u00be]+", text) is not None


def _share_of(found: Meanings, sample: Sample, index: int, holds: Callable[[str], bool]) -> float:
    texts = texts_below(found, sample, index)
    return sum(holds(text) for text in texts) / len(texts) if texts else 0.0


def _join_weights(log: Log, headings: Mapping[int, tuple[str, str]], found: Meanings) -> None:
    """Headings that are units of weight and nothing else: ``kg``, or ``lb`` and ``oz`` for one weight."""
    for name in MASS_HEADINGS.get(log.name, ()):
        units = [(index, unit) for index, (words, _) in headings.items() if (unit := weight_unit(words))]
        if not units or name in found.columns:
            continue
        first, unit = units[0]
        found.columns[name], found.units[name] = first, unit.name
        smaller = [(index, other.name) for index, other in units[1:] if other.size < unit.size]
        if smaller:
            found.joined[first] = tuple(smaller)


def weight_unit(words: str) -> Unit | None:
    """The unit of weight that a heading is and nothing else: ``kg``, ``kg picked``."""
    rest = [word for word in words.split("_") if word not in DONE and word not in FILLERS]
    unit = BY_SPELLING.get(rest[0]) if len(rest) == 1 else None
    return unit if unit is not None and unit.quantity == "mass" else None


def _count_beside_weight(
    log: Log,
    headings: Mapping[int, tuple[str, str]],
    waiting: dict[int, tuple[str, ...]],
    found: Meanings,
    sample: Sample,
) -> None:
    """``Number`` and ``How much`` of one picking: the second is the weight, the first counts where it is empty."""
    rivals = [index for index in sorted(waiting) if waiting[index] == ("weight",)]
    if len(rivals) < 2 or "weight" in found.columns:
        return
    counting = {index: unit for index in rivals if (unit := _counts(log, headings[index][0]))}
    weighing = [index for index in rivals if index not in counting]
    if len(weighing) != 1 or len(counting) != 1:
        return
    (index, unit) = next(iter(counting.items()))
    if all(is_count(text) for text in texts_below(found, sample, index)):
        found.counted["weight"] = (index, unit)
        del waiting[index]


def _counts(log: Log, words: str) -> str | None:
    return HEADING_UNITS.get((log.name, plain_heading(words))) or HEADING_UNITS.get((log.name, words))


def _settle(
    log: Log,
    headings: Mapping[int, tuple[str, str]],
    waiting: dict[int, tuple[str, ...]],
    found: Meanings,
    sample: Sample,
) -> None:
    """Headings of known words: those that fit one column first, so that the others have fewer to choose from."""
    for sure in (True, False):
        for index in sorted(waiting):
            free = tuple(name for name in waiting[index] if name not in found.columns)
            if not free or (sure and len(free) > 1):
                continue
            fitting = _fitting(log, free, headings[index], texts_below(found, sample, index))
            if len(fitting) == 1:
                _take(log, fitting[0], index, headings[index], found)
                del waiting[index]
            elif len(fitting) > 1 and not sure:
                found.questions.append((str(index), fitting))
                del waiting[index]


def _take(log: Log, name: str, index: int, named: tuple[str, str], found: Meanings) -> None:
    words, unit = named
    found.columns[name] = index
    counted = _counts(log, words)
    got = field_of(log, name)
    if got is not None and got.kind in {MASS, VOLUME, AMOUNT} and (unit in BY_SPELLING or counted):
        found.units[name] = unit if unit in BY_SPELLING else str(counted)


def _fitting(log: Log, names: Sequence[str], named: tuple[str, str], texts: list[str]) -> tuple[str, ...]:
    """Of columns that the words of a heading leave open, those that the cells below it fit best."""
    if len(names) == 1 or not texts:
        return tuple(names[:1])
    shares = {name: fit(log, name, texts, named[1]) for name in names}
    best = max(shares.values())
    pair = {"containers", "weight"} & set(names)
    if best < FITS and len(pair) == 2 and log.needs_one_of:  # counts and weights below one heading
        return ("weight",) if shares["containers"] + shares["weight"] >= FITS else ()
    if best < FITS:
        return ()
    near = tuple(name for name in names if shares[name] > best - CLEARLY)
    if set(near) == {"batch_id", "crop"}:
        return ("crop",)  # jars and fresh produce below one heading
    needed = tuple(name for name in near if (got := field_of(log, name)) and got.required)
    return needed if len(needed) == 1 else near


def fit(log: Log, name: str, texts: Sequence[str], unit: str = "") -> float:
    """The share of some cells that can be read as a column."""
    got = field_of(log, name)
    if got is None or not texts:
        return 0.0
    return sum(_fits(got, text, unit) for text in texts) / len(texts)


def _fits(column: Field, text: str, unit: str) -> float:
    """1 where the cell is such as stands in this column, 0 where it cannot, and between where it may."""
    header_unit = unit if unit in BY_SPELLING else None
    kind = column.kind
    if kind == DATE:
        return float(is_day(text))
    if kind == CROP:
        return 1.0 if product(text, known_crops()).crop else 0.3 * bool(_LETTER.search(text))
    if kind in {MASS, VOLUME}:
        wanted = "mass" if kind == MASS else "volume"
        return _measured(quantities.quantity(text, wanted, header_unit, countable=column.name == "weight"))
    if kind == COUNT:
        return float(is_count(text))
    if kind == IDENTIFIER:
        return 0.9 if len(text) <= 20 and re.search(r"\d", text) and _LETTER.search(text) else 0.5
    read = _READERS.get(kind)
    return 0.35 if read is None else float(not read(column, text).rule)


def _measured(cell: cells.Cell) -> float:
    return {"": 1.0, "unit_missing": 0.5}.get(cell.rule, 0.0)


_READERS: dict[str, Callable[[Field, str], cells.Cell]] = {
    CODE: lambda column, text: cells.code(text, column.code or column.name),
    YES_NO: lambda _, text: cells.yes_no(text),
    NUMBER: lambda column, text: quantities.number(text, percent=column.unit == "pct", unit=column.unit),
    TEMPERATURE: lambda _, text: quantities.temperature(text),
    AMOUNT: lambda _, text: quantities.amount(text, "plants"),
}


def is_day(text: str) -> bool:
    """Whether a cell is a day, or most of one."""
    return written_as(text, LATEST_YEAR) is not None or isinstance(cells.date(text).value, dt.date)


def is_count(text: str) -> bool:
    """Whether a cell counts containers, also by half ones."""
    plain = cells.tidy(text)
    return (
        not quantities.count(plain).rule or re.fullmatch(r"\d*[.,]5|\d*\u00bd|\d+ ?[x\u00d7] ?\d.*", plain) is not None
    )


def _by_likeness(
    log: Log,
    headings: Mapping[int, tuple[str, str]],
    waiting: dict[int, tuple[str, ...]],
    found: Meanings,
    sample: Sample,
) -> None:
    """Slips of the pen: the nearest known heading, where the cells below fit it."""
    known = {name: (name,) for name in (column.name for column in log.columns)} | known_headings(log)
    for index in sorted(waiting):
        near = nearest(headings[index][0], known, LEAST_ALIKE_PCT) if not waiting[index] else None
        unit = headings[index][1]
        named = tuple(name for name in known.get(near or "", ()) if _may_hold(field_of(log, name), unit))
        free = tuple(name for name in named if name not in found.columns)
        texts = texts_below(found, sample, index)
        fitting = tuple(name for name in free if fit(log, name, texts, unit) >= 0.5)
        if len(fitting) == 1:
            _take(log, fitting[0], index, headings[index], found)
            del waiting[index]


def _by_cells(
    log: Log,
    headings: Mapping[int, tuple[str, str]],
    waiting: dict[int, tuple[str, ...]],
    found: Meanings,
    sample: Sample,
) -> None:
    """Columns without which no row counts, by what stands below a heading that says nothing known."""
    for name in needed_columns(log):
        if name in found.columns or not sample:
            continue
        got = field_of(log, name)
        if got is None or got.kind not in {DATE, CROP, MASS, CODE}:
            continue
        fitting = [
            index
            for index in sorted(waiting)
            if fit(log, name, texts_below(found, sample, index), headings[index][1]) >= FITS
        ]
        if len(fitting) == 1:
            _take(log, name, fitting[0], headings[fitting[0]], found)
            del waiting[fitting[0]]


def needed_columns(log: Log) -> list[str]:
    """Columns that every row needs, and those of which it needs one."""
    return [column.name for column in log.columns if column.required] + [
        name for names in log.needs_one_of for name in names
    ]


SHARING = (("weight", "containers"), ("containers", "weight"), ("crop", "batch_id"))
"""Columns of uses and losses that may stand below one heading."""


def _share(log: Log, found: Meanings, sample: Sample, own: frozenset[str]) -> None:
    """``2 jars`` and ``500 g`` below one heading: the second column is read from the cells of the first."""
    if not log.needs_one_of:
        return
    for first, second in SHARING:
        index = found.columns.get(first)
        if index is None or first in own or second in found.columns or second in found.shared:
            continue
        texts = texts_below(found, sample, index)
        others = [text for text in texts if not belongs(first, text, found.units.get(first, ""))]
        if any(belongs(second, text, "") for text in others):
            found.shared[second] = first


def belongs(name: str, text: str, unit: str) -> bool:
    """Whether a cell below a shared heading is of this column: a count, a weight, or a crop."""
    plain = cells.tidy(text)
    if name == "containers":
        return is_count(plain) and not (unit and _is_number(plain))
    if name == "weight":
        return quantities.quantity(plain, "mass", unit or None, countable=True).rule == ""
    if name == "crop":
        return bool(known_crops().get(plain.casefold())) or bool(product(plain, known_crops()).crop)
    return bool(plain)
