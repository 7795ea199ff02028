"""5. Typed logs -> every answer: which analysis is asked what, in which order. No files, no clock, no drawing."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pipeline import reference
from pipeline.errors import UsageError
from pipeline.findings.cautions import breaks_a_limit, caution_findings
from pipeline.findings.forecast import forecast_findings
from pipeline.findings.harvest import harvest_findings
from pipeline.findings.outlook import outlook_findings, usual_batches
from pipeline.findings.season import data_findings, plan_findings, season_findings
from pipeline.findings.spoilage import spoilage_findings
from pipeline.harvest.gluts import GlutAnswers, glut_balance
from pipeline.harvest.yields import compare_treatments, yields
from pipeline.keeping.bands import with_bands
from pipeline.keeping.curves import keeping_curves
from pipeline.keeping.differences import spoilage_differences
from pipeline.keeping.estimates import fit_keeping
from pipeline.keeping.forecast import shelf_forecast
from pipeline.keeping.histories import container_histories
from pipeline.keeping.model import Fit
from pipeline.keeping.permutation import HORIZON_DAYS
from pipeline.keeping.salt import salt_levels, salt_response
from pipeline.keeping.salt_measures import with_salt_measures
from pipeline.keeping.spoilage import grouped, spoilage_causes, spoilage_table, worse_groups
from pipeline.keeping.trials import compare_trials
from pipeline.keeping.turnbull import looks_far_apart
from pipeline.kitchen.cautions import batch_cautions
from pipeline.kitchen.cautions.remarks import remarks_of
from pipeline.kitchen.ready import ready_dates
from pipeline.plan.options import PLAN_DAYS, PlanOptions
from pipeline.plan.outlook import left_out, season_outlook
from pipeline.plan.plan import PlanResult, plan_sowings
from pipeline.plan.rotation import rotation_notes
from pipeline.plan.standing import Ground
from pipeline.reference.names import same_name
from pipeline.reference.own_words import OwnWords
from pipeline.seasons import Season, chosen_season, logged_seasons, planned_season, season_sentence, usual_season
from pipeline.shelf.ledger import shelf_ledger, shelf_table, use_first
from pipeline.shelf.needs import fresh_needs, needs_table
from pipeline.store.crop_spellings import own_words
from pipeline.warmth.starts import fit_yields, starts_from_logs
from pipeline.warmth.timing import fit_crop_timing
from pipeline.warmth.weather_years import fill_weather, keep_logged, weather_years
from schemas.factors import BY_NAME, FACTORS
from schemas.logs import LOGS
from schemas.page import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.settings import Settings
    from pipeline.store.store import Store


BOUND_MOVES = 100
"""Moves of prices with which the bound on how good a plan could be is sharpened."""
FORECAST = dt.timedelta(days=120)
"""How far ahead the shelf's losses are foretold."""
OUTLOOK_DAYS = 120
"""Days of usual weather after today that the outlook of eight weeks may need."""
REVIEW_GROUPINGS = tuple(factor.name for factor in FACTORS if factor.reviewed)

Tables = dict[str, pl.DataFrame]


@dataclass(frozen=True)
class Logs:
    """Everything an answer may rest on: typed logs, the crop reference, settings and the day."""

    frames: Tables
    crops: pl.DataFrame
    settings: Settings
    as_of: dt.date
    typed: Tables = field(default_factory=dict)
    """Rows as typed of the logs that name a batch: words and unknown columns that a hazard may stand in."""
    season_asked: str | None = None
    """The season to review, as typed; None for the last with enough logged."""
    own_words: OwnWords = field(default_factory=OwnWords)
    """What the folder calls its crops, for what people read."""

    def __getitem__(self, log: str) -> pl.DataFrame:
        """Typed rows of one log."""
        return self.frames[log]

    @cached_property
    def histories(self) -> pl.DataFrame:
        """Container histories of every batch, worked out once."""
        return container_histories(self["batches"], self["spoilage"], self["consumption"], self.as_of)

    @cached_property
    def ledger(self) -> pl.DataFrame:
        """What is on hand of every batch, worked out once."""
        return shelf_ledger(self["batches"], self["spoilage"], self["consumption"], self.as_of)

    @cached_property
    def keeping(self) -> Fit | None:
        """The one model of what keeps, fitted to every batch."""
        return fit_keeping(self.histories)

    @cached_property
    def timed(self) -> tuple[pl.DataFrame, pl.DataFrame]:
        """``timing_of`` these logs, worked out once."""
        return timing_of(self)

    @cached_property
    def logged_seasons(self) -> dict[Season, float]:
        """How much is logged of each garden year."""
        return logged_seasons(self["harvests"], self["sowings"], self.settings)

    @property
    def usual_season(self) -> Season:
        """The last garden year with enough logged."""
        return usual_season(self.logged_seasons, self.settings, self.as_of)

    @cached_property
    def season(self) -> Season:
        """First and last day of the garden year reviewed."""
        if self.season_asked is None:
            return self.usual_season
        return chosen_season(self.season_asked, self.logged_seasons, self.settings)

    @property
    def season_sentence(self) -> str:
        """Which season is reviewed, and how to choose another."""
        return season_sentence(self.season, self.usual_season, self.logged_seasons, self.as_of)

    @property
    def next_season(self) -> Season:
        """First and last day of the garden year to plan, whichever is reviewed."""
        return planned_season(self.usual_season, self.settings, self.as_of)


def read_logs(store: Store, settings: Settings, as_of: dt.date, season: str | None = None) -> Logs:
    """All accepted rows; crops that the settings name go by the reference's names. ``season`` is as typed."""
    frames = {name: store.core(name) for name in LOGS}
    eaters = frames["plots"]["people"].sum()
    if settings.people is None and eaters:
        settings = replace(settings, people=float(eaters))
    crops = reference.crop_reference(frames["crops"])
    lookup = reference.crop_lookup(crops, frames["crops"])
    logged = {crop for frame in frames.values() if "crop" in frame.columns for crop in frame["crop"].drop_nulls()}
    # A crop that no list knows goes by the spelling of the logs.
    spelt = {same_name(crop): crop for crop in sorted(logged - set(crops["crop"]))}
    needs = {lookup.get(crop) or spelt.get(same_name(crop), crop): need for crop, need in settings.needs.items()}
    chosen = settings.plan_crops
    plan = None if chosen is None else tuple(lookup.get(crop) or spelt.get(same_name(crop), crop) for crop in chosen)
    batches = with_bands(with_salt_measures(frames["batches"]))
    typed = {name: store.typed_words(name) for name in NAMES_A_BATCH}
    own = own_words(store, crops, lookup)
    chosen_settings = replace(settings, needs=needs, plan_crops=plan)
    return Logs(frames | {"batches": batches}, crops, chosen_settings, as_of, typed, season, own)


NAMES_A_BATCH = ("batches", "ingredients", "spoilage", "consumption", "tastings")


def grouping_columns(by: str) -> list[str]:
    """The columns that ``--by`` names.

    Raises:
        UsageError: an unknown name, or more than two.
    """
    names = list(dict.fromkeys(name.strip().casefold() for name in by.split(",") if name.strip()))
    unknown = [name for name in names if name not in BY_NAME]
    if unknown or not 1 <= len(names) <= 2:
        message = f"--by {by}: write one or two of {', '.join(BY_NAME)}, with a comma between."
        raise UsageError(message)
    return [column for name in names for column in BY_NAME[name].columns]


def salt_limits() -> pl.DataFrame:
    """Salt that is published for a ferment, by ``method`` and ``basis``: ``limit_pct``, ``limit_source``.

    Of the produce it is the least for sauerkraut, of everything in the jar that of tested dill pickles: 2 % of the
    cabbage is no guide to a brine.
    """
    rule = reference.caution_rules().filter(pl.col("id") == "low_salt").with_columns(basis=pl.lit("of produce"))
    dill = reference.kitchen_values().filter(pl.col("id") == "dill_of_all").with_columns(basis=pl.lit("of all"))
    published = pl.concat([table.select("basis", limit_pct="value", limit_source="source") for table in (rule, dill)])
    return published.select(pl.lit("ferment").alias("method"), pl.all())


def spoilage_answers(logs: Logs, groupings: Sequence[Sequence[str]], seed: int) -> Tables:
    """Everything about what kept: the answer tables, and ``worse``, which groups stand out by the first grouping."""
    histories = logs.histories
    pairs = [grouped(histories, columns, logs.keeping) for columns in groupings]
    return {
        "spoilage": pl.concat([table for table, _ in pairs]),
        "keeping_curves": pl.concat([curves for _, curves in pairs]),
        "salt_response": salt_response(histories, np.random.default_rng(seed)),
        "salt_levels": salt_levels(histories, salt_limits()),
        "spoilage_differences": spoilage_differences(histories, np.random.default_rng(seed)),
        "spoilage_causes": spoilage_causes(logs["spoilage"], logs["batches"]),
        "trials": compare_trials(logs["batches"], logs["tastings"], histories, np.random.default_rng(seed)),
        "worse": worse_groups(histories, groupings[0], np.random.default_rng(seed)),
    }


def fresh_needs_of(logs: Logs) -> pl.DataFrame:
    """Fresh use wanted by crop and month."""
    return fresh_needs(logs["consumption"], logs["harvests"], logs.crops, logs.settings, logs.as_of)


def harvest_balance(logs: Logs) -> GlutAnswers:
    """The balance of the season reviewed."""
    return glut_balance(
        logs["harvests"],
        logs["batches"],
        logs["ingredients"],
        logs["consumption"],
        logs["spoilage"],
        logs.crops,
        fresh_needs_of(logs),
        settings=logs.settings,
        as_of=logs.as_of,
        season=logs.season,
        storage_c=logs.settings.fresh_store_c,
    )


def harvest_answers(logs: Logs, seed: int) -> tuple[Tables, list[str]]:
    """Where the harvest of the season went, what each sowing gave, and notes on what could not be known."""
    balance = harvest_balance(logs)
    all_yields = yields(logs["harvests"], logs["sowings"], logs.crops)
    tables = {
        "glut_weeks": balance.glut_weeks,
        "glut_waste": balance.glut_waste,
        "sowing_waste": balance.sowing_waste,
        "yields": yields(logs["harvests"], logs["sowings"], logs.crops, logs.season),
        "treatments": compare_treatments(all_yields, logs["sowings"], np.random.default_rng(seed)),
    }
    return tables, list(balance.notes)


def cautions_of(logs: Logs) -> pl.DataFrame:
    """Batches that break a published limit."""
    remarks = remarks_of(logs["batches"], {name: logs[name] for name in NAMES_A_BATCH[1:]}, logs.typed)
    rules = reference.caution_rules()
    return batch_cautions(logs["batches"], logs["spoilage"], rules, logs.crops, logs["ingredients"], remarks)


def shelf_answers(logs: Logs) -> Tables:
    """What is on the shelf, what to use first, and which batches break a published limit."""
    cautions = cautions_of(logs)
    never = cautions.filter(breaks_a_limit()).select("batch_id").unique()
    return {
        "shelf": shelf_table(logs.ledger, logs["consumption"], logs.as_of),
        # What breaks a published limit is never proposed; the findings say why it is not there.
        "use_first": batches_by_day(logs).join(never, on="batch_id", how="anti", maintain_order="left"),
        "shelf_forecast": shelf_forecast(logs.histories, logs.keeping, logs.as_of + FORECAST),
        "cautions": cautions,
    }


def batches_by_day(logs: Logs) -> pl.DataFrame:
    """Every batch on hand by the day on which to use or look at it, also those that nobody should eat."""
    curves = keeping_curves(logs.histories, ["method"])
    months = reference.quality_months()
    return use_first(logs.ledger, logs["batches"], months, curves, logs.as_of, ready_of(logs))


def caution_sentences(logs: Logs, cautions: pl.DataFrame) -> list[Finding]:
    """What breaks a published limit, on the shelf and given away; before everything else."""
    given = logs["consumption"].filter(pl.col("use").is_in(["given", "swapped", "sold", "donated"]))
    return caution_findings(cautions, logs.ledger, given)


def forecast_sentences(logs: Logs) -> list[Finding]:
    """What the shelf will have lost in some months if it is left alone."""
    day = logs.as_of + FORECAST
    return forecast_findings(shelf_forecast(logs.histories, logs.keeping, day, ("method",)))


def ready_of(logs: Logs) -> pl.DataFrame:
    """When each batch is ready in taste, from published times."""
    return ready_dates(logs["batches"], reference.ready_times(), logs.crops)


def needs_of(logs: Logs) -> pl.DataFrame:
    """What next season needs of each crop."""
    histories = logs.histories
    return needs_table(
        fresh_needs_of(logs),
        logs.ledger,
        logs["batches"],
        logs["ingredients"],
        logs["consumption"],
        logs.crops,
        settings=logs.settings,
        as_of=logs.as_of,
        spoilage_by_method=spoilage_table(histories, ["method"], logs.keeping),
    )


def timing_of(logs: Logs) -> tuple[pl.DataFrame, pl.DataFrame]:
    """What each crop needs here in warmth, and what a metre of it gives: (timing, yields)."""
    sowings, harvests, latitude = logs["sowings"], logs["harvests"], logs.settings.latitude
    learned = fit_yields(sowings, harvests, logs.crops)
    starts = starts_from_logs(sowings, harvests, learned)
    first = min([day for day in (starts["clock_from"].min(), logs["weather"]["date"].min()) if day], default=logs.as_of)
    weather = fill_weather(logs["weather"], logs["climate"], first, logs.as_of, latitude)  # type: ignore[arg-type]
    return fit_crop_timing(starts, weather, logs.crops, learned, latitude), learned


def plan_of(
    logs: Logs, needs: pl.DataFrame, seed: int, *, simple: bool = False, bound: bool = False
) -> tuple[PlanResult, pl.DataFrame]:
    """The plan for the next season and the timing it rests on."""
    settings = logs.settings
    first, _ = logs.next_season
    timing, learned = logs.timed
    options = PlanOptions(
        first_day=first,
        latitude=settings.latitude,
        last_frost=settings.last_frost,
        first_frost=settings.first_frost,
        bed_area_m2=settings.bed_area_m2,
        kitchen_kg_per_week=settings.kitchen_kg_per_week,
        first_sowing=settings.first_sowing,
        last_sowing=settings.last_sowing,
        not_before=logs.as_of if logs.as_of >= first else None,
        max_sowings=settings.max_sowings,
        min_sowings=min(settings.min_sowings, settings.max_sowings),
        longest_gap=settings.longest_gap,
        simple=simple,
        bound_moves=BOUND_MOVES if bound else 0,
    )
    years = keep_logged(
        weather_years(
            logs["weather"],
            logs["climate"],
            settings.latitude,
            first,
            PLAN_DAYS,
            options.n_years + options.fresh_years,
            np.random.default_rng(seed),
            follow_trend=settings.warming == "followed",
        ),
        logs["weather"],
    )
    last_first, last_last = logs.usual_season
    last_season = logs["sowings"].filter(pl.col("sown_on").is_between(last_first, last_last))
    result = plan_sowings(
        logs.crops,
        timing,
        learned,
        years,
        _chosen(fresh_needs_of(logs), settings.plan_crops),
        _chosen(needs, settings.plan_crops),
        options,
        rng=np.random.default_rng(seed),
        last_season=last_season if last_season.height else None,
        ground=ground_of(logs, first + dt.timedelta(days=7)),
    )
    return result, timing


def ground_of(logs: Logs, until: dt.date) -> Ground:
    """What may be in the ground, with weather until the planned season has begun."""
    return Ground(logs["sowings"], logs["harvests"], weather_since_sown(logs, until))


def weather_since_sown(logs: Logs, until: dt.date) -> pl.DataFrame:
    """Weather without gaps from the first sowing on."""
    starts = logs["sowings"]["sown_on"].min()
    first = min(starts, until) if isinstance(starts, dt.date) else until
    return fill_weather(logs["weather"], logs["climate"], first, until, logs.settings.latitude)


def _chosen(needs: pl.DataFrame, crops: tuple[str, ...] | None) -> pl.DataFrame:
    return needs if crops is None else needs.filter(pl.col("crop").is_in(list(crops)))


def _timing_of_interest(timing: pl.DataFrame, needs: pl.DataFrame) -> pl.DataFrame:
    """Timing of the crops that were sown here or are wanted; the reference knows many more."""
    return timing.filter((pl.col("n_sowings") > 0) | pl.col("crop").is_in(needs["crop"].to_list()))


def plan_answers(logs: Logs, seed: int, *, simple: bool = False, bound: bool = False) -> tuple[Tables, list[str]]:
    """The sowing plan with what it rests on and what it is worth, and notes on what it leaves out.

    The proved bound on how good any plan could be takes as long as the plan itself; it is worked out on demand.
    """
    needs = needs_of(logs)
    result, timing = plan_of(logs, needs, seed, simple=simple, bound=bound)
    tables = {
        "needs": needs,
        "crop_timing": _timing_of_interest(timing, needs),
        "sowing_plan": result.sowing_plan,
        "harvest_outlook": result.harvest_outlook,
        "plan_comparison": result.plan_comparison,
        "last_season_outlook": result.last_season_outlook,
    }
    rotation = rotation_notes(result.sowing_plan, logs["sowings"], logs.crops, logs.next_season[0])
    skipped = [f"Not planned: {crop}, {reason}." for crop, reason in result.skipped.iter_rows()]
    return tables, [*result.notes, *rotation, *skipped]


def outlook_answers(logs: Logs, seed: int) -> tuple[Tables, list[str]]:
    """What stands in the ground and is likely to come in the next eight weeks, and notes on what it leaves out."""
    timing, learned = logs.timed
    sowings = logs["sowings"]
    outlook = season_outlook(
        sowings,
        logs["harvests"],
        logs.crops,
        timing,
        learned,
        fresh_needs_of(logs),
        weather_since_sown(logs, logs.as_of + dt.timedelta(days=OUTLOOK_DAYS)),
        logs.as_of,
        rng=np.random.default_rng(seed),
        latitude=logs.settings.latitude,
    )
    unknown = left_out(sowings, logs.crops, timing, learned, logs.as_of)
    notes = [f"Not in the outlook: {crop}, not known: {what}." for crop, what in unknown.items()]
    return {"season_outlook": outlook}, notes


def outlook_sentences(logs: Logs, outlook: pl.DataFrame) -> list[Finding]:
    """Findings on gluts that are coming."""
    return outlook_findings(outlook, usual_batches(logs["batches"]), logs.crops, logs.settings.kitchen_kg_per_week)


def spoilage_sentences(logs: Logs, tables: Tables, by: Sequence[str] = ("method",)) -> list[Finding]:
    """Findings on what kept, on salt and on trials; ``by`` names the columns that ``worse`` is grouped by."""
    histories = logs.histories
    ferments = histories.filter((pl.col("method") == "ferment") & pl.col("salt_band").is_not_null())
    return spoilage_findings(
        by_method=spoilage_table(histories, ["method"], logs.keeping),
        by_salt=spoilage_table(ferments, ["salt_band"], logs.keeping),
        salt_response=tables["salt_response"],
        worse=tables["worse"],
        by=by,
        differences=tables["spoilage_differences"],
        far_apart=looks_far_apart(histories, ["method"], HORIZON_DAYS),
        trials=tables["trials"],
        as_of=logs.as_of,
    )


def all_findings(logs: Logs, tables: Tables) -> list[Finding]:
    """Every finding of the review; the page ranks them."""
    by_method = tables["spoilage"].filter(pl.col("grouping") == "method")
    return [
        *caution_sentences(logs, tables["cautions"]),
        *season_findings(tables["glut_waste"], tables["glut_weeks"], by_method, tables["shelf"], logs.season),
        *spoilage_sentences(logs, tables),
        *harvest_findings(tables["glut_waste"], tables["shelf"], tables["use_first"], tables["needs"]),
        *forecast_sentences(logs),
        *outlook_sentences(logs, tables["season_outlook"]),
        *plan_findings(tables["sowing_plan"], tables["plan_comparison"]),
        *data_findings(tables["load_summary"], tables["problems"]),
    ]


def findings_of(section: str, findings: Sequence[Finding]) -> tuple[str, ...]:
    """Sentences of one section, weightiest first."""
    ranked = sorted(findings, key=lambda finding: -finding.weight)
    return tuple(finding.sentence for finding in ranked if finding.section == section)
