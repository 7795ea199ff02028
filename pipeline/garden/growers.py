"""Whether two names in the plots log are of one grower, however they are spelled.

Taking two people for one withholds a little more than needed; taking one for two shows what only one person gave. So
every doubt is settled for one: case, accents, spaces, titles, the order of the names, initials and a missing part of
a name make no difference, and a cell that names several growers binds the plots of all of them together.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import combinations, permutations
from unicodedata import combining, normalize

SEVERAL = re.compile(r"\s*[;/&+|]\s*|\s+(?:and|und|et|with|mit|y)\s+", re.IGNORECASE)
TITLES = frozenset({"mr", "mrs", "ms", "miss", "dr", "prof", "sir", "herr", "frau", "mme", "sr", "sra", "family"})
LETTERS = str.maketrans({"ø": "o", "đ": "d", "ł": "l", "æ": "a", "œ": "o", "\u0131": "i", "ð": "d", "þ": "t"})
SPELLED_OUT = (("ae", "a"), ("oe", "o"), ("ue", "u"), ("aa", "a"))
MOST_JOINED = 4
"""Parts of a name that are tried in every order where another is written in one word."""


def bare(text: str) -> str:
    """Letters without case and accents."""
    return "".join(letter for letter in normalize("NFKD", text.casefold()) if not combining(letter))


def people(cell: str | None) -> list[tuple[str, ...]]:
    """The parts of the name of each person that a cell names."""
    found = (_parts(name) for name in SEVERAL.split(cell or ""))
    return [parts for parts in found if parts]


def _parts(name: str) -> tuple[str, ...]:
    plain = bare(re.sub(r"['\u2019\u00b4`]", "", name)).translate(LETTERS)
    for long, short in SPELLED_OUT:
        plain = plain.replace(long, short)
    words = re.findall(r"[^\W_]+", plain)
    return tuple(sorted(word for word in words if word not in TITLES)) or tuple(sorted(words))


def is_same_person(one: Sequence[str], other: Sequence[str]) -> bool:
    """Whether two names may be of one person."""
    short, long = sorted((tuple(one), tuple(other)), key=len)
    if _agree(short, long):
        return True
    joined = "".join(short)
    few = long[:MOST_JOINED]
    return any("".join(order[:n]) == joined for order in permutations(few) for n in range(1, len(few) + 1))


def _agree(short: Sequence[str], long: Sequence[str]) -> bool:
    """Whether every part of the shorter name has a part of its own in the longer one, in full or by its initial."""
    if not short:
        return True
    first, rest = short[0], short[1:]
    return any(_fits(first, part) and _agree(rest, [*long[:at], *long[at + 1 :]]) for at, part in enumerate(long))


def _fits(one: str, other: str) -> bool:
    initial = len(one) == 1 or len(other) == 1
    return one == other or (initial and one[0] == other[0])


def together(cells: Sequence[str | None]) -> list[int]:
    """A number for each cell, the same where they may name one person; a blank cell stands alone."""
    group = list(range(len(cells)))
    named = [people(cell) for cell in cells]
    for one, other in combinations(range(len(cells)), 2):
        if group[one] != group[other] and any(is_same_person(a, b) for a in named[one] for b in named[other]):
            old, new = group[other], group[one]
            group = [new if number == old else number for number in group]
    return group
