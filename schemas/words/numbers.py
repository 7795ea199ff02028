"""Counts, weights and chances as a person says them in a sentence."""

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


def in_letters(n: int) -> str:
    """``four``; from 13 on the figure."""
    return NUMBERS[n] if n < len(NUMBERS) else str(n)


def plural(thing: str, n: int) -> str:
    """``batch`` or ``batches``."""
    return thing if n == 1 else thing + ("es" if thing.endswith("ch") else "s")


def count_of(n: int, thing: str) -> str:
    """``four batches``, ``13 batches``, ``one batch``."""
    return f"{in_letters(n)} {plural(thing, n)}"


def figure_of(n: int, thing: str) -> str:
    """``4 batches``, ``1 batch``."""
    return f"{n} {plural(thing, n)}"


def kg(value: float) -> str:
    """Kilograms as a person says them: ``12 kg``, ``1.4 kg``, ``2 kg``."""
    return f"{value:.0f} kg" if value >= 9.95 else f"{value:.1f} kg".replace(".0 kg", " kg")


def about_kg(value: float) -> str:
    """A foretold weight, in whole kilograms sooner than a weighed one: ``12 kg``, ``4 kg``, ``1.4 kg``."""
    return f"{value:.0f} kg" if value >= 2.95 else f"{value:.1f} kg"


def chance(p_value: float) -> str:
    """How often chance alone does something: ``about 4 times in 100``, ``less than 1 time in 100``."""
    times = round(100 * p_value)
    return "less than 1 time in 100" if p_value < 0.01 else f"about {times} time{'s' * (times > 1)} in 100"


def capital(sentence: str) -> str:
    """The same with a capital first letter."""
    return sentence[:1].upper() + sentence[1:]
