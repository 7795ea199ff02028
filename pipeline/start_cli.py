"""``rowshelf start``: a new season folder, with what is known of the garden asked for or given. Parse, call, print."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.console import note, printable, typed_path

if TYPE_CHECKING:
    from pipeline.questions import Answers

Text = str | None


def start(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", parser=typed_path, help="Name the season folder.")],
    *,
    workbook: Annotated[
        bool, typer.Option("--workbook", help="Write one .xlsx with a sheet per log instead of CSV.")
    ] = False,
    sheets: Annotated[
        bool, typer.Option("--sheets", help="Write sheets.html: A4 sheets to fill in with a pencil, for this garden.")
    ] = False,
    phone: Annotated[
        bool, typer.Option("--phone", help="Write logbook.html: a page to log on a telephone, without a network.")
    ] = False,
    no_ask: Annotated[
        bool, typer.Option("--no-ask", help="Ask nothing, as in a script; what no option says stays open.")
    ] = False,
    name: Annotated[Text, typer.Option("--name", help="Say what the garden is called.")] = None,
    city: Annotated[
        Text,
        typer.Option(
            "--city", metavar="TOWN", help='Name a town nearby, such as "Springfield, MO, US"; see --latitude.'
        ),
    ] = None,
    latitude: Annotated[
        Text,
        typer.Option("--latitude", metavar="DEGREES", help="Give degrees north, minus is south; a climate is guessed."),
    ] = None,
    longitude: Annotated[
        Text, typer.Option("--longitude", metavar="DEGREES", help="Give degrees east, minus is west.")
    ] = None,
    elevation: Annotated[
        Text, typer.Option("--elevation", metavar="METRES", help="Give the height above the sea.")
    ] = None,
    people: Annotated[Text, typer.Option("--people", help="Say how many people eat from the garden.")] = None,
    date_order: Annotated[
        Text, typer.Option("--date-order", help="Say how you write dates: day-first, month-first or iso.")
    ] = None,
    units: Annotated[Text, typer.Option("--units", help="Choose the units on the pages: metric or us.")] = None,
    pint: Annotated[
        Text, typer.Option("--pint", help="Say which pints, quarts and gallons you use: us or imperial.")
    ] = None,
    crops: Annotated[
        Text, typer.Option("--crops", metavar="NAME,NAME", help="Name the crops you grow, with commas between.")
    ] = None,
) -> None:
    """Make a season folder with blank logs and settings.

    It asks what it needs to know, and writes a page that explains each column.

    Nothing that is there already is touched. --sheets and --phone make their page anew from the folder as it is, and
    leave a folder that is begun alone otherwise.
    """
    if (sheets or phone) and _is_begun(folder):
        _write_pages(folder, sheets=sheets, phone=phone)
        return
    from pipeline.questions import answered, ask_for_the_rest
    from pipeline.start import SETTINGS_NAME, guessed_climate, known_crops, start_folder

    given = {
        "name": name,
        "city": city,
        "latitude": latitude,
        "longitude": longitude,
        "elevation_m": elevation,
        "people": people,
        "date_order": date_order,
        "report": units,
        "pint": pint,
        "crops": crops,
    }
    has_settings = (folder / SETTINGS_NAME).exists()
    asks = not (no_ask or has_settings) and sys.stdin is not None and sys.stdin.isatty()
    told = {key: text for key, text in given.items() if text is not None}
    lookup = known_crops() if crops or asks else {}
    answers = answered(told, lookup)
    if asks:
        note("A few questions; Enter leaves one open. None of the answers leaves this machine.")
        ask_for_the_rest(answers, lookup, _ask, note)
    climate, about_climate = guessed_climate(answers.latitude, answers.longitude, answers.elevation_m)
    written = start_folder(folder, workbook=workbook, values=answers.values, climate=climate)
    for path in written:
        sys.stdout.write(printable(f"{path}\n"))
    names = {path.name for path in written}
    for line in answers.notes:
        note(line)
    if climate is not None and "climate.csv" in names:
        note(about_climate)
    _say_what_stays(folder, answers, names, has_climate=climate is not None)
    if sheets or phone:
        _write_pages(folder, sheets=sheets, phone=phone)
    note(_next_step(folder, workbook=workbook, anything=bool(written)))


def _is_begun(folder: Path) -> bool:
    from pipeline.logbook.pages import is_season

    return is_season(folder)


def _write_pages(folder: Path, *, sheets: bool, phone: bool) -> None:
    from pipeline.logbook.pages import write_pages

    today = dt.datetime.now().astimezone().date()
    for path in write_pages(folder, today, phone=phone, sheets=sheets):
        sys.stdout.write(printable(f"{path}\n"))
    if phone:
        note("Copy logbook.html to the telephone and open it in a browser there; its files go into the folder.")
    if sheets:
        note("Open sheets.html and print it on A4, landscape.")


def _say_what_stays(folder: Path, answers: Answers, names: set[str], *, has_climate: bool) -> None:
    """What was said but could not be written, since a file is there already."""
    from schemas.settings import SETTINGS

    if answers.values and "rowshelf.toml" not in names:
        lines = [
            f"  [{setting.section}] {setting.key} = {answers.values[setting.key]}"
            for setting in SETTINGS
            if setting.key in answers.values
        ]
        note("\n".join([f"{folder / 'rowshelf.toml'} is there already and was not touched; write into it:", *lines]))
    if has_climate and "climate.csv" not in names:
        note(f"{folder / 'climate.csv'} is there already and was not touched; no climate was guessed.")


def _next_step(folder: Path, *, workbook: bool, anything: bool) -> str:
    if not anything:
        return f"{folder}: everything is there already; nothing was touched."
    if workbook:
        return f"Next: write into {folder / 'logs.xlsx'}, then `rowshelf check {folder}`."
    return (
        f'Next: write your first picking, such as `rowshelf add harvest {folder} carrot "1.2 kg"` (or into '
        f"harvests.csv), then `rowshelf check {folder}`."
    )


def _ask(question: str) -> str:
    """One answer from the terminal; nothing more where the input has ended."""
    sys.stderr.write(f"{question} ")
    sys.stderr.flush()
    return sys.stdin.readline()
