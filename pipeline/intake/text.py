"""1a. Bytes of a file -> UTF-8 in pieces of whole lines, whatever its encoding and size.

A byte that is no text in the file's encoding is kept as a mark (a lone surrogate), so that its row can be
set aside instead of being read with a letter made up.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

PIECE_BYTES = 16 << 20
LONGEST_LINE = 1_000_000
"""Characters; a longer line is skipped over and set aside, so that memory stays bounded."""
LONGEST_LINE_BYTES = 4 * LONGEST_LINE
SHOWN = 200
"""How much of a line that is too long is kept."""

MARK = "rowshelf-mark"
MARKS = re.compile("[\udc00-\udcff]")
MARK_BYTES = (b"\xed\xb0", b"\xed\xb1", b"\xed\xb2", b"\xed\xb3")
"""How the marks begin in UTF-8."""

MISREAD_SHARE = 20
"""A file with this many times more invalid than valid UTF-8 sequences is no UTF-8 at all."""


def _mark(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeDecodeError):
        raise error
    return "".join(chr(0xDC00 + byte) for byte in error.object[error.start : error.end]), error.end


codecs.register_error(MARK, _mark)


def shown_marks(text: str) -> str:
    """The text with each mark written out as the byte it stands for."""
    return MARKS.sub(lambda match: f"\\x{ord(match[0]) - 0xDC00:02x}", text)


@dataclass(frozen=True)
class TooLong:
    """A line that was skipped over: its start."""

    start: bytes


def find_encoding(path: Path) -> str:
    """UTF-16 or UTF-32 where a byte order mark or the pattern of zeros says so, then UTF-8, otherwise cp1252."""
    with path.open("rb") as stream:
        start = stream.read(4096)
        if start.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
            return "utf-32"
        if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return "utf-16"
        if wide := _utf16_by_zeros(start):
            return wide
        stream.seek(0)
        valid, invalid = _utf8_sequences(iter(lambda: stream.read(1 << 20), b""))
    if invalid and invalid >= MISREAD_SHARE * valid:
        return "cp1252"
    return "utf-8-sig" if start.startswith(codecs.BOM_UTF8) else "utf-8"


def _utf16_by_zeros(start: bytes) -> str | None:
    """Latin letters in UTF-16 have a zero in every second byte."""
    pairs = len(start) // 2
    if pairs < 2:
        return None
    even, odd = start[0 : 2 * pairs : 2].count(0), start[1 : 2 * pairs : 2].count(0)
    if odd > 0.6 * pairs and even < 0.05 * pairs:
        return "utf-16-le"
    return "utf-16-be" if even > 0.6 * pairs and odd < 0.05 * pairs else None


def _utf8_sequences(blocks: Iterator[bytes]) -> tuple[int, int]:
    """How many sequences beyond ASCII are valid UTF-8, and how many bytes are not (0, 0 where all is valid)."""
    decoder = codecs.getincrementaldecoder("utf-8")(errors=MARK)
    valid = invalid = 0
    for block in blocks:
        if block.isascii() and not decoder.getstate()[0]:
            continue
        found = decoder.decode(block)
        bad = len(MARKS.findall(found))
        invalid += bad
        valid += sum(map(len, _BEYOND_ASCII.findall(found))) - bad
    invalid += len(decoder.decode(b"", final=True))
    return valid, invalid


_BEYOND_ASCII = re.compile(r"[^\x00-\x7f]+")


def utf8_blocks(path: Path, encoding: str) -> Iterator[bytes]:
    """The file as UTF-8, without its byte order mark; marks are encoded as lone surrogates."""
    with path.open("rb") as stream:
        decoder = codecs.getincrementaldecoder(encoding)(errors=MARK)
        plain = not encoding.startswith(("utf-16", "utf-32"))
        while block := stream.read(PIECE_BYTES):
            if plain and block.isascii() and not decoder.getstate()[0]:
                yield block
                continue
            yield decoder.decode(block).encode("utf-8", "surrogatepass")
        yield decoder.decode(b"", final=True).encode("utf-8", "surrogatepass")


def whole_lines(blocks: Iterable[bytes]) -> Iterator[bytes | TooLong]:
    """Pieces that end with a line end (the last one may not), and lines too long to be kept."""
    rest = b""
    skipping = False
    for block in blocks:
        data = rest + block
        rest = b""
        if skipping:
            found = _LINE_END.search(data)
            if found is None:
                rest = data[-1:]  # it may be the first half of a line end
                continue
            data, skipping = data[found.end() :], False
        cut = max(data.rfind(b"\n"), data.rfind(b"\r", 0, len(data) - 1)) + 1
        if cut:
            yield data[:cut]
        rest = data[cut:]
        if len(rest) > LONGEST_LINE_BYTES:
            yield TooLong(rest[:SHOWN])
            rest, skipping = rest[-1:], True
    if rest and not skipping:
        yield rest


_LINE_END = re.compile(rb"\r\n|\n|\r(?=[^\n])")
