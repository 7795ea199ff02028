"""The nearest known word to a misspelt one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

LONGEST_WORD = 60


def nearest(word: str, known: Iterable[str], least_pct: float) -> str | None:
    """The known word that is most like ``word``, if any is like it enough.

    Args:
        word: what was found; compared as it stands, so in lower case if ``known`` is.
        known: the accepted spellings.
        least_pct: how alike the two must be, percent (100 is the same); see ``rapidfuzz.fuzz.ratio``.
    """
    if not word or len(word) > LONGEST_WORD:
        return None
    from rapidfuzz import fuzz, process

    # A list, since of a mapping the values would be compared.
    found = process.extractOne(word, list(known), scorer=fuzz.ratio, score_cutoff=least_pct)
    return str(found[0]) if found else None


def did_you_mean(word: str, known: Mapping[str, str], least_pct: float) -> str:
    """``; did you mean 'x'?``, or an empty text where nothing is near.

    ``known`` maps every accepted spelling to the word it stands for.
    """
    near = nearest(word, known, least_pct)
    return f"; did you mean {known[near]!r}?" if near else ""
