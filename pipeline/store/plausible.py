"""Values far outside what the same column shows elsewhere and what is usual: set aside, with "check the unit".

Grams under a heading that says kg, Fahrenheit under one that says C and shares under one that says percent are read
without complaint, and ruin every answer. Nothing is corrected here: an optional cell is left out, a row whose weight
cannot be meant is set aside.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.intake.shape import PROBLEM_COLUMNS
from schemas.logs import LOGS

if TYPE_CHECKING:
    from pipeline.store.store import Store

RULE = "implausible"

ENOUGH_OTHERS = 5
"""Rows of the same crop from which its usual weight is known."""
FAR_TIMES, FAR_LEAST_KG, FAR_NAMED_KG = 100, 20.0, 150.0
"""A weight is far out at 100 times the usual and 20 times the most otherwise, from 20 kg where the cell is a bare
number, from 150 kg where it names its unit: one main lift after many small ones stays. Chosen for this project."""
FAR_MOST_TIMES = 20
FEW_TIMES, FEW_LEAST_KG = 200, 50.0
"""Where a crop has one to four other rows: against the most of them."""
ANY_CROP_TIMES, ANY_CROP_LEAST_KG = 300, 300.0
"""The same against all crops, where a crop has too few rows of its own."""
ALONE_KG = 1000.0
"""One picking of a tonne, where nothing else in the log comes near it."""
SMALL_TIMES = 300

WEIGHED = (
    ("harvests", "weight"),
    ("batches", "produce"),
    ("ingredients", "weight"),
    ("consumption", "weight"),
    ("spoilage", "weight"),
)
"""Logs and columns whose weights are held against those of the same crop."""

MOST_CONTAINERS, CONTAINER_TIMES = 500, 50


@dataclass(frozen=True)
class Bound:
    """A cell that cannot be meant as it is read, whatever else the folder holds."""

    log: str
    column: str
    core: str
    condition: str
    mend: str


BOUNDS = (
    Bound(
        "batches",
        "vinegar_acid_pct",
        "vinegar_acid_pct",
        "vinegar_acid_pct > 0 and vinegar_acid_pct < 1",
        "less than 1 % acid is no vinegar; 0.05 may mean 5 %",
    ),
    Bound("batches", "store_c", "store_c", "store_c > 45", "no store is as hot as that; 55 F is 13 C"),
    Bound("batches", "store_c", "store_c", "store_c < -45", "no freezer is as cold as that"),
    Bound("batches", "drying_c", "drying_c", "drying_c > 100", "food is dried at 35 to 95 C; 140 F is 60 C"),
    Bound(
        "batches",
        "salt",
        "salt_g",
        "salt_g > 600 * produce_kg and produce_kg > 0",
        "more than half as much salt as produce",
    ),
    Bound("weather", "tmax_c", "tmax_c", "tmax_c > 56", "hotter than was ever measured; 86 F is 30 C"),
)
"""Bounds beyond those of the columns. Highest air temperature measured: 56.7 C (World Meteorological Organization,
from memory); the others are common practice, no source."""


def set_implausible_aside(store: Store) -> pl.DataFrame:
    """Take what cannot be meant out of ``core``: a row by its weight or count, an optional cell by itself.

    Returns:
        A problem for each.
    """
    found = [_beyond(store, bound) for bound in BOUNDS]
    found += [_far_out(store, log, column) for log, column in WEIGHED]
    found.append(_too_many(store))
    for log, column, rows in found:
        if rows.is_empty():
            continue
        if LOGS[log].column(column).required or column == "weight":
            store.delete_lines(f"core.{log}", rows)
        else:
            store.clear_cells(f"core.{log}", LOGS[log].column(column).core_name, rows)
    return pl.concat([pl.DataFrame(schema=PROBLEM_COLUMNS), *(_problems(*one) for one in found)])


Found = tuple[str, str, pl.DataFrame]
"""Log, column, and ``file``, ``line``, ``value`` (as typed), ``message`` of each cell."""


def _problems(log: str, column: str, rows: pl.DataFrame) -> pl.DataFrame:
    costs_row = LOGS[log].column(column).required or column == "weight"
    return rows.select(
        "file",
        "line",
        column=pl.lit(column),
        value="value",
        rule=pl.lit(RULE),
        level=pl.lit("error" if costs_row else "cell"),
        message="message",
    ).select(pl.col(name).cast(dtype) for name, dtype in PROBLEM_COLUMNS.items())


def _beyond(store: Store, bound: Bound) -> Found:
    rows = store.frame(
        f"""
        select core.source_file as file, core.source_line as line, raw.{bound.column} as value,
            'check the unit: {bound.mend}' as message
        from core.{bound.log} as core
        join raw.{bound.log} as raw using (source_file, source_line)
        where {bound.condition.replace(bound.core, "core." + bound.core)}
        order by all
        """  # noqa: S608 (the conditions are the ones above)
    )
    return bound.log, bound.column, rows


def _far_out(store: Store, log: str, column: str) -> Found:
    """Weights a hundred times those of the same crop elsewhere in the log, or a three-hundredth of them."""
    weight = LOGS[log].column(column).core_name
    rows = store.frame(
        f"""
        with held as (
            select core.crop, core.{weight} as kg, source_file as file, source_line as line, raw.{column} as value,
                coalesce(regexp_matches(raw.{column}, '[A-Za-z]'), false) as names_unit
            from core.{log} as core
            join raw.{log} as raw using (source_file, source_line)
            where core.{weight} > 0 and core.crop is not null
        ),
        crops as (
            select crop, count(*) - 1 as others, median(kg) as usual, max(kg, 2) as largest from held group by crop
        ),
        all_crops as (select count(*) - 1 as others, median(kg) as usual, max(kg, 2) as largest from held),
        judged as (
            select held.*, crops.others, crops.usual, all_crops.usual as any_usual, all_crops.others as any_others,
                -- the most of the others: the second, where this one is the most
                case when kg >= crops.largest[1] then coalesce(crops.largest[2], 0) else crops.largest[1] end as most,
                case when kg >= all_crops.largest[1] then coalesce(all_crops.largest[2], 0)
                    else all_crops.largest[1] end as any_most
            from held join crops using (crop) cross join all_crops
        )
        select file, line, value,
            'check the unit: read as ' || format('{{:,.6g}}', kg) || ' kg, where '
            || case when others >= {ENOUGH_OTHERS} then crop || ' is usually about ' || format('{{:.2g}}', usual)
                else 'a weight here is usually about ' || format('{{:.2g}}', any_usual) end
            || ' kg; write it with its unit, such as '
            || case when kg > usual then format('{{:.6g}}', kg) || ' g' else format('{{:.6g}}', kg * 1000) || ' kg' end
            || ' or ' || case when kg > usual then 'split it over the days' else format('{{:.6g}}', kg * 1000) || ' g'
                end as message
        from judged
        where (
            others >= {ENOUGH_OTHERS} and kg >= {FAR_TIMES} * usual and kg >= {FAR_MOST_TIMES} * most
            and kg >= case when names_unit then {FAR_NAMED_KG} else {FAR_LEAST_KG} end
        ) or (
            others between 1 and {ENOUGH_OTHERS - 1} and kg >= {FEW_TIMES} * most
            and kg >= case when names_unit then {ANY_CROP_LEAST_KG} else {FEW_LEAST_KG} end
        ) or (
            others < {ENOUGH_OTHERS} and any_others >= {ENOUGH_OTHERS} and kg >= {ANY_CROP_TIMES} * any_usual
            and kg >= {ANY_CROP_LEAST_KG} and kg >= {FAR_MOST_TIMES} * any_most
        ) or (
            kg >= {ALONE_KG} and kg >= {FAR_MOST_TIMES} * greatest(most, any_most)
        ) or (
            others >= {ENOUGH_OTHERS} and kg * {SMALL_TIMES} <= usual and not names_unit
        )
        order by file, line
        """  # noqa: S608
    )
    return log, column, rows


def _too_many(store: Store) -> Found:
    """Counts of containers far beyond what a batch of this household makes."""
    rows = store.frame(
        f"""
        with held as (select median(containers) as usual, count(*) - 1 as others from core.batches)
        select source_file as file, source_line as line, raw.containers as value,
            'check the count: ' || core.containers || ' containers in one batch, where a batch here makes about '
            || held.usual::bigint as message
        from core.batches as core
        join raw.batches as raw using (source_file, source_line)
        cross join held
        where others >= {ENOUGH_OTHERS} and core.containers >= {MOST_CONTAINERS}
            and core.containers >= {CONTAINER_TIMES} * usual
        order by file, line
        """  # noqa: S608
    )
    return "batches", "containers", rows
