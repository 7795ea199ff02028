"""Spoilage tables, pooled shares, interval-censored shares, and the test of which group is worse."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal
from scipy import special

from pipeline.keeping import pooling
from pipeline.keeping.permutation import batch_exposure, batch_residuals, trend_test, worse_than_rest
from pipeline.keeping.pooling import pooled_risk
from pipeline.keeping.risk import FloatArray
from pipeline.keeping.spoilage import grouped, spoilage_causes, spoilage_table, worse_groups
from pipeline.keeping.turnbull import looks_far_apart, npmle
from schemas.answers import ANSWERS
from schemas.logs import LOGS
from schemas.words.days import MONTH_DAYS

KINDS = {"text": pl.String, "int": pl.Int64, "float": pl.Float64, "bool": pl.Boolean, "date": pl.Date}
HISTORY = {
    "batch_id": pl.String,
    "method": pl.String,
    "last_sound_days": pl.Float64,
    "found_days": pl.Float64,
    "fate": pl.String,
}
INF = float("inf")


def histories(rows: list[tuple[str, str, float, float | None, str]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=HISTORY, orient="row")


def answer_schema(name: str) -> dict[str, type[pl.DataType]]:
    return {column.name: KINDS[column.dtype] for column in ANSWERS[name].columns}


def invented(seed: int, methods: int = 3, batches: int = 5, jars: int = 6, worst: float = 1.0) -> pl.DataFrame:
    """Invented containers; those of the last method spoil ``worst`` times as fast."""
    rng = np.random.default_rng(seed)
    size = methods * batches * jars
    method = np.arange(size) // (batches * jars)
    spoils = rng.exponential(1500, size) / np.where(method == methods - 1, worst, 1)
    opens, looked = rng.exponential(500, size), 600.0
    spoiled, used = (spoils < opens) & (spoils < looked), (opens < spoils) & (opens < looked)
    day = np.floor(np.minimum(spoils, opens) / 30) * 30
    return pl.DataFrame(
        {
            "batch_id": [f"B{i // jars}" for i in range(size)],
            "method": [f"m{k}" for k in method],
            "last_sound_days": np.where(spoiled | used, day, looked),
            "found_days": pl.Series(np.where(spoiled, day + 30, np.nan)).fill_nan(None),
            "fate": np.where(spoiled, "spoiled", np.where(used, "used", "on_shelf")),
        }
    )


def test_a_table_small_enough_to_check_by_eye() -> None:
    table = spoilage_table(
        histories(
            [
                ("A", "jam", 100.0, None, "used"),
                ("A", "jam", 400.0, None, "on_shelf"),
                ("B", "jam", 180.0, 220.0, "spoiled"),
                ("B", "jam", 400.0, None, "on_shelf"),
                ("C", "dry", 300.0, None, "on_shelf"),
                ("D", "dry", 0.0, None, "on_shelf"),
            ]
        ),
        "method",
    )
    assert dict(table.schema) == answer_schema("spoilage")
    dry, jam = table.rows(named=True)
    assert (jam["grouping"], jam["group"], dry["group"]) == ("method", "jam", "dry")
    assert [jam[n] for n in ("batches", "containers", "spoiled", "used", "on_shelf")] == [2, 4, 1, 1, 2]
    assert jam["container_months"] == pytest.approx((100 + 400 + 200 + 400) / MONTH_DAYS)
    # Left alone: one of the three then at risk is lost. Use competing: one of four.
    assert jam["kept_12m"] == pytest.approx(2 / 3)
    assert jam["lost_share"] == pytest.approx(1 / 4)
    assert jam["followed_months"] == pytest.approx(400 / MONTH_DAYS)
    assert jam["evidence"] == "too little"
    # Followed for 300 days only; one of its two batches was never looked at.
    assert (dry["batches"], dry["containers"], dry["lost_share"]) == (1, 2, 0.0)
    assert [dry[n] for n in ("kept_12m", "kept_12m_low", "kept_12m_high", "pooled_kept_12m")] == [None] * 4


def test_two_columns_make_one_label() -> None:
    table = spoilage_table(invented(1).with_columns(lid=pl.lit(None, pl.String)), ["method", "lid"])
    assert table["grouping"].unique().to_list() == ["method, lid"]
    assert table["group"].to_list() == ["m0 · not recorded", "m1 · not recorded", "m2 · not recorded"]


def test_no_columns_give_one_row_for_everything() -> None:
    table = spoilage_table(invented(1), [])
    assert table.select("grouping", "group", "containers").rows() == [("all", "all", 90)]


def test_each_batch_may_be_a_group() -> None:
    table = spoilage_table(invented(1), "batch_id")
    assert table.height == 15
    assert table["batches"].to_list() == [1] * 15
    assert table["containers"].to_list() == [6] * 15
    assert worse_than_rest(invented(1), "batch_id", np.random.default_rng(1), 9).height == 15


def test_empty_histories_give_an_empty_table_of_the_right_columns() -> None:
    table = spoilage_table(invented(1).clear(), "method")
    assert table.height == 0
    assert dict(table.schema) == answer_schema("spoilage")


def test_causes_by_method() -> None:
    schema = {name: KINDS[kind] for name, kind in LOGS["spoilage"].core_columns.items()}
    rows = [
        {"batch_id": "A", "containers": 2, "cause": "mould", "action": "discarded"},
        {"batch_id": "A", "containers": 1, "cause": "mould", "action": "trimmed"},
        {"batch_id": "B", "containers": 3, "cause": "yeast film"},
        {"batch_id": "B", "containers": 1},
        {"batch_id": "B", "containers": 0},
        {"crop": "plum", "weight_kg": 1.0, "cause": "rot"},
    ]
    spoilage = pl.DataFrame([row | {"found_on": dt.date(2026, 2, 1)} for row in rows], schema=schema)
    batches = pl.DataFrame({"batch_id": ["A", "B"], "method": ["jam", "ferment"]})
    table = spoilage_causes(spoilage, batches)
    assert dict(table.schema) == answer_schema("spoilage_causes")
    assert table.rows() == [
        ("ferment", "not recorded", 1, 1, 1),
        ("ferment", "yeast film", 3, 0, 1),
        ("jam", "mould", 3, 2, 1),
    ]
    assert dict(spoilage_causes(spoilage.clear(), batches).schema) == answer_schema("spoilage_causes")


def test_pooled_risks_agree_with_drawing_from_the_prior() -> None:
    from scipy.stats import nbinom

    spoiled = np.array([3, 0, 1, 0, 0])
    exposure = np.array([5.0, 4.0, 6.0, 5.0, 8.0])
    group = np.array([0, 0, 0, 1, 1])
    found = pooled_risk(spoiled, exposure, group, 3)
    rng = np.random.default_rng(3)
    draws = 400_000
    level = rng.uniform(np.log(0.005), np.log(3.0), draws)
    spread, between = rng.exponential(1.0, draws), np.abs(rng.normal(0, 0.7, draws))
    rate = np.exp(level + between * rng.standard_normal((3, draws)))
    weight = np.ones(draws)
    for d, e, k in zip(spoiled, exposure, group, strict=True):
        mean = rate[k] * e
        weight *= nbinom.pmf(d, 1 / spread, 1 / (1 + spread * mean))
    risk = 1 - (1 + spread * rate) ** (-1 / spread)
    drawn = (risk * weight).sum(axis=1) / weight.sum()
    # The third group has no batches: the common risk.
    assert found == pytest.approx(drawn, abs=0.006)
    assert found[1] < found[2] < found[0]


def test_pooling_draws_groups_together_and_lets_many_batches_speak() -> None:
    table = spoilage_table(invented(2, methods=4), "method")
    raw, pooled = table["kept_12m"].to_numpy(), table["pooled_kept_12m"].to_numpy()
    assert np.ptp(pooled) < np.ptp(raw)
    assert raw.min() < pooled.min()
    assert pooled.max() < raw.max()
    large = spoilage_table(invented(2, methods=2, batches=1500), "method")
    assert large["pooled_kept_12m"].to_list() == pytest.approx(large["kept_12m"].to_list(), abs=0.02)


# Tarone 1982, as in Gelman et al., Bayesian Data Analysis, section 5.1: rats with a tumour, of all, in 70 earlier
# experiments and the current one. From memory; the mean and spread that the book states hold them in place.
TUMOURS = """0/20 0/20 0/20 0/20 0/20 0/20 0/20 0/19 0/19 0/19 0/19 0/18 0/18 0/17 1/20 1/20 1/20 1/20 1/19 1/19 1/18
    1/18 2/25 2/24 2/23 2/20 2/20 2/20 2/20 2/20 2/20 1/10 5/49 2/19 5/46 3/27 2/17 7/49 7/47 3/20 3/20 2/13 9/48 10/50
    4/20 4/20 4/20 4/20 4/20 4/20 4/20 10/48 4/19 4/19 4/19 5/22 11/46 12/49 5/20 5/20 6/23 5/19 6/22 6/20 6/20 6/20
    16/52 15/46 15/47 9/24 4/14"""


def test_pooling_on_the_rat_tumours(monkeypatch: pytest.MonkeyPatch) -> None:
    tumours, rats = np.array([group.split("/") for group in TUMOURS.split()], dtype=np.int64).T
    raw = tumours / rats
    assert (raw.size, raw[:70].mean(), raw[:70].std(ddof=1)) == (71, *map(close, (0.136, 0.103)))
    # Beta-binomial with prior (a + b)^(-5/2) on a grid: mode of (log a/b, log a+b) at (-1.79, 2.74), mean a 2.403 and
    # b 14.319; the mode read in an example of PyMC, the means from memory.
    u, v = np.meshgrid(np.linspace(-2.3, -1.3, 101), np.linspace(1, 5, 201))
    a, b = np.exp(u + v) / (1 + np.exp(u)), np.exp(v) / (1 + np.exp(u))
    log_p = np.log(a * b) - 2.5 * np.log(a + b)
    for y, n in zip(tumours, rats, strict=True):
        log_p += special.betaln(a + y, b + n - y) - special.betaln(a, b)
    peak = np.unravel_index(log_p.argmax(), log_p.shape)
    assert (u[peak], v[peak]) == (pytest.approx(-1.79, abs=0.01), pytest.approx(2.74, abs=0.02))
    weight = np.exp(log_p - log_p.max())
    weight /= weight.sum()
    assert ((a * weight).sum(), (b * weight).sum()) == (pytest.approx(2.403, abs=0.01), pytest.approx(14.319, abs=0.06))
    book = np.array([((a + y) / (a + b + n) * weight).sum() for y, n in zip(tumours, rats, strict=True)])

    def ours() -> FloatArray:
        return pooled_risk(tumours, rats.astype(np.float64), np.arange(rats.size), rats.size)

    # One batch to a group: what sets groups apart cannot be told from what sets batches apart, so the order is the
    # book's and the groups are drawn together more.
    found = ours()
    assert np.corrcoef(found, book)[0, 1] > 0.99
    assert book.min() < found.min() < found.max() < book.max()
    # Told that jars are independent, as the book's rats are, it gives the book's rates. Its rates are of losses over
    # time, so they are compared as such.
    monkeypatch.setattr(pooling, "SPREADS", np.array([1e-3]))
    rate = -np.log1p(-ours())
    assert np.abs(rate - book).max() < 0.03
    assert rate[-1] == pytest.approx(book[-1], abs=0.025)


def close(value: float) -> object:
    return pytest.approx(value, abs=0.0005)


def test_exposure_counts_a_container_followed_for_the_whole_time_as_one() -> None:
    rows = [("A", "jam", 400.0, None, "on_shelf"), ("B", "jam", 182.5, None, "used")]
    exposure = batch_exposure(histories(rows))
    # Nothing spoiled, so the clock runs steadily.
    assert exposure.rows() == [("A", 0, 1.0), ("B", 0, 0.5)]


def test_residuals_sum_to_nothing_and_leave_out_batches_nobody_looked_at() -> None:
    table = pl.concat([invented(4), histories([("unseen", "m0", 0.0, None, "on_shelf")])])
    residuals = batch_residuals(table, "method")
    assert residuals.height == 15
    assert residuals["residual"].sum() == pytest.approx(0, abs=1e-9)
    assert residuals["spoiled"].sum() == (table["fate"] == "spoiled").sum()


@pytest.mark.filterwarnings("ignore")
def test_expected_losses_agree_with_nelson_aalen_of_lifelines() -> None:
    from lifelines import NelsonAalenFitter

    table = invented(9)
    age = table.select(
        pl.when(pl.col("fate") == "spoiled").then(pl.col("last_sound_days") + 15).otherwise("last_sound_days")
    ).to_series()
    fitter = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(age, table["fate"] == "spoiled")
    hazard = pl.Series(fitter.cumulative_hazard_at_times(age.to_numpy()).to_numpy())
    expected = table.select("batch_id", hazard).group_by("batch_id").agg(pl.col("").sum()).sort("batch_id")
    assert batch_residuals(table)["expected"].to_list() == pytest.approx(expected[""].to_list())


def test_worse_than_rest_against_every_way_of_dealing_the_labels_out() -> None:
    table = invented(8, methods=2, batches=3, worst=4.0)
    found = worse_than_rest(table, "method", np.random.default_rng(1), draws=4000)
    batches = batch_residuals(table, "method")
    residual = batches["residual"].to_numpy()
    worst = []
    sd = np.sqrt(3 * 0.5 * (residual**2).sum() / 5)
    for three in itertools.combinations(range(6), 3):
        chosen = residual[list(three)].sum()
        worst.append(max(chosen, -chosen) / sd)
    for row in found.iter_rows(named=True):
        own = residual[(batches["method"] == row["group"]).to_numpy()].sum() / sd
        assert row["z"] == pytest.approx(own)
        assert row["p_value"] == pytest.approx(np.mean(np.array(worst) >= own - 1e-9), abs=0.03)


def test_a_method_that_is_much_worse_is_found_and_comes_first() -> None:
    found = worse_than_rest(invented(5, methods=4, batches=8, worst=8.0), "method", np.random.default_rng(1))
    assert found["group"][0] == "m3"
    assert found["p_value"][0] <= 0.01
    assert (found["p_value"].slice(1) > 0.05).all()


@pytest.mark.parametrize("rows", [[], [("A", "jam", 9.0, None, "used")], [("A", "jam", 9.0, 12.0, "spoiled")]])
def test_one_group_or_none_is_not_worse_than_anything(rows: list[tuple[str, str, float, float | None, str]]) -> None:
    found = worse_than_rest(histories(rows), "method", np.random.default_rng(1))
    assert found.rows() == [("jam", 1, 0.0, None)] * len(rows)
    assert dict(found.schema) == {"group": pl.String, "batches": pl.Int64, "z": pl.Float64, "p_value": pl.Float64}


def test_fewer_than_three_batches_are_never_accused() -> None:
    table = invented(5, methods=4, batches=8, worst=1.0)
    all_lost = histories([("X", "bad", 1.0, 2.0, "spoiled")] * 20 + [("Y", "bad", 1.0, 2.0, "spoiled")] * 20)
    found = worse_than_rest(pl.concat([table, all_lost]), "method", np.random.default_rng(1), 99)
    assert found.row(0, named=True) | {"z": 0} == {"group": "bad", "batches": 2, "z": 0, "p_value": None}
    assert found["p_value"].slice(1).is_between(0, 1, closed="right").all()


def shredded() -> pl.DataFrame:
    """Two ways of keeping of which one loses more; most of it is shredded, which does not matter."""
    bad = invented(3, methods=1, batches=16, worst=8.0).with_columns(batch_id=pl.col("batch_id") + "f")
    table = pl.concat([bad.with_columns(method=pl.lit("ferment")), invented(4, methods=1, batches=16)])
    number = pl.col("batch_id").str.extract(r"(\d+)").cast(pl.Int64)
    often = pl.when(pl.col("method") == "ferment").then(number % 8 != 0).otherwise(number % 8 == 0)
    return table.with_columns(piece=pl.when(often).then(pl.lit("shred")).otherwise(pl.lit("whole")))


def test_a_cut_is_not_blamed_for_the_way_of_keeping_it_goes_with() -> None:
    table = shredded()
    blamed = worse_than_rest(table, "piece", np.random.default_rng(1)).row(0, named=True)
    assert (blamed["group"], blamed["p_value"] <= 0.05) == ("shred", True)
    assert worse_groups(table, ["piece"], np.random.default_rng(1))["p_value"].min() > 0.05
    ways = worse_groups(table, ["method"], np.random.default_rng(1)).row(0, named=True)
    assert (ways["group"], ways["p_value"] <= 0.05) == ("ferment", True)


def test_worse_within_methods_against_every_way_of_dealing_the_labels_out() -> None:
    table = shredded().filter(pl.col("batch_id").str.contains(r"^B[5-8]f?$"))
    found = worse_than_rest(table, "piece", np.random.default_rng(1), 4000, within="method")
    batches = batch_residuals(table, "piece", within="method").sort("method", "batch_id")
    one, other = (part["residual"].to_numpy() for part in batches.partition_by("method", maintain_order=True))
    label = (batches["piece"] == "shred").to_numpy()
    # Which of four batches of each method carry the label, all ways.
    sizes = label[:4].sum(), label[4:].sum()
    sums = np.array(
        [
            one[list(first)].sum() + other[list(second)].sum()
            for first in itertools.combinations(range(4), sizes[0])
            for second in itertools.combinations(range(4), sizes[1])
        ]
    )
    own = batches["residual"].to_numpy()[label].sum()
    shred = found.filter(pl.col("group") == "shred").row(0, named=True)
    assert shred["z"] == pytest.approx(own / sums.std())
    # With two groups in every method, the worst of the two is the larger of the sum and its negative.
    exact = np.mean(np.abs(sums) >= own - 1e-9)
    assert shred["p_value"] == pytest.approx(exact, abs=0.03)


def test_salt_groups_are_of_ferments_and_an_unwritten_starter_is_none_recorded() -> None:
    table = invented(1, methods=2, batches=4).with_columns(
        method=pl.col("method").replace({"m0": "ferment"}),
        salt_band=pl.when(pl.col("batch_id") == "B0").then(None).otherwise(pl.lit("1 to 2 %")),
        starter=pl.when(pl.col("batch_id") == "B0").then(pl.lit("whey")),
    )
    bands, curves = grouped(table, ["salt_band"])
    assert bands.select("group", "containers").rows() == [("1 to 2 %", 18)]
    assert curves["group"].unique().to_list() == ["1 to 2 %"]
    assert grouped(table, ["method", "salt_band"])[0]["containers"].to_list() == [18, 24]
    assert grouped(table, ["starter"])[0]["group"].to_list() == ["none recorded", "whey"]


def test_row_order_changes_nothing_and_p_values_are_shares() -> None:
    table = invented(6)
    shuffled = table.sample(fraction=1.0, shuffle=True, seed=1)
    for ask in ASKED:
        assert_frame_equal(ask(shuffled), ask(table))
    p_values = worse_than_rest(table, "method", np.random.default_rng(1), 99)["p_value"]
    assert p_values.is_between(0, 1, closed="right").all()


ASKED: list[Callable[[pl.DataFrame], pl.DataFrame]] = [
    lambda table: spoilage_table(table, "method"),
    lambda table: worse_than_rest(table, "method", np.random.default_rng(1), 99),
    lambda table: looks_far_apart(table, "method", 100),
]


def test_trend_against_every_way_of_dealing_the_scores_out_within_strata() -> None:
    score = np.array([1.5, 2.0, 3.0, 1.5, 2.5, 3.0, 2.0])
    residual = np.array([1.2, -0.1, -0.7, 0.9, 0.1, -1.1, -0.3])
    stratum = np.array([0, 0, 0, 1, 1, 1, 1])
    centred = score - np.array([score[stratum == s].mean() for s in stratum])
    seen = abs(centred @ residual)
    every = [
        abs(np.concatenate([first, second]) @ residual)
        for first in itertools.permutations(centred[:3])
        for second in itertools.permutations(centred[3:])
    ]
    exact = np.mean(np.array(every) >= seen - 1e-9)
    assert trend_test(score, residual, stratum, np.random.default_rng(2), 5000) == pytest.approx(exact, abs=0.02)


def test_turnbull_on_his_own_example() -> None:
    # Turnbull 1974, J Am Stat Assoc 69:169, as read in the tests of R's survival: exact 12 6 2 3, seen
    # only later 3 2 0 3, seen only earlier 2 4 2 5, at times 1 to 4; share left .538 .295 .210 .095.
    left, right = [], []
    for time, exact, later, earlier in ((1, 12, 3, 2), (2, 6, 2, 4), (3, 2, 0, 2), (4, 3, 3, 5)):
        left += [time] * (exact + later) + [0] * earlier
        right += [time] * exact + [INF] * later + [time] * earlier
    found = npmle(left, right)
    rest = 1 - found["mass"].cum_sum()
    assert rest.head(4).to_list() == pytest.approx([0.538, 0.295, 0.210, 0.095], abs=6e-4)


def test_half_open_intervals_that_touch_do_not_overlap() -> None:
    found = npmle([0, 5], [5, 9])
    assert found.rows() == [(0.0, 5.0, pytest.approx(0.5)), (5.0, 9.0, pytest.approx(0.5))]
    assert npmle([0, 4], [5, 9]).rows() == [(4.0, 5.0, pytest.approx(1.0))]
    assert npmle([], []).height == 0
    with pytest.raises(ValueError, match="right must not be below left"):
        npmle([2], [1])


@pytest.mark.filterwarnings("ignore")
def test_turnbull_agrees_with_lifelines_told_of_open_left_ends() -> None:
    from lifelines import KaplanMeierFitter

    rng = np.random.default_rng(5)
    spoils, gap = rng.weibull(1.3, 60) * 200, rng.integers(20, 90, 60)
    left = np.floor(spoils / gap) * gap
    right = np.where(spoils > 250, np.inf, left + gap)
    left = np.where(spoils > 250, 250.0, left)
    ours = npmle(left, right)
    # lifelines takes intervals as closed at the left; a small step makes them open there.
    reference = KaplanMeierFitter().fit_interval_censoring(left + 1e-6, right, tol=1e-9).survival_function_
    for age in (44.0, 70.0, 90.0, 128.0, 162.0, 220.0, 250.0):
        kept = 1 - ours.filter(pl.col("right") <= age)["mass"].sum()
        # Where mass ends at an age, lifelines' upper curve still stands before it and the lower one after it.
        assert kept == pytest.approx(reference.loc[: age + 1e-5].iloc[-1]["NPMLE_estimate_lower"], abs=1e-3)


def test_exact_ages_give_kaplan_meier() -> None:
    found = npmle([1, 2, 2, 3, 4], [1, INF, 2, INF, 4])
    assert found.filter(pl.col("mass") > 1e-6)["mass"].to_list() == pytest.approx([0.2, 0.2, 0.6], abs=1e-6)


def test_looks_further_apart_than_the_age_asked_about() -> None:
    rows = [
        ("A", "jam", 0.0, 400.0, "spoiled"),
        ("B", "jam", 400.0, None, "on_shelf"),
        ("C", "dry", 30.0, 60.0, "spoiled"),
        ("D", "dry", 400.0, None, "on_shelf"),
    ]
    dry, jam = looks_far_apart(histories(rows), "method", 180).rows(named=True)
    assert (dry["median_gap_days"], dry["far_apart"], dry["kept"]) == (30.0, False, 0.5)
    assert (dry["kept_least"], dry["kept_most"]) == (None, None)
    # The jam may have gone at any time up to day 400: half kept, or all.
    assert (jam["median_gap_days"], jam["far_apart"], jam["kept"]) == (400.0, True, 1.0)
    assert (jam["kept_least"], jam["kept_most"]) == pytest.approx((0.5, 1.0))
