"""Crops in the grower's own words: what people read says ``capsicum`` where the folder does, whatever we call it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reference.names import same_name

if TYPE_CHECKING:
    from pipeline.reference.names import CropLookup

GROUPED_BY, GROUP, BETWEEN = "grouping", "group", " \u00b7 "
"""Columns of a table of groups, and what stands between the parts of a group's name."""
ARM = "arm"
SAYS_A_CROP = {"cautions": ("found",)}
"""Columns of running text that name crops, by table."""


def own_names(typed: Mapping[str, int], lookup: CropLookup, named: Iterable[str] = ()) -> dict[str, str]:
    """The name that a folder gives each crop, where it is not the reference's own.

    Args:
        typed: how often each spelling is typed, as typed.
        lookup: the crop of each spelling.
        named: names of crops in the grower's ``crops.csv``, which go before all counts.

    Returns:
        The most used spelling of each crop, as typed; singular, plural and case of one name are counted together
        first. A spelling that says more than the crop's name does not count, but for a kind, such as
        ``mirabelle plums``, where the folder has no other name for the crop.
    """
    counts = _counted(typed, lookup.listed)
    kinds = _counted(typed, lookup.kind_of)
    counts |= {crop: names for crop, names in kinds.items() if crop not in counts and len(names) == 1}
    found = {crop: _most_used(crop, names) for crop, names in counts.items()}
    for name in named:
        crop = lookup.listed(name)
        if crop is not None:
            found[crop] = name
    return {crop: name for crop, name in sorted(found.items()) if name != crop}


def _counted(typed: Mapping[str, int], crop_of: Callable[[str], str | None]) -> dict[str, dict[str, Counter[str]]]:
    """How often each spelling of each name of each crop is typed."""
    counts: dict[str, dict[str, Counter[str]]] = {}
    for spelling, rows in sorted(typed.items()):
        crop = crop_of(spelling)
        if crop is not None:
            counts.setdefault(crop, {}).setdefault(same_name(spelling), Counter())[spelling] += rows
    return counts


def _most_used(crop: str, names: Mapping[str, Counter[str]]) -> str:
    """The most used spelling of the most used name; where two are even, the crop's own name."""
    name = max(names, key=lambda one: (names[one].total(), one == same_name(crop)))
    spellings = names[name]
    alike: Counter[str] = Counter()
    for spelling, rows in spellings.items():
        alike[spelling.casefold()] += rows
    word = max(alike, key=lambda one: (alike[one], one == crop))
    return max(
        (spelling for spelling in spellings if spelling.casefold() == word),
        key=lambda one: (spellings[one], one == one.casefold()),
    )


@dataclass(frozen=True)
class OwnWords:
    """Reference names of crops and what the folder calls them."""

    names: Mapping[str, str] = field(default_factory=dict)
    others: frozenset[str] = frozenset()
    """All crops of the reference: ``broad bean`` is no ``bean``."""

    def text(self, text: str) -> str:
        """A sentence with each crop by its own name; a capital at its start stays one."""
        return self._pattern.sub(self._own, text) if self.names else text

    def table(self, frame: pl.DataFrame, name: str = "") -> pl.DataFrame:
        """A table with each crop by its own name."""
        if not self.names:
            return frame
        own = []
        if "crop" in frame.columns:
            own.append(pl.col("crop").replace(dict(self.names)))
        if {GROUPED_BY, GROUP} <= set(frame.columns):
            groups = pl.col(GROUP).map_elements(self._group, return_dtype=pl.String)
            is_crop = pl.col(GROUPED_BY).str.split(", ").list.contains("crop")
            own.append(pl.when(is_crop).then(groups).otherwise(GROUP).alias(GROUP))
        texts = (*SAYS_A_CROP.get(name, ()), *((ARM,) if ARM in frame.columns else ()))
        own += [pl.col(text).map_elements(self.text, return_dtype=pl.String) for text in texts if text in frame.columns]
        return frame.with_columns(own)

    def tables(self, frames: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
        """Tables with each crop by its own name."""
        return {name: self.table(frame, name) for name, frame in frames.items()}

    def _group(self, group: str) -> str:
        return BETWEEN.join(self.names.get(part, part) for part in group.split(BETWEEN))

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        """Names longest first, so that what stands inside another name, or is replaced already, is left alone."""
        words = {*self.names, *self.others, *self.names.values()}
        listed = "|".join(re.escape(word) for word in sorted(words, key=lambda word: (-len(word), word)))
        return re.compile(rf"(?<![\w-])(?:{listed})(?![\w-])", re.IGNORECASE)

    def _own(self, match: re.Match[str]) -> str:
        found = match[0]
        own = self.names.get(found) or (self.names.get(found[0].lower() + found[1:]) if found[0].isupper() else None)
        if own is None:
            return found
        return own[0].upper() + own[1:] if found[0].isupper() else own
