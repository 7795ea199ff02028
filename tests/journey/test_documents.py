"""README, ``--help`` and the code tell the same commands, options and groupings."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.main import get_command

from pipeline.cli import app, main
from schemas.factors import BY_NAME

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
COMMANDS = get_command(app).commands  # type: ignore[attr-defined]


def rows_of_commands() -> dict[str, str]:
    """The README's table of commands: the first cell's words before FOLDER, and the whole row."""
    table = README.partition("| command | answers |\n")[2].partition("\n\n")[0]
    rows = [row for row in table.splitlines() if row.startswith("| `")]
    return {re.match(r"\| `([a-z]+)", row)[1]: row for row in rows}  # type: ignore[index]


def test_the_readme_names_every_command_and_no_other() -> None:
    assert sorted(rows_of_commands()) == sorted(COMMANDS)


def test_the_readme_names_every_kitchen_sum_and_no_other() -> None:
    named = set(re.findall(r"`(?:kitchen )?([a-z]+)`", rows_of_commands()["kitchen"].split("|")[1]))
    assert named == set(COMMANDS["kitchen"].commands)


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_every_option_of_a_row_exists(command: str) -> None:
    row = rows_of_commands()[command]
    known = {
        name
        for one in (COMMANDS[command], *getattr(COMMANDS[command], "commands", {}).values())
        for parameter in one.params
        for name in parameter.opts
    }
    assert set(re.findall(r"--[a-z][a-z-]*", row)) <= known


def test_the_readme_and_the_help_name_every_grouping_in_order() -> None:
    groupings = re.findall(r"`([a-z_]+)`", rows_of_commands()["spoilage"].split("|")[2])
    by = next(parameter for parameter in COMMANDS["spoilage"].params if "--by" in parameter.opts)
    assert groupings == list(BY_NAME)
    assert f"by {', '.join(BY_NAME)};" in by.help


def every_help() -> list[tuple[str, str]]:
    """The help of each command, option and argument, with its place."""
    found = []
    waiting = [("rowshelf", get_command(app))]
    while waiting:
        place, command = waiting.pop()
        found.append((place, command.help or ""))
        found += [
            (f"{place} {parameter.opts[0]}", parameter.help or "")  # type: ignore[attr-defined]
            for parameter in command.params
            if parameter.opts != ["--help"]
        ]
        waiting += [(f"{place} {name}", one) for name, one in getattr(command, "commands", {}).items()]
    return found


def test_every_help_text_is_a_whole_sentence() -> None:
    told = every_help()
    assert len(told) > 150
    assert [place for place, text in told if not re.match(r"[A-Z1-9]", text) or not text.rstrip().endswith(".")] == []


@pytest.mark.parametrize("words", [[], ["kitchen"], ["add"]])
def test_lists_of_commands_cut_no_sentence(
    words: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    main([*words, "--help"])
    listed = capsys.readouterr().out.partition("Commands:")[2]
    assert len(listed.splitlines()) > 6
    assert "..." not in listed
