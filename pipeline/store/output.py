"""Where output goes: into a folder that is new, empty or marked as ours, and nowhere else.

A folder is claimed before anything is worked out, so that a person is refused at once; its files are put in place at
the end, all or none.
"""

from __future__ import annotations

import errno
import os
import re
import shlex
import shutil
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from pipeline.errors import RowshelfError, UsageError
from pipeline.intake.read import ENDINGS, OUTPUT_MARKER, WORKBOOKS, checksum, kind_of, shown_path
from pipeline.store.folder import SETTINGS_NAME
from pipeline.store.manifest import (
    BEING_WRITTEN,
    OF_THE_SYSTEM,
    PRINTING,
    STAGING,
    Entry,
    contents,
    in_the_way,
    is_marked,
    ours_to_replace,
    read_entries,
    sha256,
)
from pipeline.store.swap import (
    Pieces,
    carry_over,
    clean_up,
    fill_in_place,
    hidden_name,
    make_staged,
    take_place,
    write_marker,
    write_whole,
)

MOST_NAMED = 3
ALONE = "share"
"""The command whose page goes to others: nothing of a season's own may lie beside it."""


@dataclass(frozen=True)
class Output:
    """A folder that a command may write to."""

    shown: Path
    """As the person named it."""
    place: Path
    """The same without links, so that it can be moved."""
    command: str
    option: str


def claim(out: Path | None, default: Path, command: str, sources: Sequence[Path]) -> Output:
    """The folder for a command's output. Nothing is written yet, but what killed runs left beside it is taken away.

    Args:
        out: the folder asked for.
        default: the folder if none is asked for.
        command: who writes.
        sources: the season folders that are read.

    Raises:
        UsageError: it is not new, empty or marked as ours, is a link, or holds a season folder.
    """
    shown = default if out is None else out
    option = "" if out is None else "--out "
    try:
        if shown.is_symlink():
            where = shown_path(Path(os.path.realpath(shown)))
            message = f"{option}{shown}: a link to {where}, and nothing is written through a link. {_say(shown)}"
            raise UsageError(message)
        target = Output(shown, Path(os.path.realpath(shown)), command, option)
        clean_up(target.place)
        if shown.is_dir():
            _check_folder(target, sources)
        elif shown.exists():
            message = f"{option}{shown}: is a file, not a folder. {_say(shown.with_name(shown.stem))}"
            raise UsageError(message)
        else:
            _check_parent(target)
    except OSError as error:
        raise UsageError(_not_written(option, shown, error)) from error
    return target


def _check_parent(target: Output) -> None:
    """Whether a new folder can be made, before anything is worked out for it."""
    above = next(parent for parent in target.place.parents if os.path.lexists(parent))
    if not above.is_dir():
        message = f"{target.option}{target.shown}: {above} is a file, so no folder can be made in it. Name another."
        raise UsageError(message)
    if not os.access(above, os.W_OK | os.X_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(above))


def _check_folder(target: Output, sources: Sequence[Path]) -> None:
    shown, place = target.shown, target.place
    seasons = {Path(os.path.realpath(source)) for source in sources}
    if place in seasons or (_holds_logs(place) and not is_marked(place)):
        # marked as output, its logs would be read as if there were none
        free = shlex.quote(str(free_name(shown / "review")))
        message = f"{target.option}{shown}: this is a season folder; name another folder, such as --out {free}."
        raise UsageError(message)
    if any(place in season.parents for season in seasons):
        message = f"{target.option}{shown}: holds the season folder itself. {_say(shown / 'review')}"
        raise UsageError(message)
    if not is_marked(place):
        lying = sorted(
            path.name
            for path in place.iterdir()
            if path.name.casefold() not in OF_THE_SYSTEM and not path.name.startswith(STAGING)
        )
        if lying:
            message = f"{target.option}{shown}: holds {_named(lying)} that rowshelf did not make. {_say(shown)}"
            raise UsageError(message)
    elif others := _other_commands(place, target.command):
        message = (
            f"{target.option}{shown}: holds what `rowshelf {others[0]}` wrote, and a page that goes to others stands"
            f" in a folder of its own. {_say(shown)}"
        )
        raise UsageError(message)


def _other_commands(place: Path, command: str) -> list[str]:
    """Commands whose files must not lie in one folder with those of this one."""
    found = {entry.command for entry in read_entries(place) or []} - {command}
    return sorted(found) if command == ALONE else sorted(found & {ALONE})


def _holds_logs(target: Path) -> bool:
    logs = (path for path in target.iterdir() if path.suffix.casefold() in ENDINGS | WORKBOOKS)
    return (target / SETTINGS_NAME).exists() or any(kind_of(path.name) for path in logs)


def _named(names: Sequence[str]) -> str:
    shown = ", ".join(shown_path(Path(name)) for name in names[:MOST_NAMED])
    more = len(names) - MOST_NAMED
    return f"{shown} and {more} more" if more > 0 else shown


def free_name(path: Path) -> Path:
    """The path, or the first of ``name-2``, ``name-3`` and so on, that nothing has yet."""
    if not os.path.lexists(path):
        return path
    numbered = (path.with_name(f"{path.stem}-{number}{path.suffix}") for number in count(2))
    return next(other for other in numbered if not os.path.lexists(other))


def _say(shown: Path) -> str:
    named = shown if shown.name else Path(os.path.realpath(shown)) / "review"
    return f"Nothing was written. Name a new or empty folder, such as --out {shlex.quote(str(free_name(named)))}."


def _not_written(option: str, shown: Path, error: OSError) -> str:
    return f"{option}{shown}: cannot be written ({error.strerror}). Name a folder of your own with --out."


def put(target: Output, files: Mapping[str, Pieces], also: Sequence[str] = ()) -> list[Path]:
    """Put files into a claimed folder, all of them or none; those of the command's earlier run leave with it.

    Args:
        target: the claimed folder.
        files: content by path inside it, whole or in pieces.
        also: names that will be added later, which nothing of a person's may stand in the way of.

    Returns:
        Their paths, as the person named the folder.

    Raises:
        UsageError: a file that is not ours, or that was changed since we wrote it, stands in the way.
        RowshelfError: the disk is full, or the folder cannot be written.
    """
    place = target.place
    staging: Path | None = None
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        replaced, kept = _what_stays(target, [*files, *also])
        staging, inside = _new_staging(place)
        entries = make_staged(staging, target.command, files)
        if inside:
            fill_in_place(staging, place, entries, replaced, kept)
        else:
            if place.exists():
                carry_over(place, staging, replaced)
            write_marker(staging, [*kept, *entries])
            take_place(staging, place)
    except OSError as error:
        _discard(staging)
        message = (
            f"{target.option}{target.shown}: cannot be written ({error.strerror}), and is as it was before. Is the disk"
            " full, or the folder read-only?"
        )
        raise RowshelfError(message) from error
    except BaseException:
        _discard(staging)
        raise
    return [target.shown / name for name in files]


def _discard(staging: Path | None) -> None:
    """Only a folder that never took the target's place: its list says that it is being written."""
    if staging is not None and staging.is_dir():
        with suppress(OSError):
            entries = read_entries(staging) if (staging / OUTPUT_MARKER).exists() else []
            if not entries or any(entry.sha256 == BEING_WRITTEN for entry in entries):
                shutil.rmtree(staging)


def _what_stays(target: Output, wanted: Sequence[str]) -> tuple[set[str], list[Entry]]:
    """Files of ours to be replaced, and the entries that stay in the list."""
    place = target.place
    if not place.exists():
        return set(), []
    if not is_marked(place):
        _check_folder(target, ())  # it may have been filled since it was claimed
    entries = read_entries(place) if is_marked(place) else []
    found = contents(place)
    replaced = ours_to_replace(found, entries, target.command, wanted)
    if standing := in_the_way(found, replaced, wanted):
        message = (
            f"{target.option}{target.shown}: {_named(standing)} would be written over, and rowshelf did not make it so"
            f" or it was changed since. {_say(target.shown)}"
        )
        raise UsageError(message)
    if entries is None:
        # From here on the marker tells which files are ours, also to the run that cleans up after this one.
        listed = [Entry(target.command, sha256(found.files[name].read_bytes()), name) for name in replaced]
        write_marker(place, listed)
    return replaced, [entry for entry in entries or [] if entry.command != target.command]


def _new_staging(place: Path) -> tuple[Path, bool]:
    """A new hidden folder beside the target; within it, where it is a disk of its own or its parent is locked."""
    if not (place.exists() and os.path.ismount(place)):
        beside = place.with_name(hidden_name(place))
        try:
            beside.mkdir()
        except OSError:
            if not place.exists():
                raise
        else:
            return beside, False
    within = place / hidden_name(place)
    within.mkdir()
    return within, True


def print_beside(
    page: Path, command: str, printer: Callable[[Path, Path], tuple[Path | None, str]]
) -> tuple[Path, str]:
    """Print a page that was just put in place to ``index.pdf`` beside it, whole or not at all.

    Args:
        page: the page.
        command: who wrote it.
        printer: prints a page to a file; gives the file, or None and why there is none.

    Returns:
        The file and no words, or a sentence that says why there is none.

    Raises:
        RowshelfError: it cannot be written.
    """
    place, name = Path(os.path.realpath(page.parent)), page.with_suffix(".pdf").name
    parts = [PRINTING, f"{PRINTING}.part"]
    try:
        others = [entry for entry in read_entries(place) or [] if entry.path not in {name, *parts}]
        write_marker(place, [*others, *(Entry(command, BEING_WRITTEN, part) for part in parts)])
        printed, why = printer(page, place / PRINTING)
        if printed:
            write_marker(place, [*others, Entry(command, checksum(printed), name)])
            printed.replace(place / name)
        else:
            write_marker(place, others)
    except OSError as error:
        message = f"{page.with_suffix('.pdf')}: cannot be written ({error.strerror}). Is the disk full?"
        raise RowshelfError(message) from error
    return page.with_suffix(".pdf"), why


OWN_CALENDAR = b"-//Rowshelf//Shelf//EN"
CALENDAR_ENDING = ".ics"


def check_calendar(path: Path) -> None:
    """Whether a calendar may be written there: a new file, or a calendar of ours that nobody has added to.

    Raises:
        UsageError: it may not.
    """
    if path.suffix.casefold() != CALENDAR_ENDING:
        stem = "shelf" if path.name.startswith(".") else path.stem
        better = shlex.quote(str(free_name(path.with_name(f"{stem}{CALENDAR_ENDING}")))) if path.name else "shelf.ics"
        message = f"--calendar {path}: the name of a calendar ends in .ics: write --calendar {better}."
        raise UsageError(message)
    other = f"Nothing was written. Name a new file, such as --calendar {shlex.quote(str(free_name(path)))}."
    try:
        if path.is_symlink():
            message = f"--calendar {path}: a link, and nothing is written through a link. {other}"
            raise UsageError(message)
        if os.path.lexists(path) and not (path.is_file() and _is_own_calendar(path.read_bytes())):
            message = f"--calendar {path}: is there already, and is not a calendar that rowshelf made. {other}"
            raise UsageError(message)
    except OSError as error:
        message = f"--calendar {path}: cannot be written ({error.strerror}). {other}"
        raise UsageError(message) from error


def _is_own_calendar(content: bytes) -> bool:
    makers = re.findall(rb"(?im)^PRODID[:;](.*?)\r?$", content)
    events = re.findall(rb"(?im)^BEGIN:VEVENT\r?$", content)
    ours = re.findall(rb"(?m)^UID:(?:look|ready|lid)-[0-9a-f]{16}@", content.replace(b"\r\n ", b""))
    return makers == [OWN_CALENDAR] and len(events) == len(ours)


def put_calendar(path: Path, content: bytes) -> Path:
    """Write a calendar, whole or not at all.

    Raises:
        UsageError: what is there is not ours.
        RowshelfError: it cannot be written.
    """
    check_calendar(path)
    part = path.with_name(hidden_name(path))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        clean_up(path)
        write_whole(part, content)
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        message = f"--calendar {path}: cannot be written ({error.strerror}). Is the disk full, or the folder read-only?"
        raise RowshelfError(message) from error
    return path
