"""What is said of food that breaks a published limit, in one place."""

from __future__ import annotations

ABOUT_THE_EATER = frozenset({"honey_infants"})
"""Serious cautions that are about who eats, not about the jar."""

TESTED_RECIPE = "Follow a tested recipe from your food-safety authority; local rules and qualified advice come first."
