"""4. The store: one DuckDB file that mirrors the folder. Schemas ``raw``, ``core`` and ``out``.

Hand-over between polars and DuckDB goes through the Arrow capsule of a frame, which needs no pyarrow.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb
import polars as pl

from pipeline.errors import NotAStoreError, StoreError
from pipeline.store.connect import DAMAGE, MADE_ANEW, check_place, connected, first_line, is_damage
from schemas.answer_table import Answer
from schemas.answers import ANSWERS
from schemas.contracts import core_types, polars_types
from schemas.logs import LOGS, Log

STORE_NAME = "rowshelf.duckdb"
WAITS = 25
"""How often to wait for another program that holds the store."""
STORE_VERSION = 2
"""Raised when the layout changes in more than columns; an older store is rebuilt from the logs, a newer one refused."""

SCHEMAS = ("raw", "core", "out")
FILE_COLUMNS = {
    "file": "varchar",
    "kind": "varchar",
    "sha256": "varchar",
    "rows": "bigint",
    "encoding": "varchar",
    "delimiter": "varchar",
    "header": "varchar",
    "again": "boolean",
}
LINE_COLUMNS = {"source_file": "varchar", "source_line": "bigint"}
ALIKE = 8
"""So many tables with our very columns stand in no database but a store of ours."""
SETTING_COLUMNS = {"name": "varchar", "value": "varchar"}
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
        self.notes: tuple[str, ...] = ()
        """What to tell a person about the store itself."""

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

    def set_cells(self, table: str, column: str, cells: pl.DataFrame) -> None:
        """Set one column in the rows of ``core`` that came from these (file, line) pairs to their ``value``."""
        batch = Arrow(cells.select("file", "line", "value"))  # noqa: F841 (found by name in the query)
        self.con.execute(
            f"update {table} set {column} = batch.value from batch "  # noqa: S608
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

    def typed_words(self, log_name: str) -> pl.DataFrame:
        """Where each row of a log stands, its words as typed, and its unknown columns as JSON in ``extra``."""
        words = [name for name in ("method", "crop", "process") if name in core_types(log_name)]
        return self.frame(f"from raw.{log_name}").select("source_file", "source_line", "extra", *words)

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
        for schema in SCHEMAS:
            self.con.execute(f"create schema if not exists {schema}")
        self._drop_ours()
        for log in LOGS.values():
            self._create_log(log)
        lines = " union all ".join(f"select source_file, source_line from core.{log}" for log in LOGS)  # noqa: S608
        self.con.execute(f"create view core.accepted_lines as {lines}")
        for answer in ANSWERS.values():
            self._create_answer(answer)
        for name in ("files", "settings"):
            self._create_table("raw", name)
        self._comment("table raw.files", "every file read; again: read it again at the next change")
        self._comment("table raw.settings", "what the store was made with: version, rowshelf.toml, day")

    def _drop_ours(self) -> None:
        """Only what bears a name of ours: a table that a person added to the store stays."""
        ours = {*expected_columns(), ("core", "accepted_lines")}
        query = (
            "select schema_name, view_name, 'view' from duckdb_views() where database_name = current_database()"
            " union all"
            " select schema_name, table_name, 'table' from duckdb_tables() where database_name = current_database()"
        )
        for schema, name, kind in self.con.execute(query).fetchall():
            if (schema, name) in ours:
                self.con.execute(f'drop {kind} {schema}."{name}"')

    def _create_log(self, log: Log) -> None:
        self._create_table("raw", log.name)
        self._comment(f"table raw.{log.name}", f"{log.one_row_is}, as typed")
        self._create_table("core", log.name)
        self._comment(f"table core.{log.name}", f"{log.one_row_is}: {log.why}")
        for column in log.columns:
            unit = f" ({column.unit})" if column.unit else ""
            for name, _ in column.core_columns:
                self._comment(f'column core.{log.name}."{name}"', f"{column.description}{unit}")

    def _create_answer(self, answer: Answer) -> None:
        self._create_table("out", answer.name)
        self._comment(f"table out.{answer.name}", f"{answer.description} (one row per {answer.grain})")
        for column in answer.columns:
            unit = f" ({column.unit})" if column.unit else ""
            self._comment(f'column out.{answer.name}."{column.name}"', f"{column.description}{unit}")

    def _create_table(self, schema: str, name: str) -> None:
        columns = ", ".join(f'"{column}" {kind}' for column, kind in expected_columns()[schema, name])
        self.con.execute(f"create table {schema}.{name} ({columns})")

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


def expected_columns() -> dict[tuple[str, str], list[tuple[str, str]]]:
    """The columns and SQL types of each table of a store, by schema and name."""
    tables: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for log in LOGS.values():
        raw = [*(column.name for column in log.columns), "extra", "source_file"]
        tables["raw", log.name] = [*((name, "varchar") for name in raw), ("source_line", "bigint")]
        tables["core", log.name] = [(name, SQL_TYPES[kind]) for name, kind in log.core_columns.items()]
    for answer in ANSWERS.values():
        tables["out", answer.name] = [(column.name, SQL_TYPES[column.dtype]) for column in answer.columns]
    tables["raw", "files"] = list(FILE_COLUMNS.items())
    tables["raw", "settings"] = list(SETTING_COLUMNS.items())
    return tables


@contextmanager
def open_store(path: Path | None) -> Iterator[Store]:
    """Open the store at ``path``, or one in memory; a new, older or changed one is laid out empty.

    Raises:
        StoreError: another program holds it, it is no store, it is newer than this program, or the place
            cannot be written.
    """
    if path == Path(":memory:"):
        path = None
    if path is not None:
        check_place(path, STORE_NAME)
    with connected(path, WAITS) as con:
        try:
            store = Store(con)
            store.notes = _check_layout(store, path)
            yield store
        except duckdb.Error as error:
            if not (isinstance(error, DAMAGE) or is_damage(error)):
                raise
            message = f"{path}: the store cannot be read: {first_line(error)}. {MADE_ANEW}"
            raise StoreError(message) from error


def _check_layout(store: Store, path: Path | None) -> tuple[str, ...]:
    """Lay out a store that is new, older or not as it should be; what to tell a person of it."""
    found = _columns(store)
    expected = expected_columns()
    ours = bool(found) and _is_ours(store, found, expected)
    if found and not ours:
        message = (
            f"{path}: a database, but not one of rowshelf's; it was left as it is. Move it away, or name another file"
            " with --store."
        )
        raise NotAStoreError(message)
    kept = found.get(("raw", "settings")) == expected["raw", "settings"]
    version = store.setting("version") if kept else None
    if version and version.isdecimal() and int(version) > STORE_VERSION:
        message = (
            f"{path}: written by a newer rowshelf (store version {version}, this one knows {STORE_VERSION}). "
            "Update rowshelf, or move the file away: the logs hold everything and a new store is made from them."
        )
        raise StoreError(message)
    layout = _layout()
    if version == str(STORE_VERSION) and store.setting("layout") == layout:
        wrong = _differences(found, expected) or _rows_differ(store)
        if not wrong:
            return ()
    else:
        # an older store, made anew without a word; or one whose own settings are gone
        wrong = [] if not found or (version and version.isdecimal()) else ["raw.settings"]
    try:
        with store.transaction():
            store.create()
            store.set_setting("version", str(STORE_VERSION))
            store.set_setting("layout", layout)
    except StoreError as error:
        message = f"{path}: {error}. If a table of your own leans on those of the store, move the file away."
        raise StoreError(message) from error
    if not wrong:
        return ()
    shown = ", ".join(wrong[:3]) + (f" and {len(wrong) - 3} more" if len(wrong) > 3 else "")
    return (f"The store was not as rowshelf made it ({shown}), so it was made anew from the logs.",)


Columns = dict[tuple[str, str], list[tuple[str, str]]]


def _columns(store: Store) -> Columns:
    """The columns of every table and view that is in the store."""
    found: Columns = {}
    query = (
        "select schema_name, table_name, column_name, lower(data_type) from duckdb_columns()"
        " where database_name = current_database() and not internal order by schema_name, table_name, column_index"
    )
    for schema, table, column, kind in store.con.execute(query).fetchall():
        found.setdefault((schema, table), []).append((column, kind))
    return found


def _is_ours(store: Store, found: Columns, expected: Columns) -> bool:
    """By its own settings; where those are gone or changed, by most of the tables bearing our names."""
    if found.get(("raw", "settings")) == expected["raw", "settings"] and store.setting("version") is not None:
        return True
    alike = sum(found.get(name) == columns for name, columns in expected.items())
    return alike >= ALIKE or sum(name in found for name in expected) > len(expected) / 2


def _differences(found: Columns, expected: Columns) -> list[str]:
    """Tables that are missing, or whose columns are not those of the layout."""
    layout = {**expected, ("core", "accepted_lines"): list(LINE_COLUMNS.items())}
    return [f"{schema}.{name}" for (schema, name), columns in layout.items() if found.get((schema, name)) != columns]


def _rows_differ(store: Store) -> list[str]:
    """Whether the rows of each file are still as many as the last load wrote."""
    raw = " union all ".join(f"select source_file from raw.{log}" for log in LOGS)  # noqa: S608
    counts = "select source_file, count(*) from"
    pairs = (
        ("raw", f"{counts} ({raw}) group by all", "select file, rows from raw.files where rows is distinct from 0"),
        (
            "core",
            f"{counts} core.accepted_lines group by all",
            "select file, accepted from out.load_summary where accepted is distinct from 0",
        ),
    )
    return [
        f"rows of {schema}" for schema, counted, written in pairs if _counts(store, counted) != _counts(store, written)
    ]


def _counts(store: Store, query: str) -> Counter[tuple[object, ...]]:
    return Counter(store.con.execute(query).fetchall())


def _layout() -> str:
    """A fingerprint of every table's columns; a store of another layout is rebuilt, also within a version."""
    tables = [(name, [column.name for column in log.columns], list(core_types(name))) for name, log in LOGS.items()]
    answers = [(name, [(c.name, c.dtype) for c in answer.columns]) for name, answer in ANSWERS.items()]
    return hashlib.sha256(repr((tables, answers)).encode()).hexdigest()


def _why_not_written(error: duckdb.Error) -> str:
    """The engine may fail after the changes are safe; they count then."""
    if "succeeded and is durable" in str(error):
        return f"everything was written, but the disk is full or failing: {first_line(error)}. Make room, then go on."
    if is_damage(error):
        return f"the store is damaged: {first_line(error)}. {MADE_ANEW}"
    return f"the store could not be written, and is as it was before: {first_line(error)}"
