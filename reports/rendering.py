"""How the pages are put together: the templates and the style sheet that all of them share."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from reports.words import EVIDENCE, EVIDENCE_MARKS, full_day


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["day"] = full_day
    environment.globals.update(evidence=EVIDENCE, evidence_marks=EVIDENCE_MARKS)
    return environment


def render(template: str, **values: Any) -> str:
    """A page made of a template of ``reports/templates``; every text given is escaped, and ``css`` is ours."""
    css = resources.files("reports").joinpath("templates/review.css").read_text("utf-8")
    return _environment().get_template(template).render(css=Markup(css), **values)  # noqa: S704 -- our own file
