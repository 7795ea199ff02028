"""The list of earlier shared reports that a season folder keeps, of its own figures only.

It is written whole or not at all, never through a link and never over anything that is not such a list.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from pipeline.errors import UsageError
from pipeline.store.swap import clean_up, hidden_name, write_whole

LIST_NAME = ".rowshelf-shared.json"
MADE_BY = "rowshelf share"
ABOUT = (
    "What shared reports were made of this folder, so that a later one does not give away who joined or left. It holds"
    " marks of this folder's own figures and of no other's. Without it that cannot be known."
)
MOST_BYTES = 50_000_000


def read_shared(folder: Path) -> list[dict[str, Any]]:
    """The reports that a folder remembers: ``report``, and ``cells`` with ``holders`` and ``own`` marks of each.

    Raises:
        UsageError: something else has the name of the list.
    """
    path = folder / LIST_NAME
    if path.is_symlink():
        message = f"{path}: a link. The list of earlier shared reports goes through none; take the link away."
        raise UsageError(message)
    if not path.exists():
        return []
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ValueError
        found = json.loads(path.read_text(encoding="utf-8"))
        if found["made_by"] != MADE_BY:
            raise ValueError
        reports = [{"report": str(one["report"]), "cells": _cells(one["cells"])} for one in found["reports"]]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        message = (
            f"{path}: expected the list of earlier shared reports, and it is something else or was changed. If it is"
            " yours, give it another name; else bring back a copy. Without it nobody can tell what an earlier report"
            " gives away."
        )
        raise UsageError(message) from error
    return reports


def _cells(found: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    return {
        str(name): {"holders": int(cell["holders"]), "own": [str(mark) for mark in cell["own"]]}
        for name, cell in found.items()
    }


def write_shared(folder: Path, reports: Sequence[Mapping[str, Any]]) -> str | None:
    """Write the list; gives why it could not be written, or None.

    Raises:
        UsageError: something else has its name.
    """
    read_shared(folder)
    path = folder / LIST_NAME
    content = json.dumps({"made_by": MADE_BY, "about": ABOUT, "reports": list(reports)}, indent=0, sort_keys=True)
    part = path.with_name(hidden_name(path))
    try:
        clean_up(path)
        write_whole(part, content.encode())
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        return error.strerror
    return None
