"""Commands: parse, call, print. Heavy libraries are imported inside, so that ``--help`` is fast."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline import kitchen_cli, logbook_cli, start_cli
from pipeline.console import CONTROLS, note, printable, typed_path
from pipeline.errors import RowshelfError, UsageError
from schemas.factors import BY_NAME

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.build import Answers
    from pipeline.seasons import Choice

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="From the row in the garden to the shelf in the pantry and back to the next sowing.",
    epilog="Exit status: 0 done, 1 the data has problems that stop this command, 2 wrong usage.",
)

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", parser=typed_path, help="Name the season folder.")]
AsOf = Annotated[
    str | None,
    typer.Option(
        "--as-of",
        metavar="DATE",
        help="Count this day as today, in any form that the logs take; later rows do not count yet.",
    ),
]
SeasonAsked = Annotated[
    str | None,
    typer.Option(
        "--season",
        metavar="YEAR",
        help="Review this season, such as 2026 or 2025/26; left out, it is the last with enough logged.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the answer as JSON, and nothing else, on stdout.")]
Wide = Annotated[bool, typer.Option("--wide", help="Show every column and row, however long the lines.")]
StorePath = Annotated[
    Path | None,
    typer.Option(
        "--store", metavar="FILE", parser=typed_path, help="Keep the store in this file instead of in FOLDER."
    ),
]
Out = Annotated[
    Path | None, typer.Option("--out", metavar="DIR", parser=typed_path, help="Write files into this folder.")
]
Seed = Annotated[
    int,
    typer.Option(
        "--seed", min=0, help="Start the random draws from this number; the same number gives the same answer."
    ),
]
AsPdf = Annotated[bool, typer.Option("--pdf", help="Also print the page to index.pdf, by an installed browser.")]
AsPictures = Annotated[bool, typer.Option("--pictures", help="Also write each chart to charts/, as SVG and as PNG.")]


app.add_typer(kitchen_cli.app)
app.add_typer(logbook_cli.app)
app.command()(start_cli.start)


@app.callback()
def options(
    debug: Annotated[bool, typer.Option("--debug", help="Show the program's own trace of an error.")] = False,
) -> None:
    """Options of every command."""
    del debug  # taken out of the arguments in main(), so that it may stand anywhere


@app.command()
def check(
    folder: Folder,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="DIR",
            parser=typed_path,
            help="Also write the list into this folder as problems.csv, to tick off.",
        ),
    ] = None,
    as_of: AsOf = None,
    json: AsJson = False,
) -> None:
    """Read and check all logs, and list what to mend.

    Nothing is written into the folder. The exit status is 1 if any row is set aside.
    """
    from pipeline import build
    from reports import terminal

    result = build.check(
        folder, _today(as_of), note_progress, out, None if json else terminal.MOST_SHOWN, choice=_choice()
    )
    if result.lead:
        note(result.lead)
    if json:
        say(terminal.check_json(result.summary, result.problems))
    else:
        text = terminal.check_text(result.summary, result.problems, result.counts, result.mends, result.to_settle)
        say(_folded(text))
    _notes(result.notes)
    if result.summary["set_aside"].sum():
        raise typer.Exit(1)


@app.command()
def load(folder: Folder, as_of: AsOf = None, store: StorePath = None, json: AsJson = False) -> None:
    """Bring the store in line with the folder."""
    from pipeline import build
    from reports import terminal

    result = build.load(
        folder, _today(as_of), store, note_progress, None if json else terminal.MOST_SHOWN, choice=_choice()
    )
    say(terminal.check_json(result.summary, result.problems) if json else terminal.load_text(result.summary))
    _notes(result.notes)


@app.command()
def review(
    folder: Folder,
    out: Out = None,
    season: SeasonAsked = None,
    as_of: AsOf = None,
    store: StorePath = None,
    seed: Seed = 1,
    pdf: AsPdf = False,
    pictures: AsPictures = False,
) -> None:
    """Write the season review as one page with its tables."""
    from pipeline import build

    page = build.review(
        folder,
        _today(as_of),
        store,
        out,
        seed,
        note_progress,
        pictures=pictures,
        also=_printed(pdf=pdf),
        choice=_choice(season),
    )
    say(str(page))
    if pdf:
        _print_pdf(page, "review")


@app.command()
def spoilage(
    folder: Folder,
    by: Annotated[
        str,
        typer.Option("--by", help=f"Compare batches by {', '.join(BY_NAME)}; or by two of them, with a comma between."),
    ] = "method",
    as_of: AsOf = None,
    store: StorePath = None,
    seed: Seed = 1,
    json: AsJson = False,
    wide: Wide = False,
) -> None:
    """Tell what kept and what spoiled."""
    from pipeline import build

    _print(
        build.spoilage(folder, by, _today(as_of), store, seed, note_progress, choice=_choice()), as_json=json, wide=wide
    )


@app.command()
def gluts(
    folder: Folder,
    season: SeasonAsked = None,
    as_of: AsOf = None,
    store: StorePath = None,
    seed: Seed = 1,
    json: AsJson = False,
    wide: Wide = False,
) -> None:
    """Tell where each crop went, and what waste came from gluts."""
    from pipeline import build

    _print(
        build.gluts(folder, _today(as_of), store, seed, note_progress, choice=_choice(season)), as_json=json, wide=wide
    )


@app.command()
def shelf(
    folder: Folder,
    calendar: Annotated[
        Path | None,
        typer.Option(
            "--calendar",
            metavar="FILE.ics",
            parser=typed_path,
            help="Write looks and ready dates into this calendar file.",
        ),
    ] = None,
    as_of: AsOf = None,
    store: StorePath = None,
    json: AsJson = False,
    wide: Wide = False,
) -> None:
    """Tell what is on the shelf and what to use or look at first.

    It also tells when each runs out, and which batches break a published limit.
    """
    from pipeline import build

    _print(
        build.shelf(folder, _today(as_of), store, calendar, note_progress, choice=_choice()), as_json=json, wide=wide
    )


@app.command()
def labels(
    folder: Folder,
    batches: Annotated[
        str | None,
        typer.Option("--batches", metavar="ID,ID", help="Print these batches only; left out, all that are on hand."),
    ] = None,
    sheet: Annotated[str, typer.Option("--sheet", help="Print on paper of this size, a4 or letter.")] = "a4",
    skip: Annotated[
        int,
        typer.Option(
            "--skip", help="Leave so many labels of the first sheet empty, because they are used already.", min=0
        ),
    ] = 0,
    out: Out = None,
    as_of: AsOf = None,
    store: StorePath = None,
) -> None:
    """Write labels to print for the batches on hand.

    Each has a code to scan.
    """
    from pipeline import build

    chosen = [name.strip() for name in (batches or "").split(",") if name.strip()]
    say(str(build.labels(folder, chosen, sheet, skip, _today(as_of), store, out, note_progress, choice=_choice())))


@app.command()
def sow(
    folder: Folder,
    *,
    simple: Annotated[
        bool, typer.Option("--simple", help="Sow at equal steps of warmth, which is nearly as good.")
    ] = False,
    outlook: Annotated[
        bool, typer.Option("--outlook", help="Tell instead what stands now and will be ripe in the next eight weeks.")
    ] = False,
    out: Out = None,
    as_of: AsOf = None,
    store: StorePath = None,
    seed: Seed = 1,
    json: AsJson = False,
    wide: Wide = False,
) -> None:
    """Make the staggered sowing plan for the next season.

    It comes as table, CSV and calendar. With --outlook it tells instead what is coming in this one.
    """
    from pipeline import build

    if outlook and simple:
        message = "--outlook and --simple: an outlook makes no plan; name one of the two."
        raise UsageError(message)
    if outlook:
        answers, written = build.outlook(folder, _today(as_of), store, out, seed, note_progress, choice=_choice())
    else:
        answers, written = build.sow(
            folder, _today(as_of), store, out, seed, note_progress, simple=simple, choice=_choice()
        )
    _print(answers, as_json=json, wide=wide)
    for path in written:
        note(str(path))


@app.command()
def share(
    folders: Annotated[
        list[Path], typer.Argument(metavar="FOLDER...", parser=typed_path, help="Name one or many season folders.")
    ],
    out: Out = None,
    as_of: AsOf = None,
    seed: Seed = 1,
    pdf: AsPdf = False,
    pictures: AsPictures = False,
) -> None:
    """Write the report of many plots without exposing anyone."""
    from pipeline.share import share as share_folders

    shared = share_folders(
        folders, _today(as_of), out, seed, note_progress, pictures=pictures, also=_printed(pdf=pdf), today=_clock()
    )
    say(str(shared.page))
    _notes(shared.notes)
    if pdf:
        _print_pdf(shared.page, "share")


@app.command()
def export(
    folder: Folder,
    out: Out = None,
    form: Annotated[str, typer.Option("--form", help="Write this form, csv or parquet.")] = "csv",
    season: SeasonAsked = None,
    as_of: AsOf = None,
    store: StorePath = None,
    seed: Seed = 1,
) -> None:
    """Write all logs and answers as CSV or Parquet files.

    A Data Package description stands beside them.
    """
    from pipeline import build

    if form not in {"csv", "parquet"}:
        message = f"--form {form}: write csv or parquet."
        raise UsageError(message)
    say(str(build.export(folder, _today(as_of), store, out, form, seed, note_progress, choice=_choice(season))))


def _printed(*, pdf: bool) -> tuple[str, ...]:
    return ("index.pdf",) if pdf else ()


def _print_pdf(page: Path, command: str) -> None:
    """The page as ``index.pdf`` beside it; without a browser a note says how to print it, and that is no failure."""
    from pipeline.store.output import print_beside
    from reports.picture import print_pdf

    note_progress("printing the page")
    printed, why = print_beside(page, command, print_pdf)
    note_progress("")
    if why:
        note(why)
    else:
        say(str(printed))


def _print(answers: Answers, *, as_json: bool, wide: bool) -> None:
    from reports import terminal

    if as_json:
        say(terminal.answers_json(answers.as_of, answers.tables, answers.notes))
    else:
        own = answers.own_words
        tables = own.tables(answers.tables | answers.brief)
        say(terminal.answers_text(tables, answers.shown, map(own.text, answers.sentences), wide=wide))
        _notes([own.text(note) for note in answers.notes])


def _notes(notes: Sequence[str]) -> None:
    for line in notes:
        note(line)


def _folded(text: str) -> str:
    """The text for the width of a terminal; a file or another program gets each line whole."""
    from reports.fitting import fold_lines

    return fold_lines(text, shutil.get_terminal_size().columns) if sys.stdout.isatty() else text


def say(text: str) -> None:
    """The answer, on stdout."""
    whole = text.rstrip("\n") + "\n"
    encoding = sys.stdout.encoding or "utf-8"
    sys.stdout.write(printable(whole).encode(encoding, "backslashreplace").decode(encoding))


def note_progress(text: str) -> None:
    """Progress, shown only to a person."""
    if sys.stderr.isatty():
        width = shutil.get_terminal_size().columns - 1  # a longer line would not be cleared by the next
        shown = CONTROLS.sub("\ufffd", text.replace("\n", " "))[:width]
        sys.stderr.write(f"\r\x1b[K{shown}")
        sys.stderr.flush()


def _clock() -> dt.date:
    return dt.datetime.now().astimezone().date()


def _today(as_of: str | None) -> dt.date:
    if as_of is None:
        return _clock()
    from pipeline.logbook.days import as_of_day

    return as_of_day(as_of, _clock())


def _choice(season: str | None = None) -> Choice:
    from pipeline.seasons import Choice

    return Choice(season, _clock())


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and give its exit status; the only place where errors become words."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    debug = "--debug" in given
    try:
        app(args=[argument for argument in given if argument != "--debug"], prog_name="rowshelf")
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else 1
    except BrokenPipeError:
        # The reader of our output has gone (as with `| head`): not our failure, and nothing more to say.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except RowshelfError as error:
        if debug:
            raise
        note(f"rowshelf: {error}")
        return error.exit_code
    except Exception as error:
        if debug:
            raise
        note(f"rowshelf: a fault in the program itself ({type(error).__name__}: {error}). Run it again with --debug.")
        return 1
    return 0


def run() -> None:
    """The ``rowshelf`` command."""
    sys.exit(main())
