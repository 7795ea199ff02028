"""Water activity of salt and sugar solutions at 25 C.

Salt by its osmotic coefficient, with the ion-interaction equation of Pitzer and Mayorga, J. Phys. Chem. 77:2300
(1973). Sugars by Norrish, J. Food Technol. 1:25 (1966), in the form read in Baeza et al., Food Bioprocess
Technol. 3:87 (2010); mixtures by Ross, Food Technol. 29(3):26 (1975): each solute alone in all the water, and
the activities multiplied. One Norrish constant cannot serve salt: what would fit changes sign between 1 and
6 mol/kg.

An activity computed here raises cautions or explains them. It never shows that food has kept or will keep.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

WATER_KG_PER_MOL = 0.0180153
NACL_KG_PER_MOL = 0.058443
SATURATED_NACL_MOL_PER_KG = 6.146
"""Solubility of salt at 25 C, 26.4 g in 100 g of solution. CRC Handbook; from memory."""

PITZER_NACL = {"debye": 0.3915, "beta0": 0.0765, "beta1": 0.2664, "third": 0.00127}
"""Constants for NaCl at 25 C, from memory; the distance of closest approach is 1.2, its exponent 2."""

NORRISH_K = {"sucrose": 6.47, "glucose": 2.25, "fructose": 2.25, "maltose": 4.54}
"""Norrish's constants for natural logarithms, after Chirife, Ferro Fontan and Benmergui (1980); from memory."""

SUGAR_G_PER_MOL = {"sucrose": 342.30, "glucose": 180.16, "fructose": 180.16, "maltose": 342.30}

HONEY_SHARES = {"water": 0.172, "fructose": 0.382, "glucose": 0.313, "sucrose": 0.013, "maltose": 0.073}
"""White et al., USDA Tech. Bull. 1261 (1962), as tabulated in Crane (1980); higher sugars (1.5 %) are left out."""

HONEY_SOLIDS_SHARE = 1 - HONEY_SHARES["water"]


def nacl_osmotic_coefficient(molality: float) -> float:
    """Osmotic coefficient of a sodium chloride solution at 25 C.

    Args:
        molality: mol of salt per kg of water, 0 to saturation (6.146).

    Raises:
        ValueError: a molality below 0 or beyond saturation.
    """
    if not 0 <= molality <= SATURATED_NACL_MOL_PER_KG:
        message = f"{molality:g} mol/kg: salt dissolves up to {SATURATED_NACL_MOL_PER_KG} mol/kg at 25 C."
        raise ValueError(message)
    root = math.sqrt(molality)
    attraction = PITZER_NACL["debye"] * root / (1 + 1.2 * root)
    pairs = PITZER_NACL["beta0"] + PITZER_NACL["beta1"] * math.exp(-2 * root)
    return 1 - attraction + molality * pairs + PITZER_NACL["third"] * molality**2


def salt_molality(salt_pct: float) -> float:
    """Mol of salt per kg of water from percent by weight of salt in salt and water together."""
    return salt_pct / (100 - salt_pct) / NACL_KG_PER_MOL


def salt_water_activity(salt_pct: float) -> float:
    """Water activity of salt in water at 25 C.

    Args:
        salt_pct: percent by weight of salt in salt and water together, 0 to 26.4.

    Raises:
        ValueError: more salt than dissolves.
    """
    molality = salt_molality(salt_pct)
    return math.exp(-WATER_KG_PER_MOL * 2 * molality * nacl_osmotic_coefficient(molality))


def sugar_water_activity(water_g: float, sugars_g: Mapping[str, float]) -> float:
    """Water activity of sugars in water at about 25 C.

    Args:
        water_g: weight of water, above 0.
        sugars_g: weight of each sugar, by a name in ``NORRISH_K``.
    """
    water_mol = water_g / (1000 * WATER_KG_PER_MOL)
    activity = 1.0
    for sugar, weight_g in sugars_g.items():
        share = weight_g / SUGAR_G_PER_MOL[sugar]
        share /= share + water_mol
        activity *= (1 - share) * math.exp(-NORRISH_K[sugar] * share**2)
    return activity


def honey_sugars(honey_g: float) -> dict[str, float]:
    """Weight in grams of each sugar that so much honey brings."""
    return {name: share * honey_g for name, share in HONEY_SHARES.items() if name != "water"}


def syrup_activity_range(solids_pct: float, sucrose_share: float, honey_share: float = 0.0) -> tuple[float, float]:
    """Water activity of a syrup, with all of its table sugar split by acid and heat, and with none of it split.

    Split sugar, and the solids that are neither table sugar nor honey, which is what fruit brings, count as
    glucose and fructose in equal parts. The little water that splitting binds is left out: the solids are those
    of the finished syrup.

    Args:
        solids_pct: dissolved solids, percent by weight, above 0 and below 100.
        sucrose_share: share of the solids that went in as table sugar, 0 to 1.
        honey_share: share of the solids that came in with honey, 0 to 1.

    Returns:
        (all split, none split); the first is the lower.
    """
    honey = honey_sugars(solids_pct * honey_share / HONEY_SOLIDS_SHARE)

    def activity(whole_share: float) -> float:
        simple = solids_pct * (1 - whole_share - honey_share) / 2
        added = {"sucrose": solids_pct * whole_share, "glucose": simple, "fructose": simple}
        sugars = {name: honey[name] + added.get(name, 0.0) for name in honey}
        return sugar_water_activity(100 - solids_pct, sugars)

    return activity(0.0), activity(sucrose_share)
