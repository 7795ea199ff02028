"""Counts and chances as a person says them; shared by the findings on spoilage and on trials."""

from __future__ import annotations

NUMBERS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)

BEHIND = {"enough": "", "thin": ", thin evidence", "too little": ", too little evidence"}
"""What follows the count of batches that a sentence rests on."""

SIGNIFICANT = 0.05


def count_of(n: int, thing: str) -> str:
    """``four batches``, ``13 batches``, ``one batch``."""
    number = NUMBERS[n] if n < len(NUMBERS) else str(n)
    plural = thing + ("es" if thing.endswith("ch") else "s")
    return f"{number} {thing if n == 1 else plural}"


def chance(p_value: float) -> str:
    """How often chance alone does something: ``about 4 times in 100``, ``less than 1 time in 100``."""
    times = round(100 * p_value)
    return "less than 1 time in 100" if p_value < 0.01 else f"about {times} time{'s' * (times > 1)} in 100"
