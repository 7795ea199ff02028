"""A new season folder: blank logs, commented settings, and a page that explains each column."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import UsageError
from pipeline.store.manifest import is_marked
from pipeline.store.swap import clean_up, hidden_name, write_whole
from schemas.dictionary import blank_log, dictionary_markdown, settings_toml
from schemas.logs import LOGS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.warmth.climate_guess import GuessedClimate

SETTINGS_NAME = "rowshelf.toml"
WORKBOOK_NAME = "logs.xlsx"


def start_folder(
    folder: Path,
    *,
    workbook: bool = False,
    values: Mapping[str, str] | None = None,
    climate: GuessedClimate | None = None,
) -> list[Path]:
    """Write what is not there yet; nothing that exists is touched.

    Args:
        folder: the season folder, made if need be.
        workbook: write one workbook with a sheet per log in place of the CSV logs.
        values: settings to write, as TOML writes them.
        climate: a guess to begin with, written as ``climate.csv`` with its error.

    Returns:
        The files written.

    Raises:
        UsageError: ``folder`` is a file, or cannot be written.
    """
    contents = {SETTINGS_NAME: settings_toml(values).encode(), "COLUMNS.md": dictionary_markdown().encode()}
    if workbook:
        contents = {WORKBOOK_NAME: _workbook()} | contents
    else:
        contents = {f"{log.name}.csv": blank_log(log).encode() for log in LOGS.values()} | contents
    if climate is not None:
        contents["climate.csv"] = climate.months.write_csv().encode()
    _check(folder)
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            path = folder / name
            clean_up(path)
            if not os.path.lexists(path):
                _write_new(path, content)
                written.append(path)
    except OSError as error:
        message = f"{folder}: cannot be written: {error.strerror}. Choose a folder of your own."
        raise UsageError(message) from error
    return written


def _check(folder: Path) -> None:
    if folder.is_symlink():
        where = os.path.realpath(folder)
        message = f"{folder}: a link, and nothing is written through a link. Name the folder itself: {where}."
        raise UsageError(message)
    if folder.exists() and not folder.is_dir():
        message = f"{folder}: is a file; name a folder for the season."
        raise UsageError(message)
    if is_marked(folder):
        message = f"{folder}: holds pages that rowshelf wrote, so logs in it would not be read. Name another folder."
        raise UsageError(message)


def _write_new(path: Path, content: bytes) -> None:
    """Write a file that is not there yet, whole or not at all."""
    part = path.with_name(hidden_name(path))
    try:
        write_whole(part, content)
        if os.path.lexists(path):
            return
        part.rename(path)
    finally:
        part.unlink(missing_ok=True)


def _workbook() -> bytes:
    from pipeline.blank_workbook import blank_workbook
    from pipeline.reference import crop_reference

    return blank_workbook(crop_reference()["crop"].sort().to_list())


def guessed_climate(
    latitude: float | None, longitude: float | None, elevation_m: float | None
) -> tuple[GuessedClimate | None, str]:
    """The climate guessed for a place and what to say of it; None where the latitude is not known."""
    if latitude is None:
        return None, ""
    from pipeline.reference import climates
    from pipeline.warmth.climate_guess import guess_climate

    guess = guess_climate(climates(), latitude, longitude, elevation_m)
    nearest = "" if guess.nearest_km is None else f", the nearest {guess.nearest_km:,.0f} km away"
    return guess, (
        f"climate.csv is a guess from {guess.places} measured places{nearest}: the mean of a month may be "
        f"{guess.error_c:.1f} C off (one standard deviation, found by leaving places out). Put measured means in its "
        "place where you have them, and take the column error_c out then."
    )


def known_crops() -> Mapping[str, str]:
    """Every spelling of a crop, and the crop it stands for."""
    from pipeline.reference import crop_lookup, crop_reference

    return crop_lookup(crop_reference())
