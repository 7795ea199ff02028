"""What a page is told besides the answer tables: facts of the garden, and findings in words."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class Finding:
    """One plain sentence made from the answers by a tested rule.

    ``section``: ``season``, ``spoilage``, ``harvest``, ``shelf``, ``outlook``, ``plan``, ``trials``, ``data``.
    ``action``: what to do about it, if anything. ``weight`` ranks findings, larger first.
    """

    section: str
    sentence: str
    evidence: str = "enough"
    action: str = ""
    weight: float = 0.0


@dataclass(frozen=True)
class Garden:
    """Facts for the head of a page."""

    name: str
    as_of: dt.date
    season_from: dt.date
    season_to: dt.date
    plan_from: dt.date
    plan_to: dt.date
    """First and last day of the season that is planned."""
    invented: bool = False
    """Whether the logs are invented sample data; the page then says so."""
    season_note: str = ""
    """Which season it is and how to choose another."""
