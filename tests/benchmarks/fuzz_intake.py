"""The intake against mutated logs of the sample season. By hand, from the top of the project:

    python -m tests.benchmarks.fuzz_intake 100000 1

takes a number of files and a seed. Each file is some lines of a sample log with one to six mutations of bytes,
cells, lines or encoding. It goes through reading, typing and validation; what would stop a load is counted, and
the run ends at the first traceback or the first row that is lost:

- every raw row stands at a line of its own, and is either accepted or named by a problem of level ``error``;
- what is written in the lines below the header, letter by letter, is what stands in the raw cells.

Validation is run on many files at once, since it costs the same for one row as for thousands.
"""

from __future__ import annotations

import json
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import polars as pl

from pipeline import reference
from pipeline.intake.normalise import Reading, Typed
from pipeline.intake.read import LogFile, open_log
from pipeline.intake.shape import no_problems
from pipeline.intake.text import MARKS, find_encoding, utf8_blocks
from pipeline.intake.validate import split
from pipeline.store import load
from schemas.contracts import core_types
from schemas.logs import LOGS

SAMPLE = Path(__file__).parents[2] / "sample_data" / "river_island"
AT_ONCE = 200
FAR = 1_000_000
"""Lines of different files are kept apart by this much when many are validated together."""

TOKENS = (
    *("", " ", ",", ";", "\t", "|", '"', '""', "'", "\n", "\r", "\r\n", "\x00", "\ufeff", "\u00a0", "\u2028", "\x1a"),
    *("=1+1", "@x", "+1", "-1", "1,5 kg", "1,234 g", "2½ lb", "3 heads", "1e9 kg", "nan", "inf", "-0", "1/0 kg", "5²"),
    *(
        "9" * 400,
        "2026-02-31",
        "3/4/2026",
        "18.6.26",
        "0000-00-00",
        "９月",
        "null",
        "NULL",
        "Total",
        "yes",
        "-",
        "#N/A",
    ),
    *("'); DROP TABLE x; --", "<script>", "🥕", "ẞ", "\u202e", "picked_on", "weight (kg)", "crop", "x" * 5000),
)
BYTES = (
    b"\x00",
    b"\xff",
    b"\xfe\xff",
    b"\x81",
    b"\xc3",
    b"\xe2\x82",
    b"\xed\xa0\x80",
    b"\xf4\x90\x80\x80",
    b'"',
    b"\r",
    b"\n",
)
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-32")


def _cells(rng: random.Random, text: str) -> str:
    lines = text.split("\n")
    at = rng.randrange(len(lines))
    delimiter = ";" if ";" in lines[at] else ","
    cells = lines[at].split(delimiter)
    cells[rng.randrange(len(cells))] = rng.choice(TOKENS)
    lines[at] = delimiter.join(cells)
    return "\n".join(lines)


def _insert(rng: random.Random, text: str) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice(TOKENS) + text[at:]


def _delete(rng: random.Random, text: str) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + text[at + rng.choice((1, 1, 3, 30)) :]


def _repeat(rng: random.Random, text: str) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + text[at : at + rng.choice((1, 10, 100))] * 2 + text[at:]


def _lines(rng: random.Random, text: str) -> str:
    lines = text.split("\n")
    first, second = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[first], lines[second] = lines[second], lines[first]
    return "\n".join(lines)


def _delimiter(rng: random.Random, text: str) -> str:
    return text.replace(rng.choice(",;"), rng.choice((";", "\t", "|", ",", " ")))


def _endings(rng: random.Random, text: str) -> str:
    return text.replace("\n", rng.choice(("\r\n", "\r", "\n\n")))


MUTATIONS: tuple[Callable[[random.Random, str], str], ...] = (
    *(_cells, _cells, _cells, _insert, _insert, _delete, _repeat, _lines, _delimiter, _endings),
)


def mutated(rng: random.Random, text: str) -> bytes:
    """A file made from the text by one to six mutations."""
    lines = text.split("\n")
    start = rng.randrange(1, len(lines))
    text = "\n".join([lines[0], *lines[start : start + rng.randrange(1, 9)]]) + "\n"
    for _ in range(rng.randrange(1, 7)):
        text = rng.choice(MUTATIONS)(rng, text)
    content = text.encode(rng.choice(ENCODINGS) if rng.random() < 0.3 else "utf-8", "ignore")
    for _ in range(rng.choice((0, 0, 0, 1, 2))):
        at = rng.randrange(len(content) + 1)
        content = content[:at] + rng.choice(BYTES) + content[at + rng.randrange(2) :]
    return content


def written(path: Path, from_line: int) -> Counter[str] | None:
    """The letters and digits below the header; None where bytes are no text, which raw shows in another way."""
    text = b"".join(utf8_blocks(path, find_encoding(path))).decode("utf-8", "surrogatepass")
    if MARKS.search(text):
        return None
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return letters("\n".join(lines[from_line:]))


def letters(text: str) -> Counter[str]:
    return Counter(filter(str.isalnum, text))


def kept(raw: pl.DataFrame) -> Counter[str]:
    """The letters and digits of all raw cells."""
    found: list[str] = []
    for row in raw.drop("source_file", "source_line").iter_rows(named=True):
        extra = json.loads(row.pop("extra") or "[]")
        found += filter(None, [*row.values(), *(extra.values() if isinstance(extra, dict) else extra)])
    return letters("\n".join(found))


class Fuzz:
    """Runs files through the intake and gathers them for validation."""

    def __init__(self, reading: Reading) -> None:
        self.reading = reading
        self.waiting: dict[str, list[Typed]] = {}
        self.counts: Counter[str] = Counter()

    def run(self, path: Path, kind: str) -> None:
        """One file: no traceback, no letter lost, no row twice."""
        text = open_log(LogFile(path, path.name, kind, ""))
        load.split = self._later
        found = list(load.batches(text, self.reading))
        raw = pl.concat([batch[0] for batch in found])
        self.counts["files"] += 1
        self.counts["rows"] += raw.height
        self.counts["no header"] += text.header is None
        assert raw["source_line"].n_unique() == raw.height
        if text.header and text.header.missing:
            self.counts["column missing"] += 1
        below = written(path, text.header.last_line if text.header else 0)
        above = raw.filter(pl.col("source_line") <= (text.header.last_line if text.header else 0))
        if below is not None:
            assert kept(raw) - kept(above) == below, (kept(raw) - below, below - kept(raw))

    def _later(self, kind: str, typed: Typed) -> tuple[pl.DataFrame, pl.DataFrame]:
        self.waiting.setdefault(kind, []).append(typed)
        return typed.core.clear(), no_problems()

    def validate(self) -> None:
        """Everything gathered: each row is accepted, or an error names its line."""
        for kind, several in self.waiting.items():
            shift = [
                Typed(
                    typed.raw.with_columns(pl.col("source_line") + index * FAR),
                    typed.core.with_columns(pl.col("source_line") + index * FAR),
                    typed.problems.with_columns(pl.col("line") + index * FAR),
                )
                for index, typed in enumerate(several)
            ]
            whole = Typed(
                *(pl.concat(parts) for parts in zip(*((t.raw, t.core, t.problems) for t in shift), strict=True))
            )
            accepted, problems = split(kind, whole)
            assert accepted.schema == pl.Schema(core_types(kind))
            wrong = set(problems.filter(pl.col("level") == "error")["line"])
            taken, lines = set(accepted["source_line"]), set(whole.raw["source_line"])
            assert taken | wrong == lines, (lines - taken - wrong, (taken | wrong) - lines)
            assert not taken & wrong
            self.counts["accepted"] += len(taken)
            self.counts["set aside"] += len(wrong)
        self.waiting.clear()


def main(files: int, seed: int) -> None:
    rng = random.Random(seed)
    crops = reference.crop_reference(None)
    fuzz = Fuzz(Reading("iso", "us", reference.crop_lookup(crops)))
    logs = {
        path: path.read_text(encoding=find_encoding(path))
        for path in sorted(SAMPLE.glob("*.csv"))
        if path.stem != "crops"
    }
    started, cpu = time.monotonic(), time.process_time()
    place = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(dir=place) as folder:
        for number in range(files):
            source = rng.choice(list(logs))
            kind = next(kind for kind in LOGS if source.stem.startswith(kind))
            path = Path(folder) / f"{kind}.csv"
            path.write_bytes(mutated(rng, logs[source]))
            try:
                fuzz.run(path, kind)
                if number % AT_ONCE == 0:
                    fuzz.validate()
            except Exception:
                print(f"file {number} of seed {seed}: {path.read_bytes()!r}")
                raise
        fuzz.validate()
    print(
        f"seed {seed}: {dict(fuzz.counts)}; {time.monotonic() - started:.0f} s, {time.process_time() - cpu:.0f} s cpu"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
