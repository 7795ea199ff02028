"""Water activity of salt and sugar solutions against published values."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.kitchen.water_activity import (
    HONEY_SHARES,
    HONEY_SOLIDS_SHARE,
    SATURATED_NACL_MOL_PER_KG,
    honey_sugars,
    nacl_osmotic_coefficient,
    salt_molality,
    salt_water_activity,
    sugar_water_activity,
    syrup_activity_range,
)


def sucrose(percent: float) -> float:
    return sugar_water_activity(100 - percent, {"sucrose": percent})


@pytest.mark.parametrize(
    ("molality", "coefficient"),
    [
        # Robinson and Stokes, Electrolyte Solutions (1965), osmotic coefficients of NaCl at 25 C. At 6 mol/kg: read
        # in a laboratory instrument manual, as 1.271; the others from memory.
        (0.1, 0.9324),
        (0.5, 0.9209),
        (1.0, 0.9355),
        (2.0, 0.9833),
        (3.0, 1.0453),
        (4.0, 1.1158),
        (5.0, 1.1916),
        (6.0, 1.271),
    ],
)
def test_osmotic_coefficient_of_salt(molality: float, coefficient: float) -> None:
    assert nacl_osmotic_coefficient(molality) == pytest.approx(coefficient, abs=0.003)


@pytest.mark.parametrize(
    ("molality", "activity"),
    [
        # One molal solution of salt: 0.9669, from a food science text on water activity, read in a copy.
        (1.0, 0.9669),
        # 6 mol/kg: 0.760, laboratory instrument manual after Robinson and Stokes (1965), read in a copy.
        (6.0, 0.760),
    ],
)
def test_water_activity_by_molality(molality: float, activity: float) -> None:
    percent = 100 * molality * 0.058443 / (1 + molality * 0.058443)
    assert salt_molality(percent) == pytest.approx(molality)
    assert salt_water_activity(percent) == pytest.approx(activity, abs=0.001)


@pytest.mark.parametrize(
    ("percent", "activity"),
    [
        # Computed with the coefficients of Robinson and Stokes (1965); percent by weight of salt and water.
        (1.0, 0.9943),
        (2.0, 0.9885),
        (2.25, 0.9870),
        (2.5, 0.9856),
        (3.0, 0.9826),
        (3.5, 0.9796),
        (5.0, 0.9702),
        (7.0, 0.9570),
        (10.0, 0.9351),
        (15.0, 0.8923),
        (20.0, 0.8394),
    ],
)
def test_water_activity_by_percent(percent: float, activity: float) -> None:
    assert salt_water_activity(percent) == pytest.approx(activity, abs=0.0005)


def test_saturated_salt() -> None:
    # Saturated brine holds 26.4 % of salt at 25 C (CRC Handbook, from memory).
    saturated = 26.4
    # Greenspan, J. Res. NBS 81A:89 (1977): 75.29 +- 0.12 % RH at 25 C; from memory.
    assert salt_molality(saturated) == pytest.approx(SATURATED_NACL_MOL_PER_KG, abs=0.01)
    assert salt_water_activity(saturated) == pytest.approx(0.7529, abs=0.0012)
    # CRC Handbook, constant humidity solutions: RH = 69.20 exp(25 / T); read in a copy.
    assert salt_water_activity(saturated) == pytest.approx(0.6920 * math.exp(25 / 298.15), abs=0.001)
    # Wexler and Hasegawa, J. Res. NBS 53 (1954): between 74.9 % at 0 C and 75.6 % at 30 C; read in a copy.
    assert 0.749 < salt_water_activity(saturated) < 0.756


@pytest.mark.parametrize("percent", [27.0, 60.0, -1.0])
def test_more_salt_than_dissolves_has_no_activity(percent: float) -> None:
    with pytest.raises(ValueError, match="dissolves up to"):
        salt_water_activity(percent)


@pytest.mark.parametrize(
    ("activity", "salt_pct", "sucrose_pct"),
    [
        # New York State Dept. of Agriculture and Markets, Water Activity: foods at 0.98 hold up to 3.5 % salt or
        # 26 % sucrose in their water, at 0.93 near 10 % and 50 %.
        (0.98, 3.5, 26.0),
        (0.93, 10.0, 50.0),
    ],
)
def test_salt_and_sucrose_of_equal_activity(activity: float, salt_pct: float, sucrose_pct: float) -> None:
    assert salt_water_activity(salt_pct) == pytest.approx(activity, abs=0.006)
    assert sucrose(sucrose_pct) == pytest.approx(activity, abs=0.006)


@pytest.mark.parametrize(
    ("percent", "activity"),
    # Worked by hand from Norrish's equation with K = 6.47.
    [(65, 0.865), (60, 0.895), (55, 0.918), (50, 0.935), (45, 0.948)],
)
def test_sucrose_by_norrish(percent: float, activity: float) -> None:
    assert sucrose(percent) == pytest.approx(activity, abs=0.0006)


def test_mixtures_multiply_each_sugar_alone_in_all_the_water() -> None:
    # Ross (1975).
    both = sugar_water_activity(50, {"sucrose": 30, "glucose": 20})
    alone = sugar_water_activity(50, {"sucrose": 30}) * sugar_water_activity(50, {"glucose": 20})
    assert both == pytest.approx(alone)


def test_a_full_jam_lies_between_split_and_whole_sugar() -> None:
    low, high = syrup_activity_range(65, sucrose_share=1.0)
    assert low == pytest.approx(0.81, abs=0.005)
    assert high == pytest.approx(0.865, abs=0.001)
    split = syrup_activity_range(65, sucrose_share=0.0)
    assert split[0] == split[1] == pytest.approx(low)
    half = syrup_activity_range(65, sucrose_share=0.5)
    assert low < half[1] < high


def test_honey_by_its_published_composition() -> None:
    # White et al., USDA Tech. Bull. 1261 (1962): water 17.2 %; published water activities of honey run from about
    # 0.5 to 0.65 (from memory). At the 20 % that Codex CXS 12-1981 allows it is higher.
    assert HONEY_SHARES == {"water": 0.172, "fructose": 0.382, "glucose": 0.313, "sucrose": 0.013, "maltose": 0.073}
    assert pytest.approx(0.828) == HONEY_SOLIDS_SHARE
    mean = sugar_water_activity(17.2, honey_sugars(100))
    assert 0.55 < mean < 0.62
    assert mean < syrup_activity_range(80, 0.0, honey_share=1.0)[1] < 0.66


@given(st.floats(0.01, 26.0), st.floats(0.01, 26.0))
def test_more_salt_is_lower_activity(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert salt_water_activity(high) <= salt_water_activity(low) < 1


@given(st.floats(5, 85), st.floats(0, 1), st.floats(0, 1))
def test_a_syrup_is_never_wetter_than_water_and_splitting_never_raises_it(
    solids: float, sugar: float, rest: float
) -> None:
    low, high = syrup_activity_range(solids, sugar, honey_share=(1 - sugar) * rest)
    assert 0 < low <= high + 1e-12 < 1 + 1e-12
