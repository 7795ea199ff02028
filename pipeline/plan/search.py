"""Local search for the best sowings of one crop, on the exact cost over all weather years.

One joint integer programme over all crops does not close (with HiGHS, 15 crops and 20 years had a gap of 72 % after
a minute). Crop by crop, a search over small changes is quick and, where it can be checked, finds the best.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from pipeline.plan.problem import Problem

Floats = NDArray[np.float64]
Steps = NDArray[np.int64]
Edit = tuple[tuple[int, int], ...]
"""Positions among the sowing weeks with their new number of steps."""

SHIFTS = (-4, -3, -2, -1, 1, 2, 3, 4)
STEPS_AT_MOST = 80


def search(
    problem: Problem,
    starts: Floats,
    rng: np.random.Generator,
    rounds: int,
    toll: Floats | None = None,
    room_m2: Floats | None = None,
) -> tuple[Floats, float]:
    """The best answer found and its cost.

    Args:
        problem: one crop's question.
        starts: answers to start from, answers x sowing weeks; those that do not fit are left out, no sowing
            at all is always among them.
        rng: source of chance for fresh attempts.
        rounds: fresh attempts after the search is stuck; the search stops on counts, never on time.
        toll: charge on each step, by sowing week, such as the price of bed area.
        room_m2: free area in each plan week, never exceeded; None for no limit.
    """
    none = np.zeros((1, len(problem.weeks)))
    fitting = np.concatenate([none, starts[_fits(problem, starts, room_m2)]])
    best, cost = climb(problem, problem.best_of(fitting, toll)[0], toll, room_m2)
    for _ in range(rounds):
        shaken = _shaken(problem, best, rng)
        if not _fits(problem, shaken[None], room_m2)[0]:
            continue
        answer, found = climb(problem, shaken, toll, room_m2)
        if found < cost - 1e-9:
            best, cost = answer, found
    return best, cost


def climb(
    problem: Problem, answer: Floats, toll: Floats | None = None, room_m2: Floats | None = None
) -> tuple[Floats, float]:
    """Best improvement among small changes, again and again until there is none."""
    cost = float(problem.costs(answer[None], toll)[0])
    for _ in range(STEPS_AT_MOST):
        changed = neighbours(problem, answer)
        changed = changed[_fits(problem, changed, room_m2)]
        if len(changed) == 0:
            break
        found, lower = problem.best_of(changed, toll)
        if lower >= cost - 1e-9:
            break
        answer, cost = found, lower
    return answer, cost


def _fits(problem: Problem, answers: Floats, room_m2: Floats | None) -> NDArray[np.bool_]:
    fits = np.asarray(np.count_nonzero(answers, axis=1) <= problem.most_sowings, dtype=np.bool_)
    if room_m2 is not None:
        # Not by matrix product: at this size it would start threads and be slower.
        used = np.einsum("as,sw->aw", answers, problem.occupied_m2)
        fits &= (used <= room_m2 + 1e-9).all(axis=1)
    return fits


def neighbours(problem: Problem, answer: Floats) -> Floats:
    """All answers one small change away, answers x sowing weeks."""
    steps = answer.astype(np.int64)
    opened = [int(i) for i in np.flatnonzero(steps)]
    edits = [
        edit
        for move in (_resize, _move, _split, _pair, _shift_runs, _scale, _open)
        for edit in move(problem, steps, opened)
    ]
    changed = np.repeat(answer[None], len(edits), axis=0)
    flat = [(row, place, value) for row, edit in enumerate(edits) for place, value in edit]
    if flat:
        rows, places, values = np.array(flat).T
        changed[rows, places] = np.clip(values, 0, problem.most)
    return np.asarray(changed[(changed != answer).any(axis=1)], dtype=np.float64)


def _resize(_problem: Problem, steps: Steps, opened: list[int]) -> Iterator[Edit]:
    for place in opened:
        now = int(steps[place])
        sizes = {now + by for by in (-2, -1, 1, 2)}
        sizes |= {round(now * by) for by in (0.5, 0.75, 0.9, 1.1, 1.25, 1.5, 2.0)}
        for size in sorted(sizes | {0}):
            yield ((place, size),)


def _move(problem: Problem, steps: Steps, opened: list[int]) -> Iterator[Edit]:
    for place, shift in itertools.product(opened, SHIFTS):
        target = place + shift
        if 0 <= target < len(problem.weeks) and steps[target] == 0:
            for by in (0.85, 1.0, 1.18):
                yield ((place, 0), (target, max(1, round(int(steps[place]) * by))))


def _split(problem: Problem, steps: Steps, opened: list[int]) -> Iterator[Edit]:
    for place, apart in itertools.product(opened, (1, 2, 3)):
        now = int(steps[place])
        before, after = place - apart, place + apart
        if now < 2:
            continue
        for first, second in ((before, after), (place, after), (before, place)):
            if first >= 0 and second < len(problem.weeks):
                yield ((place, 0), (first, now - now // 2), (second, now // 2))


def _pair(_problem: Problem, steps: Steps, opened: list[int]) -> Iterator[Edit]:
    for first, second in itertools.pairwise(opened):
        a, b = int(steps[first]), int(steps[second])
        yield ((first, a + b), (second, 0))
        yield ((first, 0), (second, a + b))
        middle = (first + second) // 2
        yield ((first, 0), (second, 0), (middle, a + b))
        for size in sorted({1, round(a * 0.25), round(a * 0.5)}):
            yield ((first, a - size), (second, b + size))
        for size in sorted({1, round(b * 0.25), round(b * 0.5)}):
            yield ((first, a + size), (second, b - size))
    for before, place, after in zip(opened, opened[1:], opened[2:], strict=False):
        now = int(steps[place])
        yield ((place, 0), (before, int(steps[before]) + now // 2), (after, int(steps[after]) + now - now // 2))


def _shift_runs(problem: Problem, steps: Steps, opened: list[int]) -> Iterator[Edit]:
    runs = [opened[start:] for start in range(len(opened) - 1)]
    runs += [opened[: end + 1] for end in range(1, len(opened) - 1)]
    for run, shift in itertools.product(runs, (-2, -1, 1, 2)):
        moved = [place + shift for place in run]
        if moved[0] >= 0 and moved[-1] < len(problem.weeks):
            cleared: list[tuple[int, int]] = [(place, 0) for place in run]
            yield (*cleared, *((to, int(steps[place])) for place, to in zip(run, moved, strict=True)))


def _scale(_problem: Problem, steps: Steps, opened: list[int]) -> Iterator[Edit]:
    for by in (0.7, 0.85, 0.93, 1.07, 1.15, 1.3):
        yield tuple((place, max(1, round(int(steps[place]) * by))) for place in opened)


def _open(problem: Problem, steps: Steps, opened: list[int]) -> Iterator[Edit]:
    if len(opened) >= problem.most_sowings:
        return
    usual = float(np.median(steps[opened])) if opened else problem.most / max(4, problem.most_sowings)
    sizes = sorted({max(1, round(usual * by)) for by in (0.25, 0.5, 1.0, 1.5, 2.5)})
    for place in np.flatnonzero(steps == 0):
        for size in sizes:
            yield ((int(place), size),)


def _shaken(problem: Problem, answer: Floats, rng: np.random.Generator) -> Floats:
    """Two or three neighbouring sowings moved and resized at random, or one opened where there is none."""
    shaken = answer.copy()
    opened = np.flatnonzero(answer)
    if len(opened) == 0:
        shaken[rng.integers(len(shaken))] = rng.integers(1, problem.most + 1)
        return shaken
    count = min(len(opened), int(rng.integers(2, 4)))
    start = int(rng.integers(len(opened) - count + 1))
    chosen = opened[start : start + count]
    shaken[chosen] = 0
    for place in chosen:
        target = int(np.clip(place + rng.integers(-4, 5), 0, len(shaken) - 1))
        shaken[target] = max(1, round(float(answer[place]) * float(rng.uniform(0.5, 1.6))))
    return shaken
