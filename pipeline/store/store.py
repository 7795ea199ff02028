"""4. The store: one DuckDB file that mirrors the folder. Schemas ``raw``, ``core`` and ``out``.

Hand-over between polars and DuckDB goes through the Arrow capsule of a frame, which needs no pyarrow.
"""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb
import polars as pl

from pipeline.errors import StoreError
from schemas.answer_table import Answer
from schemas.answers import ANSWERS
from schemas.contracts import core_types, polars_types
from schemas.logs import LOGS, Log

STORE_NAME = "rowshelf.duckdb"
STORE_VERSION = 2
"""Raised when the layout changes in more than columns; an older store is rebuilt from the logs, a newer one refused."""

WAITS, WAIT_SECONDS = 25, 0.2
"""How often, and how long each time, to wait for another program that holds the store."""

SQL_TYPES = {"text": "varchar", "int": "bigint", "float": "double", "bool": "boolean", "date": "date"}


class Arrow:
    """A polars frame as an Arrow stream, so that DuckDB does not ask for pyarrow."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self.frame = frame

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        """The frame's Arrow C stream."""
        return self.frame.__arrow_c_stream__(requested_schema)


class Store:
    """An open store. All that one command changes, it changes in one transaction."""

    def __init__(self, con: duckdb.DuckDBPyConnection) -> None:
        self.con = con

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything inside, or nothing.

        Raises:
            StoreError: the store cannot be written (disk full, read-only).
        """
        try:
            self.con.begin()
            yield
            self.con.commit()
        except duckdb.Error as error:
            self._roll_back()
            raise StoreError(_why_not_written(error)) from error
        except BaseException:
            self._roll_back()
            raise

    def _roll_back(self) -> None:
        try:
            self.con.rollback()
        except duckdb.Error:
            return  # nothing to roll back: the engine has done it

    def insert(self, table: str, frame: pl.DataFrame) -> None:
        """Append rows to ``schema.table``; columns are matched by name."""
        if frame.height:
            batch = Arrow(frame)  # noqa: F841 (found by name in the query)
            self.con.execute(f"insert into {table} by name select * from batch")  # noqa: S608

    def delete_lines(self, table: str, lines: pl.DataFrame) -> None:
        """Delete the rows of ``core`` that came from these (file, line) pairs."""
        if lines.height:
            batch = Arrow(lines.select("file", "line"))  # noqa: F841 (found by name in the query)
            self.con.execute(
                f"delete from {table} using batch "  # noqa: S608
                "where source_file = batch.file and source_line = batch.line"
            )

    def clear_cells(self, table: str, column: str, lines: pl.DataFrame) -> None:
        """Make one column unknown in the rows of ``core`` that came from these (file, line) pairs."""
        if lines.height:
            batch = Arrow(lines.select("file", "line"))  # noqa: F841 (found by name in the query)
            self.con.execute(
                f"update {table} set {column} = null from batch "  # noqa: S608
                "where source_file = batch.file and source_line = batch.line"
            )

    def frame(self, query: str, parameters: dict[str, object] | None = None) -> pl.DataFrame:
        """The rows of a query."""
        return pl.DataFrame(self.con.sql(query, params=parameters) if parameters else self.con.sql(query))

    def core(self, log_name: str) -> pl.DataFrame:
        """Accepted rows of one log in file and line order."""
        types = core_types(log_name)
        frame = self.frame(f"from core.{log_name} order by source_file, source_line")
        return frame.select(pl.col(name).cast(dtype) for name, dtype in types.items())

    def answer(self, name: str) -> pl.DataFrame:
        """One answer table as it stands in the store."""
        types = polars_types()
        frame = self.frame(f"from out.{name}")
        return frame.select(pl.col(column.name).cast(types[column.dtype]) for column in ANSWERS[name].columns)

    def save_answer(self, name: str, frame: pl.DataFrame) -> None:
        """Replace one answer table."""
        self.con.execute(f"delete from out.{name}")  # noqa: S608
        self.insert(f"out.{name}", frame)

    def create(self) -> None:
        """Lay out an empty store, with every column's meaning and unit as a comment."""
        for schema in ("raw", "core", "out"):
            self.con.execute(f"drop schema if exists {schema} cascade; create schema {schema}")
        for log in LOGS.values():
            self._create_log(log)
        lines = " union all ".join(f"select source_file, source_line from core.{log}" for log in LOGS)  # noqa: S608
        self.con.execute(f"create view core.accepted_lines as {lines}")
        for answer in ANSWERS.values():
            self._create_answer(answer)
        self.con.execute(
            "create table raw.files (file varchar, kind varchar, sha256 varchar, rows bigint, encoding varchar,"
            " delimiter varchar, header varchar, again boolean);"
            " create table raw.settings (name varchar, value varchar)"
        )
        self._comment("table raw.files", "every file read; again: read it again at the next change")
        self._comment("table raw.settings", "what the store was made with: version, rowshelf.toml, day")

    def _create_log(self, log: Log) -> None:
        raw = [*(column.name for column in log.columns), "extra", "source_file"]
        columns = ", ".join(f'"{name}" varchar' for name in raw)
        self.con.execute(f"create table raw.{log.name} ({columns}, source_line bigint)")
        self._comment(f"table raw.{log.name}", f"{log.one_row_is}, as typed")
        typed = ", ".join(f'"{name}" {SQL_TYPES[kind]}' for name, kind in log.core_columns.items())
        self.con.execute(f"create table core.{log.name} ({typed})")
        self._comment(f"table core.{log.name}", f"{log.one_row_is}: {log.why}")
        for column in log.columns:
            unit = f" ({column.unit})" if column.unit else ""
            for name, _ in column.core_columns:
                self._comment(f'column core.{log.name}."{name}"', f"{column.description}{unit}")

    def _create_answer(self, answer: Answer) -> None:
        columns = ", ".join(f'"{column.name}" {SQL_TYPES[column.dtype]}' for column in answer.columns)
        self.con.execute(f"create table out.{answer.name} ({columns})")
        self._comment(f"table out.{answer.name}", f"{answer.description} (one row per {answer.grain})")
        for column in answer.columns:
            unit = f" ({column.unit})" if column.unit else ""
            self._comment(f'column out.{answer.name}."{column.name}"', f"{column.description}{unit}")

    def _comment(self, thing: str, text: str) -> None:
        quoted = text.replace("'", "''")
        self.con.execute(f"comment on {thing} is '{quoted}'")

    def setting(self, name: str) -> str | None:
        """A fact that the store was made with."""
        # fetchall, not fetchone: a result left unfinished blocks the connection.
        rows = self.con.execute("select value from raw.settings where name = ?", [name]).fetchall()
        return str(rows[0][0]) if rows else None

    def set_setting(self, name: str, value: str) -> None:
        """Write a fact that the store was made with."""
        self.con.execute("delete from raw.settings where name = ?", [name])
        self.con.execute("insert into raw.settings values (?, ?)", [name, value])


@contextmanager
def open_store(path: Path | None) -> Iterator[Store]:
    """Open the store at ``path``, or one in memory; a new or older one is laid out empty.

    Raises:
        StoreError: another program holds it, it is no store, it is newer than this program, or the place
            cannot be written.
    """
    con = _connect(path)
    try:
        store = Store(con)
        _check_version(store, path)
        yield store
    except duckdb.Error as error:
        if not (isinstance(error, DAMAGE) or _is_damage(error)):
            raise
        message = f"{path}: the store cannot be read: {_first_line(error)}. {MADE_ANEW}"
        raise StoreError(message) from error
    finally:
        con.close()


DAMAGE = (duckdb.IOException, duckdb.FatalException, duckdb.InternalException, duckdb.SerializationException)
"""What the engine raises where the file, or the disk below it, is not as it should be."""
MADE_ANEW = "Move the file away: a new one is made from the logs."


def _connect(path: Path | None) -> duckdb.DuckDBPyConnection:
    """Connect, waiting briefly for another program to let go of the store."""
    for attempt in range(WAITS + 1):
        try:
            return duckdb.connect(
                ":memory:" if path is None else str(path), config={"autoinstall_known_extensions": False}
            )
        except duckdb.Error as error:
            if not _is_held(error) or attempt == WAITS:
                raise StoreError(_why_not(path, error)) from error
        time.sleep(WAIT_SECONDS)
    raise AssertionError


def _check_version(store: Store, path: Path | None) -> None:
    known = store.con.execute(
        "select 1 from information_schema.tables where table_schema = 'raw' and table_name = 'settings'"
    ).fetchall()
    found = store.setting("version") if known else None
    version = int(found) if found and found.isdigit() else 0
    if version > STORE_VERSION:
        message = (
            f"{path}: written by a newer rowshelf (store version {found}, this one knows {STORE_VERSION}). "
            "Update rowshelf, or move the file away: the logs hold everything and a new store is made from them."
        )
        raise StoreError(message)
    layout = _layout()
    if version < STORE_VERSION or store.setting("layout") != layout:
        tables = store.con.execute("select 1 from information_schema.tables").fetchall()
        if found is None and not known and tables:
            message = f"{path}: a database, but not one of rowshelf's. Move it away or name another with --store."
            raise StoreError(message)
        with store.transaction():
            store.create()
            store.set_setting("version", str(STORE_VERSION))
            store.set_setting("layout", layout)


def _layout() -> str:
    """A fingerprint of every table's columns; a store of another layout is rebuilt, also within a version."""
    tables = [(name, [column.name for column in log.columns], list(core_types(name))) for name, log in LOGS.items()]
    answers = [(name, [(c.name, c.dtype) for c in answer.columns]) for name, answer in ANSWERS.items()]
    return hashlib.sha256(repr((tables, answers)).encode()).hexdigest()


def _why_not(path: Path | None, error: duckdb.Error) -> str:
    text = str(error)
    if _is_held(error):
        holder = re.search(r"PID (\d+)", text)
        who = f"process {holder[1]}" if holder else "another program"
        return f"{path}: {who} is using the store. Wait until it has finished, then run this again."
    if "not a valid DuckDB database" in text:
        return f"{path}: not a store. {MADE_ANEW}"
    if _is_damage(error):
        return f"{path}: the store is damaged: {_first_line(error)}. {MADE_ANEW}"
    return (
        f"{path}: the store cannot be opened: {_first_line(error)}. Is the folder writable? "
        "(--store names another place)"
    )


def _is_held(error: duckdb.Error) -> bool:
    return any(words in str(error) for words in ("Conflicting lock", "set lock on file", "used by another process"))


def _is_damage(error: duckdb.Error) -> bool:
    return any(word in str(error) for word in ("replaying WAL", "checksum", "orrupt"))


def _why_not_written(error: duckdb.Error) -> str:
    """The engine may fail after the changes are safe; they count then."""
    if "succeeded and is durable" in str(error):
        return f"everything was written, but the disk is full or failing: {_first_line(error)}. Make room, then go on."
    if _is_damage(error):
        return f"the store is damaged: {_first_line(error)}. {MADE_ANEW}"
    return f"the store could not be written, and is as it was before: {_first_line(error)}"


def _first_line(error: Exception) -> str:
    return str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
