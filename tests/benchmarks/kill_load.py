"""A load that is killed (SIGKILL) at twenty random moments: what the store then holds. By hand:

    python -m tests.benchmarks.kill_load

The folder holds one INVENTED log of 400,000 rows that is loaded already; it is replaced by one of 300,000 rows
and a second log of 200,000 is added. Each run starts from a copy of the first store, is killed, and its store
is opened again: it must hold exactly the state before or the state after.
"""

from __future__ import annotations

import datetime as dt
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import STORE_NAME, open_store
from tests.benchmarks.bench_load import write_log

AS_OF = dt.date(2026, 11, 20)
MOMENTS = 20
State = tuple[tuple[object, ...], ...]


def load(folder: Path, progress: Callable[[str], None] = lambda _: None) -> None:
    with open_store(folder / STORE_NAME) as store:
        load_folder(store, folder, Settings(), AS_OF, progress)


def tell(text: str) -> None:
    print(text, flush=True)


def state(folder: Path) -> State:
    """Rows, sums and checksums of every layer, as the store says."""
    queries = (
        "select source_file, count(*), sum(hash(source_line, weight_kg, note)) from core.harvests group by all",
        "select source_file, count(*), sum(hash(source_line, weight, note)) from raw.harvests group by all",
        "select file, rows, accepted, set_aside, sha256 from out.load_summary",
        "select file, count(*), sum(line) from out.problems group by all",
        "select file, sha256, rows from raw.files",
    )
    with open_store(folder / STORE_NAME) as store:
        return tuple(tuple(sorted(store.con.execute(query).fetchall())) for query in queries)


def main() -> None:
    if len(sys.argv) > 1:
        tell("begin")
        load(Path(sys.argv[1]), tell)
        return
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        first = place / "first"
        first.mkdir()
        write_log(first / "harvests.csv", 400_000, seed=1)
        load(first)
        before = state(first)
        write_log(first / "harvests.csv", 300_000, seed=2)
        write_log(first / "harvests-2.csv", 200_000, seed=3)
        whole = place / "whole"
        shutil.copytree(first, whole)
        steps = _steps(whole)
        after = state(whole)
        assert before != after
        rng = random.Random(20)
        # A moment within a step, since a machine that is shared keeps no time of its own.
        moments = [
            (step, rng.uniform(0, 1.1) * steps[step]) for step in sorted(rng.choices(range(len(steps)), k=MOMENTS))
        ]
        outcomes = [_killed(first, place / "killed", moment, before, after) for moment in moments]
    print(f"One load takes {sum(steps):.1f} s in {len(steps)} steps. Killed in step, after (s): state found, program")
    for (step, moment), (found, ended) in zip(moments, outcomes, strict=True):
        print(f"  {step + 1}, {moment:.2f}: {found}, {ended}")
    counted = {word: sum(found == word for found, _ in outcomes) for word in ("before", "after", "NEITHER")}
    print(counted)
    sys.exit(counted["NEITHER"] > 0)


def _start(folder: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.benchmarks.kill_load", str(folder)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def _steps(folder: Path) -> list[float]:
    """Seconds from one word of progress to the next, the last of them to the end of the program."""
    with _start(folder) as program:
        assert program.stdout is not None
        times = [time.monotonic() for _ in program.stdout]
        program.wait()
    times.append(time.monotonic())
    return [end - start for start, end in pairwise(times)]


def _killed(first: Path, folder: Path, moment: tuple[int, float], before: State, after: State) -> tuple[str, str]:
    step, delay = moment
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(first, folder)
    with _start(folder) as program:
        assert program.stdout is not None
        for _ in range(step + 1):
            program.stdout.readline()
        try:
            program.wait(timeout=delay)
        except subprocess.TimeoutExpired:
            program.kill()
    found = state(folder)
    ended = "killed" if program.returncode else "had ended"
    if found == after:
        return "after", ended
    if found != before:
        return "NEITHER", ended
    load(folder)
    return ("before" if state(folder) == after else "NEITHER"), ended


if __name__ == "__main__":
    main()
