"""What is said of food that breaks a published limit, in one place."""

from __future__ import annotations

ABOUT_THE_EATER = frozenset({"honey_infants"})
"""Serious cautions that are about who eats, not about the jar."""

LOOK_BEFORE = (
    "Look before you open, and discard untasted what leaks, bulges, is mouldy or smells wrong. "
    "Jars of vegetables, meat or other low-acid food can be deadly and show nothing: looks and smell clear no jar."
)
"""The way a jar is looked at (USDA Complete Guide to Home Canning, Guide 1, read in a copy)."""

TESTED_RECIPE = "Follow a tested recipe from your food-safety authority; local rules and qualified advice come first."
FOOD_CAUTION = f"Nothing here says that a jar may be eaten. {TESTED_RECIPE}"
