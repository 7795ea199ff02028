"""Simulate an invented season and write it as a folder of logs.

``python -m sample_data.simulate`` makes ``sample_data/river_island`` again, byte for byte: the same seed
gives the same files wherever numpy's random streams are the same.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from sample_data import logbook, mess, texts
from sample_data.account import account
from sample_data.gardens import RIVER_ISLAND, SOUTH
from sample_data.growing import grow
from sample_data.household import keep_house
from sample_data.keeping import Kept, keep
from sample_data.logbook import Line
from sample_data.making import make_batches
from sample_data.scenario import LogFile, Scenario, Season
from sample_data.weather import make_weather
from schemas.logs import LOGS

HERE = Path(__file__).parent
SEMICOLON_HEADER = {"picked_on": "Picked on", "sowing_id": "Sowing-ID"}


def simulate(seed: int, scenario: Scenario) -> Season:
    """One garden's logs, settings and truth; the same ``seed`` and ``scenario`` give the same season."""
    scenario = replace(scenario, seed=seed)
    for_weather, for_garden, for_house, for_kitchen, for_shelf, for_pen = np.random.default_rng(seed).spawn(6)
    weather = make_weather(scenario.climate, scenario.weather_from, scenario.ends, for_weather)
    sowings, pickings = grow(scenario, weather, for_garden)
    household = keep_house(scenario, pickings, for_house)
    batches = make_batches(scenario, household.made, for_kitchen)
    kept = keep(scenario, batches, for_shelf)

    lines = {"sowings.csv": logbook.sowing_lines(sowings, for_pen)}
    for season, first in enumerate(scenario.seasons):
        picked = tuple(picking for picking in pickings if scenario.season_of(picking.day) == season)
        comma = scenario.honest_mess and season == 0
        name = f"harvests-{first.year}.csv"
        lines[name] = logbook.harvest_lines(scenario, picked, for_pen, decimal_comma=comma)
    lines["batches.csv"] = logbook.batch_lines(batches, for_pen)
    lines["ingredients.csv"] = logbook.ingredient_lines(batches)
    lines["spoilage.csv"], waste = logbook.spoilage_lines(household, kept, for_pen)
    lines["consumption.csv"], eaten, given = logbook.consumption_lines(household, kept, for_pen)
    lines["tastings.csv"] = logbook.tasting_lines(kept)
    lines["weather.csv"] = logbook.weather_lines(weather, gap=scenario.honest_mess)
    lines |= {f"{name}.csv": rows for name, rows in logbook.standing_lines(scenario).items() if rows}

    if scenario.honest_mess:
        _make_wrong(lines, kept, scenario)
    logs = {name: _log_file(name, rows, dialects=scenario.honest_mess) for name, rows in lines.items()}
    told = {
        "wasted_kg_logged": _kilograms(waste),
        "eaten_kg_logged": _kilograms(eaten),
        "given_kg_logged": _kilograms(given),
    }
    truth = account(scenario, sowings, pickings, household, kept)
    truth["fresh"] |= told
    truth["weather_days_missing"] = [day.isoformat() for day in logbook.WEATHER_GAP if scenario.honest_mess]
    truth["rows_made_wrong"] = _wrong_rows(lines, logs)
    return Season(logs, {"rowshelf.toml": texts.settings(scenario), "ABOUT.md": texts.about(scenario)}, truth)


def _make_wrong(lines: dict[str, list[Line]], kept: Kept, scenario: Scenario) -> None:
    mess.spoil_harvests(*(rows for name, rows in lines.items() if name.startswith("harvests")))
    wrong = mess.spoil_kitchen(lines["batches.csv"], kept, scenario.ends)
    mess.spoil_rest(lines["spoilage.csv"], lines["consumption.csv"], lines["tastings.csv"], lines["sowings.csv"], wrong)


def _kilograms(grams: dict[str, int]) -> dict[str, float]:
    return {crop: value / 1000 for crop, value in sorted(grams.items())}


def _log_file(name: str, lines: list[Line], *, dialects: bool) -> LogFile:
    """The lines as a file; with ``dialects``, logs differ in separator, encoding and tidiness."""
    kind = name.removesuffix(".csv").split("-")[0]
    columns = [column.name for column in LOGS[kind].columns]
    if kind == "crops":
        columns = [column for column in columns if any(column in line.cells for line in lines)]
    rows = [tuple(line.cells.get(column, "") for column in columns) for line in lines]
    if not dialects:
        return LogFile(tuple(columns), tuple(rows))
    if name == "harvests-2025.csv":
        header = tuple(SEMICOLON_HEADER.get(column, column.capitalize()) for column in columns)
        return LogFile(header, tuple(rows), delimiter=";", encoding="cp1252")
    if name == "harvests-2026.csv":
        return LogFile((*columns, "basket"), tuple((*row, _basket(n)) for n, row in enumerate(rows)))
    if name == "consumption.csv":
        return LogFile(tuple(columns), tuple(_with_blank_lines(lines, rows)))
    return LogFile(tuple(columns), tuple(rows), encoding="utf-8-sig" if kind == "batches" else "utf-8")


def _basket(n: int) -> str:
    """The column that only this garden keeps."""
    return "big" if n % 9 == 0 else ""


def _with_blank_lines(lines: list[Line], rows: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """A blank line where a new year begins and one at the end."""
    spaced: list[tuple[str, ...]] = []
    for n, row in enumerate(rows):
        if n and lines[n].day.year != lines[n - 1].day.year:
            spaced.append(())
        spaced.append(row)
    return [*spaced, ()]


def _wrong_rows(lines: dict[str, list[Line]], logs: dict[str, LogFile]) -> list[dict[str, Any]]:
    """Where each row made wrong stands; the header is line 1 and blank lines count."""
    found = []
    for name, rows in lines.items():
        places = [n for n, row in enumerate(logs[name].rows, 2) if row]
        for place, line in zip(places, rows, strict=True):
            if line.wrong:
                column, rule, level = line.wrong
                value = line.cells[column]
                found.append(
                    {
                        "file": name,
                        "line": place,
                        "column": column,
                        "value": value,
                        "rule": rule,
                        "level": level,
                    }
                )
    return found


def log_bytes(log: LogFile) -> bytes:
    """One log as it stands in the folder."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=log.delimiter, lineterminator="\n")
    writer.writerows((log.header, *log.rows))
    return text.getvalue().encode(log.encoding)


def write(season: Season, folder: Path) -> None:
    """Write the season's files into ``folder``, and its truth beside it as ``<folder>_truth.json``."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, log in season.logs.items():
        (folder / name).write_bytes(log_bytes(log))
    for name, text in season.texts.items():
        (folder / name).write_bytes(text.encode())
    truth = json.dumps(season.truth, indent=1, ensure_ascii=False) + "\n"
    folder.with_name(f"{folder.name}_truth.json").write_bytes(truth.encode())


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line of ``python -m sample_data.simulate``."""
    gardens = {scenario.name: scenario for scenario in (RIVER_ISLAND, SOUTH)}
    parser = argparse.ArgumentParser(description="Make an invented season folder.")
    parser.add_argument("--garden", choices=sorted(gardens), default=RIVER_ISLAND.name)
    parser.add_argument("--folder", type=Path, help="where to write (default: beside this module)")
    parser.add_argument("--seed", type=int, help="another seed gives another season")
    options = parser.parse_args(arguments)
    scenario = gardens[options.garden]
    seed = scenario.seed if options.seed is None else options.seed
    write(simulate(seed, scenario), options.folder or HERE / scenario.name)


if __name__ == "__main__":
    main()
