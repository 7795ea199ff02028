"""What the plan has to know of each crop, gathered from the reference, the timing and the yields."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipeline.warmth.timing import need_uncertainty

PLANT_DISTANCE_CM = 20.0
"""Crops set at this distance or more are counted in plants, others in half metres of row."""
ROW_STEP_M = 0.5
FRESH_DAYS = 7.0
"""Days that produce keeps once picked where the reference does not say; common practice, no source."""
NEEDED = {
    "basis": "time to the first pick",
    "yield_kg_per_m": "yield per metre",
    "picking_days": "days of picking",
    "row_spacing_cm": "distance of rows",
}
"""Columns without which a crop cannot be planned, in words."""
SKIPPED_SCHEMA = {"crop": pl.String(), "reason": pl.String()}


@dataclass(frozen=True)
class PlanCrop:
    """One crop to plan; a step is the least amount the plan tells apart."""

    crop: str
    base_c: float
    upper_c: float | None
    need: float | None
    """Degree-days from the clock's start to the first pick; None where plain days serve."""
    days: float | None
    sd: float
    """Logarithmic spread of the need between sowings."""
    need_sd: float
    """Logarithmic uncertainty of the need itself, shared by all sowings of a year."""
    picking_days: float
    ripening_days: float
    """Days over which one sowing becomes ready: picking without the waiting."""
    life_weeks: int
    """Weeks that ready produce stays usable, in the ground and once picked."""
    raised: bool
    """Raised elsewhere and planted out; the clock starts at planting out."""
    raising_days: int
    kill_c: float | None
    least_c: float | None
    frost_weeks: float | None
    unit: str
    step: float
    step_m: float
    step_m2: float
    step_kg: float
    sown_again: bool


def gather_crops(
    crops: pl.DataFrame, timing: pl.DataFrame, yields: pl.DataFrame
) -> tuple[list[PlanCrop], dict[str, str]]:
    """Crops that can be planned, and for the others what is missing.

    Args:
        crops: the crop reference (wide).
        timing: of ``fit_crop_timing``.
        yields: of ``fit_yields``.
    """
    wanted = ("degree_days_to_first_pick", "days_to_first_pick", "sd", "prior_weight", "basis", "n_sowings")
    joined = (
        crops.drop("degree_days_to_first_pick", "days_to_first_pick", "yield_kg_per_m", "picking_days")
        .join(timing.select("crop", *wanted), on="crop", how="left", maintain_order="left")
        .join(yields.drop("n"), on="crop", how="left", maintain_order="left")
    )
    ready, skipped = [], {}
    for row in joined.iter_rows(named=True):
        lacking = _lacking(row)
        if len(lacking) == len(NEEDED):
            skipped[row["crop"]] = "nothing is known of sowing it: a perennial, or not in the reference"
        elif lacking:
            skipped[row["crop"]] = f"not known: {', '.join(lacking)}"
        else:
            ready.append(_plan_crop(row))
    return ready, skipped


def _lacking(row: dict[str, float | None]) -> list[str]:
    return [words for name, words in NEEDED.items() if row[name] is None]


def _plan_crop(row: dict[str, object]) -> PlanCrop:
    def number(name: str, default: float = 0.0) -> float:
        value = row[name]
        return float(value) if isinstance(value, int | float) else default

    def known(name: str) -> float | None:
        return None if row[name] is None else number(name)

    distance, picking = number("in_row_cm"), max(number("picking_days"), 1.0)
    in_plants = distance >= PLANT_DISTANCE_CM
    step_m = distance / 100 if in_plants else ROW_STEP_M
    holding = number("holding_days")
    raised = number("clock_from_planting_out") == 1.0
    by_days = row["basis"] == "days"
    usable_days = min(holding, picking) + number("keeping_days", FRESH_DAYS)
    return PlanCrop(
        crop=str(row["crop"]),
        base_c=number("base_c"),
        upper_c=known("upper_c"),
        need=None if by_days else number("degree_days_to_first_pick"),
        days=number("days_to_first_pick") if by_days else None,
        sd=number("sd"),
        need_sd=need_uncertainty(row),
        picking_days=picking,
        ripening_days=max(picking - holding, picking / 2),
        life_weeks=round(usable_days / 7),
        raised=raised,
        raising_days=round(number("raising_days")) if raised else 0,
        kill_c=known("kill_temperature_c"),
        least_c=known("least_temperature_c"),
        frost_weeks=known("frost_weeks"),
        unit="plants" if in_plants else "m",
        step=1.0 if in_plants else ROW_STEP_M,
        step_m=step_m,
        step_m2=step_m * number("row_spacing_cm") / 100,
        step_kg=step_m * number("yield_kg_per_m"),
        sown_again=row["sown_again"] is not False,
    )
