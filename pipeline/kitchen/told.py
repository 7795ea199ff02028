"""A kitchen sum as text for a terminal, and as JSON."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable
from dataclasses import asdict

from pipeline.kitchen.bench import BenchSum, Caution
from pipeline.kitchen.words import figure_text
from schemas.words.food import TESTED_RECIPE


def sum_text(answer: BenchSum, width: int = 100) -> str:
    """The amounts, the cautions, the working, advice, what is not told, and the published values.

    Args:
        answer: a kitchen sum.
        width: characters in a line.
    """
    label_width = max(len(figure.label) for figure in answer.figures)
    lines = [*_wrapped(answer.title, width), ""]
    for figure in answer.figures:
        lead = f"  {figure.label.ljust(label_width)}  "
        lines += _wrapped(figure_text(figure), width, lead, " " * len(lead))
    lines += _section("Cautions", [_caution(caution) for caution in answer.cautions], width)
    lines += ["", *_wrapped(TESTED_RECIPE, width), *_wrapped(answer.working, width, "Working: ", "  ")]
    lines += _section("Advice", answer.advice, width)
    lines += _section("What this does not tell", answer.not_told, width)
    limits = [f"{limit.words}. {limit.source} ({limit.read_as})" for limit in answer.limits]
    lines += _section("Published, or practice where it says so", limits, width)
    return "\n".join(lines)


def sum_json(answer: BenchSum) -> str:
    """The same as one JSON object; ``figures`` is keyed by name, numbers in the unit beside them."""
    whole = {
        "sum": answer.kind,
        "title": answer.title,
        "figures": {figure.name: _figure(asdict(figure)) for figure in answer.figures},
        "working": answer.working,
        "limits": [asdict(limit) for limit in answer.limits],
        "not_told": list(answer.not_told),
        "advice": list(answer.advice),
        "cautions": [asdict(caution) for caution in answer.cautions],
        "note": TESTED_RECIPE,
    }
    return json.dumps(whole, ensure_ascii=False, indent=1)


def _figure(values: dict[str, object]) -> dict[str, object]:
    del values["name"], values["toward"]
    return {key: round(value, 4) if isinstance(value, float) else value for key, value in values.items()}


def _caution(caution: Caution) -> str:
    message = caution.message.removesuffix(TESTED_RECIPE).strip()
    return (
        f"{caution.severity.upper()}: {caution.found}. Limit: {caution.limit} ({caution.source}; {caution.read_as})."
        f" {message}"
    )


def _section(title: str, items: Iterable[str], width: int) -> list[str]:
    lines = [line for item in items for line in _wrapped(item, width, "  - ", "    ")]
    return ["", title, *lines] if lines else []


def _wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        max(40, width),
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
