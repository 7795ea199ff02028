"""Crop names: every spelling that growers use, and the crop, or the several crops, that it stands for.

``crop_names.csv`` holds them. A word that means different crops to different growers stands for none: it is asked
about, never guessed, until the grower's ``crops.csv`` says what it means here.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

_APART = re.compile(r"[\s\-_.,:()]+")
_DROPPED = dict.fromkeys(map(ord, "'\u2018\u2019\u02bb\u02bc`\u00b4"))
_LETTERS = str.maketrans({"\u00f8": "o", "\u00e6": "ae", "\u0153": "oe", "\u0142": "l", "\u0111": "d", "\u0131": "i"})
_SAYS_NOTHING = frozenset(
    {"fresh", "organic", "homegrown", "ripe", "raw", "washed", "our", "my", "own", "frozen", "heirloom", "mixed"}
    | {"baby", "mini", "small", "large", "big", "young", "early", "late"}
)
"""Words before a crop's name that leave it the same crop."""
_KINDS = frozenset({"red", "green", "yellow", "purple", "orange", "golden", "dried"})
"""Words that may make another crop of it (red beans), so that only a name that is never asked about takes them."""
_OF_IT = frozenset({"bulb", "bunch", "clove", "head", "handful", "punnet", "stalk", "stick", "tray"})
"""What a crop is counted in: "cloves of garlic"."""
_LEAVES = frozenset({"leaf", "leave", "sprig"})


@lru_cache(maxsize=32_768)
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
        herbs: crops of which the leaves are meant anyway.
    """

    def __init__(
        self,
        known: Mapping[str, str] | None = None,
        unclear: Mapping[str, UnclearName] | None = None,
        herbs: Iterable[str] = (),
    ) -> None:
        self._known = {fold(spelling): crop for spelling, crop in (known or {}).items()}
        self._unclear = dict(unclear or {})
        self._herbs = frozenset(herbs)
        self.crops = frozenset(self._known.values())
        """The crops that spellings stand for."""

    def __getitem__(self, typed: str) -> str:
        """The crop that ``typed`` stands for.

        Raises:
            KeyError: a word that stands for no crop, or for more than one.
        """
        for phrase in _phrases(typed):
            crop, asked = self._entry(phrase)
            if crop is None and asked is not None:
                raise KeyError(typed)
            if crop is not None:
                return crop
        crop = self._by_parts(_in_order(typed)[0].split(" "))
        if crop is None:
            raise KeyError(typed)
        return crop

    def _entry(self, phrase: str) -> tuple[str | None, UnclearName | None]:
        """What is listed under a folded name, or else under its singular or plural; the crop and the question."""
        for form in _numbers(phrase):
            if form in self._known or form in self._unclear:
                return self._known.get(form), self._unclear.get(form)
        return None, None

    def _by_parts(self, words: list[str]) -> str | None:
        """The crop of a name that says more than its crop: its colour, its kind, or what it is counted in."""
        if len(words) > 2 and words[1] == "of" and _OF_IT.intersection(_numbers(words[0])):
            return self.get(" ".join(words[2:]))
        if _LEAVES.intersection(_numbers(words[-1])):
            crop, _ = self._entry(" ".join(words[:-1]))
            return crop if crop in self._herbs else None
        for turned in (words, [*words[1:], words[0]]):
            rest = [word for word in turned if word not in _KINDS | _SAYS_NOTHING]
            crop, asked = self._entry(" ".join(rest))
            if len(rest) < len(words) and crop is not None and asked is None:
                return crop
        return self._kind_and_crop(words)

    def _kind_and_crop(self, words: list[str]) -> str | None:
        """The crop of "desiree potatoes": a listed kind before the name of the crop that it is a kind of."""
        for at in range(1, len(words)):
            kind, _ = self._entry(" ".join(words[:at]))
            crop, asked = self._entry(" ".join(words[at:]))
            if kind is not None and (kind == crop or (asked is not None and kind in asked.crops)):
                return kind
        return None

    def __iter__(self) -> Iterator[str]:
        """The folded spellings."""
        return iter(self._known)

    def __len__(self) -> int:
        """How many folded spellings stand for a crop."""
        return len(self._known)

    def listed(self, typed: str) -> str | None:
        """The crop of which ``typed`` is a listed name, in singular or plural, and says no more than that."""
        crop, asked = self._entry(fold(typed))
        return crop if asked is None or asked.is_name else None

    def kind_of(self, typed: str) -> str | None:
        """The crop of which ``typed`` names a kind, such as "mirabelle plums"; no number or size is part of a kind."""
        words = fold(typed).split(" ")
        if any(word in _SAYS_NOTHING or any(map(str.isdigit, word)) for word in words):
            return None
        return self.get(typed)

    def unclear(self, typed: str) -> UnclearName | None:
        """What is to be asked about ``typed``; None where there is nothing to ask."""
        for phrase in _phrases(typed) if self._unclear else ():
            crop, asked = self._entry(phrase)
            if crop is not None or asked is not None:
                return asked
        return None


def _numbers(phrase: str) -> Iterator[str]:
    """A folded name with its singulars and plurals."""
    yield phrase
    yield from singulars(phrase)
    yield from plurals(phrase)


def _in_order(typed: str) -> tuple[str, bool]:
    """The folded name, and whether its words may also stand the other way round.

    "beans, green" is how a list of stock has green beans; "cherry, tomato" is no cherry tomato.
    """
    head, _, tail = typed.partition(",")
    return (fold(f"{tail} {head}"), False) if tail.strip() else (fold(typed), True)


def _phrases(typed: str) -> Iterator[str]:
    """What may be listed of a name as typed: all of it, what matters of it, and its words the other way round."""
    plain, turns = _in_order(typed)
    words = plain.split(" ")
    kept = [word for word in words if word not in _SAYS_NOTHING]
    yield plain
    if kept and len(kept) < len(words):
        yield " ".join(kept)
    if len(words) > 1:
        yield "".join(words)
        if turns:
            yield " ".join([*words[1:], words[0]])
            yield " ".join([*words[1:], next(singulars(words[0]), words[0])])
