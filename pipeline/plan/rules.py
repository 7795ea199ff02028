"""Simple ways of sowing, each as good as it can be made on the same years: what a plan has to beat."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.plan.problem import Problem

Floats = NDArray[np.float64]
Pattern = tuple[int, ...]
"""Positions among the sowing weeks that are sown."""

ALL_AT_ONCE, FIXED, EQUAL_WARMTH = "all at once", "best fixed interval", "equal warmth"
RULES = (ALL_AT_ONCE, "every 21 days", "every 14 days", FIXED, EQUAL_WARMTH)
LONGEST_INTERVAL_WEEKS = 8
SIZES = 12
KEEP = 64


def tuned_rules(problem: Problem) -> dict[str, Floats]:
    """Each rule's best answer: dates, number of sowings and amount are chosen on the problem's own years.

    ``every 14 days`` and ``every 21 days`` sow the same amount at that distance, ``best fixed interval`` at the
    distance that suits the crop best, whole weeks. ``equal warmth`` sows the same amount so that usual first
    picks are equally spaced, which means equal warmth between sowings (the rule of Ottosson 1972, Acta
    Horticulturae 27, for peas; abstract read). All but the first need two sowings or more; a crop that is sown
    once is sown once by every rule. None goes beyond the most sowings allowed.
    """
    once = _best(problem, [(place,) for place in range(len(problem.weeks))])
    intervals = range(1, LONGEST_INTERVAL_WEEKS + 1)
    several = {
        "every 21 days": _every(problem, 3),
        "every 14 days": _every(problem, 2),
        FIXED: [pattern for weeks in intervals for pattern in _every(problem, weeks)],
        EQUAL_WARMTH: _equal_warmth(problem),
    }
    return {ALL_AT_ONCE: once} | {
        rule: _best(problem, patterns) if patterns else once for rule, patterns in several.items()
    }


def _best(problem: Problem, patterns: list[Pattern]) -> Floats:
    """The best of the patterns with one amount for all their sowings."""
    shapes = np.zeros((len(patterns), len(problem.weeks)))
    for row, pattern in zip(shapes, patterns, strict=True):
        row[list(pattern)] = 1.0
    sizes = np.unique(np.round(np.geomspace(1, problem.most, SIZES)))
    rough, _ = problem.best_of((shapes[:, None] * sizes[:, None]).reshape(-1, shapes.shape[1]), keep=KEEP)
    finer = np.unique(np.clip(np.round(rough.max() * np.linspace(0.75, 1.35, 13)), 1, problem.most))
    return problem.best_of((rough > 0) * finer[:, None])[0]


def _every(problem: Problem, weeks_apart: int) -> list[Pattern]:
    place_of = {int(week): place for place, week in enumerate(problem.weeks)}
    patterns = []
    for start, place in place_of.items():
        pattern = [place]
        while len(pattern) < problem.most_sowings and start + weeks_apart * len(pattern) in place_of:
            pattern.append(place_of[start + weeks_apart * len(pattern)])
            patterns.append(tuple(pattern))
    return patterns


def _equal_warmth(problem: Problem) -> list[Pattern]:
    # A later sowing is never usually ready before an earlier one; chance in the median must not say so.
    ready, places = np.maximum.accumulate(problem.median_ready), range(len(problem.weeks))
    patterns = {
        _spaced(ready, first, last, count)
        for first in places
        for last in places[first + 1 :: 2]
        for count in range(2, min(problem.most_sowings, last - first + 1) + 1)
    }
    return sorted(pattern for pattern in patterns if len(pattern) > 1)


def _spaced(ready: Floats, first: int, last: int, count: int) -> Pattern:
    """Positions from first to last whose usual first picks are nearest to equal spacing."""
    step = (ready[last] - ready[first]) / (count - 1)
    wanted = ready[first] + step * np.arange(count)
    found = np.interp(wanted, ready[first : last + 1], np.arange(first, last + 1)).round().astype(int)
    return tuple(dict.fromkeys(found.tolist()))
