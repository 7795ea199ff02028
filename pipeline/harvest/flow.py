"""Perishable flow: which picking each use draws from, and what outlives its keeping time.

All pickings of one crop on one day are one lot. A lot can be used on the day it is picked and for its keeping
time after that. Each use takes the oldest lot that is still good, which is the rule that loses least where
every lot keeps equally long (issuing the oldest first; reviewed in Nahmias, Operations Research 30:680-708,
1982; the result is from memory, and the tests compare it with linear programmes).

Logged uses are facts, so the log wins over the model:

* waste that was logged takes first what the model calls expired, then the oldest that is still good;
* a logged use for which nothing good is left takes what the model calls expired, since it must have kept;
* eating that is only assumed takes what the logged uses, past and still to come, do not need.

Everything is counted in whole grams, so that every balance closes exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

EATEN, PUT_BY, GIVEN, WASTED, ASSUMED, EXPIRED, LEFT = range(7)
"""What became of produce. The first four are logged; ``ASSUMED`` is eating that nobody wrote down."""

LOGGED_KINDS = 4

DEFAULT_KEEPING_DAYS = 7.0
"""Days, for a crop without a reference value (common practice, no source)."""

LIFE_PER_STEP, STEP_C = 0.75, 5.56
"""Life shortens by a quarter per 10 F (5.56 C) above the best temperature: University of Minnesota Extension,
"Storing root vegetables" (read in a copy)."""

Grams = NDArray[np.int64]
Index = NDArray[np.int64]


@dataclass(frozen=True)
class Flow:
    """Where every gram went: one element of each array per piece of a lot.

    ``crop``, ``lot_day`` and ``out_day`` are positions in the arrays given; ``out_day`` is the day of use,
    for ``EXPIRED`` the first day past the keeping time, and for ``LEFT`` the number of days. ``over_used_g``
    (crops, days, logged kinds) is logged use for which nothing had been picked.
    """

    crop: Index
    lot_day: Index
    out_day: Index
    kind: Index
    grams: Grams
    over_used_g: Grams

    def by_lot(self, kind: int) -> Grams:
        """Grams of one kind by crop and day picked, shape (crops, days)."""
        return self._on(self.lot_day, kind)

    def by_day(self, kind: int) -> Grams:
        """Grams of one kind by crop and day of use, shape (crops, days); not for ``LEFT``."""
        return self._on(self.out_day, kind)

    def _on(self, day: Index, kind: int) -> Grams:
        crops, days, _ = self.over_used_g.shape
        rows = self.kind == kind
        cell = self.crop[rows] * days + day[rows]
        # Sums of whole grams are exact in floating point up to 2**53 g.
        total = np.bincount(cell, weights=self.grams[rows], minlength=crops * days)
        return total.astype(np.int64).reshape(crops, days)


@dataclass(frozen=True)
class _Walk:
    """What one walk through the days served; each array has shape (days, crops)."""

    expired: Grams
    used: Grams
    late_from_expired: Grams
    late_from_good: Grams
    wished: Grams


def keeping_days(crops: pl.DataFrame, storage_c: float | None = None) -> pl.DataFrame:
    """Keeping time of each crop of the reference at a storage temperature.

    ``keeping_days * 0.75 ** ((storage_c - keeping_c) / 5.56)``. A crop that chilling harms is not said to
    keep longer below ``keeping_c``. Without ``storage_c``, or ``keeping_c``, the published time stands.

    Args:
        crops: reference with ``crop``, ``keeping_days`` (days), ``keeping_c`` (C) and ``chill_sensitive``.
        storage_c: temperature of the store, C.

    Returns:
        ``crop`` and ``keeping_days`` (Float64, days; 7 where the reference has none).
    """
    known = pl.col("keeping_days").fill_null(DEFAULT_KEEPING_DAYS)
    if storage_c is None:
        return crops.select("crop", known)
    warmer = storage_c - pl.col("keeping_c")
    warmer = pl.when(pl.col("chill_sensitive") == 1).then(warmer.clip(lower_bound=0)).otherwise(warmer)
    scaled = known * pl.lit(LIFE_PER_STEP).pow(warmer.fill_null(0) / STEP_C)
    has_own = pl.col("keeping_days").is_not_null()
    return crops.select("crop", keeping_days=pl.when(has_own).then(scaled).otherwise(known))


def perishable_flow(picked_g: Grams, logged_g: Grams, wish_g: Grams, life_days: Index) -> Flow:
    """Follow every gram from picking to use, expiry or the end of the log.

    Args:
        picked_g: (crops, days), whole grams picked.
        logged_g: (crops, days, 4), whole grams eaten, put by, given and wasted by the log.
        wish_g: (crops, days), whole grams that would be eaten on that day if they were there.
        life_days: (crops,), whole days a lot stays good after the day it was picked.

    Returns:
        The flow. Per crop: picked + over-used = logged + assumed eaten + expired + left, to the gram.
    """
    supply = np.cumsum(picked_g, axis=1).T
    stale = _picked_before(supply, life_days)
    uses, waste = logged_g[:, :, :WASTED].sum(axis=2).T, logged_g[:, :, WASTED].T
    walk = _walk(supply, stale, uses, waste, np.zeros_like(supply))
    late = walk.late_from_expired + walk.late_from_good
    used_kinds = _in_order(walk.used.T, logged_g[:, :, :WASTED])
    # Waste is served first among the late, for it is the likeliest fate of old produce.
    late_wants = np.concatenate([logged_g[:, :, WASTED:], logged_g[:, :, :WASTED] - used_kinds], axis=2)
    late_kinds = _in_order(late.T, late_wants)
    if wish_g.any():
        walk = _walk(supply, stale, walk.used, late, wish_g.T)
    short = late_wants - late_kinds
    over_used = np.concatenate([short[:, :, 1:], short[:, :, :1]], axis=2)
    return _pieces(picked_g, walk, used_kinds, late_kinds, over_used)


def _picked_before(supply: Grams, life_days: Index) -> Grams:
    """Cumulative grams of lots that are past their keeping time on each day, (days, crops)."""
    days, crops = supply.shape
    row = np.arange(days)[:, None] - life_days[None, :] - 1
    return np.where(row >= 0, supply[np.maximum(row, 0), np.arange(crops)[None, :]], 0)


def _walk(supply: Grams, stale: Grams, uses: Grams, late: Grams, wish: Grams) -> _Walk:
    """Serve each day in turn, all crops at once; the lots of a crop are one queue, oldest in front.

    ``gone`` is how far into the queue uses and expiry have come, ``pool`` how much of that expired and was
    not claimed since. A wish may not take what a later use needs: ``gone`` stays below ``room_good`` so that
    uses find good lots, and ``gone - pool`` below ``room_all`` so that late uses find any lot at all.
    """
    out = _Walk(*(np.zeros_like(supply) for _ in range(5)))
    room_good = _room(supply, np.cumsum(uses, axis=0))
    room_all = _room(supply, np.cumsum(uses + late, axis=0))
    gone, pool = np.zeros(supply.shape[1], np.int64), np.zeros(supply.shape[1], np.int64)
    for day in range(supply.shape[0]):
        lost = np.maximum(stale[day] - gone, 0)
        gone, pool = gone + lost, pool + lost
        used = np.minimum(uses[day], supply[day] - gone)
        gone = gone + used
        want = late[day] + uses[day] - used
        from_expired = np.minimum(want, pool)
        from_good = np.minimum(want - from_expired, supply[day] - gone)
        gone, pool = gone + from_good, pool - from_expired
        spare = np.minimum(room_good[day] - gone, room_all[day] - (gone - pool))
        wished = np.maximum(np.minimum(wish[day], spare), 0)
        gone = gone + wished
        out.expired[day], out.used[day], out.wished[day] = lost, used, wished
        out.late_from_expired[day], out.late_from_good[day] = from_expired, from_good
    return out


def _room(supply: Grams, claimed: Grams) -> Grams:
    """How far into the queue a day may go so that every later claim is still met."""
    spare = (supply - claimed)[::-1]
    return np.minimum.accumulate(spare, axis=0)[::-1] + claimed


def _in_order(total: Grams, wants: Grams) -> Grams:
    """Share a day's total among its kinds, first kind first: (crops, days) and (crops, days, kinds)."""
    before = np.cumsum(wants, axis=2) - wants
    return np.clip(total[:, :, None] - before, 0, wants)


def _pieces(picked_g: Grams, walk: _Walk, used_kinds: Grams, late_kinds: Grams, over_used_g: Grams) -> Flow:
    """Cut every lot into the pieces that share one fate, by matching two cumulative sums."""
    days = picked_g.shape[1]
    expired_kinds = _in_order(walk.late_from_expired.T, late_kinds)
    # The queue of one crop, in the order in which the walk moved along it.
    steps = [walk.expired.T[:, :, None], used_kinds, late_kinds - expired_kinds, walk.wished.T[:, :, None]]
    amounts = np.concatenate(steps, axis=2)
    kinds = [EXPIRED, EATEN, PUT_BY, GIVEN, WASTED, EATEN, PUT_BY, GIVEN, ASSUMED]
    left = picked_g.sum(axis=1) - amounts.sum(axis=(1, 2))
    fate_crop, fate_day, fate_kind, fate_g = _queue(amounts, kinds, left, LEFT)
    lot = np.flatnonzero(picked_g)
    lot_at, fate_at, grams = _match(picked_g.ravel()[lot], fate_g)
    crop, lot_day = np.divmod(lot[lot_at], days)
    out_day, kind = fate_day[fate_at], fate_kind[fate_at]
    # What expired is a queue of its own: late uses took its front.
    dead = kind == EXPIRED
    unclaimed = (walk.expired - walk.late_from_expired).sum(axis=0)
    _, claim_day, claim_kind, claim_g = _queue(expired_kinds, [WASTED, EATEN, PUT_BY, GIVEN], unclaimed, EXPIRED)
    dead_at, claim_at, dead_g = _match(grams[dead], claim_g)
    dead_kind = claim_kind[claim_at]
    dead_day = np.where(dead_kind == EXPIRED, out_day[dead][dead_at], claim_day[claim_at])
    return Flow(
        crop=np.concatenate([fate_crop[fate_at][~dead], crop[dead][dead_at]]),
        lot_day=np.concatenate([lot_day[~dead], lot_day[dead][dead_at]]),
        out_day=np.concatenate([out_day[~dead], dead_day]),
        kind=np.concatenate([kind[~dead], dead_kind]),
        grams=np.concatenate([grams[~dead], dead_g]),
        over_used_g=over_used_g,
    )


def _queue(amounts: Grams, kinds: list[int], rest: Grams, rest_kind: int) -> tuple[Index, Index, Index, Grams]:
    """Crop, day, kind and grams of every amount above zero, crop by crop, with the crop's rest at its end."""
    crops, days, steps = amounts.shape
    flat = np.concatenate([amounts.reshape(crops, days * steps), rest[:, None]], axis=1)
    crop, place = np.nonzero(flat)
    day, step = np.divmod(place, steps)
    kind = np.append(np.array(kinds), rest_kind)[np.where(place == days * steps, steps, step)]
    return crop, day, kind, flat[crop, place]


def _match(supply_g: Grams, demand_g: Grams) -> tuple[Index, Index, Grams]:
    """Pair two queues of positive amounts and equal total, front to front: positions and grams of pairs."""
    supply_ends, demand_ends = np.cumsum(supply_g), np.cumsum(demand_g)
    ends = np.union1d(supply_ends, demand_ends)
    starts = np.concatenate([[0], ends[:-1]]).astype(np.int64)[: ends.size]
    supply_at = np.searchsorted(supply_ends, starts, side="right")
    return supply_at, np.searchsorted(demand_ends, starts, side="right"), ends - starts
