"""Yields of sowings and the comparison of treatments, by hand and against known truths."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from core_frames import core, reference
from scipy.special import ndtri

from pipeline.harvest.yields import compare_treatments, yields
from schemas.answer_frame import as_answer

CROPS = reference(
    carrot={"in_row_cm": 5.0, "row_spacing_cm": 30.0},
    kale={"in_row_cm": 40.0, "row_spacing_cm": 50.0},
    mystery={},
)
SOWN = dt.date(2025, 4, 1)


def sowing(sowing_id: str, crop: str, value: float, unit: str, **more: str) -> dict[str, object]:
    return {
        "sowing_id": sowing_id,
        "sown_on": SOWN,
        "crop": crop,
        "amount_value": value,
        "amount_unit": unit,
        **more,
    }


SOWINGS = core(
    "sowings",
    sowing("A", "carrot", 4.0, "m", plot="north", bed="1"),
    sowing("B", "kale", 10.0, "plants"),
    sowing("C", "kale", 3.0, "m2", plot="south"),
    sowing("D", "mystery", 6.0, "plants"),
    sowing("E", "carrot", 2.0, "m"),
)


def pick(day: int, crop: str, kg: float, sowing_id: str | None = None, **more: str) -> dict[str, object]:
    return {"picked_on": dt.date(2025, 7, day), "crop": crop, "weight_kg": kg, "sowing_id": sowing_id, **more}


HARVESTS = core(
    "harvests",
    pick(5, "carrot", 1.0, "A"),
    pick(1, "carrot", 2.0, "A", bed="9"),
    pick(3, "kale", 4.0, "B", plot="east", bed="2"),
    pick(8, "kale", 1.0, "B"),
    pick(4, "kale", 6.0, "C", plot="west", bed="3"),
    pick(6, "mystery", 3.0, "D"),
    pick(2, "carrot", 0.5, bed="4"),
    pick(9, "carrot", 0.7, bed="4"),
    pick(9, "carrot", 0.2),
)


def test_yields_per_sowing_by_hand() -> None:
    found = yields(HARVESTS, SOWINGS, CROPS)
    day = [SOWN, *(dt.date(2025, 7, n) for n in range(1, 10))]
    expected = [
        # 4 m of row 30 cm apart are 1.2 m2, with a plant every 5 cm: 80 plants. 1 April to 1 July are 91 days.
        ("carrot", "north", "1", "A", 3.0, day[1], day[5], 1.2, 2.5, 0.0375, 91),
        ("carrot", None, "4", None, 1.2, day[2], day[9], None, None, None, None),
        ("carrot", None, None, None, 0.2, day[9], day[9], None, None, None, None),
        # 10 plants at 40 by 50 cm are 2 m2. Plot and bed are those of the first picking that names them.
        ("kale", "east", "2", "B", 5.0, day[3], day[8], 2.0, 2.5, 0.5, 93),
        # 3 m2 hold 3 / 0.2 = 15 plants. The sowing's plot goes before the picking's.
        ("kale", "south", "3", "C", 6.0, day[4], day[4], 3.0, 2.0, 0.4, 94),
        # No spacing is known, but plants are.
        ("mystery", None, None, "D", 3.0, day[6], day[6], None, None, 0.5, 96),
    ]
    assert found.columns == as_answer(found, "yields").columns
    for row, wanted in zip(found.rows(), expected, strict=True):
        assert row == pytest.approx(wanted) if None not in wanted else row[:4] == wanted[:4]
        assert [*row[4:5], *row[7:]] == pytest.approx([*wanted[4:5], *wanted[7:]])
        assert row[5:7] == wanted[5:7]


def test_every_kilogram_picked_is_in_a_yield() -> None:
    assert yields(HARVESTS, SOWINGS, CROPS)["kg"].sum() == pytest.approx(HARVESTS["weight_kg"].sum())


def test_empty_logs_give_empty_tables() -> None:
    found = yields(HARVESTS.clear(), SOWINGS.clear(), CROPS.clear())
    assert found.height == 0
    assert found.schema == as_answer(found, "yields").schema
    compared = compare_treatments(found, SOWINGS.clear(), np.random.default_rng(1))
    assert compared.height == 0
    assert compared["evidence"].dtype == pl.String


def trial(crop: str, arms: dict[str | None, list[float]]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """A yield table with 1 m2 per sowing, and its sowings."""
    rows = [(name, kg) for name, values in arms.items() for kg in values]
    sown = core(
        "sowings",
        *[sowing(f"{crop}{at}", crop, 1.0, "m2") | {"treatment": name} for at, (name, _) in enumerate(rows)],
    )
    picked = core("harvests", *[pick(1, crop, kg, f"{crop}{at}") for at, (_, kg) in enumerate(rows)])
    return yields(picked, sown, CROPS), sown


def test_fed_against_unfed() -> None:
    table, sown = trial("kale", {"fed": [3.0, 4.0, 5.0], "unfed": [2.0, 2.0, 2.0]})
    found = compare_treatments(table, sown, np.random.default_rng(1)).to_dicts()
    assert len(found) == 1
    low, high = found[0].pop("low"), found[0].pop("high")
    assert found[0] == {
        "crop": "kale",
        "treatment": "fed",
        "reference": "unfed",
        "sowings": 3,
        "reference_sowings": 3,
        "kg_per_m2": 4.0,
        "ratio": 2.0,
        "evidence": "thin",
    }
    # Three sowings of 3 to 5 kg over three of 2 kg: the widest means that can be drawn are 3 / 2 and 5 / 2, and
    # the widened percentiles of three sowings reach them: t(2) 4.30 times sqrt(3 / 2) is 5.3 normal deviations.
    assert (low, high) == (1.5, 2.5)


def test_below_three_sowings_there_is_too_little_to_say() -> None:
    table, sown = trial("kale", {"fed": [3.0, 4.0], "unfed": [2.0, 2.5, 3.0]})
    found = compare_treatments(table, sown, np.random.default_rng(1)).to_dicts()[0]
    assert (found["ratio"], found["low"], found["high"], found["evidence"]) == (1.4, None, None, "too little")


def test_a_single_treatment_is_compared_with_the_untreated() -> None:
    table, sown = trial("kale", {"seaweed": [2.0], None: [1.0, 1.0]})
    found = compare_treatments(table, sown, np.random.default_rng(1)).to_dicts()[0]
    assert (found["treatment"], found["reference"], found["ratio"]) == ("seaweed", "none", 2.0)


def test_sowings_without_a_treatment_stay_out_where_two_are_compared() -> None:
    table, sown = trial("kale", {"compost": [2.0], "ash": [1.0, 1.0], None: [9.0]})
    found = compare_treatments(table, sown, np.random.default_rng(1)).to_dicts()
    assert [(row["treatment"], row["reference"], row["ratio"]) for row in found] == [("compost", "ash", 2.0)]


def test_the_interval_is_as_wide_as_that_of_students_t_where_yields_are_symmetric() -> None:
    # Ten yields at the quantiles of a bell curve about 10 kg, against sowings of exactly 1 kg: the ratio's interval is
    # the mean's. Hesterberg's widening makes it t(9) s / sqrt(10) wide; unwidened it would be 5 % narrower.
    treated = 10 + ndtri((np.arange(10) + 0.5) / 10)
    table, sown = trial("kale", {"fed": treated.tolist(), "unfed": [1.0] * 10})
    rows = [compare_treatments(table, sown, np.random.default_rng(seed)).to_dicts()[0] for seed in range(12)]
    half = np.mean([(row["high"] - row["low"]) / 2 for row in rows])
    assert half == pytest.approx(2.262157 * treated.std(ddof=1) / np.sqrt(10), rel=0.025)
    assert rows[0]["evidence"] == "enough"


def test_the_interval_holds_the_truth_about_as_often_as_it_says() -> None:
    # Known truth: treated sowings give 1.3 times as much; single sowings vary by 30 %; six sowings a side.
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(120):
        treated, base = (factor * rng.lognormal(-0.045, 0.3, 6) for factor in (1.3, 1.0))
        table, sown = trial("kale", {"fed": treated.tolist(), "unfed": base.tolist()})
        row = compare_treatments(table, sown, rng).to_dicts()[0]
        held += row["low"] <= 1.3 <= row["high"]
    assert 0.89 <= held / 120 <= 0.99
