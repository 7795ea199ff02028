"""Files made to exhaust memory: what comes of them, how long it takes and how much memory. By hand:

    python -m tests.benchmarks.bomb_load [NAME...]

Each runs `check` in a process of its own. All content is INVENTED.
"""

from __future__ import annotations

import datetime as dt
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

HEADER = b"picked_on,crop,weight,note\n"
GOOD = b"2026-06-18,carrot,1 kg,fine\n"
MEGABYTE = 1 << 20


def one_cell_of_a_gigabyte(path: Path) -> None:
    with path.open("wb") as file:
        file.write(HEADER + GOOD + b'2026-06-18,carrot,1 kg,"')
        for _ in range(1024):
            file.write(b"x" * MEGABYTE)
        file.write(b'"\n' + GOOD)


def a_gigabyte_without_a_line_end(path: Path) -> None:
    with path.open("wb") as file:
        for _ in range(1024):
            file.write(b"x" * MEGABYTE)


def a_million_columns_in_the_header(path: Path) -> None:
    path.write_bytes(b"picked_on,crop,weight" + b",x" * 1_000_000 + b"\n" + GOOD)


def a_million_cells_in_a_row(path: Path) -> None:
    path.write_bytes(HEADER + GOOD + b"2026-06-18,carrot,1 kg" + b"," * 1_000_000 + b"x\n" + GOOD)


def a_quote_opened_in_every_line(path: Path) -> None:
    path.write_bytes(HEADER + b'2026-06-18,"carrot,1 kg,\n' * 100_000)


def every_weight_wrong_in_its_own_way(path: Path) -> None:
    with path.open("wb") as file:
        file.write(HEADER)
        for number in range(500_000):
            file.write(b"2026-06-18,carrot,%d kilogrum%d,\n" % (number, number))


def every_crop_unknown_in_its_own_way(path: Path) -> None:
    with path.open("wb") as file:
        file.write(HEADER)
        for number in range(1_000_000):
            file.write(b"2026-06-18,carot%d,1 kg,\n" % number)


def no_header_and_ten_million_lines(path: Path) -> None:
    with path.open("wb") as file:
        for _ in range(1000):
            file.write(GOOD * 10_000)


def ten_million_rows(path: Path) -> None:
    with path.open("wb") as file:
        file.write(HEADER)
        for _ in range(1000):
            file.write(GOOD * 10_000)


BOMBS: tuple[Callable[[Path], None], ...] = (
    one_cell_of_a_gigabyte,
    a_gigabyte_without_a_line_end,
    a_million_columns_in_the_header,
    a_million_cells_in_a_row,
    a_quote_opened_in_every_line,
    every_weight_wrong_in_its_own_way,
    every_crop_unknown_in_its_own_way,
    no_header_and_ten_million_lines,
    ten_million_rows,
)


def check(folder: Path) -> None:
    """Read the folder as `check` does, into a store that leaves nothing behind."""
    from pipeline.store.folder import opened
    from pipeline.store.load import load_folder

    with opened(folder, None, in_memory=True) as (store, settings):
        load_folder(store, folder, settings, dt.date(2026, 11, 20))
        (rows, accepted, aside), *_ = store.con.execute(
            "select rows, accepted, set_aside from out.load_summary"
        ).fetchall()
    assert rows == accepted + aside
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{rows:,} rows = {accepted:,} accepted + {aside:,} set aside | {peak:,.0f}", end="")


def main() -> None:
    if sys.argv[1:2] == ["--check"]:
        check(Path(sys.argv[2]))
        return
    print("| file | comes to | peak MiB | s |\n|---|---|---|---|")
    for bomb in (bomb for bomb in BOMBS if len(sys.argv) < 2 or bomb.__name__ in sys.argv):
        with tempfile.TemporaryDirectory() as folder:
            bomb(Path(folder) / "harvests.csv")
            started = time.monotonic()
            done = subprocess.run(
                [sys.executable, "-m", "tests.benchmarks.bomb_load", "--check", folder],
                capture_output=True,
                text=True,
                check=False,
            )
            said = done.stdout or done.stderr.strip().splitlines()[-1]
            print(f"| {bomb.__name__.replace('_', ' ')} | {said} | {time.monotonic() - started:.0f} |", flush=True)


if __name__ == "__main__":
    main()
