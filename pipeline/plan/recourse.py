"""The best use of a harvest once it is known: what is eaten fresh, put by and lost.

Produce that becomes ready in week t can be used in weeks t to t + life. For that case the best use needs no
linear programme: serving each week from what would otherwise expire first is optimal, and what can be eaten
and put by in total follows from two such passes (the reachable totals form a polymatroid). The tests compare
it with a linear programme.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def served_by_week(running_harvest: Floats, cap: Floats, life_weeks: int) -> Floats:
    """What each week can be served, the oldest produce first.

    Args:
        running_harvest: weeks x any shape, harvest summed up to and including each week, kg.
        cap: weeks x a shape that broadcasts to the rest, the most each week can take, kg; may be infinite.
        life_weeks: weeks after the one it became ready in which produce is still usable.

    Returns:
        kg served, shaped as ``running_harvest``.
    """
    served = np.empty_like(running_harvest)
    gone = np.zeros_like(running_harvest[0]) if len(running_harvest) else np.zeros(0)
    for week, total in enumerate(running_harvest):
        if week > life_weeks:
            np.maximum(gone, running_harvest[week - life_weeks - 1], out=gone)
        served[week] = np.minimum(cap[week], total - gone)
        gone += served[week]
    return served


def served_in_all(running_harvest: Floats, cap: Floats, life_weeks: int) -> Floats:
    """``served_by_week`` summed over the weeks, without keeping them."""
    gone = np.zeros(running_harvest.shape[1:])
    served = np.zeros_like(gone)
    for week, total in enumerate(running_harvest):
        if week > life_weeks:
            np.maximum(gone, running_harvest[week - life_weeks - 1], out=gone)
        taken = np.minimum(cap[week], total - gone)
        gone += taken
        served += taken
    return served


def best_use(
    running_harvest: Floats, wanted: Floats, put_by_per_week: Floats, put_by_in_all: float, life_weeks: int
) -> tuple[Floats, Floats]:
    """The most valuable use where a kilo eaten fresh counts at least as much as one put by.

    Args:
        running_harvest: weeks x any shape, harvest summed up to and including each week, kg.
        wanted: weeks x broadcastable, wanted fresh, kg.
        put_by_per_week: weeks x broadcastable, the most that can be put by in a week, kg; may be infinite.
        put_by_in_all: the most that is wanted on the shelf, kg.
        life_weeks: as in ``served_by_week``.

    Returns:
        kg eaten fresh and kg put by in all weeks together; the rest of the harvest is lost.
    """
    eaten = served_in_all(running_harvest, wanted, life_weeks)
    if put_by_in_all <= 0.0:
        return eaten, np.zeros_like(eaten)
    both = served_in_all(running_harvest, wanted + put_by_per_week, life_weeks)
    return eaten, np.minimum(both - eaten, put_by_in_all)
