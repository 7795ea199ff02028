"""``logbook.html``: one page for a telephone that works without a network and keeps entries until they are saved.

The page holds its whole script, named by its hash in a policy that allows no other and no connection. All that comes
from a log stands in one block of JSON and reaches the page as text only.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sized
from dataclasses import asdict
from importlib import resources

from markupsafe import Markup

from reports.logbook_forms import forms
from reports.rendering import environment
from reports.tables import FORMULA_STARTS
from schemas.logbook import GardenLists

MADE_BY = "Rowshelf logbook"
"""Stands in the page, so that only a page of ours is ever replaced."""


MOST_WORDS, MOST_BATCHES = 60, 18
"""Names that fit above a sheet; how many more there are is said."""


def logbook_page(lists: GardenLists) -> str:
    """The page, with this garden's crops, plots and batches to pick from.

    ``logbook.html#log=use&batch_id=B12`` opens it at an entry (by its name or its log's) with cells filled in.
    """
    script = _own("logbook.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    data = {
        "garden": lists.name,
        "forms": [asdict(form) for form in forms()],
        "offers": lists.offers,
        "formula": list(FORMULA_STARTS),
    }
    return (
        environment()
        .get_template("logbook.html.j2")
        .render(
            garden=lists.name,
            made_by=MADE_BY,
            css=Markup(_own("logbook.css")),  # noqa: S704 -- our own file
            script=Markup(script),  # noqa: S704 -- our own file
            digest=digest,
            data=_as_block(data),
            forms=forms(),
        )
    )


def log_sheets(lists: GardenLists) -> str:
    """A4 sheets to fill in with a pencil, one kind of entry on each."""
    return (
        environment()
        .get_template("sheets.html.j2")
        .render(
            garden=lists.name,
            made_by=MADE_BY,
            css=Markup(_own("sheets.css")),  # noqa: S704 -- our own file
            forms=forms(),
            crops=lists.words("crop"),
            batches=lists.offers.get("batch_id", ()),
            plots=lists.words("plot"),
            most=MOST_WORDS,
            some=MOST_BATCHES,
            more=_more,
        )
    )


def _more(words: Sized, most: int = MOST_WORDS) -> str:
    left = len(words) - most
    return f" · and {left} more" if left > 0 else ""


def _as_block(data: object) -> Markup:
    """JSON that cannot end its own block, whatever a log holds."""
    text = json.dumps(data, ensure_ascii=False).replace("&", "\\u0026")
    text = (
        text.replace("<", "\\u003c").replace(">", "\\u003e").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
    )
    return Markup(text)  # noqa: S704 -- no angle bracket is left in it


def _own(name: str) -> str:
    return resources.files("reports").joinpath("templates", name).read_text("utf-8")
