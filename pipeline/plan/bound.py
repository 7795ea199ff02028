"""How good any plan could be: a cost that no answer to a crop's question can go below.

Weeks of fresh use and the shelf get a price in every weather year. At these prices each sowing is judged on its
own: it is paid for what it supplies, but never for more in a week than is wanted in that week, and pays for its
work, area and waste. The prices are charged to those who eat. Whatever the prices are, the sum is at most the cost
of the best answer (Lagrangian relaxation); prices are moved a number of times to make it as large as possible.
The bound is therefore proved, but not tight: for crops of few sowings with long lives it lies furthest below.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.plan.problem import Problem

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

FIRST_STEP, SHORTER, PATIENCE, MEMORY = 0.5, 0.6, 8, 0.5
"""How prices move: share of the distance to the known cost, its cut after so many moves without gain, and how much
of the last direction is kept. They decide how near the bound comes, never whether it holds."""
FLAT_STARTS, SPREAD_AMOUNTS = 9, 12
ONE = np.ones((1, 1))
AT_ONCE = 3_000_000
"""Numbers held at once while the last prices are checked at every amount."""


@dataclass(frozen=True)
class _Prices:
    """Payment for a week's worth eaten fresh, weeks x years, and for one put by, years."""

    fresh: Floats
    shelf: Floats

    def within(self, most: _Prices) -> _Prices:
        """No payment below nothing or above what the shortage itself would cost."""
        return _Prices(np.clip(self.fresh, 0.0, most.fresh), np.clip(self.shelf, 0.0, most.shelf))


@dataclass(frozen=True)
class _Worth:
    """The bound at some prices, the amounts chosen, and by how much each need is left unsupplied."""

    bound: float
    amounts: Floats
    fresh_left: Floats
    shelf_left: Floats


@dataclass(frozen=True)
class _Windows:
    """Each sowing week in the weeks in which its harvest can be used; S sowing weeks, Y years, K weeks.

    Amounts are in weeks' worth. ``place`` is the plan week of each window week, ``usable`` whether it belongs to
    the window. ``ready`` is what one step has ready and not yet too old in the week, S x Y x K, and its whole
    harvest in the last place of the last axis, which stands for the shelf. ``most`` is the most that one sowing
    can be paid for, in the same places.
    """

    place: Ints
    usable: Flags
    ready: Floats
    most: Floats
    whole: Floats
    step_cost: Floats
    standing: _Windows | None = None
    """The same for what is in the ground already, as if it were one sowing of one step."""


def lower_bound(problem: Problem, known_cost: float, iterations: int, toll: Floats | None = None) -> float:
    """A cost that no answer can go below, in weeks' worth.

    Args:
        problem: one crop's question.
        known_cost: cost of some answer, with the toll; it sets the pace only.
        iterations: how often prices are moved; more is slower and nearer.
        toll: charge on each step by sowing week, as in ``Problem.costs``.
    """
    windows, amounts = _windows(problem, toll), most_amounts(problem, toll)
    if problem.standing is not None:
        alone = replace(problem, running=problem.standing[:, None, :], standing=None)
        windows = replace(windows, standing=_windows(alone, None))
    limit = _Prices(
        np.full(problem.wanted.shape, problem.weights.unmet_fresh + problem.weights.waste),
        np.full(problem.n_years, problem.weights.unmet_shelf + problem.weights.waste),
    )
    best = _moved_prices(problem, windows, amounts, limit, known_cost, iterations)
    return _bound_at(problem, windows, amounts, best)


def _windows(problem: Problem, toll: Floats | None) -> _Windows:
    n_weeks, n_sowings, n_years = problem.running.shape
    unit, life = problem.need.week_kg, min(problem.crop.life_weeks, n_weeks - 1)
    running = np.concatenate([np.zeros((1, n_sowings, n_years)), problem.running / unit])
    harvest = np.diff(running, axis=0) > 0
    some = harvest.any(axis=0)
    first = np.where(some, harvest.argmax(axis=0), 0)
    last = np.where(some, n_weeks - 1 - harvest[::-1].argmax(axis=0), 0)
    end = np.minimum(last + life, n_weeks - 1)
    place = first[..., None] + np.arange(int((end - first).max()) + 1)
    usable = place <= end[..., None]
    place = np.minimum(place, n_weeks - 1)
    sowing, year = np.arange(n_sowings)[:, None, None], np.arange(n_years)[None, :, None]
    ready = running[place + 1, sowing, year] - running[np.maximum(place - life, 0), sowing, year]
    whole = running[-1]
    # A single sowing cannot put by more than the kitchen takes in all its weeks.
    shelf = np.minimum(problem.need.put_by_kg, problem.need.put_by_kg_per_week * usable.sum(axis=2)) / unit
    wanted = (problem.wanted / unit)[place, year]
    step_cost = problem.weights.area * problem.crop.step_m2 + problem.weights.waste * whole.mean(axis=1)
    return _Windows(
        place=place,
        usable=usable,
        ready=np.concatenate([np.where(usable, ready, 0.0), whole[..., None]], axis=2),
        most=np.concatenate([np.where(usable, wanted, 0.0), shelf[..., None]], axis=2),
        whole=whole,
        step_cost=step_cost if toll is None else step_cost + toll,
    )


def most_amounts(problem: Problem, toll: Floats | None) -> Floats:
    """The best amount of each sowing week if it were the only one: with others about, never more pays."""
    n = len(problem.weeks)
    low, high = np.ones(n), np.full(n, float(problem.most))
    while (low < high).any():
        middle = np.floor((low + high) / 2)
        # Cost is convex in the amount, so one step more tells on which side the best lies.
        more = problem.costs(np.diag(middle + 1), toll) < problem.costs(np.diag(middle), toll) - 1e-12
        low, high = np.where(more & (low < high), middle + 1, low), np.where(more, high, middle)
    return high


def _moved_prices(
    problem: Problem, windows: _Windows, most: Floats, limit: _Prices, known_cost: float, iterations: int
) -> _Prices:
    """Prices from a deflected subgradient ascent; each need's direction is scaled by its size."""
    unit = problem.need.week_kg
    fresh_size = np.where(problem.wanted > 0, problem.wanted / unit, 1.0)
    shelf_size = problem.need.put_by_kg / unit if problem.need.put_by_kg > 0 else 1.0
    spread = np.maximum(np.round(np.geomspace(np.ones(len(most)), most, SPREAD_AMOUNTS, axis=1)), 1.0)
    flat = [_Prices(limit.fresh * by, limit.shelf * by) for by in np.linspace(0.2, 1.0, FLAT_STARTS)]
    starts = [_worth(problem, windows, prices, spread) for prices in flat]
    first = int(np.argmax([start.bound for start in starts]))
    best, prices, amounts = flat[first], flat[first], starts[first].amounts
    highest, step, waited = -np.inf, FIRST_STEP, 0
    fresh_way, shelf_way = np.zeros_like(limit.fresh), np.zeros_like(limit.shelf)
    for _ in range(iterations):
        found = _worth(problem, windows, prices, _around(amounts, most))
        amounts, waited = found.amounts, waited + 1
        if found.bound > highest + 1e-4:
            highest, best, waited = found.bound, prices, 0
        if waited >= PATIENCE:
            step, waited, prices = step * SHORTER, 0, best
            fresh_way, shelf_way = np.zeros_like(fresh_way), np.zeros_like(shelf_way)
            continue
        fresh_way = MEMORY * fresh_way + (1 - MEMORY) * _free(found.fresh_left, prices.fresh, limit.fresh)
        shelf_way = MEMORY * shelf_way + (1 - MEMORY) * _free(found.shelf_left, prices.shelf, limit.shelf)
        length = float((fresh_way**2 / fresh_size).sum() + (shelf_way**2).sum() / shelf_size)
        if length < 1e-14:
            break
        by = step * max(known_cost - found.bound, 1e-3) / length
        moved = _Prices(prices.fresh + by * fresh_way / fresh_size, prices.shelf + by * shelf_way / shelf_size)
        prices = moved.within(limit)
    return best


def _around(amounts: Floats, most: Floats) -> Floats:
    """Three amounts about the last ones, sowing weeks x 3."""
    tried = np.stack([np.floor(0.75 * amounts), amounts, np.ceil(1.3 * amounts)], axis=1)
    return np.asarray(np.clip(tried, 1.0, most[:, None]), dtype=np.float64)


def _free(way: Floats, price: Floats, limit: Floats) -> Floats:
    """The direction without what would lead out of bounds."""
    held = ((price >= limit) & (way > 0)) | ((price <= 0) & (way < 0))
    return np.asarray(np.where(held, 0.0, way), dtype=np.float64)


def _worth(problem: Problem, windows: _Windows, prices: _Prices, amounts: Floats) -> _Worth:
    """The bound if sowings had only these amounts (sowing weeks x tries), and what is left unsupplied."""
    order, value, paid = _supplied(windows, prices, amounts)
    net = problem.weights.sowing + windows.step_cost[:, None] * amounts - value
    tried, row = net.argmin(axis=1), np.arange(len(net))
    chosen = _chosen(problem, net[row, tried])
    supplied = np.zeros(windows.ready[chosen].shape)
    np.put_along_axis(supplied, order[chosen], paid[chosen, tried[chosen]], axis=2)
    unit, n_years = problem.need.week_kg, problem.n_years
    fresh_left, shelf_left = problem.wanted / unit, np.full(n_years, problem.need.put_by_kg / unit)
    _deliver(windows, chosen, supplied, fresh_left, shelf_left)
    if windows.standing is not None:
        order, _, paid = _supplied(windows.standing, prices, ONE)
        given = np.zeros(order.shape)
        np.put_along_axis(given, order, paid[:, 0], axis=2)
        _deliver(windows.standing, np.zeros(1, dtype=np.int64), given, fresh_left, shelf_left)
    bound = _charged(problem, windows, prices) + float(net[row, tried][chosen].sum())
    return _Worth(bound, amounts[row, tried], fresh_left / n_years, shelf_left / n_years)


def _deliver(windows: _Windows, chosen: Ints, supplied: Floats, fresh_left: Floats, shelf_left: Floats) -> None:
    """Take what chosen sowings supply from what is left of the needs."""
    place, usable = windows.place[chosen], windows.usable[chosen]
    years = np.broadcast_to(np.arange(len(shelf_left))[None, :, None], place.shape)
    np.subtract.at(fresh_left, (place, years), np.where(usable, supplied[..., :-1], 0.0))
    shelf_left -= supplied[..., -1].sum(axis=0)


def _bound_at(problem: Problem, windows: _Windows, most: Floats, prices: _Prices) -> float:
    """The bound at these prices over every amount up to the most that can pay."""
    least = np.full(len(most), np.inf)
    per_amount = windows.ready.size
    size = max(1, AT_ONCE // max(per_amount, 1))
    for start in range(1, int(most.max()) + 1, size):
        amounts = np.minimum(np.arange(start, start + size)[None, :] * np.ones((len(most), 1)), most[:, None])
        _, value, _ = _supplied(windows, prices, amounts)
        net = problem.weights.sowing + windows.step_cost[:, None] * amounts - value
        least = np.minimum(least, net.min(axis=1))
    return _charged(problem, windows, prices) + float(least[_chosen(problem, least)].sum())


def _supplied(windows: _Windows, prices: _Prices, amounts: Floats) -> tuple[Ints, Floats, Floats]:
    """What each sowing is paid for, best-paid use first: order, mean payment (S x tries), and amounts paid for.

    Produce is taken to be free to serve any week in which some of it is usable, which pays it at least what it
    could earn in truth.
    """
    years = np.arange(len(prices.shelf))[None, :, None]
    fresh = np.where(windows.usable, prices.fresh[windows.place, years], -1.0)
    shelf = np.broadcast_to(prices.shelf[None, :, None], (*fresh.shape[:2], 1))
    price = np.concatenate([fresh, shelf], axis=2)
    order = np.argsort(-price, axis=2, kind="stable")
    price, ready, most = (
        np.take_along_axis(part, order, axis=2)[:, None] for part in (price, windows.ready, windows.most)
    )
    by = amounts[:, :, None, None]
    running = np.minimum(np.minimum(most, ready * by).cumsum(axis=3), windows.whole[:, None, :, None] * by)
    paid = np.where(price > 0, np.diff(running, axis=3, prepend=0.0), 0.0)
    return order, (paid * price).sum(axis=3).mean(axis=2), paid


def _chosen(problem: Problem, net: Floats) -> Ints:
    """Sowing weeks that pay, the best of them if there are more than may be sown."""
    ranked = np.argsort(net, kind="stable")[: problem.most_sowings]
    return np.asarray(ranked[net[ranked] < 0], dtype=np.int64)


def _charged(problem: Problem, windows: _Windows, prices: _Prices) -> float:
    """What the needs are charged for all that is wanted, less the waste that a use saves, and what stands already."""
    unit, waste = problem.need.week_kg, problem.weights.waste
    fresh = ((prices.fresh - waste) * problem.wanted / unit).sum(axis=0).mean()
    charged = float(fresh + (prices.shelf - waste).mean() * problem.need.put_by_kg / unit)
    if windows.standing is not None:
        _, value, _ = _supplied(windows.standing, prices, ONE)
        charged += waste * float(windows.standing.whole.mean()) - float(value[0, 0])
    return charged
