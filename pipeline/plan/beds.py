"""Sharing the beds between crops when they do not hold all that would be sown.

Each crop has a pool of ways to sow it. A small linear programme picks a mixture that fits and prices the bed
of every week; each crop then looks for a way that pays at those prices; and so on for a few rounds. At the
end an integer programme picks one way for each crop, and each crop is improved in the room that the others
leave.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.plan.problem import Problem
from pipeline.plan.search import climb, neighbours

Floats = NDArray[np.float64]

PRICE_ROUNDS = 8
PRICE_MEMORY = 0.3
NODES_AT_MOST = 20
POLISH_SWEEPS = 2
CHOICES, NEAR_KEPT = 3, 15
CHOICE_WITHIN = 0.001
SHARES = (1.0, 0.75, 0.5, 0.25, 0.0)


@dataclass
class _Pool:
    """Ways to sow one crop, with their costs."""

    problem: Problem
    answers: list[Floats] = field(default_factory=list)
    costs: list[float] = field(default_factory=list)

    def add(self, answers: Iterable[Floats]) -> None:
        """Keep those that are new."""
        known = {answer.tobytes() for answer in self.answers}
        fresh = {a.tobytes(): a for a in answers if a.tobytes() not in known}
        if fresh:
            rows = np.array(list(fresh.values()))
            self.answers += list(rows)
            self.costs += [float(cost) for cost in self.problem.costs(rows)]

    def add_next_to(self, answer: Floats, toll: Floats) -> None:
        """An answer and those of its neighbours that pay best at the prices of the beds."""
        near = neighbours(self.problem, answer)
        near = near[np.count_nonzero(near, axis=1) <= self.problem.most_sowings]
        best = np.argsort(np.round(self.problem.costs(near, toll), 9), kind="stable")[:NEAR_KEPT]
        self.add([answer, *near[best]])


def area_used(problems: Sequence[Problem], answers: Sequence[Floats]) -> Floats:
    """Square metres taken in each plan week."""
    used = (answer @ problem.occupied_m2 for problem, answer in zip(problems, answers, strict=True))
    return np.asarray(sum(used), dtype=np.float64)


def fits_beds(problems: Sequence[Problem], answers: Sequence[Floats], room_m2: Floats | float) -> bool:
    """Whether the answers fit in every week."""
    return not problems or bool((area_used(problems, answers) <= room_m2 + 1e-9).all())


def scaled_to_beds(
    problems: Sequence[Problem], answers: Sequence[Floats], room_m2: Floats | float | None
) -> list[Floats]:
    """All answers cut by one factor until they fit; as they are where they do."""
    if room_m2 is None or fits_beds(problems, answers, room_m2):
        return list(answers)
    fits, too_much = 0.0, 1.0
    for _ in range(30):
        factor = (fits + too_much) / 2
        cut = [np.floor(answer * factor) for answer in answers]
        if fits_beds(problems, cut, room_m2):
            fits = factor
        else:
            too_much = factor
    return [np.floor(answer * fits) for answer in answers]


def cut_to_beds(problems: Sequence[Problem], answers: Sequence[Floats], room_m2: Floats | float | None) -> list[Floats]:
    """The same sowings made smaller, or crops left out, so that the rest serves best in the beds there are.

    A gardener who sows by a simple rule and has too little bed does not shrink everything alike. Each crop keeps a
    share of its answer (quarters, rounded down); the shares are chosen together.
    """
    if room_m2 is None or fits_beds(problems, answers, room_m2):
        return list(answers)
    area_m2 = np.broadcast_to(np.asarray(room_m2, dtype=np.float64), problems[0].occupied_m2.shape[1:])
    pools = [_Pool(problem) for problem in problems]
    for pool, answer in zip(pools, answers, strict=True):
        pool.add([np.floor(answer * share) for share in SHARES])
    ways = [scaled_to_beds(problems, answers, room_m2), _choice(pools, area_m2)]
    return min((way for way in ways if way is not None), key=lambda some: _total(problems, some))


def fit_to_beds(
    problems: Sequence[Problem],
    wanted: Sequence[Floats],
    rules: Sequence[Sequence[Floats]],
    room_m2: Floats | float,
) -> tuple[list[Floats], Floats]:
    """The best answers that fit the beds in every week.

    Args:
        problems: one per crop.
        wanted: best answer of each crop if beds were endless.
        rules: sets of answers of simple ways of sowing, one answer per crop; the result is never worse than
            any of them cut to the beds.
        room_m2: bed area, the same in all plan weeks or one for each.

    Returns:
        The answers, and the price of a square metre in each plan week (weeks' worth of need); the price is 0
        where beds are not the limit.
    """
    area_m2 = np.broadcast_to(np.asarray(room_m2, dtype=np.float64), problems[0].occupied_m2.shape[1:])
    pools = _priced(problems, wanted, rules, area_m2)
    cut = (cut_to_beds(problems, rule, area_m2) for rule in rules)
    answers = min(cut, key=lambda some: _total(problems, some))
    prices = _prices(pools, area_m2)
    for turn in range(CHOICES):
        if turn:
            # What is next to a good choice lets crops trade places that none can take alone.
            for pool, answer in zip(pools, answers, strict=True):
                pool.add_next_to(answer, pool.problem.occupied_m2 @ prices)
            prices = _prices(pools, area_m2)
        hopeful = _hopeful(pools, prices, area_m2, _total(problems, answers))
        chosen = _polished(problems, _choice(hopeful, area_m2) or answers, area_m2)
        if _total(problems, chosen) < _total(problems, answers):
            answers = chosen
    return answers, prices


def _total(problems: Sequence[Problem], answers: Sequence[Floats]) -> float:
    return sum(float(p.costs(answer[None])[0]) for p, answer in zip(problems, answers, strict=True))


def _priced(
    problems: Sequence[Problem], wanted: Sequence[Floats], rules: Sequence[Sequence[Floats]], area_m2: Floats
) -> list[_Pool]:
    pools = []
    for number, (problem, best) in enumerate(zip(problems, wanted, strict=True)):
        pool = _Pool(problem)
        pool.add([np.zeros_like(best), *_reduced(best)])
        pool.add([np.floor(rule[number] * by) for rule in rules for by in (1.0, 0.5)])
        pools.append(pool)
    prices = np.zeros(problems[0].occupied_m2.shape[1])
    for _ in range(PRICE_ROUNDS):
        prices = PRICE_MEMORY * prices + (1 - PRICE_MEMORY) * _prices(pools, area_m2)
        for pool in pools:
            toll = pool.problem.occupied_m2 @ prices
            charged = np.array(pool.costs) + np.array(pool.answers) @ toll
            start = pool.answers[int(np.argmin(charged))]
            pool.add([climb(pool.problem, start, toll)[0]])
    return pools


def _reduced(best: Floats) -> list[Floats]:
    """The answer cut down, and with each of its sowings left out."""
    cut = [np.round(best * by) for by in (1.0, 0.75, 0.5, 0.25)]
    without = []
    for place in np.flatnonzero(best):
        left = best.copy()
        left[place] = 0
        without.append(left)
    return cut + without


def _master(pools: list[_Pool]) -> tuple[Floats, Floats, Floats]:
    """Costs, area by week and crop membership of all columns."""
    cost = np.concatenate([pool.costs for pool in pools])
    area = np.concatenate([np.array(pool.answers) @ pool.problem.occupied_m2 for pool in pools]).T
    member = np.zeros((len(pools), len(cost)))
    start = 0
    for number, pool in enumerate(pools):
        member[number, start : start + len(pool.costs)] = 1.0
        start += len(pool.costs)
    return cost, area, member


def _prices(pools: list[_Pool], area_m2: Floats) -> Floats:
    from scipy.optimize import linprog

    cost, area, member = _master(pools)
    solved = linprog(cost, A_ub=area, b_ub=area_m2, A_eq=member, b_eq=np.ones(len(pools)), method="highs")
    return np.maximum(-np.asarray(solved.ineqlin.marginals, dtype=np.float64), 0.0)


def _hopeful(pools: list[_Pool], prices: Floats, area_m2: Floats, known: float) -> list[_Pool]:
    """The ways that can be part of a choice cheaper than the known one, by the prices' own bound."""
    charged = [np.array(pool.costs) + np.array(pool.answers) @ (pool.problem.occupied_m2 @ prices) for pool in pools]
    bound = sum(float(costs.min()) for costs in charged) - float(area_m2 @ prices)
    hopeful = []
    for pool, costs in zip(pools, charged, strict=True):
        kept = np.flatnonzero(costs - costs.min() <= max(known - bound, 0.0) + 1e-9)
        hopeful.append(_Pool(pool.problem, [pool.answers[n] for n in kept], [pool.costs[n] for n in kept]))
    return hopeful


def _choice(pools: list[_Pool], area_m2: Floats) -> list[Floats] | None:
    """The cheapest one way for each crop that together fit; None where none was found."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    cost, area, member = _master(pools)
    solved = milp(
        cost,
        constraints=[LinearConstraint(area, ub=area_m2), LinearConstraint(member, lb=1.0, ub=1.0)],
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
        options={"node_limit": NODES_AT_MOST, "mip_rel_gap": CHOICE_WITHIN},
    )
    if solved.x is None:
        return None
    chosen = np.split(np.asarray(solved.x), np.cumsum([len(pool.costs) for pool in pools])[:-1])
    return [pool.answers[int(np.argmax(part))] for pool, part in zip(pools, chosen, strict=True)]


def _polished(problems: Sequence[Problem], answers: Sequence[Floats], area_m2: Floats) -> list[Floats]:
    answers = list(answers)
    for _ in range(POLISH_SWEEPS):
        for number, problem in enumerate(problems):
            own = answers[number] @ problem.occupied_m2
            room = area_m2 - (area_used(problems, answers) - own)
            answers[number] = climb(problem, answers[number], room_m2=room)[0]
    return answers
