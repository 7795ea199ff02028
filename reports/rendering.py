"""How the pages are put together: the templates and the style sheet that all of them share."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from reports.words import EVIDENCE, EVIDENCE_MARKS, full_day
from schemas.words.food import FOOD_CAUTION, TESTED_RECIPE


@cache
def environment() -> Environment:
    """Where all pages get their templates, filters and standing words from."""
    made = Environment(
        loader=PackageLoader("reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["day"] = full_day
    made.globals.update(evidence=EVIDENCE, evidence_marks=EVIDENCE_MARKS)
    made.globals.update(tested_recipe=TESTED_RECIPE, food_caution=FOOD_CAUTION)
    return made


def render(template: str, **values: Any) -> str:
    """A page made of a template of ``reports/templates``; every text given is escaped, and ``css`` is ours."""
    css = resources.files("reports").joinpath("templates/review.css").read_text("utf-8")
    return environment().get_template(template).render(css=Markup(css), **values)  # noqa: S704 -- our own file
