"""Files of a season folder that we write to: one writer at a time, each file whole or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline.errors import RowshelfError

LOCK_NAME = ".rowshelf-added.lock"
LOCK_SECONDS = 10


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Two at once would each keep only its own row."""
    lock = FileLock(folder / LOCK_NAME, timeout=LOCK_SECONDS)
    try:
        lock.acquire()
    except Timeout as error:
        message = f"{folder}: another row is being added. Try again in a moment."
        raise RowshelfError(message) from error
    except OSError as error:
        message = f"{folder}: cannot be written ({error.strerror}). Are you allowed to?"
        raise RowshelfError(message) from error
    try:
        yield
    finally:
        lock.release()


def content_of(path: Path) -> bytes:
    """The bytes of a file.

    Raises:
        RowshelfError: it cannot be read.
    """
    try:
        return path.read_bytes()
    except OSError as error:
        message = f"{path}: cannot be read ({error.strerror}). Is it open elsewhere, or are you allowed to read it?"
        raise RowshelfError(message) from error


def write_whole(path: Path, content: bytes) -> None:
    """The file whole or not at all, with the permissions it had; never through a link."""
    if path.is_symlink():
        message = f"{path}: a link to another file, which is not written through. Add to the file itself."
        raise RowshelfError(message)
    if path.exists() and not os.access(path, os.W_OK):
        message = f"{path}: is read-only, so nothing was written. Let it be written to first, if that is meant."
        raise RowshelfError(message)
    part = ""
    try:
        handle, part = tempfile.mkstemp(prefix=".rowshelf-", dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        if path.exists():
            shutil.copymode(path, part)
        else:
            Path(part).chmod(0o666 & ~_umask())
        Path(part).replace(path)
    except OSError as error:
        if part:
            Path(part).unlink(missing_ok=True)
        message = (
            f"{path}: cannot be written ({error.strerror}). Is it open in another program, the disk full, or "
            "the folder read-only?"
        )
        raise RowshelfError(message) from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
