"""What each sowing gave, and whether a treatment gave more."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from schemas.answer_frame import as_answer
from schemas.evidence import THIN_BATCHES, evidence

DRAWS = 4000
"""Bootstrap draws per comparison."""

UNTREATED = ("un", "no ", "none", "not ", "control", "without", "plain")
"""How the name of a treatment begins that others are compared with."""

COMPARISON_TYPES: dict[str, pl.DataType] = {
    "crop": pl.String(),
    "treatment": pl.String(),
    "reference": pl.String(),
    "sowings": pl.Int64(),
    "reference_sowings": pl.Int64(),
    "kg_per_m2": pl.Float64(),
    "ratio": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "evidence": pl.String(),
}


SAME_PICKING_DAYS = 120
"""A sowing picked again after a longer pause, such as a fruit bush, is told by its seasons."""


def yields(
    harvests: pl.DataFrame,
    sowings: pl.DataFrame,
    crops: pl.DataFrame,
    season: tuple[dt.date, dt.date] | None = None,
) -> pl.DataFrame:
    """Kilograms picked from each sowing, per square metre and per plant.

    Pickings that name a sowing are added up by sowing; plot and bed are the sowing's own, or else the first that
    the pickings name. Pickings that name none are added up by crop, plot and bed. Area: square metres as
    written; metres of row times the published row spacing; plants times both published spacings. Plants: as
    written, or from row length or area and the spacings. Null where a spacing is not known. A sowing that was
    never picked is absent.

    Of a season, pickings that name no sowing are those of its days. A sowing picked in it is told whole, however
    far its picking runs beyond the season's edge; one that is picked for years is told by its runs of pickings
    with no pause of more than ``SAME_PICKING_DAYS``. Its days to the first pick are always to the first of all.

    Args:
        harvests: typed harvest log.
        sowings: typed sowing log; ``amount_unit`` is ``plants``, ``m`` or ``m2``.
        crops: crop reference with ``in_row_cm`` and ``row_spacing_cm``.
        season: first and last day of the season told of; None for all.

    Returns:
        The ``yields`` answer table, sorted by crop, first picking and sowing.
    """
    own = sowings.select("sowing_id", "sown_on", "amount_value", "amount_unit", own_plot="plot", own_bed="bed")
    rows = _of_season(harvests.filter(pl.col("weight_kg").is_not_null()), season).join(
        own, on="sowing_id", how="left", maintain_order="left"
    )
    named = pl.col("sowing_id").is_not_null()
    place = [
        pl.when(named)
        .then(pl.coalesce(f"own_{name}", pl.col(name).drop_nulls().first().over("crop", "sowing_id")))
        .otherwise(pl.col(name))
        .alias(name)
        for name in ("plot", "bed")
    ]
    sums = (
        rows.with_columns(place)
        .group_by("crop", "plot", "bed", "sowing_id", "sown_on", "amount_value", "amount_unit")
        .agg(
            kg=pl.col("weight_kg").sum(),
            first_pick=pl.col("picked_on").min(),
            last_pick=pl.col("picked_on").max(),
            first_of_all=pl.col("first_of_all").min(),
        )
        .join(crops.select("crop", "in_row_cm", "row_spacing_cm"), on="crop", how="left")
        .with_columns(area_m2=_area_m2(), plants=_plants())
        .with_columns(
            kg_per_m2=_per("area_m2"),
            kg_per_plant=_per("plants"),
            days_to_first_pick=(pl.col("first_of_all") - pl.col("sown_on")).dt.total_days(),
        )
    )
    return as_answer(sums.sort("crop", "first_pick", "sowing_id", "plot", "bed", nulls_last=True), "yields")


def _of_season(weighed: pl.DataFrame, season: tuple[dt.date, dt.date] | None) -> pl.DataFrame:
    """Pickings of a season and the rest of the runs they stand in, each with the first picking of its sowing."""
    sowing = ["crop", "sowing_id"]
    rows = weighed.sort("picked_on", maintain_order=True).with_columns(
        first_of_all=pl.col("picked_on").min().over(sowing)
    )
    if season is None:
        return rows
    pause = pl.col("picked_on").diff().dt.total_days().over(sowing).fill_null(0) > SAME_PICKING_DAYS
    inside = pl.col("picked_on").is_between(*season)
    runs = rows.with_columns(run=pause.cast(pl.Int64)).with_columns(pl.col("run").cum_sum().over(sowing))
    whole = pl.col("sowing_id").is_not_null() & inside.any().over(*sowing, "run")
    return runs.filter(inside | whole).drop("run")


def _per(column: str) -> pl.Expr:
    return pl.when(pl.col(column) > 0).then(pl.col("kg") / pl.col(column))


def _area_m2() -> pl.Expr:
    amount, unit = pl.col("amount_value"), pl.col("amount_unit")
    row_m, plant_m = pl.col("row_spacing_cm") / 100, pl.col("in_row_cm") / 100
    return (
        pl.when(unit == "m2")
        .then(amount)
        .when(unit == "m")
        .then(amount * row_m)
        .when(unit == "plants")
        .then(amount * row_m * plant_m)
    )


def _plants() -> pl.Expr:
    amount, unit = pl.col("amount_value"), pl.col("amount_unit")
    row_m, plant_m = pl.col("row_spacing_cm") / 100, pl.col("in_row_cm") / 100
    return (
        pl.when(unit == "plants")
        .then(amount)
        .when(unit == "m")
        .then(amount / plant_m)
        .when(unit == "m2")
        .then(amount / (row_m * plant_m))
    )


def compare_treatments(yield_table: pl.DataFrame, sowings: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Kilograms per square metre of each treatment over those of the crop's reference treatment.

    The sowing is the unit. The reference is the treatment whose name says that nothing was done (``unfed``,
    ``none``, ``control``), else the one with most sowings; where a crop has one treatment only, the sowings
    without any are the reference, called ``none``. The interval is the expanded bootstrap percentile interval,
    which widens the plain one as Student's t does for few sowings (Hesterberg, "What Teachers Should Know about
    the Bootstrap", arXiv 1411.5279, 2014; formula read in the documentation of R ``resample::ExpandProbs``).
    In simulation (lognormal yields) it held the truth in 90 % of cases with three sowings a side and in 93 to
    96 % from four. With fewer than three on either side none is given. Sowings that gave nothing are not in the
    yield table and so not here.

    Args:
        yield_table: result of ``yields``.
        sowings: typed sowing log with ``sowing_id`` and ``treatment``.
        rng: source of the bootstrap draws.

    Returns:
        The ``treatments`` answer table, one row per crop and treatment other than the reference, ``evidence`` by
        the smaller count of sowings. Sorted by crop and treatment.
    """
    known = (
        yield_table.filter(pl.col("sowing_id").is_not_null(), pl.col("kg_per_m2").is_not_null())
        .select("crop", "sowing_id", "kg_per_m2")
        .join(sowings.select("sowing_id", "treatment"), on="sowing_id")
        .sort("crop", "sowing_id")
    )
    rows = []
    for crop in known["crop"].unique().sort():
        arms = _arms(known.filter(pl.col("crop") == crop))
        if len(arms) < 2:
            continue
        reference = _reference(arms)
        for treatment in sorted(arms.keys() - {reference}):
            low, high = _ratio_interval(arms[treatment], arms[reference], rng)
            mean, base = arms[treatment].mean(), arms[reference].mean()
            counts = (arms[treatment].size, arms[reference].size)
            ratio = mean / base if base > 0 else None
            rows.append((crop, treatment, reference, *counts, mean, ratio, low, high, None))
    frame = pl.DataFrame(rows, schema=COMPARISON_TYPES, orient="row")
    return frame.with_columns(evidence=evidence(pl.min_horizontal("sowings", "reference_sowings")))


def _arms(known: pl.DataFrame) -> dict[str, NDArray[np.float64]]:
    """Yields by treatment; the untreated join in only where there is a single treatment."""
    treatments = known["treatment"].drop_nulls().unique().sort().to_list()
    arms = {name: known.filter(pl.col("treatment") == name)["kg_per_m2"].to_numpy() for name in treatments}
    untreated = known.filter(pl.col("treatment").is_null())["kg_per_m2"].to_numpy()
    if len(arms) == 1 and "none" not in arms and untreated.size:
        arms["none"] = untreated
    return arms


def _reference(arms: dict[str, NDArray[np.float64]]) -> str:
    """The treatment that others are compared with."""
    return min(arms, key=lambda name: (not name.lower().startswith(UNTREATED), -arms[name].size, name))


def _ratio_interval(
    treated: NDArray[np.float64], base: NDArray[np.float64], rng: np.random.Generator
) -> tuple[float | None, float | None]:
    """95 % interval of a ratio of means, each side resampled by itself; none below three sowings."""
    n = min(treated.size, base.size)
    if n < THIN_BATCHES or base.min() <= 0:
        return None, None
    above, below = (arm[rng.integers(0, arm.size, (DRAWS, arm.size))].mean(axis=1) for arm in (treated, base))
    tail = special.ndtr(special.stdtrit(n - 1, 0.025) * np.sqrt(n / (n - 1)))
    low, high = np.quantile(above / below, [tail, 1 - tail])
    return float(low), float(high)
