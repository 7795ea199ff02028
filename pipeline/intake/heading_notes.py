"""What a file and its headings were read as where their names are the grower's own: said once, and how to settle it."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.intake.headers import Header, plain_name
from pipeline.intake.read import LogText
from pipeline.intake.shape import shorten

Found = tuple[int, str, str | None, str, str, str]
"""Line, column, value, rule, level and message of a problem of a file as a whole."""


def heading_notes(text: LogText, header: Header) -> list[Found]:
    """One note of what was read by another name, and a question for each heading that fits two columns."""
    kind = text.file.kind
    said = [f"`{heading}` read as {column}" for heading, column in header.read_as]
    for column, first in header.shared.items():
        said.append(f"`{header.cells[header.columns[first]].strip()}` read as {first} or {column}, cell by cell")
    if text.file.told:
        said.insert(0, f"{text.file.told} read as {kind}")
    found: list[Found] = []
    if said:
        found.append((header.line, "", None, "read_as", "note", "; ".join(said)))
    missing = {name for names in header.missing for name in names}
    for heading, columns in header.questions:
        ways = " or ".join(f'"{heading}" = "{column}"' for column in columns)
        message = f"may mean {' or '.join(columns)}: write under [columns.{kind}] in rowshelf.toml {ways}"
        level = "error" if missing & set(columns) else "warning"
        found.append((header.line, heading, None, "which_column", level, message))
    if header.unit_line:
        line = shorten(" / ".join(cell.strip() for cell in header.unit_line if cell.strip()))
        message = "a line of units or notes below the header, no row of the log"
        found.append((header.last_line, "", line, "unit_line", "note", message))
    return found


def asked_for(header: Header, names: Sequence[str]) -> bool:
    """Whether a question already asks which heading means one of these columns."""
    return any(set(names) & set(columns) for _, columns in header.questions)


def to_settle(text: LogText) -> dict[str, dict[str, str]]:
    """What to write in rowshelf.toml so that nothing is taken by its meaning: by section, key and value."""
    lines: dict[str, dict[str, str]] = {}
    if text.file.told:
        lines["files"] = {text.file.told: text.file.kind}
    columns = dict(text.header.read_as) if text.header else {}
    if len({plain_name(heading) for heading in columns}) == len(columns) > 0:
        lines[f"columns.{text.file.kind}"] = columns
    return lines


def as_toml(found: dict[str, dict[str, str]]) -> list[str]:
    """Lines for rowshelf.toml."""
    lines: list[str] = []
    for section, body in found.items():
        lines.append(f"[{section}]")
        lines += [f"{_quoted(key)} = {_quoted(value)}" for key, value in body.items()]
    return lines


def _quoted(text: str) -> str:
    plain = " ".join(text.split()).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{plain}"'
