"""Contracts -> what people and programs read: data dictionary, Table Schema, blank logs, commented settings.

Table Schema and Data Package are open standards of the Frictionless Data project (specs.frictionlessdata.io,
version 1).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from schemas.answers import ANSWERS
from schemas.codes import CODES
from schemas.fields import AMOUNT, CODE, COUNT, CROP, DATE, MASS, NUMBER, TEMPERATURE, VOLUME, YES_NO, Field
from schemas.logs import LOGS, Log
from schemas.settings import SETTINGS

if TYPE_CHECKING:
    from collections.abc import Mapping

TABLE_SCHEMA_TYPES = {"date": "date", "float": "number", "int": "integer", "bool": "boolean", "text": "string"}

EXAMPLES = {
    DATE: "2026-06-18",
    MASS: "1.2 kg",
    VOLUME: "500 ml",
    TEMPERATURE: "18",
    NUMBER: "2.5",
    COUNT: "6",
    CROP: "carrot",
    YES_NO: "yes",
    AMOUNT: "24 plants",
}


def blank_columns(log: Log) -> tuple[Field, ...]:
    """The columns of an empty log."""
    return tuple(column for column in log.columns if column.name not in _OVERRIDES)


def blank_log(log: Log) -> str:
    """The header line of an empty log file."""
    return ",".join(column.name for column in blank_columns(log)) + "\n"


_OVERRIDES = frozenset(column.name for column in LOGS["crops"].columns[2:])
"""Reference values a grower may override: not in the blank crops.csv, since few ever need them."""


def how_to_write(field: Field) -> str:
    """How a cell of this column is written, in words."""
    if field.kind == CODE and field.code:
        return ", ".join(CODES[field.code].words)
    if field.kind in EXAMPLES:
        return f"such as {EXAMPLES[field.kind]}"
    return ANY_TEXT


ANY_TEXT = "any text"


def dictionary_markdown() -> str:
    """The data dictionary: every log, column, word and answer table."""
    lines = ["# What each log and column means", ""]
    for log in LOGS.values():
        lines += [f"## {log.name}.csv", "", f"One row is {log.one_row_is}. It {log.why}.", ""]
        lines += ["| column | needed | meaning | how to write it |", "|---|---|---|---|"]
        for column in log.columns:
            needed = "yes" if column.required else ""
            meaning = column.description.replace("|", "/")
            lines.append(f"| {column.name} | {needed} | {meaning} | {how_to_write(column)} |")
        for group in log.needs_one_of:
            lines.append(f"\nEach row fills in {' or '.join(f'`{name}`' for name in group)}.")
        lines.append("")
    lines += ["# Answer tables", "", "Shares run from 0 to 1; `_low` and `_high` are 95 % limits.", ""]
    for answer in ANSWERS.values():
        lines += [f"## {answer.name}", "", f"{answer.description}. One row per {answer.grain}.", ""]
        lines += ["| column | type | unit | meaning |", "|---|---|---|---|"]
        lines += [
            f"| {column.name} | {column.dtype} | {column.unit or ''} | {column.description} |"
            for column in answer.columns
        ]
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


def settings_toml(values: Mapping[str, str] | None = None) -> str:
    """``rowshelf.toml`` with every setting and its meaning, commented out but for the values given.

    Args:
        values: values by key, as TOML writes them.
    """
    given = values or {}
    lines = ["# Settings of this season folder. Every one may stay out; take the # away to set it.", ""]
    section = ""
    for setting in SETTINGS:
        if setting.section != section:
            section = setting.section
            of_a_name = {"needs": "# [needs.carrot]"}.get(section, f"# [{section}]" if "." in section else "")
            lines += ["", of_a_name or f"[{section}]"]
        lines.append(f"# {setting.description}")
        value = given.get(setting.key)
        lines.append(f"# {setting.key} = {setting.example}" if value is None else f"{setting.key} = {value}")
    return "\n".join(lines).replace("\n\n\n", "\n\n") + "\n"


def log_table_schema(log: Log) -> dict[str, object]:
    """Table Schema of the typed rows of a log."""
    fields: list[dict[str, object]] = []
    for column in log.columns:
        for name, kind in column.core_columns:
            fields.append(_schema_field(name, kind, column.description, column.unit) | _constraints(column, name))
    fields.append(_schema_field("source_file", "text", "file the row came from", None))
    fields.append(_schema_field("source_line", "int", "line in that file", None))
    schema: dict[str, object] = {"fields": fields}
    return schema | ({"primaryKey": list(log.key)} if log.key else {})


def answer_table_schema(name: str) -> dict[str, object]:
    """Table Schema of one answer table."""
    return {
        "fields": [
            _schema_field(column.name, column.dtype, column.description, column.unit)
            for column in ANSWERS[name].columns
        ]
    }


def _schema_field(name: str, dtype: str, description: str, unit: str | None) -> dict[str, object]:
    field: dict[str, object] = {"name": name, "type": TABLE_SCHEMA_TYPES[dtype], "description": description}
    if dtype == "bool":
        field |= {"trueValues": ["true"], "falseValues": ["false"]}
    return field | ({"unit": unit} if unit else {})


def _constraints(column: Field, name: str) -> dict[str, object]:
    rules: dict[str, object] = {}
    if column.required and not name.endswith("_estimated"):
        rules["required"] = True
    if name == column.core_columns[0][0]:
        rules |= {"minimum": column.ge} if column.ge is not None else {}
        rules |= {"maximum": column.le} if column.le is not None else {}
        rules |= {"enum": list(CODES[column.code].words)} if column.code else {}
    return {"constraints": rules} if rules else {}
