"""Shares kept and lost: published examples, other programs, brute force, properties."""

from __future__ import annotations

import itertools

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal
from scipy import optimize, special

from pipeline.keeping.curves import MOST_POINTS, group_label, keeping_curves
from pipeline.keeping.intervals import fate_correlation
from pipeline.keeping.permutation import worse_than_rest
from pipeline.keeping.risk import (
    follow,
    kept_influence,
    lost_if_left_alone,
    lost_influence,
    lost_so_far,
)
from pipeline.keeping.spoilage import estimate_keeping
from schemas.answers import ANSWERS

REFERENCE_WARNINGS = pytest.mark.filterwarnings("ignore")
"""lifelines and statsmodels warn on their own account."""


def exact(spoiled: list[float], used: list[float] = [], shelf: list[float] = []) -> pl.DataFrame:  # noqa: B006
    """Containers whose ages are known exactly, each a batch of its own."""
    rows = [(age, age, "spoiled") for age in spoiled]
    rows += [(age, None, "used") for age in used] + [(age, None, "on_shelf") for age in shelf]
    schema = {"last_sound_days": pl.Float64, "found_days": pl.Float64, "fate": pl.String}
    table = pl.DataFrame(rows, schema=schema, orient="row")
    return table.with_columns(batch_id=pl.format("B{}", pl.int_range(pl.len())))


def invented(seed: int, n: int = 120, batch: int = 6, *, ties: bool = True) -> pl.DataFrame:
    """Containers in batches, by a stated generator."""
    rng = np.random.default_rng(seed)
    age = rng.weibull(1.3, n) * 300
    age = np.ceil(age / 20) * 20 if ties else age
    fate = rng.choice(["spoiled", "used", "on_shelf"], n, p=[0.4, 0.35, 0.25])
    found = pl.Series([a if f == "spoiled" else None for a, f in zip(age, fate, strict=True)], dtype=pl.Float64)
    return pl.DataFrame(
        {
            "batch_id": [f"B{i // batch}" for i in range(n)],
            "method": ["dry" if i // batch % 2 else "jam" for i in range(n)],
            "last_sound_days": age,
            "found_days": found,
            "fate": fate,
        }
    )


def at(histories: pl.DataFrame, age: float) -> dict[str, float]:
    return estimate_keeping(histories, [], age).row(0, named=True)


def test_kaplan_meier_as_in_the_nist_handbook() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods 8.2.1.5: data read in a test that cites it; printed
    # decimals from memory, the product by hand.
    table = exact([10, 32, 56, 98, 122, 181], shelf=[50, 100, 125, 150, *[200] * 10])
    kept = [at(table, age)["kept"] for age in (10, 32, 56, 98, 122, 181)]
    assert kept == pytest.approx([0.95, 0.90, 0.847, 0.794, 0.737, 0.670], abs=6e-4)
    product = (19 / 20) * (18 / 19) * (16 / 17) * (15 / 16) * (13 / 14) * (10 / 11)
    assert kept[-1] == pytest.approx(product, abs=1e-12)


FREIREICH = exact([6, 6, 6, 7, 10, 13, 16, 22, 23], shelf=[6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35])


def test_kaplan_meier_and_greenwood_on_freireichs_remissions() -> None:
    # Data read (Introductory Biostatistics, example 11.1). Values from memory: Klein & Moeschberger,
    # Survival Analysis, table 4.1.
    followed = follow(FREIREICH, [])
    ages = (6, 7, 10, 13, 16, 22, 23)
    found = [lost_if_left_alone(followed, np.array([float(age)])) for age in ages]
    shares = [1 - one.share[0] for one in found]
    assert shares == pytest.approx([0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], abs=6e-4)
    errors = [np.sqrt(one.variance[0]) for one in found]
    assert errors == pytest.approx([0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], abs=6e-5)


def test_aalen_johansen_on_the_18_rows_checked_against_stata() -> None:
    # Data and values read in the tests of statsmodels, which were checked there against Stata's stcompet.
    age = [1, 1, 2, 4, 4, 4, 6, 6, 7, 8, 9, 9, 9, 1, 2, 2, 4, 4]
    cause = [1, 1, 1, 2, 2, 2, 3, 3, 3, *[0] * 9]
    for k, share, error in ((1, 0.17037037, 0.08976251), (2, 0.20740741, 0.10610391), (3, 0.26666667, 0.12787781)):
        rows = list(zip(age, cause, strict=True))
        table = exact(
            [a for a, c in rows if c == k],
            [a for a, c in rows if c not in (0, k)],
            [a for a, c in rows if c == 0],
        )
        found = lost_so_far(follow(table, []), np.array([9.0]))
        assert found.share[0] == pytest.approx(share, abs=1e-8)
        assert np.sqrt(found.variance[0]) == pytest.approx(error, abs=1e-7)


LITTERS = {
    # Survived/alive at 4 days by litter: Weil 1970, as given by Williams 1975, Biometrics 31:949. Read.
    "control": "13/13 12/12 9/9 9/9 8/8 8/8 12/13 11/12 9/10 9/10 8/9 11/13 4/5 5/7 7/10 7/10",
    "treated": "12/12 11/11 10/10 9/9 10/11 9/10 9/10 8/9 8/9 4/5 7/9 4/7 5/10 3/6 3/10 0/7",
}


def litters(*groups: str) -> pl.DataFrame:
    """Rat pups as containers and litters as batches, all followed to one age."""
    rows = [
        (f"{group} {place} {i}", place, 1.0, 1.0 if pup >= survived else None, "spoiled" if pup >= survived else "used")
        for place, group in enumerate(groups)
        for i, (survived, alive) in enumerate(tuple(map(int, litter.split("/"))) for litter in LITTERS[group].split())
        for pup in range(alive)
    ]
    names = ("batch_id", "group", "last_sound_days", "found_days", "fate")
    return pl.DataFrame(rows, schema=names, orient="row")


def test_design_effects_of_rao_and_scott() -> None:
    # Rao & Scott 1992, Biometrics 48:577, table 1: 1.232495 and 3.952861; read in the help of R's `PF`.
    followed = follow(litters("control", "treated"), "group")
    for shares in (lost_if_left_alone, lost_so_far):
        lost = shares(followed, np.ones(2))
        assert lost.batch_variance / lost.variance == pytest.approx([1.232495, 3.952861], abs=1e-6)


def chi_squared(lost: np.ndarray, alive: np.ndarray) -> float:  # type: ignore[type-arg]
    """Pearson's statistic of equal shares in groups."""
    share = lost.sum() / alive.sum()
    return float(((lost - alive * share) ** 2 / (alive * share * (1 - share))).sum())


def test_two_groups_of_litters_compared_with_their_design_effects() -> None:
    # Rao & Scott 1992: counts divided by the design effect of their group. X squared 4.04 (p .0444), pooled design
    # effect 3.069 (p .0886) and, with pups taken as independent, 8.9 (p .0029): computed with `raoscott` of R's aod.
    followed = follow(litters("control", "treated"), "group")
    found = lost_so_far(followed, np.ones(2))
    design = found.batch_variance / found.variance
    alive = followed.total(np.ones(followed.group.size))
    lost = alive * found.share
    by_group = chi_squared(lost / design, alive / design)
    assert (by_group, special.chdtrc(1, by_group)) == (pytest.approx(4.04, abs=0.005), pytest.approx(0.0444, abs=5e-5))
    plain = chi_squared(lost, alive)
    assert (plain, special.chdtrc(1, plain)) == (pytest.approx(8.9, abs=0.005), pytest.approx(0.0029, abs=5e-5))
    share, overall = found.share, lost.sum() / alive.sum()
    weight = (1 - alive / alive.sum()) * share * (1 - share)
    pooled = (weight * design).sum() / (overall * (1 - overall))
    assert pooled == pytest.approx(3.069, abs=5e-4)
    assert special.chdtrc(1, plain / pooled) == pytest.approx(0.0886, abs=5e-5)
    # Our own test shuffles whole litters, one-sided in the worse of two groups; it comes near the pooled one and
    # nowhere near what pups taken one by one would have us say.
    named = litters("control", "treated").with_columns(batch_id=pl.format("{} {}", "group", "batch_id"))
    worse = worse_than_rest(named, "group", np.random.default_rng(1), 1999).row(0, named=True)
    assert worse["group"] == "1"
    assert worse["p_value"] == pytest.approx(0.0886, abs=0.025)


def test_share_and_correlation_beside_the_beta_binomial_of_the_litters() -> None:
    # Maximum likelihood of the beta-binomial (Williams 1975): survival .8980 and .7400, correlation .0202 and
    # .3173, log-likelihood -52.79: computed with R's aod.
    total = 0.0
    for group, survival, correlation in (("control", 0.8980, 0.0202), ("treated", 0.7400, 0.3173)):
        survived, alive = np.array([litter.split("/") for litter in LITTERS[group].split()], dtype=float).T

        def minus_log_likelihood(
            at: np.ndarray,  # type: ignore[type-arg]
            y: np.ndarray = survived,  # type: ignore[type-arg]
            n: np.ndarray = alive,  # type: ignore[type-arg]
        ) -> float:
            mean, rho = special.expit(at)
            a, b = mean * (1 - rho) / rho, (1 - mean) * (1 - rho) / rho
            ways = -special.betaln(y + 1, n - y + 1) - np.log(n + 1)
            return -float((special.betaln(y + a, n - y + b) - special.betaln(a, b) + ways).sum())

        fitted = optimize.minimize(minus_log_likelihood, [1.0, -2.0])
        total -= fitted.fun
        assert special.expit(fitted.x) == pytest.approx([survival, correlation], abs=6e-4)
        followed = follow(litters(group, group), "group")
        lost = lost_so_far(followed, followed.end)
        found = fate_correlation(lost.share, lost.variance, lost.batch_variance, followed.batches)
        # Ours weighs litters by their size and the correlation by moments, so the two differ, by far less than the
        # data leave open.
        assert 1 - lost.share[0] == pytest.approx(survival, abs=np.sqrt(lost.batch_variance[0]))
        assert found == pytest.approx(correlation, abs=0.05)
    assert total == pytest.approx(-52.79, abs=0.005)


@pytest.mark.parametrize("group", ["control", "treated"])
def test_the_correlation_within_a_batch_is_nearly_that_of_the_analysis_of_variance(group: str) -> None:
    # The moment estimator of the beta-binomial, by hand; the group twice, for the 32 batches it takes.
    survived, alive = np.array([litter.split("/") for litter in LITTERS[group].split()], dtype=float).T
    share, total, k = survived / alive, alive.sum(), alive.size
    between = (alive * (share - survived.sum() / total) ** 2).sum() / (k - 1)
    inside = (alive * share * (1 - share)).sum() / (total - k)
    size = (total - (alive**2).sum() / total) / (k - 1)
    followed = follow(litters(group, group), "group")
    lost = lost_so_far(followed, followed.end)
    found = fate_correlation(lost.share, lost.variance, lost.batch_variance, followed.batches)
    assert found == pytest.approx((between - inside) / (between + (size - 1) * inside), abs=0.01)


@REFERENCE_WARNINGS
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_agrees_with_lifelines_and_statsmodels(seed: int) -> None:
    from lifelines import AalenJohansenFitter, KaplanMeierFitter
    from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight

    # Without ties, since lifelines' Aalen-Johansen breaks ties at random.
    table = invented(seed, ties=False)
    age, fate = table["last_sound_days"].to_numpy(), table["fate"].to_numpy()
    cause = np.select([fate == "spoiled", fate == "used"], [1, 2], 0)
    curve = KaplanMeierFitter().fit(age, cause == 1)
    incidence = AalenJohansenFitter(calculate_variance=False).fit(age, cause, event_of_interest=1)
    survival, competing = SurvfuncRight(age, cause == 1), CumIncidenceRight(age, cause)
    followed = follow(table, [])
    for horizon in (60.0, 200.0, 400.0):
        alone = lost_if_left_alone(followed, np.array([horizon]))
        lost = lost_so_far(followed, np.array([horizon]))
        assert 1 - alone.share[0] == pytest.approx(float(curve.predict(horizon)), abs=1e-12)
        assert lost.share[0] == pytest.approx(float(incidence.cumulative_density_.loc[:horizon].iloc[-1, 0]))
        place = np.searchsorted(survival.surv_times, horizon, side="right") - 1
        assert np.sqrt(alone.variance[0]) == pytest.approx(survival.surv_prob_se[place])
        place = np.searchsorted(competing.times, horizon, side="right") - 1
        assert lost.share[0] == pytest.approx(competing.cinc[0][place], abs=1e-12)
        assert np.sqrt(lost.variance[0]) == pytest.approx(competing.cinc_se[0][place])


def weighted_shares(table: pl.DataFrame, weight: np.ndarray, horizon: float) -> tuple[float, float]:
    """Share kept if left alone and share lost with use competing, containers weighted; plain loops."""
    age, fate = table["last_sound_days"].to_numpy(), table["fate"].to_numpy()
    kept, staying, lost = 1.0, 1.0, 0.0
    for step in np.unique(age[age <= horizon]):
        here = age == step
        n = weight[age >= step].sum()
        spoiled, used = weight[here & (fate == "spoiled")].sum(), weight[here & (fate == "used")].sum()
        kept *= 1 - spoiled / n
        lost += staying * spoiled / n
        staying *= 1 - (spoiled + used) / n
    return kept, lost


@pytest.mark.parametrize("horizon", [100.0, 250.0])
def test_batch_variance_is_that_of_the_numerical_derivative_in_the_weights(horizon: float) -> None:
    table = invented(7, n=48, batch=6)
    step = 1e-5
    slopes = np.empty((table.height, 2))
    for i in range(table.height):
        up, down = np.ones(table.height), np.ones(table.height)
        up[i], down[i] = 1 + step, 1 - step
        high, low = (np.array(weighted_shares(table, w, horizon)) for w in (up, down))
        slopes[i] = (high - low) / (2 * step)
    followed, ages = follow(table, []), np.array([horizon])
    assert kept_influence(followed, ages)[0] == pytest.approx(slopes[:, 0], abs=1e-8)
    assert lost_influence(followed, ages, "spoiled")[0] == pytest.approx(slopes[:, 1], abs=1e-8)
    sums = slopes.reshape(8, 6, 2).sum(axis=1)
    expected = (sums**2).sum(axis=0) * 8 / 7
    assert lost_if_left_alone(followed, ages).batch_variance[0] == pytest.approx(expected[0], abs=1e-10)
    assert lost_so_far(followed, ages).batch_variance[0] == pytest.approx(expected[1], abs=1e-10)


@pytest.mark.parametrize("seed", range(4))
def test_influences_sum_to_nothing_and_their_squares_to_greenwood(seed: int) -> None:
    followed = follow(invented(seed), "method")
    ages = np.array([140.0, 260.0])
    influence, _ = kept_influence(followed, ages)
    assert followed.total(influence) == pytest.approx([0, 0], abs=1e-12)
    assert followed.total(influence**2) == pytest.approx(lost_if_left_alone(followed, ages).variance, abs=1e-12)
    assert followed.total(lost_influence(followed, ages, "spoiled")[0]) == pytest.approx([0, 0], abs=1e-12)


def test_what_is_lost_used_and_left_makes_one() -> None:
    for seed in range(5):
        table = invented(seed)
        followed = follow(table, [])
        gone = table.with_columns(
            fate=pl.when(pl.col("fate") == "used").then(pl.lit("spoiled")).otherwise("fate"),
            found_days=pl.when(pl.col("fate") != "on_shelf").then("last_sound_days"),
        )
        for age in (80.0, 200.0, 500.0):
            ages = np.array([age])
            parts = [lost_so_far(followed, ages, cause).share[0] for cause in ("spoiled", "used")]
            left = 1 - lost_if_left_alone(follow(gone, []), ages).share[0]
            assert sum(parts) + left == pytest.approx(1, abs=1e-12)


def test_a_spoiled_container_is_dated_to_the_middle_of_its_interval() -> None:
    table = pl.DataFrame(
        {"batch_id": ["A", "B"], "last_sound_days": [10, 40], "found_days": [30, None], "fate": ["spoiled", "used"]},
        schema={"batch_id": pl.String, "last_sound_days": pl.Int64, "found_days": pl.Int64, "fate": pl.String},
    )
    assert [at(table, age)["kept"] for age in (19.9, 20, 40)] == [1.0, 0.5, 0.5]
    assert at(table, 40)["lost_share"] == 0.5


ASKED = {
    "batch_id": ["A", "A", "B", "C", "D"],
    "last_sound_days": [100, 400, 180, 400, 30],
    "found_days": [None, None, 220, None, 50],
    "fate": ["used", "on_shelf", "spoiled", "on_shelf", "spoiled"],
    "method": ["jam", "jam", "jam", "jam", None],
}
"""Five containers in the fewest columns, with whole days: what the estimate can be asked about."""


def test_the_form_in_which_the_estimate_is_asked_and_answers() -> None:
    found = estimate_keeping(pl.DataFrame(ASKED), by=["method"], horizon_days=365)
    assert found.columns == [
        "method",
        "kept",
        "kept_low",
        "kept_high",
        "lost_share",
        "lost_low",
        "lost_high",
        "batches",
        "containers",
        "spoiled",
        "evidence",
    ]
    jam, unrecorded = found.rows(named=True)
    # Left alone: one of the three at risk on day 200. Use competing: one of four.
    assert (jam["kept"], jam["lost_share"]) == pytest.approx((2 / 3, 1 / 4))
    assert [jam[name] for name in ("method", "batches", "containers", "spoiled", "evidence")] == [
        "jam",
        3,
        4,
        1,
        "thin",
    ]
    assert (unrecorded["method"], unrecorded["kept"], unrecorded["lost_share"]) == (None, None, 1.0)


@pytest.mark.parametrize("days", [pl.Int32, pl.Int64, pl.Float32, pl.Float64])
def test_whole_days_and_fractions_and_any_kind_of_label_give_the_same(days: type[pl.DataType]) -> None:
    table = pl.DataFrame(ASKED)
    kinds = table.with_columns(
        pl.col("last_sound_days", "found_days").cast(days),
        pl.col("fate").cast(pl.Enum(["spoiled", "used", "on_shelf"])),
        batch_id=pl.Series([1, 1, 2, 3, 4]),
    )
    assert_frame_equal(estimate_keeping(kinds, "method", 365.0), estimate_keeping(table, ["method"], 365))


def test_one_group_none_and_several_columns() -> None:
    table = pl.DataFrame(ASKED).filter(pl.col("method") == "jam").with_columns(year=2026)
    one, none, two = (estimate_keeping(table, by, 365) for by in (["method"], [], ["year", "method"]))
    assert (one.height, none.height, two.height) == (1, 1, 1)
    assert two.columns[:2] == ["year", "method"]
    assert_frame_equal(one.drop("method"), none)
    assert_frame_equal(two.drop("year", "method"), none)


def test_nothing_known_yet() -> None:
    table = pl.DataFrame(ASKED)
    asked = estimate_keeping(table, "method", 365)
    assert_frame_equal(estimate_keeping(table.clear(), "method", 365), asked.clear())
    assert estimate_keeping(pl.DataFrame({name: [] for name in ASKED}), "method", 365).height == 0
    # Nothing spoiled, so that the column of days found holds nothing at all; and never looked at.
    fresh = table.with_columns(found_days=None, fate=pl.lit("on_shelf"), last_sound_days=None)
    assert estimate_keeping(fresh, [], 365).select("kept", "lost_share", "batches").rows() == [(None, 0.0, 0)]


def test_nothing_is_said_of_kept_beyond_follow_up_and_lost_stops_at_its_end() -> None:
    found = at(exact([10.0], shelf=[20.0]), 21.0)
    assert [found[name] for name in ("kept", "kept_low", "kept_high")] == [None, None, None]
    assert found["lost_share"] == 0.5
    assert at(exact([10.0], shelf=[20.0]), 20.0)["kept"] == 0.5
    # Followed to the day it was found, though dated to the middle.
    late = pl.DataFrame({"batch_id": ["A"], "last_sound_days": [0.0], "found_days": [30.0], "fate": ["spoiled"]})
    assert at(late, 30.0)["kept"] == 0.0


def test_an_interval_is_always_given() -> None:
    nothing = at(exact([], shelf=[100.0, 100.0]), 50.0)
    assert (nothing["kept"], nothing["kept_high"]) == (1.0, 1.0)
    assert 0 < nothing["kept_low"] < 0.9
    everything = at(exact([10.0, 20.0]), 20.0)
    assert (everything["kept"], everything["kept_low"]) == (0.0, 0.0)
    assert 0.1 < everything["kept_high"] < 1
    assert everything["lost_share"] == 1.0
    unseen = at(exact([], shelf=[0.0, 0.0]), 365.0)
    assert unseen["kept"] is None
    assert (unseen["lost_share"], unseen["batches"], unseen["evidence"]) == (0.0, 0, "too little")
    assert unseen["lost_high"] > 0.9


def test_evidence_counts_batches_that_were_followed() -> None:
    tables = [
        exact([], shelf=[10.0] * followed + [0.0]).with_columns(method=pl.lit(f"{followed} followed"))
        for followed in (2, 3, 7, 8)
    ]
    found = estimate_keeping(pl.concat(tables), "method", 5)
    assert found.select("batches", "containers", "evidence").rows() == [
        (2, 3, "too little"),
        (3, 4, "thin"),
        (7, 8, "thin"),
        (8, 9, "enough"),
    ]


def test_many_batches_say_for_all_groups_how_much_jars_of_a_batch_share() -> None:
    """Forty batches in ten groups whose jars go off all together, or each for itself."""

    def spoiled(jar: np.ndarray) -> pl.DataFrame:  # type: ignore[type-arg]
        batch = np.arange(320) // 8
        return pl.DataFrame(
            {
                "batch_id": batch,
                "group": batch // 4,
                "last_sound_days": np.where(jar, 100.0, 400.0),
                "found_days": pl.Series(np.where(jar, 100.0, np.nan)).fill_nan(None),
                "fate": np.where(jar, "spoiled", "on_shelf"),
            }
        )

    # A quarter is lost in every group: one batch of four, or two jars of every eight.
    together, apart = spoiled(np.arange(320) // 8 % 4 == 0), spoiled(np.arange(320) % 4 == 0)
    width = pl.col("kept_high") - pl.col("kept_low")
    widths = {}
    for name, table in (("together", together), ("apart", apart)):
        in_all = estimate_keeping(table, "group", 365)
        alone = estimate_keeping(table.filter(pl.col("group") == 0), "group", 365)
        assert in_all["kept"].to_list() == pytest.approx([0.75] * 10)
        widths[name] = (in_all.select(width).row(0)[0], alone.select(width).row(0)[0])
    # Four batches alone rest on the prior correlation; with the other 36 it is found to be 1, and 0.
    assert widths["together"][0] > widths["together"][1]
    assert widths["apart"][0] < widths["apart"][1]


def test_groups_stand_alone() -> None:
    table = invented(3)
    both = estimate_keeping(table, "method", 200)
    for method in ("dry", "jam"):
        alone = estimate_keeping(table.filter(pl.col("method") == method), "method", 200)
        assert_frame_equal(alone, both.filter(pl.col("method") == method))


def test_an_empty_value_is_a_group_of_its_own() -> None:
    table = exact([10.0], shelf=[20.0]).with_columns(lid=pl.Series(["metal", None], dtype=pl.String))
    assert estimate_keeping(table, ["lid"], 10).select("lid", "kept").rows() == [("metal", 0.0), (None, 1.0)]
    assert table.select(group_label(["fate", "lid"])).to_series().to_list() == [
        "spoiled · metal",
        "on_shelf · not recorded",
    ]


def test_the_order_of_rows_changes_nothing() -> None:
    table = invented(5)
    shuffled = table.sample(fraction=1.0, shuffle=True, seed=2)
    assert_frame_equal(estimate_keeping(shuffled, "method", 200), estimate_keeping(table, "method", 200))
    assert_frame_equal(keeping_curves(shuffled, "method"), keeping_curves(table, "method"))


def test_the_unit_of_time_changes_nothing() -> None:
    table = invented(6)
    hours = table.with_columns(pl.col("last_sound_days", "found_days") * 24)
    assert_frame_equal(estimate_keeping(hours, "method", 200 * 24), estimate_keeping(table, "method", 200))


HISTORY = st.tuples(st.integers(0, 6), st.integers(0, 200), st.integers(0, 100), st.sampled_from(["s", "u", "o"]))


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.lists(HISTORY, min_size=1, max_size=25))
def test_curves_never_rise_and_hold_their_estimate(rows: list[tuple[int, int, int, str]]) -> None:
    fates = {"s": "spoiled", "u": "used", "o": "on_shelf"}
    table = pl.DataFrame(
        [(f"B{b}", float(a), float(a + gap) if f == "s" else None, fates[f]) for b, a, gap, f in rows],
        schema={"batch_id": pl.String, "last_sound_days": pl.Float64, "found_days": pl.Float64, "fate": pl.String},
        orient="row",
    )
    curve = keeping_curves(table, [])
    assert curve["age_days"][0] == 0
    assert curve["age_days"].is_sorted()
    assert curve["age_days"].n_unique() == curve.height
    for name in ("kept", "at_risk"):
        assert all(later <= earlier + 1e-12 for earlier, later in itertools.pairwise(curve[name]))
    assert (curve["kept_low"] <= curve["kept"] + 1e-12).all()
    assert (curve["kept"] <= curve["kept_high"] + 1e-12).all()


def test_a_curve_of_three_containers_by_hand() -> None:
    curve = keeping_curves(exact([10.0], used=[15.0], shelf=[20.0]).with_columns(method=pl.lit("jam")), "method")
    assert curve.select("grouping", "group", "age_days", "at_risk").rows() == [
        ("method", "jam", 0, 3),
        ("method", "jam", 10, 3),
        ("method", "jam", 20, 1),
    ]
    assert curve["kept"].to_list() == pytest.approx([1, 2 / 3, 2 / 3])


def test_a_curve_says_what_the_estimate_says() -> None:
    table = invented(4)
    for row in keeping_curves(table, "method").filter(pl.col("age_days") > 0).iter_rows(named=True):
        estimate = estimate_keeping(table, "method", row["age_days"]).row(
            by_predicate=pl.col("method") == row["group"], named=True
        )
        for name in ("kept", "kept_low", "kept_high"):
            assert row[name] == pytest.approx(estimate[name])


def test_a_long_curve_is_thinned_and_keeps_its_end() -> None:
    table = exact([float(age) for age in range(1, 400)], shelf=[500.0])
    curve = keeping_curves(table, [])
    assert 100 <= curve.height <= MOST_POINTS + 1
    assert curve["age_days"][[0, -1]].to_list() == [0, 500]
    assert curve["kept"][-1] == pytest.approx(1 / 400)


def test_empty_histories_give_empty_answers_of_the_right_columns() -> None:
    empty = invented(1).clear()
    kinds = {"text": pl.String, "int": pl.Int64, "float": pl.Float64}
    wanted = {column.name: kinds[column.dtype] for column in ANSWERS["keeping_curves"].columns}
    assert dict(keeping_curves(empty, "method").schema) == wanted
    assert dict(keeping_curves(invented(1), "method").schema) == wanted
    assert keeping_curves(empty, "method").height == 0
    assert estimate_keeping(empty, "method", 100).schema == estimate_keeping(invented(1), "method", 100).schema
    assert estimate_keeping(empty, [], 100).height == 0


@pytest.mark.parametrize(("risk", "batches"), [(0.05, 3), (0.35, 10)])
def test_intervals_cover_in_invented_households(risk: float, batches: int) -> None:
    """300 households, jars of a batch sharing their fate (gamma, variance 1), looks every 60 days."""
    rng = np.random.default_rng(11)
    households, jars = 300, 6
    size = households * batches
    shared = rng.gamma(1.0, 1.0, size)[:, None]
    spoils = rng.exponential(365.0, (size, jars)) / (shared * (1 / (1 - risk) - 1))
    opens, looked = rng.exponential(380.0, (size, jars)), rng.integers(4, 18, (size, 1)) * 60.0
    found = np.ceil(spoils / 60) * 60
    spoiled, used = (found <= looked) & (spoils < opens), (opens <= looked) & (opens < spoils)
    table = pl.DataFrame(
        {
            "batch_id": np.repeat(np.arange(size), jars),
            "household": np.repeat(np.arange(households), jars * batches),
            "last_sound_days": np.where(spoiled, found - 60, np.where(used, opens, looked)).ravel(),
            "found_days": pl.Series(np.where(spoiled, found, np.nan).ravel()).fill_nan(None),
            "fate": np.where(spoiled, "spoiled", np.where(used, "used", "on_shelf")).ravel(),
        }
    )
    kept = estimate_keeping(table, "household", 360).drop_nulls("kept")
    truth = 1 / (1 + (1 / (1 - risk) - 1) * 360 / 365)
    covered = ((kept["kept_low"] <= truth) & (truth <= kept["kept_high"])).mean()
    assert kept.height > 200
    assert covered >= 0.92
    # Covering by saying nothing would not do: widths stay near those of the simulations behind the method.
    assert (kept["kept_high"] - kept["kept_low"]).mean() < 0.56
