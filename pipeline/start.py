"""A new season folder: blank logs, commented settings, and a page that explains each column."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import UsageError
from schemas.dictionary import blank_log, dictionary_markdown, settings_toml
from schemas.logs import LOGS


def start_folder(folder: Path) -> list[Path]:
    """Write what is not there yet; nothing that exists is touched.

    Returns:
        The files written.

    Raises:
        UsageError: ``folder`` is a file, or cannot be written.
    """
    contents = {f"{log.name}.csv": blank_log(log) for log in LOGS.values()}
    contents |= {"rowshelf.toml": settings_toml(), "COLUMNS.md": dictionary_markdown()}
    if folder.exists() and not folder.is_dir():
        message = f"{folder}: is a file; name a folder for the season."
        raise UsageError(message)
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            path = folder / name
            if not path.exists():
                path.write_text(content, encoding="utf-8")
                written.append(path)
    except OSError as error:
        message = f"{folder}: cannot be written: {error.strerror}. Choose a folder of your own."
        raise UsageError(message) from error
    return written
