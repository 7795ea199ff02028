"""What is said to the person at the terminal, apart from the answer."""

from __future__ import annotations

import re
import sys

CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def note(text: str) -> None:
    """Progress and notes, on stderr; a file name in it cannot move the cursor or rename the window."""
    sys.stderr.write(CONTROLS.sub("\ufffd", text.rstrip("\n")) + "\n")
