"""Every answer table of ``schemas/answers.py`` with INVENTED rows, for the tests of pages, charts and tables.

No figure here comes from a garden or a publication; they are made up to look like one season of one.
"""

from __future__ import annotations

import datetime as dt
import math
from functools import cache
from typing import Any

import polars as pl

from reports.page import review_page
from schemas.answers import ANSWERS
from schemas.contracts import polars_types
from schemas.page import Finding, Garden

AS_OF = dt.date(2026, 11, 20)
GARDEN = Garden(
    name="Invented garden on a made-up island",
    as_of=AS_OF,
    season_from=dt.date(2026, 1, 1),
    season_to=dt.date(2026, 12, 31),
    plan_from=dt.date(2027, 1, 1),
    plan_to=dt.date(2027, 12, 31),
    invented=True,
)
METHODS = ("bottle", "cure", "dry", "ferment", "freeze", "jam", "pickle")
CROPS = (
    ("bean", 34.0, 0.18),
    ("beetroot", 22.0, 0.02),
    ("carrot", 41.0, 0.04),
    ("courgette", 58.0, 0.36),
    ("cucumber", 26.0, 0.22),
    ("kohlrabi", 18.5, 0.0),
    ("lettuce", 9.6, 0.28),
    ("onion", 37.0, 0.03),
    ("pea", 12.0, 0.01),
    ("plum", 64.0, 0.24),
    ("tomato", 71.0, 0.11),
    ("turnip", 15.2, 0.05),
)


def frame(table: str, rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Rows as a frame with exactly the table's columns and types; a column left out is null."""
    types = polars_types()
    schema = {column.name: types[column.dtype] for column in ANSWERS[table].columns}
    unknown = {name for row in rows for name in row} - set(schema)
    assert not unknown, f"{table} has no columns {unknown}"
    return pl.DataFrame([{name: row.get(name) for name in schema} for row in rows], schema=schema)


def empty_answers() -> dict[str, pl.DataFrame]:
    """Every answer table without a row."""
    return {table: frame(table, []) for table in ANSWERS}


def _spoilage_row(grouping: str, group: str, at: int) -> dict[str, Any]:
    batches = (14, 3, 9, 12, 10, 11, 2)[at % 7]
    lost = (0.02, 0.31, 0.004, 0.12, 0.0, 0.06, 0.22)[at % 7]
    half = min(0.35, 0.5 / math.sqrt(batches) * (0.25 + lost))
    kept = 1 - lost * 1.4
    known = batches > 3
    return {
        "grouping": grouping,
        "group": group,
        "batches": batches,
        "containers": batches * 7,
        "container_months": batches * 41.5,
        "spoiled": round(batches * 7 * lost),
        "used": batches * 3,
        "on_shelf": batches * 4 - round(batches * 7 * lost),
        "lost_share": lost,
        "lost_low": max(0.0, lost - half / 2),
        "lost_high": min(1.0, lost + half),
        "kept_12m": kept if known else None,
        "kept_12m_low": max(0.0, kept - half) if known else None,
        "kept_12m_high": min(1.0, kept + half / 2) if known else None,
        "pooled_kept_12m": 0.5 * kept + 0.45,
        "followed_months": 20.5 if known else 7.2,
        "evidence": "enough" if batches >= 8 else "thin" if batches >= 3 else "too little",
    }


def _curve(group: str, at: int) -> list[dict[str, Any]]:
    lost = _spoilage_row("method", group, at)["lost_share"]
    rows = []
    for step in range(9):
        kept = 1 - lost * step / 8
        rows.append(
            {
                "grouping": "method",
                "group": group,
                "age_days": step * (60 if at % 7 != 6 else 25),
                "at_risk": 80 - 9 * step,
                "kept": kept,
                "kept_low": max(0.0, kept - 0.02 - 0.025 * step),
                "kept_high": min(1.0, kept + 0.01 + 0.008 * step),
            }
        )
    return rows


def _glut_week(crop: str, picked: float, loss: float, week: int) -> dict[str, Any]:
    kg = picked * math.exp(-(((week - 5) / (2.0 if loss > 0.1 else 4.0)) ** 2)) / 4
    capacity = picked * 0.12
    used = min(kg, capacity)
    wasted = 0.4 * (kg - used)
    return {
        "crop": crop,
        "week": dt.date(2026, 6, 29) + dt.timedelta(weeks=week),
        "picked_kg": kg,
        "eaten_kg": 0.4 * used,
        "put_by_kg": 0.5 * used,
        "given_kg": 0.1 * used,
        "wasted_kg": wasted,
        "expired_kg": kg - used - wasted,
        "left_kg": 0.0,
        "capacity_kg": capacity,
        "over_used_kg": 0.0,
        "is_glut": kg > capacity,
        "eaten_basis": "assumed" if crop in {"lettuce", "pea"} else "logged",
    }


def _balance(crop: str, picked: float, loss: float) -> dict[str, Any]:
    return {
        "crop": crop,
        "picked_kg": picked,
        "eaten_kg": picked * (0.62 - loss) if loss < 0.3 else picked * 0.3,
        "put_by_kg": picked * 0.3,
        "given_kg": picked * 0.05 if loss < 0.3 else picked * (0.37 - loss),
        "wasted_kg": picked * loss * 0.6,
        "expired_kg": picked * loss * 0.4,
        "left_kg": picked * 0.03,
        "over_used_kg": 0.0,
        "trimmings_kg": picked * 0.04,
        "from_gluts_kg": picked * loss * 0.8 if loss > 0.1 else 0.0,
        "from_gluts_share": 0.8 if loss > 0.1 else None,
        "even_loss_kg": picked * loss * 0.25,
        "worst_week": dt.date(2026, 8, 3) if loss > 0.1 else None,
        "peak_to_mean": 1.4 + 6 * loss,
        "weeks_without": round(8 * loss),
        "eaten_basis": "assumed" if crop in {"lettuce", "pea"} else "logged",
    }


def _shelf() -> list[dict[str, Any]]:
    foods = (
        ("bean", "freeze", 40, 4.0, 120),
        ("kohlrabi", "ferment", 18, 1.2, 210),
        ("plum", "jam", 61, 1.0, 1400),
        ("tomato", "bottle", 48, 3.5, 150),
        ("cucumber", "pickle", 12, None, None),
        ("onion", "cure", 6, 2.4, 45),
    )
    rows = []
    for crop, method, made, rate, days in foods:
        on = AS_OF + dt.timedelta(days=days) if days else None
        rows.append(
            {
                "crop": crop,
                "method": method,
                "made": made,
                "used": made // 3 if rate else 0,
                "spoiled": made // 20,
                "on_hand": made - (made // 3 if rate else 0) - made // 20,
                "used_per_month": rate,
                "low": rate * 0.5 if rate else 0.0,
                "high": rate * 1.8 if rate else 1.1,
                "runs_out_on": on,
                "runs_out_low": AS_OF + dt.timedelta(days=int(days / 1.8)) if days else None,
                "runs_out_high": AS_OF + dt.timedelta(days=days * 2) if days else None,
                "weeks_left": days / 7 if days else None,
                "note": "three years of it: stop making more" if crop == "plum" else None,
            }
        )
    return rows


def _plan() -> list[dict[str, Any]]:
    sowings = (
        ("bean", 3, dt.date(2027, 5, 5), 24, 60, 35, None),
        ("carrot", 2, dt.date(2027, 4, 1), 45, 85, 50, None),
        ("courgette", 2, dt.date(2027, 4, 20), 40, 70, 45, 25),
        ("kohlrabi", 2, dt.date(2027, 3, 25), 60, 62, 20, 30),
        ("lettuce", 5, dt.date(2027, 3, 20), 21, 52, 14, 24),
        ("turnip", 1, dt.date(2027, 7, 20), 30, 58, 30, None),
    )
    rows = []
    for crop, times, first, gap, days, picking, raise_days in sowings:
        for at in range(times):
            sow = first + dt.timedelta(days=gap * at)
            pick = sow + dt.timedelta(days=days + (raise_days or 0))
            rows.append(
                {
                    "crop": crop,
                    "sow_on": sow,
                    "plant_out_on": sow + dt.timedelta(days=raise_days) if raise_days else None,
                    "amount": 3.5 if crop in {"bean", "carrot", "turnip"} else 12.0,
                    "unit": "m" if crop in {"bean", "carrot", "turnip"} else "plants",
                    "area_m2": 1.4,
                    "first_pick_on": pick,
                    "first_pick_low": pick - dt.timedelta(days=6),
                    "first_pick_high": pick + dt.timedelta(days=9),
                    "last_pick_on": pick + dt.timedelta(days=picking),
                    "expected_kg": 6.4,
                    "ready_share": 0.97,
                    "reason": "fresh from June" if at == 0 else "keeps it coming",
                }
            )
    return rows


def _outlook() -> list[dict[str, Any]]:
    rows = []
    for crop, height in (
        ("bean", 2.2),
        ("carrot", 1.6),
        ("courgette", 3.1),
        ("kohlrabi", 1.1),
        ("lettuce", 0.8),
    ):
        for week in range(30):
            middle = height * max(0.0, math.sin((week - 4) / 24 * math.pi))
            rows.append(
                {
                    "crop": crop,
                    "week": dt.date(2027, 4, 5) + dt.timedelta(weeks=week),
                    "kg_p10": 0.6 * middle,
                    "kg_p50": middle,
                    "kg_p90": 1.5 * middle,
                    "need_kg": 0.5 * height if 6 < week < 26 else 0.0,
                }
            )
    return rows


def answers() -> dict[str, pl.DataFrame]:
    """Every answer table with invented rows."""
    spoilage = [_spoilage_row("method", method, at) for at, method in enumerate(METHODS)]
    bands = ("1 to 1.75", "1.75 to 2.25", "2.25 to 2.75", "2.75 to 3.5")
    spoilage += [_spoilage_row("salt_band", band, at) for band, at in zip(bands, (1, 6, 3, 0), strict=True)]
    spoilage += [_spoilage_row("lid", lid, at) for at, lid in enumerate(("glass", "metal", "plastic"))]
    rows: dict[str, list[dict[str, Any]]] = {
        "load_summary": [
            {
                "file": "harvests.csv",
                "kind": "harvests",
                "rows": 412,
                "accepted": 409,
                "set_aside": 3,
                "warnings": 1,
            },
            {
                "file": "batches.csv",
                "kind": "batches",
                "rows": 61,
                "accepted": 61,
                "set_aside": 0,
                "warnings": 0,
            },
        ],
        "problems": [
            {
                "file": "harvests.csv",
                "line": line,
                "column": column,
                "value": value,
                "rule": "unit",
                "level": level,
                "message": message,
            }
            for line, column, value, level, message in (
                (17, "weight", "1.2", "error", "a weight needs its unit: write for example 1.2 kg"),
                (
                    88,
                    "picked_on",
                    "3/4/26",
                    "error",
                    "this day can be read two ways: write 2026-04-03 or 2026-03-04",
                ),
                (201, "crop", "koolrabi", "warning", "unknown crop, taken as typed; did you mean kohlrabi?"),
                (340, "weight", "a lot", "error", "not a weight: write for example 800 g"),
            )
        ],
        "yields": [
            {
                "crop": crop,
                "plot": "1",
                "bed": "A",
                "sowing_id": f"{crop[:3]}-1",
                "kg": kg,
                "first_pick": dt.date(2026, 6, 18),
                "last_pick": dt.date(2026, 9, 30),
                "area_m2": 6.0,
                "kg_per_m2": kg / 6,
                "kg_per_plant": None,
            }
            for crop, kg, _ in CROPS
        ],
        "spoilage": spoilage,
        "keeping_curves": [row for at, method in enumerate(METHODS) for row in _curve(method, at)],
        "salt_response": [
            {
                "method": "ferment",
                "batches": 12,
                "hazard_ratio_per_half_point": 0.62,
                "low": 0.41,
                "high": 0.94,
                "p_value": 0.024,
                "evidence": "enough",
                "note": "more salt went with less spoilage, between 1 and 3.5 % of all",
            }
        ],
        "salt_levels": [
            {
                "method": "ferment",
                "basis": "of all",
                "level": f"{low:g} to {high:g} %",
                "from_pct": low,
                "to_pct": high,
                "salt_pct": (low + high) / 2,
                "batches": batches,
                "containers": batches * 7,
                "spoiled": batches,
                "kept_12m": kept,
                "kept_12m_low": kept - 0.2 if kept else None,
                "kept_12m_high": kept + 0.1 if kept else None,
                "kept_12m_isotonic": kept,
                "limit_pct": 2.0,
                "limit_source": "an invented standard",
                "evidence": evidence,
            }
            for low, high, batches, kept, evidence in (
                (1.0, 1.75, 2, 0.5, "too little"),
                (1.75, 2.25, 4, None, "thin"),
                (2.25, 2.75, 9, 0.7, "enough"),
                (2.75, 3.5, 11, 0.8, "enough"),
            )
        ],
        "spoilage_differences": [
            {
                "factor": "lid",
                "value": value,
                "batches": 9,
                "containers": 63,
                "spoiled": spoiled,
                "expected": 5.2,
                "ratio": ratio,
                "low": ratio * 0.6,
                "high": ratio * 1.6,
                "p_value": 0.21,
                "evidence": "enough",
            }
            for value, spoiled, ratio in (("metal", 8, 1.4), ("glass", 4, 0.8))
        ],
        "treatments": [
            {
                "crop": "bean",
                "treatment": "fed",
                "reference": "unfed",
                "sowings": 3,
                "reference_sowings": 3,
                "kg_per_m2": 2.4,
                "ratio": 1.2,
                "low": 0.9,
                "high": 1.5,
                "evidence": "thin",
            }
        ],
        "spoilage_causes": [
            {"method": "ferment", "cause": "mould", "containers": 7, "lost": 5, "batches": 4},
            {"method": "ferment", "cause": "yeast film", "containers": 11, "lost": 0, "batches": 6},
            {"method": "cure", "cause": "rot", "containers": 6, "lost": 6, "batches": 2},
        ],
        "trials": [
            {
                "trial": "kohlrabi cut",
                "arm": arm,
                "batches": 4,
                "tasters": 9,
                "mean_liking": liking,
                "difference": difference,
                "low": low,
                "high": high,
                "p_value": p,
                "evidence": "enough",
                "firmness_tasters": 6,
                "mean_firmness": liking - 1,
                "firmness_difference": difference,
                "firmness_low": low,
                "firmness_high": high,
                "firmness_p_value": p,
                "firmness_evidence": "thin",
                "containers": 24,
                "spoiled": 1,
                "lost_share": 0.04,
                "lost_low": 0.01,
                "lost_high": 0.2,
                "spoiled_p_value": p,
            }
            for arm, liking, difference, low, high, p in (
                ("chunk", 5.4, None, None, None, None),
                ("shred", 6.8, 1.5, 0.5, 2.5, 0.039),
            )
        ],
        "glut_weeks": [_glut_week(*crop, week) for crop in CROPS for week in range(14)],
        "glut_waste": [_balance(*crop) for crop in CROPS],
        "sowing_waste": [
            {"sowing_id": "cou-1", "crop": "courgette", "kg": 14.2, "from_gluts_kg": 11.9},
            {"sowing_id": "let-2", "crop": "lettuce", "kg": 2.1, "from_gluts_kg": 1.8},
        ],
        "shelf": _shelf(),
        "shelf_forecast": [
            {
                "method": method,
                "crop": crop,
                "on_hand": on_hand,
                "batches": batches,
                "by_date": dt.date(2027, 3, 20),
                "expect_lost": lost,
                "expect_lost_low": low,
                "expect_lost_high": high,
                "evidence": evidence,
            }
            for method, crop, on_hand, batches, lost, low, high, evidence in (
                ("ferment", "turnip", 14, 4, 2.2, 0.0, 5.0, "thin"),
                ("jam", "plum", 30, 9, 0.9, 0.0, 2.0, "enough"),
            )
        ],
        "use_first": [
            {
                "batch_id": batch,
                "crop": crop,
                "method": method,
                "on_hand": on_hand,
                "age_days": age,
                "quality_months": months,
                "due_on": due,
                "reason": reason,
                "source": "invented for this test",
            }
            for batch, crop, method, on_hand, age, months, due, reason in (
                (
                    "O-2",
                    "onion",
                    "cure",
                    4,
                    96,
                    5.0,
                    dt.date(2026, 12, 5),
                    "a crate of the same batch rotted",
                ),
                (
                    "K-7",
                    "kohlrabi",
                    "ferment",
                    3,
                    214,
                    8.0,
                    dt.date(2026, 12, 19),
                    "oldest, not looked at for 60 days",
                ),
                ("B-3", "bean", "freeze", 9, 301, 12.0, dt.date(2027, 1, 22), "near its quality time"),
            )
        ],
        "needs": [
            {
                "crop": crop,
                "fresh_kg_per_week": 0.8,
                "containers_per_year": 24.0,
                "containers_to_make": 11,
                "kg_to_put_by": 7.4,
                "basis": "log",
            }
            for crop in ("bean", "carrot", "kohlrabi")
        ],
        "crop_timing": [
            {
                "crop": "lettuce",
                "degree_days_to_first_pick": 612.0,
                "sd": 0.08,
                "spread": 14.0,
                "n_sowings": 6,
                "prior_weight": 0.3,
                "yield_kg_per_m": 1.1,
                "error_days": 4.2,
                "basis": "log and reference",
            }
        ],
        "sowing_plan": _plan(),
        "harvest_outlook": _outlook(),
        "plan_comparison": [
            {
                "policy": policy,
                "wasted_kg": wasted,
                "short_kg": short,
                "weeks_without": weeks,
                "shelf_filled_share": 0.94,
                "peak_to_mean": peak,
                "sowings": sowings,
            }
            for policy, wasted, short, weeks, peak, sowings in (
                ("last season", 61.0, 22.0, 31.0, 3.4, 12.0),
                ("all at once", 88.0, 35.0, 47.0, 5.2, 6.0),
                ("every 14 days", 57.0, 15.0, 18.0, 2.1, 34.0),
                ("this plan", 34.5, 14.2, 15.5, 1.9, 15.0),
            )
        ],
        "cautions": [
            {
                "batch_id": "K-4",
                "rule": "salt of a ferment",
                "severity": "serious",
                "found": "1.4 % salt of all",
                "limit": "a figure invented for this test",
                "source": "invented for this test",
                "read_as": "from memory",
                "message": "Look at every jar before use; follow a tested recipe next time.",
            }
        ],
    }
    return {table: frame(table, rows.get(table, [])) for table in ANSWERS}


FINDINGS = [
    Finding("season", "You picked 408 kg of 12 crops between 18 Jun and 30 Sep."),
    Finding("season", "123 kg of that was put by in 61 batches, 185 containers."),
    Finding("season", "51 kg was lost fresh, four fifths of it in weeks with more than you could use."),
    Finding("season", "Of the containers made, 24 have spoiled so far; 129 are on the shelf."),
    Finding("season", "Onions run out first, around 4 Jan 2027."),
    Finding(
        "plan",
        "Courgettes lost 21 kg, 17 kg of it in four weeks of August.",
        action="Sow courgettes twice, 40 days apart, and half as many each time: about 15 kg less waste.",
        weight=15.0,
    ),
    Finding(
        "spoilage",
        "Ferments under 2.25 % salt lost 9 of 35 jars; above it 10 of 182.",
        evidence="thin",
        action="Weigh salt to 2.5 % of all: about 5 jars fewer lost a year.",
        weight=9.0,
    ),
    Finding("shelf", "Plum jam would last almost four years at this rate.", action="Make no plum jam.", weight=4.0),
    Finding("trials", "Shredded kohlrabi was liked better than chunks by 8 of 9 tasters.", evidence="enough"),
    Finding("harvest", "Plums lost 15 kg, most of it in the first week of August.", evidence="enough"),
]
NOTES = [
    "Fresh use of lettuce and peas was not logged; it is assumed.",
    "Weather after 20 Nov 2026 is simulated.",
]


@cache
def review_html() -> str:
    """The season review of all of the above, drawn once for all tests."""
    return review_page(GARDEN, FINDINGS, answers(), NOTES)
