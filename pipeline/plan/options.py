"""What the sowing plan is asked for, and what each shortfall counts."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

SOW_WEEKS = 52
PLAN_WEEKS = 65
"""A season of sowing weeks, and a quarter more for what is sown late and picked in the next year."""
PLAN_DAYS = 7 * PLAN_WEEKS + 6
"""Days of weather a plan needs from the first day of the season: weeks start on its first Monday."""


@dataclass(frozen=True)
class PlanWeights:
    """What the plan trades off; all judgement, no source.

    Each crop is measured in weeks of its own need (its mean fresh kg per wanted week, or a twentieth of what
    is to be put by if that is more), so that a missing week of lettuce counts as much as a missing week of
    potatoes although it weighs less.
    """

    unmet_fresh: float = 1.0
    """For a week's worth wanted fresh and not there; must not be below ``unmet_shelf``."""
    unmet_shelf: float = 0.6
    """For a week's worth wanted on the shelf and not put by."""
    waste: float = 0.3
    """For a week's worth ripe and not used."""
    sowing: float = 0.75
    """For the work of one more sowing: worth it if it saves three quarters of a week's worth."""
    area: float = 0.02
    """For each square metre sown."""


@dataclass(frozen=True)
class PlanNoise:
    """How harvests differ for other reasons than weather; judgement, no source."""

    sowing_cv: float = 0.25
    failure: float = 0.05
    crop_year_cv: float = 0.15


@dataclass(frozen=True)
class PlanOptions:
    """The season to plan.

    Months and days are (month, day). ``None`` means: not limited (area, kitchen, first and last sowing),
    taken from the weather (frosts), or unknown (latitude: light and daylength are then left out).
    """

    first_day: dt.date
    """First day of the garden year."""
    latitude: float | None = None
    last_frost: tuple[int, int] | None = None
    first_frost: tuple[int, int] | None = None
    bed_area_m2: float | None = None
    kitchen_kg_per_week: float | None = None
    first_sowing: tuple[int, int] | None = None
    last_sowing: tuple[int, int] | None = None
    not_before: dt.date | None = None
    """No sowing earlier than this day, for a season under way."""
    max_sowings: int = 8
    min_sowings: int = 1
    """Least sowings of a crop that is sown again; fewer where beds or weeks allow no more."""
    longest_gap: int = 4
    n_years: int = 80
    """Weather years the plan is fitted to."""
    fresh_years: int = 60
    """Weather years it is judged on and never saw."""
    rounds: int = 8
    """Fresh attempts of the search after it is stuck; more is slower and slightly better."""
    bound_moves: int = 0
    """Moves of the prices that show how good any plan could be; 0 leaves that out."""
    simple: bool = False
    """Take the best sowings at equal steps of warmth as the plan: easier to follow, and often nearly as good."""
    weights: PlanWeights = field(default_factory=PlanWeights)
    noise: PlanNoise = field(default_factory=PlanNoise)

    def __post_init__(self) -> None:
        """Refuse what cannot be planned.

        Raises:
            ValueError: a count below one, or weights for which the best use of a harvest is not known.
        """
        for name in ("max_sowings", "n_years", "fresh_years"):
            if getattr(self, name) < 1:
                message = f"{name} is {getattr(self, name)}; it must be at least 1"
                raise ValueError(message)
        if self.weights.unmet_fresh < self.weights.unmet_shelf:
            message = "the weight of unmet fresh use must not be below that of the unmet shelf"
            raise ValueError(message)
