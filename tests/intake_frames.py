"""One log file through reading, typing and validation, without a store."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.intake.normalise import Reading
from pipeline.intake.read import find_logs, open_log
from pipeline.reference.names import CropLookup
from pipeline.store.load import batches

READING = Reading(
    crop_lookup=CropLookup({"carrot": "carrot", "pea": "pea", "kohlrabi": "kohlrabi"}),
    own_units={("kohlrabi", "piece"): 0.25},
)


@dataclass(frozen=True)
class Taken:
    """What came of one log."""

    raw: pl.DataFrame
    core: pl.DataFrame
    problems: pl.DataFrame

    def found(self) -> list[tuple[int, str, str]]:
        """(line, column, rule) of every problem, in line order."""
        return sorted(self.problems.select("line", "column", "rule").rows())

    def message(self, rule: str) -> str:
        """The message of the first problem of a rule."""
        return str(self.problems.filter(pl.col("rule") == rule)["message"][0])

    def aside(self) -> list[int]:
        """Lines in raw that were not accepted."""
        return sorted(set(self.raw["source_line"]) - set(self.core["source_line"]))


def take(folder: Path, content: str | bytes, name: str = "harvests.csv", reading: Reading = READING) -> Taken:
    """Write one file and read it."""
    folder.mkdir(exist_ok=True)
    (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    return take_logs(folder, reading)


def take_logs(folder: Path, reading: Reading = READING) -> Taken:
    """Read the logs of a folder, all of one kind."""
    found = [batch for log in find_logs(folder).logs for batch in batches(open_log(log), reading)]
    raw, core, problems = (pl.concat(frames) for frames in zip(*found, strict=True))
    return Taken(raw.sort("source_line"), core.sort("source_line"), problems)
