"""Crop names: every spelling that growers use, and the crop, or the several crops, that it stands for.

``crop_names.csv`` holds them. A word that means different crops to different growers stands for none: it is asked
about, never guessed, until the grower's ``crops.csv`` says what it means here.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

_APART = re.compile(r"[\s\-_/.,;:()]+")
_DROPPED = dict.fromkeys(map(ord, "'\u2018\u2019\u02bb\u02bc`\u00b4"))
_LETTERS = str.maketrans({"\u00f8": "o", "\u00e6": "ae", "\u0153": "oe", "\u0142": "l", "\u0111": "d", "\u0131": "i"})
_SAYS_NOTHING = frozenset({"fresh", "organic", "homegrown", "ripe", "raw", "washed", "our", "my", "own"})
"""Words before a crop's name that leave it the same crop."""


def fold(text: str) -> str:
    """What spellings of one name have in common: no case, accents, apostrophes, hyphens or doubled spaces."""
    plain = text.casefold()
    if not plain.isascii():
        plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", plain).casefold().translate(_LETTERS))
        plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return " ".join(_APART.split(plain.translate(_DROPPED))).strip()


def singulars(word: str) -> Iterator[str]:
    """The words that ``word`` may be the plural of, the likeliest first."""
    if word.endswith("ies"):
        yield f"{word[:-3]}y"
    if word.endswith("ves"):
        yield f"{word[:-3]}f"
    if word.endswith(("ses", "xes", "zes", "ches", "shes", "oes")):
        yield word[:-2]
    if word.endswith("s") and not word.endswith("ss"):
        yield word[:-1]


def plurals(word: str) -> Iterator[str]:
    """The plurals that ``word`` may have."""
    if word.endswith("y") and word[-2:-1] not in "aeiou":
        yield f"{word[:-1]}ies"
    if word.endswith(("s", "x", "z", "ch", "sh", "o")):
        yield f"{word}es"
    if word.endswith("f"):
        yield f"{word[:-1]}ves"
    yield f"{word}s"


def same_name(text: str) -> str:
    """One key for all spellings of a name that no list knows: :func:`fold`, and the singular where there is one."""
    plain = fold(text)
    return next(singulars(plain), plain)


@dataclass(frozen=True)
class UnclearName:
    """A word that means more than one thing."""

    name: str
    crops: tuple[str, ...]
    """Crops of the reference that it may mean, the one of that name first."""
    can_mean: str
    """Who means what by it, in words."""
    is_name: bool = False
    """Whether it is the name of the first crop, or its plural, and so taken for it unless the grower says else."""

    def question(self) -> str:
        """What it can mean, and the line of ``crops.csv`` that settles it."""
        other = [crop for crop in self.crops if not (self.is_name and crop == self.crops[0])]
        meanings = f"{_listed([*self.crops] if len(self.crops) > 1 else [self.crops[0], 'something else'])}"
        taken = self.crops[0] if self.is_name else "typed"
        lines = [f"`{crop},{self.name}`" for crop in other] + ([f"`{self.crops[0]},`"] if self.is_name else [])
        instead = "" if len(self.crops) > 1 or self.is_name else ", or the other crop in its place"
        return (
            f"{self.name!r} can mean {meanings} ({self.can_mean}): taken as {taken}. To say which, write in crops.csv,"
            f" under crop,aliases: {_listed(lines)}{instead}"
        )

    def instead(self) -> str:
        """The names to write instead, as a sentence."""
        return f"Write {_listed([repr(crop) for crop in self.crops])}, or the kind you mean."


def _listed(words: list[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


class CropLookup(Mapping[str, str]):
    """Crop by any spelling: case, accents, hyphens, plural and word order do not matter.

    Args:
        known: each spelling and its crop.
        unclear: words that stand for several crops, by their folded spelling.
    """

    def __init__(
        self, known: Mapping[str, str] | None = None, unclear: Mapping[str, UnclearName] | None = None
    ) -> None:
        self._known = {fold(spelling): crop for spelling, crop in (known or {}).items()}
        self._unclear = dict(unclear or {})

    def __getitem__(self, typed: str) -> str:
        """The crop that ``typed`` stands for.

        Raises:
            KeyError: a word that stands for no crop, or for more than one.
        """
        for form in forms(typed):
            if form in self._known:
                return self._known[form]
            if form in self._unclear:
                break
        raise KeyError(typed)

    def __iter__(self) -> Iterator[str]:
        """The folded spellings."""
        return iter(self._known)

    def __len__(self) -> int:
        """How many folded spellings stand for a crop."""
        return len(self._known)

    def unclear(self, typed: str) -> UnclearName | None:
        """What is to be asked about ``typed``; None where there is nothing to ask."""
        if not self._unclear:
            return None
        for form in forms(typed):
            if form in self._unclear:
                return self._unclear[form]
            if form in self._known:
                return None
        return None


def forms(typed: str) -> Iterator[str]:
    """Folded spellings under which a name may be listed, the nearest first."""
    plain = fold(typed)
    for phrase in _phrases(plain):
        yield phrase
        yield from singulars(phrase)
        yield from plurals(phrase)


def _phrases(plain: str) -> Iterable[str]:
    words = plain.split(" ")
    kept = [word for word in words if word not in _SAYS_NOTHING]
    yield plain
    if kept and len(kept) < len(words):
        yield " ".join(kept)
    if len(words) > 1:
        yield "".join(words)
        # As in a list of stock: "beans, green".
        yield " ".join([*words[1:], words[0]])
        yield " ".join([*words[1:], next(singulars(words[0]), words[0])])
