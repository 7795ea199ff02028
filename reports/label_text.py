"""How much of a label its words take, by a wide font; which font prints it is known only to the printer's browser.

Arial, Helvetica and Liberation Sans are narrower by design (from memory, not measured here).
"""

from __future__ import annotations

import unicodedata

_WIDTHS = {
    0.36: "'ijl ",
    0.40: "/IJ|\\,.:;",
    0.50: "-f!()[]tr",
    0.61: '`_*"csz?',
    0.72: "LvxyakEFTeo$0123456789hnu{}SYbdgpq",
    0.80: "CPZBAKRVX",
    0.88: "UGD#+<=>HN^~OQ&",
    0.95: "w",
    1.30: "%@MmW",
}
_EM = {character: width for width, characters in _WIDTHS.items() for character in characters}
"""Width in em of DejaVu Sans Bold, rounded up."""

OTHER_EM = 0.8
FULL_EM = 1.05
"""A letter of another alphabet, and one of a script whose letters are as wide as they are high."""


def width_pt(text: str, size_pt: float) -> float:
    """How wide a line of bold text is at most, in points."""
    return size_pt * sum(map(_em, text))


def _em(character: str) -> float:
    known = _EM.get(character)
    if known is not None:
        return known
    if unicodedata.combining(character):
        return 0.0
    return FULL_EM if unicodedata.east_asian_width(character) in "WF" or not character.isalpha() else OTHER_EM


def wrapped(text: str, size_pt: float, room_pt: float) -> list[str]:
    """The lines that a text takes where a line has this much room; a word longer than a line is broken."""
    lines: list[str] = []
    line = ""
    for word in _pieces(text, size_pt, room_pt):
        longer = f"{line} {word}" if line else word
        if line and width_pt(longer, size_pt) > room_pt:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line else lines


def lines_of(parts: list[tuple[str, float]], room_pt: float) -> int:
    """How many lines parts of different sizes take together, one after the other."""
    lines, at = 1, 0.0
    for text, size_pt in parts:
        for word in _pieces(text, size_pt, room_pt):
            wide = width_pt(word, size_pt)
            if at and at + wide > room_pt:
                lines, at = lines + 1, 0.0
            at += wide + width_pt(" ", size_pt)
    return lines


def _pieces(text: str, size_pt: float, room_pt: float) -> list[str]:
    """The words of a text, those longer than a line cut to its length."""
    pieces: list[str] = []
    for word in text.split():
        piece = ""
        for character in word:
            if piece and width_pt(piece + character, size_pt) > room_pt:
                pieces.append(piece)
                piece = ""
            piece += character
        pieces.append(piece)
    return pieces
