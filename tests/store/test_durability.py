"""A load leaves the state before or the state after: through a kill, a full disk, a second load, another version."""

from __future__ import annotations

import datetime as dt
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from pipeline.errors import RowshelfError, StoreError
from pipeline.settings import Settings
from pipeline.store import store as store_module
from pipeline.store.folder import opened
from pipeline.store.load import load_folder
from pipeline.store.store import STORE_NAME, open_store

AS_OF = dt.date(2026, 11, 20)
HEADER = "picked_on,crop,weight\n"
BEFORE = HEADER + "2026-06-18,carrot,1 kg\n"


def load(folder: Path) -> None:
    with open_store(folder / STORE_NAME) as store:
        load_folder(store, folder, Settings(), AS_OF)


def rows_in(folder: Path) -> dict[str, int]:
    """Rows of core by file."""
    with open_store(folder / STORE_NAME) as store:
        counted = store.con.execute("select source_file, count(*) from core.harvests group by all").fetchall()
        summary = store.con.execute("select file, accepted from out.load_summary where accepted > 0").fetchall()
        raw = store.con.execute("select source_file, count(*) from raw.harvests group by all").fetchall()
    assert sorted(counted) == sorted(summary) == sorted(raw)
    return dict(counted)


KILLED = """
import datetime as dt, os, signal, sys
from pathlib import Path
from pipeline.store.load import load_folder
from pipeline.settings import Settings
from pipeline.store.store import open_store
folder, calls = Path(sys.argv[1]), []
def progress(name):
    calls.append(name)
    if len(calls) == int(sys.argv[2]):
        os.kill(os.getpid(), signal.SIGKILL)
with open_store(folder / "rowshelf.duckdb") as store:
    load_folder(store, folder, Settings(), dt.date(2026, 11, 20), progress)
"""


@pytest.mark.parametrize(("call", "after"), [(3, False), (7, True)])
def test_a_load_that_is_killed_leaves_the_state_before_or_the_state_after(
    tmp_path: Path, call: int, after: bool
) -> None:
    """Progress is told twice per file: the kill comes while the second is read, or right after the commit."""
    (tmp_path / "harvests.csv").write_text(BEFORE)
    load(tmp_path)
    (tmp_path / "harvests.csv").write_text(BEFORE + "2026-06-19,carrot,2 kg\n")
    (tmp_path / "harvests-2.csv").write_text(BEFORE)
    (tmp_path / "harvests-3.csv").write_text(BEFORE)
    ended = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path), str(call)], check=False, timeout=120)
    assert ended.returncode == -signal.SIGKILL
    whole = {"harvests.csv": 2, "harvests-2.csv": 1, "harvests-3.csv": 1}
    assert rows_in(tmp_path) == (whole if after else {"harvests.csv": 1})
    load(tmp_path)
    assert rows_in(tmp_path) == whole


@contextmanager
def small_disk(place: Path, *options: str) -> Iterator[None]:
    """A disk in memory."""
    if os.geteuid() != 0:
        pytest.skip("only root can mount a small disk")
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", ",".join(options), "tmpfs", str(place)], check=False)
    if made.returncode:
        pytest.skip("mounting is not allowed here")
    try:
        yield
    finally:
        subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_leaves_the_old_state_and_says_so(tmp_path: Path) -> None:
    logs, disk = tmp_path / "logs", tmp_path / "disk"
    logs.mkdir()
    disk.mkdir()
    (logs / "harvests.csv").write_text(BEFORE)
    with small_disk(disk, "size=12m"):
        store_path = disk / "rowshelf.duckdb"
        with opened(logs, store_path) as (store, settings):
            load_folder(store, logs, settings, AS_OF)
        noise = "".join(f"2026-06-18,crop {n * 7919 % 1_000_003},{n} g\n" for n in range(150_000))
        (logs / "harvests-2.csv").write_text(HEADER + noise)
        (disk / "filler").write_bytes(b"x" * (12 * 2**20 - store_path.stat().st_size - 600_000))
        with (
            pytest.raises(StoreError, match=r"could not be written, and is as it was before: .*No space left"),
            opened(logs, store_path) as (store, settings),
        ):
            load_folder(store, logs, settings, AS_OF)
        (disk / "filler").unlink()
        with open_store(store_path) as store:
            assert store.con.execute("select count(*) from core.harvests").fetchone() == (1,)


def test_a_folder_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    with small_disk(disk, "size=1m"):
        (disk / "harvests.csv").write_text(BEFORE)
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        with pytest.raises(StoreError, match=r"cannot be opened: .*Is the folder writable"):
            load(disk)
        with opened(disk, tmp_path / "elsewhere.duckdb") as (store, settings):
            load_folder(store, disk, settings, AS_OF)
            assert store.core("harvests").height == 1
        with opened(disk, None, in_memory=True) as (store, settings):
            load_folder(store, disk, settings, AS_OF)
            assert store.core("harvests").height == 1
        assert [path.name for path in disk.iterdir()] == ["harvests.csv"]


HOLDING = """
import sys, time
import duckdb
con = duckdb.connect(sys.argv[1])
print("held", flush=True)
time.sleep(float(sys.argv[2]))
"""


@contextmanager
def held(path: Path, seconds: float) -> Iterator[subprocess.Popen[str]]:
    """Another program that has the store open."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLDING, str(path), str(seconds)], stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        other.stdout.readline()
        try:
            yield other
        finally:
            other.kill()


def test_a_second_load_waits_for_the_first(tmp_path: Path) -> None:
    (tmp_path / "harvests.csv").write_text(BEFORE)
    load(tmp_path)
    with held(tmp_path / STORE_NAME, 1.0):
        started = time.monotonic()
        load(tmp_path)
        assert time.monotonic() - started > 0.3


def test_a_second_load_that_waits_in_vain_says_who_holds_the_store(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_module, "WAITS", 2)
    (tmp_path / "harvests.csv").write_text(BEFORE)
    load(tmp_path)
    with held(tmp_path / STORE_NAME, 60) as other, pytest.raises(StoreError) as error:
        load(tmp_path)
    assert str(error.value) == (
        f"{tmp_path / STORE_NAME}: process {other.pid} is using the store. "
        "Wait until it has finished, then run this again."
    )
    assert rows_in(tmp_path) == {"harvests.csv": 1}


def test_of_two_loads_at_once_the_second_waits_or_says_who_holds_the_store(tmp_path: Path) -> None:
    (tmp_path / "harvests.csv").write_text(HEADER + "2026-06-18,carrot,1 kg\n" * 2_000)
    command = [sys.executable, "-c", "from pipeline.cli import run; run()", "load", str(tmp_path)]
    with subprocess.Popen([*command, "--as-of", "2026-11-20"]) as first:
        second = subprocess.run(
            [*command, "--as-of", "2026-11-20"], check=False, timeout=120, stderr=subprocess.PIPE, text=True
        )
        first.wait(timeout=120)
    ends = (first.returncode, second.returncode)
    assert ends == (0, 0) or (sorted(ends) == [0, 1] and (ends[0] or "is using the store" in second.stderr))
    assert rows_in(tmp_path) == {"harvests.csv": 2_000}


@pytest.mark.parametrize("at", [0, 4096, 12_288, 300_000])
def test_a_damaged_store_is_named_and_made_anew_once_it_is_moved_away(tmp_path: Path, at: int) -> None:
    (tmp_path / "harvests.csv").write_text(BEFORE)
    load(tmp_path)
    path = tmp_path / STORE_NAME
    whole = path.read_bytes()
    path.write_bytes(whole[:at] + bytes(byte ^ 0xFF for byte in whole[at : at + 200]) + whole[at + 200 :])
    try:
        load(tmp_path)
        found = rows_in(tmp_path)
    except StoreError as error:
        assert "Move the file away: a new one is made from the logs." in str(error)  # noqa: PT017
        path.unlink()
        load(tmp_path)
        found = rows_in(tmp_path)
    assert found == {"harvests.csv": 1}


def test_a_log_that_changes_while_it_is_read_leaves_the_state_before(tmp_path: Path) -> None:
    log = tmp_path / "harvests.csv"
    log.write_text(BEFORE)
    with open_store(None) as store, pytest.raises(RowshelfError, match="changed while it was read"):
        load_folder(store, tmp_path, Settings(), AS_OF, lambda _: log.write_text(HEADER))
    with open_store(None) as store:
        load_folder(store, tmp_path, Settings(), AS_OF)
        assert store.core("harvests").is_empty()


def test_a_log_that_vanishes_while_it_is_read_leaves_the_state_before(tmp_path: Path) -> None:
    log = tmp_path / "harvests.csv"
    log.write_text(BEFORE)
    with open_store(None) as store:
        with pytest.raises(RowshelfError, match="cannot be read"):
            load_folder(store, tmp_path, Settings(), AS_OF, lambda _: log.unlink(missing_ok=True))
        assert store.answer("load_summary").is_empty()
