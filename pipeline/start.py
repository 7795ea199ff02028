"""A new season folder: blank logs, commented settings, and a page that explains each column."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import UsageError
from schemas.dictionary import blank_log, dictionary_markdown, settings_toml
from schemas.logs import LOGS

WORKBOOK_NAME = "logs.xlsx"


def start_folder(folder: Path, *, workbook: bool = False) -> list[Path]:
    """Write what is not there yet; nothing that exists is touched.

    Args:
        folder: the season folder, made if need be.
        workbook: write one workbook with a sheet per log in place of the CSV logs.

    Returns:
        The files written.

    Raises:
        UsageError: ``folder`` is a file, or cannot be written.
    """
    contents = {"rowshelf.toml": settings_toml().encode(), "COLUMNS.md": dictionary_markdown().encode()}
    if workbook:
        contents = {WORKBOOK_NAME: _workbook()} | contents
    else:
        contents = {f"{log.name}.csv": blank_log(log).encode() for log in LOGS.values()} | contents
    if folder.exists() and not folder.is_dir():
        message = f"{folder}: is a file; name a folder for the season."
        raise UsageError(message)
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            path = folder / name
            if not path.exists():
                path.write_bytes(content)
                written.append(path)
    except OSError as error:
        message = f"{folder}: cannot be written: {error.strerror}. Choose a folder of your own."
        raise UsageError(message) from error
    return written


def _workbook() -> bytes:
    from pipeline.blank_workbook import blank_workbook
    from pipeline.reference import crop_reference

    return blank_workbook(crop_reference()["crop"].sort().to_list())
