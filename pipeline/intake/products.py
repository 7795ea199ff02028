"""What a grower calls a thing put by -> its crop and the way it is kept: ``Plum jam``, ``frozen peas``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import NamedTuple

from pipeline.intake.cells import tidy
from schemas.codes import CODES
from schemas.words.products import PRODUCTS

LONGEST_NAME_WORDS = 12


class Product(NamedTuple):
    """A crop and a way of keeping, each None where the name does not tell it alone."""

    crop: str | None
    method: str | None


@cache
def known_crops() -> Mapping[str, str]:
    """Every spelling of a crop that the reference knows."""
    from pipeline.reference import crop_lookup, crop_reference

    return crop_lookup(crop_reference(None))


@cache
def _method_words() -> dict[str, str]:
    return CODES["method"].lookup() | {word: method for word, (_, method) in PRODUCTS.items() if method}


def method_in(text: str) -> str | None:
    """The one way of keeping that the words of a text name, if they name one."""
    words = _words(text)
    known = _method_words()
    found = {known[part] for part in _parts(words, 3) if part in known} - {"other"}
    return found.pop() if len(found) == 1 else None


def product(text: str, lookup: Mapping[str, str]) -> Product:
    """Crop and way of keeping in a name; a crop only where one is named.

    Args:
        text: what the grower calls it.
        lookup: every spelling of a crop, in lower case, and the crop.
    """
    plain = tidy(text).casefold()
    if plain in lookup:
        return Product(lookup[plain], method_in(plain))
    words = _words(plain)
    if len(words) > LONGEST_NAME_WORDS:
        return Product(None, None)
    found: list[str] = []
    rest = list(words)
    for length in range(min(4, len(words)), 0, -1):
        at = 0
        while at + length <= len(rest):
            crop = _crop(" ".join(rest[at : at + length]), lookup)
            if crop:
                found.append(crop)
                rest[at : at + length] = ["|"]
            at += 1
    made_of = {PRODUCTS[word][0] for word in rest if word in PRODUCTS and PRODUCTS[word][0]}
    crops = set(found) or made_of
    return Product(crops.pop() if len(crops) == 1 else None, method_in(plain))


def _crop(name: str, lookup: Mapping[str, str]) -> str | None:
    return None if "|" in name or name in _method_words() else lookup.get(name)


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W\d_]+(?:['-][^\W\d_]+)*", text.casefold())


def _parts(words: list[str], longest: int) -> list[str]:
    """Runs of up to ``longest`` words, the longest first."""
    return [
        " ".join(words[at : at + length])
        for length in range(min(longest, len(words)), 0, -1)
        for at in range(len(words) - length + 1)
    ]
