"""Getting at the file of a store: is its place fit for one, is the file a database, does another program hold it?"""

from __future__ import annotations

import re
import shlex
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import duckdb

from pipeline.errors import NotAStoreError, StoreError, UsageError
from pipeline.intake.read import ENDINGS, UNREAD_ENDINGS, WORKBOOKS, kind_of

WAIT_SECONDS = 0.2
DAMAGE = (duckdb.IOException, duckdb.FatalException, duckdb.InternalException, duckdb.SerializationException)
"""What the engine raises where the file, or the disk below it, is not as it should be."""
MADE_ANEW = "Move the file away: a new one is made from the logs."
CATALOG = "rowshelf_store"
"""The store's name inside the engine, whatever its file is called: a file ``raw.duckdb`` would pass for a schema."""
TAKEN_ENDINGS = ENDINGS | WORKBOOKS | UNREAD_ENDINGS | {".toml", ".ics", ".md", ".html", ".pdf", ".wal", ".tmp"}
MAGIC, MAGIC_AT = b"DUCK", 8
SQLITE = b"SQLite format 3\x00"
WAL_START = b"\x64\x00\x62"
"""The first entry of a write-ahead log tells its version: field 100, kind 98."""


def check_place(path: Path, usual: str) -> None:
    """Whether a store may stand there: nothing of a person's is opened, written or taken for one.

    Args:
        path: the store's file.
        usual: the name that stores have; an empty file of that name is ours.

    Raises:
        UsageError: its name is not one for a store, it is a folder or a link, or lies in no folder.
        StoreError: what is there is not a store.
    """
    if path.suffix.casefold() in TAKEN_ENDINGS:
        better = shlex.quote(str(path.with_suffix(".duckdb")))
        what = "a log" if path.suffix.casefold() in ENDINGS | WORKBOOKS or kind_of(path.name) else "something else"
        message = f"--store {path}: by its name this would be read as {what}. Name it such as --store {better}."
        raise UsageError(message)
    wal = Path(f"{path}.wal")
    try:
        if link := next((place for place in (path, wal) if place.is_symlink()), None):
            message = f"{link}: a link, and nothing is written through a link. Name the store itself with --store."
            raise UsageError(message)
        if path.is_dir():
            better = shlex.quote(str(path.with_name("store.duckdb") if path.name == usual else path / usual))
            message = f"{path}: is a folder, and a store is a file. Name one, such as --store {better}."
            raise UsageError(message)
        if not path.parent.is_dir():
            message = f"--store {path}: there is no folder {path.parent}. Make it first, or name another."
            raise UsageError(message)
        _check_file(path, usual)
        if wal.exists() and not _start_of(wal).startswith((WAL_START, b"\0" * 3)) and wal.stat().st_size:
            message = f"{wal}: stands where the store keeps its journal, and is not one. Move it away, or rename it."
            raise NotAStoreError(message)
    except OSError as error:
        message = f"{path}: the store cannot be read ({error.strerror}). Are you allowed to? (--store names another.)"
        raise StoreError(message) from error


def _check_file(path: Path, usual: str) -> None:
    """Whether the file, if there is one, is a database of the engine's; an empty one is only by its name."""
    if not path.exists():
        return
    start = _start_of(path)
    if not start and path.name == usual:
        path.unlink()  # of a run that was killed as it made the store: it holds nothing
        return
    another = "Nothing was changed. Name another file with --store, or move this one away: the logs hold everything."
    if start.startswith(SQLITE):
        message = f"{path}: not a store of rowshelf's, but an SQLite database. {another}"
    elif start[MAGIC_AT : MAGIC_AT + len(MAGIC)] == MAGIC:
        return
    elif not start:
        message = f"{path}: an empty file, not a store. {another}"
    elif _is_text(start):
        message = f"{path}: not a store, but text, perhaps a log. {another}"
    else:
        message = f"{path}: not a store, or a damaged one; nothing was changed. {MADE_ANEW}"
    raise NotAStoreError(message)


def _start_of(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(64)


def _is_text(start: bytes) -> bool:
    return bool(start) and all(byte >= ord(" ") or byte in b"\t\r\n" for byte in start)


@contextmanager
def connected(path: Path | None, waits: int) -> Iterator[duckdb.DuckDBPyConnection]:
    """A connection whose own catalog is the store, or memory if ``path`` is None.

    Args:
        path: the store's file.
        waits: how often to wait for another program that holds it.

    Raises:
        StoreError: another program holds it, it is damaged, or its place cannot be written.
    """
    with ExitStack() as stack:
        if path is None:
            con = duckdb.connect(":memory:", config={"autoinstall_known_extensions": False})
            stack.callback(con.close)
        else:
            place = stack.enter_context(_as_text(path))
            con = _attached(path, place, waits)
            stack.callback(con.close)
        yield con


@contextmanager
def _as_text(path: Path) -> Iterator[str]:
    """The path as text; by way of a link to its folder where that folder's name is no text, which the engine needs.

    Raises:
        StoreError: the name of the file itself is no text.
    """
    place = path.parent.resolve() / path.name
    try:
        str(place).encode()
    except UnicodeEncodeError:
        with tempfile.TemporaryDirectory(prefix="rowshelf-") as shelter:
            link = Path(shelter) / "folder"
            link.symlink_to(place.parent, target_is_directory=True)
            try:
                str(link / place.name).encode()
            except UnicodeEncodeError as error:
                message = f"--store {path}: its name is not UTF-8 text. Name another file."
                raise UsageError(message) from error
            yield str(link / place.name)
    else:
        yield str(place)


def _attached(path: Path, place: str, waits: int) -> duckdb.DuckDBPyConnection:
    """Connect, waiting briefly for another program to let go of the store."""
    quoted = place.replace("'", "''")
    for attempt in range(waits + 1):
        con = duckdb.connect(
            ":memory:", config={"autoinstall_known_extensions": False, "temp_directory": f"{place}.tmp"}
        )
        try:
            con.execute(f"attach '{quoted}' as {CATALOG} (type duckdb)")
            con.execute(f"use {CATALOG}")
        except duckdb.Error as error:
            con.close()
            if not _is_held(error) or attempt == waits:
                raise StoreError(_why_not(path, error)) from error
        else:
            return con
        time.sleep(WAIT_SECONDS)
    raise AssertionError


def _why_not(path: Path, error: duckdb.Error) -> str:
    text = str(error)
    if _is_held(error):
        holder = re.search(r"PID (\d+)", text)
        who = f"process {holder[1]}" if holder else "another program"
        return f"{path}: {who} is using the store. Wait until it has finished, then run this again."
    if "not a valid DuckDB database" in text:
        return f"{path}: not a store. {MADE_ANEW}"
    if is_damage(error):
        return f"{path}: the store is damaged: {first_line(error)}. {MADE_ANEW}"
    hint = "Is the folder writable? (--store names another place)"
    return f"{path}: the store cannot be opened: {first_line(error)}. {hint}"


def _is_held(error: duckdb.Error) -> bool:
    return any(words in str(error) for words in ("Conflicting lock", "set lock on file", "used by another process"))


def is_damage(error: duckdb.Error) -> bool:
    """Whether the engine says that the file is not as it wrote it."""
    return any(word in str(error) for word in ("replaying WAL", "checksum", "orrupt"))


def first_line(error: Exception) -> str:
    """The first line of what the engine says."""
    return str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
