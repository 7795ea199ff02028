"""What a folder of output holds: which files we made, told by a list with checksums, and which are a person's.

The marker file names each file we wrote. What it lists, and what has not been changed since, is ours to replace; all
else in the folder is the person's and stays.
"""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from pipeline.intake.read import OUTPUT_MARKER, checksum

BEING_WRITTEN = "-"
"""Stands for the checksum of a file that is not whole yet, so ours whatever it holds."""
STAGING = ".rowshelf-new-"
"""How the hidden folders begin in which a page is made before it takes its place."""
PRINTING = ".rowshelf-printing.pdf"
NEW_MARKER = f"{OUTPUT_MARKER}.new"
OF_THE_SYSTEM = frozenset({".ds_store", "thumbs.db", "desktop.ini", ".directory", ".localized"})
"""Files that a file manager leaves in folders; a folder that holds no more is empty to a person."""
HEAD = "# Written by rowshelf: the files listed here are its own. Anything else in this folder is yours and stays.\n"


@dataclass(frozen=True)
class Entry:
    """One file that a command made."""

    command: str
    sha256: str
    path: str


@dataclass(frozen=True)
class Contents:
    """What lies in a folder, by path inside it with forward slashes; links are files here, wherever they lead."""

    files: dict[str, Path]
    folders: dict[str, Path]


def is_marked(place: Path) -> bool:
    """Whether the folder was marked as ours; a link of that name marks nothing."""
    marker = place / OUTPUT_MARKER
    return marker.is_file() and not marker.is_symlink()


def read_entries(place: Path) -> list[Entry] | None:
    """The files listed by the marker, or None where an earlier rowshelf left a marker that lists nothing.

    Raises:
        OSError: it cannot be read.
    """
    text = (place / OUTPUT_MARKER).read_text(encoding="utf-8", errors="replace")
    if not text.strip():
        return None
    lines = [line.split("\t") for line in text.splitlines() if not line.startswith("#")]
    return [Entry(*cells) for cells in lines if len(cells) == 3 and _stays_inside(cells[2])]


def _stays_inside(path: str) -> bool:
    parts = PurePosixPath(path).parts
    return bool(parts) and ".." not in parts and not path.startswith("/") and ":" not in path


def marker_bytes(entries: Iterable[Entry]) -> bytes:
    """The marker that lists these files."""
    lines = sorted(f"{entry.command}\t{entry.sha256}\t{entry.path}\n" for entry in set(entries))
    return (HEAD + "".join(lines)).encode()


def sha256(content: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def fold(path: str) -> str:
    """A path as a disk sees it that tells neither small from capital letters nor two ways to write an accent."""
    return unicodedata.normalize("NFC", path).casefold()


def contents(place: Path) -> Contents:
    """Everything in a folder but our marker.

    Raises:
        OSError: a folder in it cannot be read.
    """

    def fail(error: OSError) -> None:
        raise error

    files: dict[str, Path] = {}
    folders: dict[str, Path] = {}
    for root, inner, names in os.walk(place, followlinks=False, onerror=fail):
        here = Path(root)
        if here == place:
            inner[:] = [name for name in inner if not name.startswith(STAGING)]
        for name in inner:
            path = here / name
            (files if path.is_symlink() else folders)[path.relative_to(place).as_posix()] = path
        for name in names:
            files[(here / name).relative_to(place).as_posix()] = here / name
    for name in (OUTPUT_MARKER, NEW_MARKER):
        files.pop(name, None)
    return Contents(files, folders)


def is_ours(path: Path, sums: Iterable[str]) -> bool:
    """Whether a file is one that we made and that nobody has changed since.

    Args:
        path: the file.
        sums: the checksums listed for it.

    Raises:
        OSError: it cannot be read.
    """
    listed = set(sums)
    if not listed or path.is_symlink() or not path.is_file():
        return False
    return BEING_WRITTEN in listed or checksum(path) in listed


def ours_to_replace(found: Contents, entries: list[Entry] | None, command: str, wanted: Iterable[str]) -> set[str]:
    """Files of an earlier run of the same command, which the new ones take the place of.

    Args:
        found: what lies in the folder.
        entries: what its marker lists; None where it lists nothing.
        command: who writes now.
        wanted: the files to be written.
    """
    if entries is None:
        return set(_of_an_unlisted_page(found, {fold(path) for path in wanted}))
    sums: dict[str, set[str]] = {}
    for entry in entries:
        if entry.command == command:
            sums.setdefault(entry.path, set()).add(entry.sha256)
    return {path for path, listed in sums.items() if path in found.files and is_ours(found.files[path], listed)}


def _of_an_unlisted_page(found: Contents, wanted: set[str]) -> Iterator[str]:
    """A marker of an earlier rowshelf lists nothing: a page's own names, and charts, which it wrote in pairs."""
    for path, place in found.files.items():
        if place.is_symlink():
            continue
        chart = re.fullmatch(r"(charts/[^/]+)\.(svg|png)", path)
        pair = chart and f"{chart[1]}.{'png' if chart[2] == 'svg' else 'svg'}" in found.files
        if fold(path) in wanted or pair or path == "index.pdf":
            yield path


def in_the_way(found: Contents, replaced: set[str], wanted: Iterable[str]) -> list[str]:
    """What stands where a file of ours is to go: a person's file, a link, a folder, or another command's file."""
    names = {fold(path) for path in wanted}
    parents = {fold(str(parent)) for path in wanted for parent in PurePosixPath(path).parents} - {"."}
    files = [path for path in found.files if path not in replaced and fold(path) in names | parents]
    return sorted([*files, *(path for path in found.folders if fold(path) in names)])
