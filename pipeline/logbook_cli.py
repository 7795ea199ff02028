"""``rowshelf add``: one row into a log. The options of each command are the columns of its log."""

from __future__ import annotations

import datetime as dt
import inspect
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.console import note
from pipeline.logbook.words import slots_of
from schemas.dictionary import how_to_write
from schemas.logs import ENTRIES, LATEST_DATE_COLUMN, LOGS, Log

if TYPE_CHECKING:
    from collections.abc import Callable

    from schemas.fields import Field

app = typer.Typer(
    name="add",
    add_completion=False,
    rich_markup_mode=None,
    help=(
        "Write one row into a log, checked as every row is. "
        "Such as: rowshelf add harvest GARDEN carrot '1.9 kg' --bed 8. "
        "A row that would be set aside is refused, and nothing is written."
    ),
)


@app.callback(invoke_without_command=True)
def undo(
    context: typer.Context,
    undo: Annotated[
        Path | None,
        typer.Option("--undo", metavar="FOLDER", help="Take back the last row that was added to this folder."),
    ] = None,
) -> None:
    """Take back the last row, or go on to the command named."""
    if undo is not None:
        from pipeline.logbook.entry import undo_row

        row = undo_row(undo)
        sys.stdout.write(f"Taken back from {row.file}: {row.understood}.\n")
        raise typer.Exit
    if context.invoked_subcommand is None:
        sys.stdout.write(context.get_help() + "\n")
        raise typer.Exit(2)


def _command(entry: str, log: Log) -> Callable[..., None]:
    """The command that adds one row to a log; its options are made from the columns of the contract."""

    def add(**given: object) -> None:
        from pipeline.logbook.entry import add_row

        folder, words, into, as_of = (given.pop(name) for name in ("FOLDER", "WORDS", "file", "as_of"))
        as_json = given.pop("json")
        named = {name: str(text) for name, text in given.items() if text is not None}
        texts = [str(word) for word in words] if isinstance(words, list) else []
        written = add_row(Path(str(folder)), entry, texts, named, _today(as_of), None if into is None else str(into))
        for line in written.notes:
            note(line)
        if as_json:
            answer = {"file": str(written.path), "line": written.line, "row": written.row, "notes": written.notes}
            sys.stdout.write(json.dumps(answer, ensure_ascii=False, default=str, indent=2) + "\n")
        else:
            sys.stdout.write(f"{written.path} line {written.line}: {written.understood}.\n")

    keyword, positional = inspect.Parameter.KEYWORD_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD
    takes = " ".join(slot.shown.replace(" or ", "|") for slot in slots_of(log))
    parameters = [
        inspect.Parameter(
            "FOLDER",
            positional,
            default=typer.Argument(..., metavar="FOLDER", help="Name the season folder."),
            annotation=Path,
        ),
        inspect.Parameter(
            "WORDS",
            positional,
            default=typer.Argument(
                None, metavar=f"[{takes}]", help="Write these in this order, or each by its option below."
            ),
            annotation=list[str] | None,
        ),
        *(
            inspect.Parameter(column.name, keyword, default=_option(column, log), annotation=str | None)
            for column in log.columns
        ),
        inspect.Parameter(
            "file",
            keyword,
            default=typer.Option(
                None, "--file", metavar="NAME", help="Write to this file; left out, to the newest of its kind."
            ),
            annotation=str | None,
        ),
        inspect.Parameter(
            "as_of",
            keyword,
            default=typer.Option(
                None, "--as-of", metavar="DATE", help="Count this day as today, in any form that the logs take."
            ),
            annotation=str | None,
        ),
        inspect.Parameter(
            "json",
            keyword,
            default=typer.Option(
                False, "--json", help="Print what was understood as JSON, and nothing else, on stdout."
            ),
            annotation=bool,
        ),
    ]
    add.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    add.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    add.__doc__ = f"Write {log.one_row_is}.\n\nThe row goes into {log.name}.csv."
    return add


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _option(column: Field, log: Log) -> object:
    own_day = column.name == LATEST_DATE_COLUMN.get(log.name)
    names = [f"--{column.name.replace('_', '-')}", *(["--date"] if own_day else [])]
    needed = ", needed" if column.required and not own_day else ""
    when = "; left out: today" if own_day else ""
    return typer.Option(
        None, *names, metavar="TEXT", help=f"{_capital(column.description)}{when}: {how_to_write(column)}{needed}."
    )


def _today(as_of: object) -> dt.date:
    from pipeline.logbook.days import as_of_day

    return as_of_day(None if as_of is None else str(as_of), dt.datetime.now().astimezone().date())


for _entry, _log in ENTRIES.items():
    app.command(_entry)(_command(_entry, LOGS[_log]))
