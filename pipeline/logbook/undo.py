"""What ``add`` wrote last, kept in a small file of ours in the folder, so that it can be taken back."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from pipeline.errors import RowshelfError

MEMORY_NAME = ".rowshelf-added.json"
MOST_REMEMBERED = 50


@dataclass(frozen=True)
class Written:
    """One row that was written."""

    file: str
    """Path inside the folder."""
    tail: str
    """The bytes put at the end of the file, in hexadecimal."""
    understood: str
    made: bool = False
    """Whether the file was made for this row."""


def remembered(folder: Path) -> list[Written]:
    """The rows that were written here, the last one at the end."""
    try:
        return [Written(**row) for row in json.loads((folder / MEMORY_NAME).read_text(encoding="utf-8"))]
    except FileNotFoundError:
        return []
    except (OSError, ValueError, TypeError) as error:
        message = f"{folder / MEMORY_NAME}: cannot be read ({error}). Take it out; then no earlier row can be undone."
        raise RowshelfError(message) from error


def memory_of(rows: list[Written]) -> bytes:
    """The content of our small file."""
    return json.dumps([asdict(row) for row in rows[-MOST_REMEMBERED:]], ensure_ascii=False, indent=1).encode()


def without_row(content: bytes, row: Written) -> bytes:
    """The file without the row.

    Raises:
        RowshelfError: the file does not end with it any more.
    """
    tail = bytes.fromhex(row.tail)
    if not tail or not content.endswith(tail):
        message = (
            f"{row.file}: does not end any more with the row that was added last ({row.understood}), so nothing was "
            "taken back: take the line out by hand if you want it gone."
        )
        raise RowshelfError(message)
    return content[: -len(tail)]
