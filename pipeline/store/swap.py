"""A folder takes another's place in one step, and what a run that was killed has left is cleaned up.

New files are made in a hidden folder beside the target, which then changes places with it: whoever looks finds the
whole old or the whole new page, at any moment. A target that cannot change places (a disk of its own, or in a folder
that is not ours to write) gets its files one by one instead, each whole, the page itself last.
"""

from __future__ import annotations

import ctypes
import errno
import filecmp
import hashlib
import os
import re
import secrets
import shutil
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path

from pipeline.intake.read import OUTPUT_MARKER
from pipeline.store.manifest import (
    BEING_WRITTEN,
    NEW_MARKER,
    Entry,
    contents,
    is_ours,
    marker_bytes,
    read_entries,
)

Pieces = bytes | Iterable[bytes]
NOT_EXCHANGED = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EPERM}
"""How a system says that it cannot let two folders change places."""
AT_FDCWD, RENAME_EXCHANGE, RENAME_SWAP = -100, 2, 2


def fingerprint(place: Path) -> str:
    """Stands for a target in the names of the hidden folders beside it."""
    return hashlib.sha256(os.fsencode(place.name)).hexdigest()[:12]


def hidden_name(place: Path, role: str = "new") -> str:
    """A name that nothing has yet, which tells the target, the program that writes, and what it is."""
    return f".rowshelf-{role}-{fingerprint(place)}-{os.getpid()}-{secrets.token_hex(4)}"


def leftovers(place: Path, role: str = "new") -> Iterator[Path]:
    """Hidden files and folders beside a target, or in it, of programs that no longer run."""
    pattern = re.compile(rf"\.rowshelf-{role}-{fingerprint(place)}-(\d+)-[0-9a-f]{{8}}")
    for parent in (place.parent, place):
        with suppress(OSError):
            for path in sorted(parent.iterdir()):
                found = pattern.fullmatch(path.name)
                if found and not path.is_symlink() and not _runs(int(found[1])):
                    yield path


def _runs(process: int) -> bool:
    if process == os.getpid():
        return False  # of a run before in this program: one program writes a target once at a time
    if os.name != "posix":
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True


def clean_up(place: Path) -> None:
    """Take away what killed runs have left beside a target; what cannot be taken away stays for the next run."""
    for old in list(leftovers(place, "old")):
        with suppress(OSError):
            if not os.path.lexists(place):
                old.rename(place)  # killed between taking the old page away and putting the new one there
            else:
                clear_away(old, place)
    for new in list(leftovers(place, "new")):
        with suppress(OSError):
            if new.is_dir():
                clear_away(new, place)
            else:
                new.unlink()


def make_staged(staging: Path, command: str, files: Mapping[str, Pieces]) -> list[Entry]:
    """Write files into a new hidden folder, which says first which they will be.

    Raises:
        OSError: they cannot be written.
    """
    write_whole(staging / OUTPUT_MARKER, marker_bytes(Entry(command, BEING_WRITTEN, name) for name in files))
    entries = []
    for name, content in files.items():
        path = staging / name
        path.parent.mkdir(parents=True, exist_ok=True)
        entries.append(Entry(command, write_whole(path, content), name))
    return entries


def write_whole(path: Path, content: Pieces) -> str:
    """Write a file that is not there yet, down to the disk; its checksum is returned."""
    digest = hashlib.sha256()
    with path.open("xb") as stream:
        for piece in [content] if isinstance(content, bytes) else content:
            digest.update(piece)
            stream.write(piece)
        stream.flush()
        os.fsync(stream.fileno())
    return digest.hexdigest()


def carry_over(place: Path, staging: Path, left_out: set[str]) -> None:
    """Let everything of the old folder stand in the new one too, but for the files that it replaces.

    Raises:
        OSError: a file can neither be named twice nor copied.
    """
    found = contents(place)
    for name in found.folders:
        inside = [inner for inner in found.files if inner.startswith(f"{name}/")]
        if not inside or not left_out.issuperset(inside):
            (staging / name).mkdir(parents=True, exist_ok=True)
    for name, path in found.files.items():
        if name not in left_out:
            _same_file(path, staging / name)
    for name, path in found.folders.items():
        if (staging / name).is_dir():
            shutil.copymode(path, staging / name)


def _same_file(path: Path, new: Path) -> None:
    """A second name for a file; a copy where the disk knows no second names."""
    new.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(path, new, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copy2(path, new, follow_symlinks=False)


def take_place(staging: Path, place: Path) -> None:
    """Put a finished folder in a target's place, and take the old one away.

    Raises:
        OSError: the target cannot be moved.
    """
    if not os.path.lexists(place):
        staging.rename(place)
        return
    shutil.copymode(place, staging)
    old = staging
    if not exchange(staging, place):
        old = place.with_name(hidden_name(place, "old"))
        place.rename(old)
        staging.rename(place)
    with suppress(OSError):  # the page stands; what cannot be taken away now, the next run takes
        clear_away(old, place)


def exchange(one: Path, other: Path) -> bool:
    """Let two folders change places in one step; False where the system cannot.

    Raises:
        OSError: they cannot be moved.
    """
    names = os.fsencode(one), os.fsencode(other)
    if os.name != "posix":
        return False
    library = ctypes.CDLL(None, use_errno=True)
    if sys.platform == "darwin" and hasattr(library, "renamex_np"):
        failed = library.renamex_np(*names, RENAME_SWAP)
    elif sys.platform == "linux" and hasattr(library, "renameat2"):
        failed = library.renameat2(AT_FDCWD, names[0], AT_FDCWD, names[1], RENAME_EXCHANGE)
    else:
        return False
    if not failed:
        return True
    number = ctypes.get_errno()
    if number in NOT_EXCHANGED:
        return False
    raise OSError(number, os.strerror(number))


def clear_away(old: Path, place: Path) -> None:
    """Take a hidden folder away. What a person put there meanwhile goes to the target, and is never deleted.

    Raises:
        OSError: it cannot be taken away.
    """
    entries = (read_entries(old) or []) if (old / OUTPUT_MARKER).is_file() else []
    if any(entry.sha256 == BEING_WRITTEN for entry in entries):
        shutil.rmtree(old)  # it never was the target: all in it is ours, or a second name of what the target holds
        return
    found = contents(old)
    for name, path in found.files.items():
        now = place / name
        if _same(path, now) or is_ours(path, (entry.sha256 for entry in entries if entry.path == name)):
            path.unlink()
        elif not os.path.lexists(now):
            now.parent.mkdir(parents=True, exist_ok=True)
            path.rename(now)
    _remove_empty(old, sorted(found.folders.values(), key=lambda path: -len(path.parts)))


def _remove_empty(old: Path, folders: list[Path]) -> None:
    """What is not empty holds a person's file, and stays with its list."""
    for path in folders:
        with suppress(OSError):
            path.rmdir()
    if {path.name for path in old.iterdir()} <= {OUTPUT_MARKER, NEW_MARKER}:
        shutil.rmtree(old)


def _same(path: Path, other: Path) -> bool:
    if not os.path.lexists(other):
        return False
    if path.is_symlink() or other.is_symlink():
        return path.is_symlink() and other.is_symlink() and path.readlink() == other.readlink()
    return path.samefile(other) or (other.is_file() and filecmp.cmp(path, other, shallow=False))


def fill_in_place(staging: Path, place: Path, entries: list[Entry], left_out: set[str], kept: list[Entry]) -> None:
    """Move finished files into a target one by one, the page last; until all are there, the marker lists both.

    Raises:
        OSError: a file cannot be moved.
    """
    new = {entry.path for entry in entries}
    write_marker(place, [*kept, *entries, *((read_entries(place) or []) if (place / OUTPUT_MARKER).exists() else [])])
    for name in sorted(new, key=lambda name: (name == "index.html", name)):
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (staging / name).replace(place / name)
    for name in left_out - new:
        (place / name).unlink(missing_ok=True)
    for folder in {(place / name).parent for name in left_out - new} - {place}:
        with suppress(OSError):
            folder.rmdir()
    write_marker(place, [*kept, *entries])
    clear_away(staging, place)


def write_marker(place: Path, entries: Iterable[Entry]) -> None:
    """Write the list of our files anew, whole or not at all."""
    new = place / NEW_MARKER
    new.unlink(missing_ok=True)
    write_whole(new, marker_bytes(entries))
    new.replace(place / OUTPUT_MARKER)
