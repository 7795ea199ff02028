"""The perishable flow: by hand, against brute force, and against linear programmes."""

from __future__ import annotations

from itertools import product

import numpy as np
import polars as pl
import pytest
from core_frames import reference
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy.optimize import linprog

from pipeline.harvest.flow import (
    ASSUMED,
    EATEN,
    EXPIRED,
    GIVEN,
    LEFT,
    PUT_BY,
    WASTED,
    Flow,
    keeping_days,
    perishable_flow,
)


def flow_of(picked: list[int], life: int, wish: list[int] | None = None, **logged: list[int]) -> Flow:
    """One crop; logged uses by name."""
    days = len(picked)
    kinds = [logged.get(name, [0] * days) for name in ("eaten", "put_by", "given", "wasted")]
    return perishable_flow(
        np.array([picked]),
        np.array([kinds]).transpose(0, 2, 1),
        np.array([wish or [0] * days]),
        np.array([life]),
    )


def pieces(flow: Flow) -> list[tuple[int, int, int, int]]:
    """(day picked, day out, kind, grams), sorted."""
    columns = (flow.lot_day, flow.out_day, flow.kind, flow.grams)
    return sorted(zip(*(column.tolist() for column in columns), strict=True))


def test_each_use_takes_the_oldest_lot_that_is_still_good() -> None:
    # Day 0: 5 g, day 2: 4 g. The 3 g eaten on day 2 and 2 of the 3 g given on day 3 use up the first lot on
    # its last good day; the second lot gives the third gram and has 3 left.
    flow = flow_of([5, 0, 4, 0], life=3, eaten=[0, 0, 3, 0], given=[0, 0, 0, 3])
    assert pieces(flow) == [(0, 2, EATEN, 3), (0, 3, GIVEN, 2), (2, 3, GIVEN, 1), (2, 4, LEFT, 3)]
    assert flow.over_used_g.sum() == 0


def test_what_outlives_its_keeping_time_expires_on_the_day_after_it() -> None:
    # Picked on day 0, good on days 0, 1 and 2: what is left is past it on day 3.
    flow = flow_of([5, 0, 0, 0, 0], life=2, eaten=[0, 0, 1, 0, 0])
    assert pieces(flow) == [(0, 2, EATEN, 1), (0, 3, EXPIRED, 4)]


def test_logged_waste_explains_first_what_the_model_calls_expired() -> None:
    # 5 g picked on day 0 are past their time on day 2; 3 g of waste on day 3 are some of these five.
    flow = flow_of([5, 0, 0, 8], life=1, wasted=[0, 0, 0, 3])
    assert pieces(flow) == [(0, 2, EXPIRED, 2), (0, 3, WASTED, 3), (3, 4, LEFT, 8)]


def test_a_logged_use_after_the_keeping_time_shows_that_it_kept() -> None:
    flow = flow_of([5, 0, 0, 0], life=1, put_by=[0, 0, 0, 4])
    assert pieces(flow) == [(0, 2, EXPIRED, 1), (0, 3, PUT_BY, 4)]


def test_a_use_beyond_what_was_picked_is_over_used() -> None:
    flow = flow_of([2, 0], life=5, eaten=[0, 3], put_by=[1, 0])
    assert pieces(flow) == [(0, 0, PUT_BY, 1), (0, 1, EATEN, 1)]
    assert_array_equal(flow.over_used_g[0], [[0, 0, 0, 0], [2, 0, 0, 0]])


def test_assumed_eating_leaves_what_a_later_logged_use_needs() -> None:
    # 6 g, 2 g a day wanted, 5 g put by on day 2: only 1 g may be eaten before.
    flow = flow_of([6, 0, 0, 0], life=5, wish=[2, 2, 2, 2], put_by=[0, 0, 5, 0])
    assert pieces(flow) == [(0, 0, ASSUMED, 1), (0, 2, PUT_BY, 5)]


def test_assumed_eating_takes_the_old_lot_when_a_fresh_one_serves_the_logged_use() -> None:
    # The second lot comes on the day of the batch, so the first may be eaten.
    flow = flow_of([6, 0, 6, 0], life=3, wish=[2, 2, 2, 2], put_by=[0, 0, 5, 0])
    assert flow.by_day(ASSUMED).tolist() == [[2, 2, 2, 1]]


def test_each_crop_is_followed_on_its_own() -> None:
    together = perishable_flow(
        np.array([[5, 0, 0], [0, 7, 0]]),
        np.zeros((2, 3, 4), np.int64),
        np.ones((2, 3), np.int64),
        np.array([0, 9]),
    )
    assert together.by_lot(ASSUMED).tolist() == [[1, 0, 0], [0, 2, 0]]
    assert together.by_lot(EXPIRED).tolist() == [[4, 0, 0], [0, 0, 0]]
    assert together.by_lot(LEFT).tolist() == [[0, 0, 0], [0, 5, 0]]


def test_no_crops_give_an_empty_flow() -> None:
    flow = perishable_flow(
        np.zeros((0, 3), np.int64),
        np.zeros((0, 3, 4), np.int64),
        np.zeros((0, 3), np.int64),
        np.zeros(0, np.int64),
    )
    assert flow.grams.size == 0
    assert flow.by_lot(EXPIRED).shape == (0, 3)


small_logs = st.integers(2, 9).flatmap(
    lambda days: st.tuples(
        st.lists(st.sampled_from([0, 0, 1, 2, 3, 4, 5]), min_size=days, max_size=days),
        st.lists(st.tuples(*[st.sampled_from([0, 0, 0, 0, 1, 2, 3])] * 4), min_size=days, max_size=days),
        st.lists(st.integers(0, 3), min_size=days, max_size=days),
        st.integers(0, 4),
    )
)


@given(small_logs)
@settings(max_examples=200, derandomize=True, deadline=None)
def test_every_gram_has_one_fate_and_no_rule_is_broken(
    log: tuple[list[int], list[tuple[int, ...]], list[int], int],
) -> None:
    picked, logged, wish, life = np.array(log[0]), np.array(log[1]), np.array(log[2]), log[3]
    flow = perishable_flow(picked[None], logged[None], wish[None], np.array([life]))
    assert (flow.grams > 0).all()
    assert (flow.over_used_g >= 0).all()
    fates = sum(flow.by_lot(kind)[0] for kind in range(LEFT + 1))
    assert_array_equal(fates, picked)
    for kind in (EATEN, PUT_BY, GIVEN, WASTED):
        assert_array_equal(flow.by_day(kind)[0] + flow.over_used_g[0, :, kind], logged[:, kind])
    assert (flow.by_day(ASSUMED)[0] <= wish).all()
    age = flow.out_day - flow.lot_day
    assert (age >= 0).all()
    assert (age[flow.kind == ASSUMED] <= life).all()
    assert (age[flow.kind == EXPIRED] == life + 1).all()
    assert (age[flow.kind == LEFT] <= life + 1).all()


def good_and_late(picked: list[int], logged: np.ndarray, life: int) -> tuple[list[int], list[int]]:
    """Logged use served from good lots, and late from any lot, lot by lot in plain loops."""
    lots: list[list[int]] = []
    good, late = [], []
    for day, grams in enumerate(picked):
        lots.append([day, grams])
        for wanted, served, oldest in (
            (int(logged[day, :3].sum()), good, day - life),
            (int(logged[day].sum()), late, 0),
        ):
            got = good[-1] if served is late else 0
            before = got
            for lot in lots:
                if lot[0] >= oldest:
                    take = min(lot[1], wanted - got)
                    lot[1], got = lot[1] - take, got + take
            served.append(got - before)
    return good, late


@given(small_logs)
@settings(max_examples=60, derandomize=True, deadline=None)
def test_oldest_first_is_as_good_as_a_linear_programme_that_knows_the_future(
    log: tuple[list[int], list[tuple[int, ...]], list[int], int],
) -> None:
    picked, logged, wish, life = log[0], np.array(log[1]), log[2], log[3]
    flow = perishable_flow(np.array([picked]), logged[None], np.array([wish]), np.array([life]))
    days = range(len(picked))
    # A variable per (lot, day, class): logged use of a good lot, late logged use of any lot, assumed eating.
    arcs = [(i, j, c) for i, j, c in product(days, days, range(3)) if j >= i and (c == 1 or j - i <= life)]
    total = {
        (side, c, day): [float(arc[side] == day and arc[2] == c) for arc in arcs]
        for side, c, day in product(range(2), range(3), days)
    }
    from_lot = [np.sum([total[0, c, day] for c in range(3)], axis=0) for day in days]
    on_day = {c: [total[1, c, day] for day in days] for c in range(3)}
    # First: as much logged use as can be met at all, with nobody else eating.
    demand = np.add(on_day[0], on_day[1])
    most = linprog(
        -demand.sum(axis=0),
        A_ub=np.vstack([from_lot, demand, on_day[2]]),
        b_ub=[*picked, *logged.sum(axis=1), *[0] * len(picked)],
    )
    assert logged.sum() - flow.over_used_g.sum() == pytest.approx(-most.fun, abs=1e-6)
    # Then: as much assumed eating as those uses leave.
    good, late = good_and_late(picked, logged, life)
    assert_array_equal(flow.over_used_g[0].sum(axis=1), logged.sum(axis=1) - good - late)
    eaten = linprog(
        -np.sum(on_day[2], axis=0),
        A_ub=np.vstack([from_lot, on_day[2]]),
        b_ub=[*picked, *wish],
        A_eq=np.vstack([on_day[0], on_day[1]]),
        b_eq=[*good, *late],
    )
    assert eaten.status == 0
    assert flow.by_day(ASSUMED).sum() == pytest.approx(-eaten.fun, abs=1e-6)


def least_lost(picked: tuple[int, ...], wish: tuple[int, ...], life: int) -> int:
    """Fewest grams expired over every way to choose a lot for every gram wanted."""

    def best(day: int, lots: tuple[int, ...]) -> int:
        if day == len(picked):
            return 0
        lots = (*lots, picked[day])
        expired = lots[day - life - 1] if day > life else 0
        lots = tuple(0 if at == day - life - 1 else grams for at, grams in enumerate(lots))
        ways = product(*(range(grams + 1) for grams in lots))
        choices = (way for way in ways if sum(way) <= wish[day])
        return expired + min(best(day + 1, tuple(g - w for g, w in zip(lots, way, strict=True))) for way in choices)

    return best(0, ())


@pytest.mark.parametrize("life", [0, 1, 2])
def test_oldest_first_loses_no_more_than_any_other_order(life: int) -> None:
    rng = np.random.default_rng(5)
    for _ in range(25):
        picked, wish = rng.integers(0, 4, 5), rng.integers(0, 3, 5)
        flow = flow_of(picked.tolist(), life, wish=wish.tolist())
        assert flow.by_lot(EXPIRED).sum() == least_lost(tuple(picked.tolist()), tuple(wish.tolist()), life)


CROPS = reference(
    carrot={"keeping_days": 200.0, "keeping_c": 0.0, "chill_sensitive": 0.0},
    cucumber={"keeping_days": 12.0, "keeping_c": 11.0, "chill_sensitive": 1.0},
    mystery={},
)


def kept(storage_c: float | None) -> list[float]:
    return keeping_days(CROPS, storage_c)["keeping_days"].to_list()


def test_without_a_storage_temperature_the_published_time_stands() -> None:
    assert kept(None) == [200.0, 12.0, 7.0]


def test_ten_degrees_fahrenheit_more_take_a_quarter_of_the_keeping_time() -> None:
    # University of Minnesota Extension (read in a copy): 25 % less per 10 F (5.56 C) above the best.
    assert_allclose(kept(5.56), [150.0, 12.0, 7.0])
    # Twice that, 11.12 C: 200 * 0.75 * 0.75 = 112.5. Cucumber is then 0.12 C above its best.
    assert_allclose(kept(11.12), [112.5, 12 * 0.75 ** (0.12 / 5.56), 7.0])


def test_a_crop_that_chilling_harms_does_not_keep_longer_in_the_cold() -> None:
    assert kept(-5.56) == pytest.approx([200 / 0.75, 12.0, 7.0])


def test_an_empty_reference_gives_an_empty_frame() -> None:
    assert keeping_days(CROPS.clear(), 4.0).schema == {"crop": pl.String, "keeping_days": pl.Float64}
