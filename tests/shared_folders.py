"""Season folders to share: typed logs from a few values, and whole simulated gardens of one plot each. INVENTED."""

from __future__ import annotations

import atexit
import datetime as dt
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import polars as pl
from core_frames import core

from pipeline.garden.plots import FolderLogs
from pipeline.settings import Settings
from pipeline.share import share
from sample_data.gardens import SOUTH
from sample_data.scenario import Plot
from sample_data.simulate import simulate, write
from schemas.logs import LOGS

AS_OF = dt.date(2026, 6, 30)
GROWERS = ("Wilhelmina Roebuck", "Ozymandias Pomfret", "Perpetua Thistle", "Bartholomew Fenwick", "Quentin Marlow")


def folder(settings: Settings | None = None, **logs: list[dict[str, Any]]) -> FolderLogs:
    """Typed logs of one folder; logs left out are empty."""
    return FolderLogs({log: core(log, *logs.get(log, [])) for log in LOGS}, settings or Settings())


def plots(*rows: tuple[str, float | None, str | None, bool | None]) -> list[dict[str, Any]]:
    """Rows of the plots log: plot, area, grower, share."""
    names = ("plot", "area_m2", "grower", "share")
    return [dict(zip(names, row, strict=True)) for row in rows]


def picked(crop: str, month: int, kilos: dict[str | None, float]) -> list[dict[str, Any]]:
    """Pickings of one crop on the 5th of a month of 2026, kilos by plot."""
    day = dt.date(2026, month, 5)
    return [{"picked_on": day, "crop": crop, "weight_kg": kg, "plot": plot} for plot, kg in kilos.items()]


def everything(tables: dict[str, pl.DataFrame]) -> str:
    """All text of all tables."""
    return "\n".join(f"{name}\n{frame.write_csv()}" for name, frame in tables.items())


def _place(prefix: str) -> Path:
    """A folder for all tests of this run, taken away at its end."""
    place = Path(mkdtemp(prefix=prefix))
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    return place


@cache
def simulated_folders() -> tuple[Path, ...]:
    """Five invented gardens of one plot each on the far side of the equator; the last does not share."""
    place = _place("shared-")
    sowings = tuple(replace(line, plot="S1") for line in SOUTH.sowings)
    folders = []
    for number, grower in enumerate(GROWERS):
        scenario = replace(
            SOUTH,
            name=f"garden-{number}",
            garden_name=f"Garden {number} (invented)",
            plots=(Plot("S1", 40 + 8 * number, 2, grower, share=number < 4),),
            sowings=sowings,
        )
        folders.append(place / f"garden-{number}")
        write(simulate(100 + number, scenario), folders[-1])
    return tuple(folders)


@cache
def shared_report() -> Path:
    """The shared garden report of the simulated folders, made once for all tests."""
    out = _place("report-")
    return share(simulated_folders(), AS_OF, out, 1, lambda _: None).page
