"""The journey in one place: folder -> store -> answers -> pages and files. Input and output stand at its ends."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from pipeline import answers as answering
from pipeline.answers import Logs, Tables, read_logs
from pipeline.errors import UsageError
from pipeline.findings.harvest import harvest_findings
from pipeline.findings.season import plan_findings
from pipeline.reference.own_words import OwnWords
from pipeline.seasons import Choice
from pipeline.settings import Settings
from pipeline.store.folder import opened, read_settings
from pipeline.store.load import LoadReport, load_folder
from pipeline.store.output import Output, check_calendar, claim, put, put_calendar
from pipeline.store.problem_list import first_problems, mends, problem_counts, problems_with_rows
from pipeline.store.store import Store
from schemas.answers import ANSWERS
from schemas.contracts import polars_types
from schemas.page import Finding, Garden
from schemas.words.food import FOOD_CAUTION

Progress = Callable[[str], None]
USUAL = Choice()


@dataclass(frozen=True)
class Loaded:
    """What a load or a check found."""

    summary: pl.DataFrame
    problems: pl.DataFrame
    counts: pl.DataFrame
    """How many problems there are of each file, level and rule."""
    notes: tuple[str, ...]
    mends: pl.DataFrame
    """What mends most rows, of :func:`pipeline.store.problem_list.mends`."""
    to_settle: tuple[str, ...] = ()
    """Lines of rowshelf.toml that say for good how headings and files were read."""
    lead: str = ""
    """What is to be said before all else."""


@dataclass(frozen=True)
class Answers:
    """The answer of one command: its tables, which of them a terminal shows, and what to say beside them."""

    as_of: dt.date
    tables: Tables
    shown: tuple[str, ...]
    sentences: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    brief: Tables = field(default_factory=dict, repr=False)
    """Tables of which a terminal shows fewer rows."""
    own_words: OwnWords = field(default_factory=OwnWords, repr=False)
    """What the folder calls its crops; ``tables`` have the reference's names, as JSON and CSV do."""


def check(
    folder: Path,
    as_of: dt.date,
    progress: Progress,
    out: Path | None = None,
    most: int | None = None,
    *,
    choice: Choice = USUAL,
) -> Loaded:
    """Read and validate a folder; nothing is written but ``problems.csv`` in the folder ``out``, if one is named.

    ``most`` is how many problems of each file are told; all, if it is None.
    """
    from reports.terminal import problems_csv

    target = None if out is None else claim_for(folder, out, out, "check")
    with opened(folder, None, in_memory=True) as (store, settings):
        loaded = _loaded(store, load_folder(store, folder, settings, as_of, progress, choice.today), most)
        loaded = replace(loaded, lead=_place_unknown(store, settings))
        if target is None:
            return loaded
        written = put(target, {"problems.csv": problems_csv(problems_with_rows(store))})
        return replace(loaded, notes=(*loaded.notes, str(written[0])))


def _place_unknown(store: Store, settings: Settings) -> str:
    """What to do where nothing says what the garden's weather is; an empty text where something does."""
    if settings.latitude is not None or any(store.core(log).height for log in ("weather", "climate")):
        return ""
    return (
        "Where the garden lies is not known: there is no latitude in rowshelf.toml, no weather and no climate. Write "
        "latitude under [garden], such as latitude = 45.0 (minus is south), or daily temperatures into weather.csv; "
        "until then no date that rests on warmth is worth much, and seasons are taken to be northern."
    )


def claim_for(folder: Path, out: Path | None, default: Path, command: str) -> Output:
    """The folder for a command's output, refused before anything is worked out; the season folder comes first."""
    read_settings(folder)
    return claim(out, default, command, [folder])


def load(
    folder: Path,
    as_of: dt.date,
    store_path: Path | None,
    progress: Progress,
    most: int | None = None,
    *,
    choice: Choice = USUAL,
) -> Loaded:
    """Bring the store in line with the folder, and hold every batch against the published limits."""
    with opened(folder, store_path) as (store, settings):
        report = load_folder(store, folder, settings, as_of, progress, choice.today)
        cautions = answering.cautions_of(read_logs(store, settings, as_of))
        with store.transaction():
            store.save_answer("cautions", cautions)
        flagged = cautions["batch_id"].n_unique()
        said = (f"{flagged} batches break a published limit or leave it open: see `rowshelf shelf` or the review.",)
        loaded = _loaded(store, report, most)
        return replace(loaded, notes=loaded.notes + (said if flagged else ()))


def _loaded(store: Store, report: LoadReport, most: int | None) -> Loaded:
    everything = (
        store.answer("problems").sort("file", "line", "column") if most is None else first_problems(store, most)
    )
    summary = store.answer("load_summary")
    return Loaded(summary, everything, problem_counts(store), report.notes, mends(store), report.to_settle)


def _read(
    folder: Path, as_of: dt.date, store_path: Path | None, progress: Progress, choice: Choice
) -> tuple[LoadReport, Logs]:
    """The typed logs of a folder, its store brought in line first."""
    with opened(folder, store_path) as (store, settings):
        report = load_folder(store, folder, settings, as_of, progress, choice.today)
        return report, read_logs(store, settings, as_of, choice.season)


def spoilage(
    folder: Path,
    by: str,
    as_of: dt.date,
    store_path: Path | None,
    seed: int,
    progress: Progress,
    *,
    choice: Choice = USUAL,
) -> Answers:
    """What kept and what spoiled, by the columns that ``by`` names."""
    columns = answering.grouping_columns(by)
    report, logs = _read(folder, as_of, store_path, progress, choice)
    tables = answering.spoilage_answers(logs, [columns], seed)
    published = {name: table for name, table in tables.items() if name in ANSWERS}
    findings = answering.spoilage_sentences(logs, tables, columns)
    sentences = (*answering.findings_of("spoilage", findings), *answering.findings_of("trials", findings))
    shown = ("salt_response", "salt_levels", "spoilage_differences", "trials")
    kept = ("spoilage", *(name for name in shown if published[name].height))
    return Answers(as_of, published, kept, sentences, (*report.notes, FOOD_CAUTION), own_words=logs.own_words)


def gluts(
    folder: Path,
    as_of: dt.date,
    store_path: Path | None,
    seed: int,
    progress: Progress,
    *,
    choice: Choice = USUAL,
) -> Answers:
    """The balance per crop and week of the season, and the waste that came from gluts."""
    report, logs = _read(folder, as_of, store_path, progress, choice)
    tables, notes = answering.harvest_answers(logs, seed)
    first, last = logs.season
    season = f"Season {first.isoformat()} to {last.isoformat()}. {logs.season_sentence}".rstrip()
    findings = harvest_findings(tables["glut_waste"], nothing("shelf"), nothing("use_first"), nothing("needs"))
    sentences = (season, *answering.findings_of("harvest", findings))
    shown = ("glut_waste", "sowing_waste")
    return Answers(as_of, tables, shown, sentences, (*report.notes, *notes), own_words=logs.own_words)


def shelf(
    folder: Path,
    as_of: dt.date,
    store_path: Path | None,
    calendar: Path | None,
    progress: Progress,
    *,
    choice: Choice = USUAL,
) -> Answers:
    """What is on the shelf, what to use first and when it runs out; with a calendar of looks if one is named."""
    if calendar is not None:
        read_settings(folder)
        check_calendar(calendar)
    report, logs = _read(folder, as_of, store_path, progress, choice)
    tables = answering.shelf_answers(logs)
    findings = harvest_findings(nothing("glut_waste"), tables["shelf"], tables["use_first"], nothing("needs"))
    first = [finding.sentence for finding in answering.caution_sentences(logs, tables["cautions"])]
    sentences = (*first, *answering.findings_of("shelf", [*findings, *answering.forecast_sentences(logs)]))
    shown = ("shelf", "use_first", "shelf_forecast", "cautions")
    said = []
    if calendar is not None:
        written = shelf_calendar_file(logs, tables, calendar)
        said = [str(written) if written else "Nothing is due, so no calendar was written."]
    return Answers(as_of, tables, shown, sentences, (*report.notes, *said, FOOD_CAUTION), own_words=logs.own_words)


def shelf_calendar_file(logs: Logs, tables: Tables, path: Path) -> Path | None:
    """Looks due, ready dates and lid changes as a calendar file; None where nothing is due."""
    from pipeline.kitchen.looks import shelf_events
    from reports.looks_calendar import shelf_calendar

    events = shelf_events(logs["batches"], tables["use_first"], answering.ready_of(logs), logs.as_of)
    content = shelf_calendar(logs.own_words.table(events), logs.settings.name, logs.as_of)
    return put_calendar(path, content) if content else None


def labels(
    folder: Path,
    chosen: Sequence[str],
    sheet: str,
    skip: int,
    as_of: dt.date,
    store_path: Path | None,
    out: Path | None,
    progress: Progress,
    *,
    choice: Choice = USUAL,
) -> Path:
    """A printable sheet of labels of batches on hand, or of the batches named; its path is returned."""
    from pipeline.kitchen.looks import label_facts
    from reports.labels import label_sheet

    target = claim_for(folder, out, folder / "labels", "labels")
    _, logs = _read(folder, as_of, store_path, progress, choice)
    tables = answering.shelf_answers(logs)
    facts = label_facts(
        logs["batches"], answering.batches_by_day(logs), answering.ready_of(logs), tables["cautions"], logs.as_of
    )
    if chosen:
        missing = sorted(set(chosen) - set(facts["batch_id"]))
        if missing:
            message = f"--batches: no containers on hand of {', '.join(missing)}."
            raise UsageError(message)
        facts = facts.filter(pl.col("batch_id").is_in(list(chosen)))
    try:
        page = label_sheet(logs.own_words.table(facts), garden_name=logs.settings.name, sheet=sheet, skip=skip)
    except ValueError as error:
        raise UsageError(str(error)) from error
    return put(target, {"labels.html": page.encode()})[0]


def sow(
    folder: Path,
    as_of: dt.date,
    store_path: Path | None,
    out: Path | None,
    seed: int,
    progress: Progress,
    *,
    simple: bool = False,
    choice: Choice = USUAL,
) -> tuple[Answers, list[Path]]:
    """The sowing plan for the next season, and the files it was written to."""
    target = claim_for(folder, out, folder / "plan", "sow")
    report, logs = _read(folder, as_of, store_path, progress, choice)
    progress("planning")
    tables, notes = answering.plan_answers(logs, seed, simple=simple, bound=True)
    progress("")
    written: list[Path] = []
    if tables["sowing_plan"].height:
        written = _write_plan(target, tables, logs.settings.name, as_of, logs.own_words)
    shown = ("sowing_plan", "plan_comparison", "needs", "crop_timing")
    findings = plan_findings(tables["sowing_plan"], tables["plan_comparison"])
    sentences = answering.findings_of("plan", findings)
    return Answers(as_of, tables, shown, sentences, (*report.notes, *notes), own_words=logs.own_words), written


def outlook(
    folder: Path,
    as_of: dt.date,
    store_path: Path | None,
    out: Path | None,
    seed: int,
    progress: Progress,
    *,
    choice: Choice = USUAL,
) -> tuple[Answers, list[Path]]:
    """What stands in the ground and is likely to come in the next eight weeks, and the file it was written to."""
    from reports.tables import answer_csv

    target = claim_for(folder, out, folder / "plan", "sow --outlook")
    report, logs = _read(folder, as_of, store_path, progress, choice)
    tables, notes = answering.outlook_answers(logs, seed)
    table = tables["season_outlook"]
    coming = table.filter(pl.col("kg_p90") >= LEAST_SHOWN_KG)
    written: list[Path] = []
    if table.height:
        written = put(target, {"season_outlook.csv": answer_csv(table).encode()})
    shown: tuple[str, ...] = ("season_outlook",)
    sentences = answering.findings_of("outlook", answering.outlook_sentences(logs, table))
    if coming.is_empty():
        shown, sentences = (), (NOTHING_COMES if logs["sowings"].height else NOTHING_SOWN,)
    said = (*report.notes, *notes)
    brief = {"season_outlook": coming}
    return Answers(as_of, tables, shown, sentences, said, brief, logs.own_words), written


def export(
    folder: Path,
    as_of: dt.date,
    store_path: Path | None,
    out: Path | None,
    form: str,
    seed: int,
    progress: Progress,
    *,
    choice: Choice = USUAL,
) -> Path:
    """All typed logs and answers with a Data Package description; the descriptor's path is returned."""
    from reports.package import descriptor, package_files

    target = claim_for(folder, out, folder / "export", "export")
    with opened(folder, store_path) as (store, settings):
        load_folder(store, folder, settings, as_of, progress, choice.today)
        logs = read_logs(store, settings, as_of, choice.season)
        everything, _, _ = answer_all(store, logs, seed, progress)
        frames = {name: store.core(name) for name in logs.frames}
    files = package_files(frames, everything, form)
    files["datapackage.json"] = json.dumps(
        descriptor(settings.name, as_of, files, form), ensure_ascii=False, indent=1
    ).encode()
    put(target, files)
    return target.shown / "datapackage.json"


def review(
    folder: Path,
    as_of: dt.date,
    store_path: Path | None,
    out: Path | None,
    seed: int,
    progress: Progress,
    *,
    pictures: bool = False,
    also: Sequence[str] = (),
    choice: Choice = USUAL,
) -> Path:
    """Load, answer everything, save the answers, and write the season review; the page's path is returned.

    With ``pictures`` every chart is written as SVG and PNG as well. ``also`` are names that the caller adds later.
    """
    from reports.page import drawn_review
    from reports.picture import chart_files
    from reports.tables import answer_csv

    target = claim_for(folder, out, folder / "review", "review")
    with opened(folder, store_path) as (store, settings):
        report = load_folder(store, folder, settings, as_of, progress, choice.today)
        logs = read_logs(store, settings, as_of, choice.season)
        everything, findings, notes = answer_all(store, logs, seed, progress)
        with store.transaction():
            for name in SAVED:
                store.save_answer(name, everything[name])
    progress("drawing the page")
    own = logs.own_words
    page = drawn_review(
        garden_of(logs),
        [replace(one, sentence=own.text(one.sentence), action=own.text(one.action)) for one in findings],
        own.tables(everything),
        (*report.notes, *map(own.text, notes)),
    )
    files = {f"tables/{name}.csv": answer_csv(table).encode() for name, table in everything.items()}
    files["index.html"] = page.html.encode()
    if pictures:
        files |= chart_files(page.charts)
    if everything["sowing_plan"].height:
        files |= plan_files(everything, settings.name, as_of, own)
    put(target, files, also)
    progress("")
    return target.shown / "index.html"


def answer_all(store: Store, logs: Logs, seed: int, progress: Progress) -> tuple[Tables, list[Finding], list[str]]:
    """Every answer table, every finding, and notes on what was assumed."""
    progress("what kept")
    groupings = [answering.grouping_columns(name) for name in answering.REVIEW_GROUPINGS]
    kept = answering.spoilage_answers(logs, groupings, seed)
    progress("where the harvest went")
    harvest, harvest_notes = answering.harvest_answers(logs, seed)
    shelf_tables = answering.shelf_answers(logs)
    progress("planning next season")
    coming, _ = answering.outlook_answers(logs, seed)
    plan, plan_notes = answering.plan_answers(logs, seed)
    problems = store.answer("problems").sort("file", "line", "column")
    everything = {"load_summary": store.answer("load_summary"), "problems": problems}
    everything |= {**kept, **harvest, **shelf_tables, **coming, **plan}
    findings = answering.all_findings(logs, everything)
    tables = {name: _conform(name, everything[name]) for name in ANSWERS}
    units = [US_UNITS] if logs.settings.report == "us" else []
    return tables, findings, [*harvest_notes, *plan_notes, *units]


def nothing(name: str) -> pl.DataFrame:
    """An answer table without rows."""
    types = polars_types()
    return pl.DataFrame(schema={column.name: types[column.dtype] for column in ANSWERS[name].columns})


def _conform(name: str, frame: pl.DataFrame) -> pl.DataFrame:
    """The table with exactly the columns and types of its contract."""
    types = polars_types()
    return frame.select(pl.col(column.name).cast(types[column.dtype]) for column in ANSWERS[name].columns)


def garden_of(logs: Logs) -> Garden:
    """Facts for the head of the page."""
    name = logs.settings.name
    season, following = logs.season, logs.next_season
    invented = "invented" in name.casefold()
    return Garden(name, logs.as_of, *season, *following, invented=invented, season_note=logs.season_sentence)


def plan_files(tables: Tables, garden_name: str, as_of: dt.date, own: OwnWords) -> dict[str, bytes]:
    """The sowing plan as a table and as a calendar."""
    from reports.calendar import sowing_calendar
    from reports.tables import answer_csv

    plan = tables["sowing_plan"]
    return {
        "sowing_plan.csv": answer_csv(plan).encode(),
        "sowings.ics": sowing_calendar(plan, garden_name, as_of, own.names),
    }


def _write_plan(target: Output, tables: Tables, garden_name: str, as_of: dt.date, own: OwnWords) -> list[Path]:
    from reports.tables import answer_csv

    files = plan_files(tables, garden_name, as_of, own)
    for name in ("harvest_outlook", "plan_comparison", "needs", "crop_timing"):
        files[f"{name}.csv"] = answer_csv(tables[name]).encode()
    return put(target, files)


US_UNITS = 'Pages are in kilograms and degrees Celsius; `report = "us"` under [units] is read, but has no effect yet.'
SAVED: Sequence[str] = tuple(name for name in ANSWERS if name not in {"load_summary", "problems"})
"""Answers written by a review; the two others are written by every load."""
LEAST_SHOWN_KG = 0.05
NOTHING_SOWN = "No sowing is logged, so nothing can be foretold: sowings.csv is the log to start."
NOTHING_COMES = "Nothing that stands is likely to be ripe in the next eight weeks."
