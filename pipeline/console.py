"""What is said to the person at the terminal, apart from the answer; and how a path they type is taken."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import typer

CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def note(text: str) -> None:
    """Progress and notes, on stderr; a file name in it cannot move the cursor or rename the window."""
    sys.stderr.write(CONTROLS.sub("\ufffd", printable(text.rstrip("\n"))) + "\n")


def printable(text: str) -> str:
    """Bytes of a file name that are no text written out, so that it can be printed at all."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def typed_path(text: str) -> Path:
    """A path as typed; an empty one would mean the folder one stands in, which nobody meant to write to."""
    if not text.strip():
        message = "an empty name. Name a file or a folder."
        raise typer.BadParameter(message)
    return Path(text)
