"""Salt and spoilage: the published trend and isotonic examples, known truths, and what a note may say."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal
from scipy import optimize, special

from pipeline.answers import salt_limits
from pipeline.keeping.intervals import FloatArray
from pipeline.keeping.permutation import batch_residuals, trend_test
from pipeline.keeping.risk import follow, lost_so_far
from pipeline.keeping.salt import GUIDANCE, RECIPE, _isotonic, hazard_ratio, salt_levels, salt_response
from pipeline.keeping.salt_measures import SALT_BANDS
from schemas.answers import ANSWERS

KINDS = {"text": pl.String, "int": pl.Int64, "float": pl.Float64}


def invented(
    seed: int,
    levels: list[float],
    log_ratio_per_half_point: float = 0.0,
    *,
    method: str = "ferment",
    jars: int = 8,
    hazard: float = 0.5,
) -> pl.DataFrame:
    """Invented batches, one per level, followed for two years, looked at every 30 days."""
    rng = np.random.default_rng(seed)
    salt = np.repeat(levels, jars)
    rate = hazard * np.exp(log_ratio_per_half_point * (salt - np.mean(levels)) / 0.5)
    day = np.ceil(rng.exponential(365 / rate) / 30) * 30
    lost = day <= 720
    return pl.DataFrame(
        {
            "batch_id": [f"{method}{i // jars}" for i in range(salt.size)],
            "method": method,
            "year": [2020 + i // jars % 2 for i in range(salt.size)],
            "last_sound_days": np.where(lost, day - 30, 720.0),
            "found_days": pl.Series(np.where(lost, day, np.nan)).fill_nan(None),
            "fate": np.where(lost, "spoiled", "on_shelf"),
            "salt_pct": salt,
            "salt_basis": "of all",
        }
    )


def one(histories: pl.DataFrame, draws: int = 199) -> dict[str, object]:
    return salt_response(histories, np.random.default_rng(1), draws).row(0, named=True)


def test_the_trend_statistic_on_alcohol_and_malformation() -> None:
    # Agresti, Categorical Data Analysis: malformed of all infants by mother's drinks per day. One infant is a
    # batch of one, all followed to one age.
    table = [(48, 17114), (38, 14502), (5, 793), (1, 127), (1, 38)]
    hit = np.concatenate([np.arange(n) < d for d, n in table])
    residual = batch_residuals(
        pl.DataFrame(
            {
                "batch_id": np.arange(hit.size),
                "last_sound_days": np.ones(hit.size),
                "found_days": pl.Series(np.where(hit, 1.0, np.nan)).fill_nan(None),
                "fate": np.where(hit, "spoiled", "on_shelf"),
            }
        )
    )["residual"].to_numpy()

    def statistic(*scores: float) -> float:
        score = np.repeat(scores, [n for _, n in table])
        centred = score - score.mean()
        # Variance of the trend over all shuffles, exact.
        variance = (centred**2).sum() * (residual**2).sum() / (score.size - 1)
        return float((centred @ residual) ** 2 / variance)

    # M squared with scores 0 to 7: from memory. P-values: read on a page of StatXact, which prints .1765 for
    # equal steps where the formula gives .17639.
    assert statistic(0, 0.5, 1.5, 4, 7) == pytest.approx(6.57, abs=0.005)
    assert special.chdtrc(1, statistic(0, 0.5, 1.5, 4, 8)) == pytest.approx(0.0078, abs=5e-5)
    assert special.chdtrc(1, statistic(0, 1, 2, 3, 4)) == pytest.approx(0.1765, abs=2e-4)


RABBITS = {
    # Affected/all foetuses by litter at four rising doses: Paul 1982, Biometrics 38:361, as in R's aod (`rabbits`).
    0: "1/12 1/7 4/6 0/6 0/7 0/8 0/10 0/7 1/8 0/6 2/11 0/7 5/8 2/9 1/2 2/7 0/9 0/7 1/11 0/10 0/4 0/8 0/10 3/12 2/8 4/7 "
    "0/8",
    1: "0/5 1/11 1/7 0/9 2/12 0/8 1/6 0/7 1/6 0/4 0/6 3/9 0/6 0/7 1/5 5/9 0/1 0/6 3/9",
    2: "2/4 3/4 2/9 1/8 2/9 3/7 0/8 4/9 0/6 0/4 4/6 0/7 0/3 6/13 6/6 5/8 4/11 1/7 0/6 3/10 6/6",
    3: "1/9 0/10 1/7 0/5 1/4 0/6 1/3 1/8 2/5 0/4 4/4 1/5 1/3 4/8 2/6 3/8 1/6",
}


def test_the_trend_on_litters_is_that_of_rao_and_scott_and_not_that_of_single_foetuses() -> None:
    rows = [
        (f"{dose}-{place}", dose, 1.0, 1.0 if foetus < affected else None, "spoiled" if foetus < affected else "used")
        for dose, litters in RABBITS.items()
        for place, (affected, size) in enumerate(tuple(map(int, litter.split("/"))) for litter in litters.split())
        for foetus in range(size)
    ]
    names = ("batch_id", "dose", "last_sound_days", "found_days", "fate")
    table = pl.DataFrame(rows, schema=names, orient="row")
    followed = follow(table, "dose")
    lost = lost_so_far(followed, followed.end)
    size = followed.total(np.ones(followed.group.size))
    dose = np.arange(4.0)

    def trend(design: FloatArray) -> float:
        n, y = size / design, size * lost.share / design
        share, centred = y.sum() / n.sum(), dose - (n * dose).sum() / n.sum()
        return float((centred * y).sum() / np.sqrt(share * (1 - share) * (n * centred**2).sum()))

    # The vignette of R's CorrBin gives 2.364614 (one-sided p .0090) for its own copy of these litters, and 3.685 with
    # foetuses taken as independent (computed on that copy). The two copies differ a little, hence the tolerance.
    assert trend(lost.batch_variance / lost.variance) == pytest.approx(2.364614, abs=0.03)
    assert trend(np.ones(4)) == pytest.approx(3.685, abs=0.07)
    residuals = batch_residuals(table, "dose")
    score, one_stratum = residuals["dose"].to_numpy().astype(np.float64), np.zeros(84, dtype=np.int64)
    two_sided = trend_test(score, residuals["residual"].to_numpy(), one_stratum, np.random.default_rng(1), 4999)
    # Ours shuffles litters and weighs foetuses alike, so it agrees in size, far from the .0001 of single foetuses.
    assert two_sided / 2 == pytest.approx(0.0090, abs=0.008)


def test_isotonic_fit_on_pituitary_sizes() -> None:
    # De Leeuw, Hornik & Mair, isotone package vignette (J Stat Softw 2009), read: sizes at ages 8, 10, 12, 14.
    sizes = [[21, 23.5, 23], [24, 21, 25], [21.5, 22, 19], [23.5, 25]]
    part = pl.DataFrame({"kept_12m": [np.mean(x) for x in sizes], "batches": [len(x) for x in sizes]})
    fitted = _isotonic(part)["kept_12m_isotonic"].to_list()
    assert fitted == pytest.approx([22.22222, 22.22222, 22.22222, 24.25], abs=1e-5)


def test_a_strong_effect_of_salt_is_found_and_sized() -> None:
    levels = [1.5, 2.0, 2.5, 3.0] * 6
    found = salt_response(invented(3, levels, np.log(0.4)), np.random.default_rng(1))
    assert dict(found.schema) == {c.name: KINDS[c.dtype] for c in ANSWERS["salt_response"].columns}
    row = found.row(0, named=True)
    assert (row["method"], row["batches"], row["evidence"]) == ("ferment", 24, "enough")
    assert row["p_value"] <= 0.01
    assert row["low"] < 0.4 < row["high"] < 0.7
    assert row["hazard_ratio_per_half_point"] == pytest.approx(0.4, abs=0.1)
    assert row["note"].startswith("Batches with more salt spoiled less: each half percent point more went with 0.")
    assert row["note"].endswith(f"{GUIDANCE} {RECIPE}")


@pytest.mark.filterwarnings("ignore")
def test_with_many_batches_the_ratio_is_that_of_a_poisson_regression() -> None:
    from statsmodels.genmod.families import Poisson
    from statsmodels.genmod.generalized_linear_model import GLM

    from pipeline.keeping.permutation import batch_exposure

    table = invented(5, list(np.linspace(1, 4, 300)), -0.3).with_columns(salt=pl.col("salt_pct"))
    batches = batch_exposure(table, "salt", until_days=float("inf"))
    fitted = GLM(
        batches["spoiled"].to_numpy(),
        np.column_stack([np.ones(batches.height), batches["salt"].to_numpy() / 0.5]),
        family=Poisson(),
        offset=np.log(batches["exposure"].to_numpy()),
    ).fit()
    middle, low, high = hazard_ratio(table, 0.5)
    assert np.log(middle) == pytest.approx(fitted.params[1], abs=0.01)
    # Jars of a batch do not share their fate here, so the interval is nearly that of independent jars.
    assert np.log(high / low) == pytest.approx(2 * 1.96 * fitted.bse[1], rel=0.15)


def test_the_ratio_beside_firths_where_the_likelihood_has_no_peak() -> None:
    # Three subjects spoiled at 1, 2, 3 with x = 1, 1, 0, read in the help of R's `coxphf`: the plain hazard ratio
    # is infinite. Firth (1993, Biometrika 80:27) adds half the log of the information; Heinze & Schemper (2001,
    # Biometrics 57:114) do so for Cox. By hand: risk sets {1,1,0}, {1,0}, {0}.
    def penalised(b: float) -> float:
        share = [2 * np.exp(b) / (2 * np.exp(b) + 1), np.exp(b) / (np.exp(b) + 1)]
        information = sum(p * (1 - p) for p in share)
        return float(-(np.log(share[0] / 2) + np.log(share[1]) + 0.5 * np.log(information)))

    firth = optimize.minimize_scalar(penalised, bounds=(-5, 10), method="bounded", options={"xatol": 1e-9}).x
    # Computed with R's `coxphf`.
    assert firth == pytest.approx(1.329103, abs=1e-5)
    rows = {"batch_id": ["a", "b", "c"], "last_sound_days": [1, 2, 3], "found_days": [1, 2, 3], "fate": ["spoiled"] * 3}
    table = pl.DataFrame(rows).with_columns(salt=pl.Series([1.0, 1.0, 0.0]))
    middle, low, high = hazard_ratio(table, 1.0)
    # Ours has a prior around no effect, and takes the three for batches that may differ by themselves: it is of
    # Firth's sign, nearer to 1, and its interval holds Firth's.
    assert 0 < np.log(middle) < firth < np.log(high) < np.log(100)
    assert low < 1
    # Eight times the same says more, and comes nearer to Firth's; x turned round turns the ratio round.
    many = pl.concat([table.with_columns(pl.col("batch_id") + str(i)) for i in range(8)])
    assert np.log(middle) < np.log(hazard_ratio(many, 1.0)[0])
    turned = hazard_ratio(table.with_columns(salt=1 - pl.col("salt")), 1.0)
    assert turned == pytest.approx((1 / middle, 1 / high, 1 / low), rel=0.01)


def test_no_effect_is_not_talked_up() -> None:
    row = one(invented(4, [1.5, 2.0, 2.5, 3.0] * 4))
    assert row["p_value"] > 0.05
    assert "no clear link" in row["note"]
    assert row["low"] < 1 < row["high"]


def test_few_batches_are_not_enough_to_tell() -> None:
    row = one(invented(3, [1.5, 2.0, 2.5, 3.0] * 2, np.log(0.2)))
    assert (row["batches"], row["evidence"]) == (8, "thin")
    assert row["note"].startswith("8 batches with a known salt level: not enough batches to tell.")
    assert one(invented(3, [1.5, 3.0]))["evidence"] == "too little"
    assert one(invented(3, [1.5, 1.5, 2.0, 3.0]))["evidence"] == "thin"


def test_less_salt_spoiling_less_is_never_advice() -> None:
    row = one(invented(3, [1.0, 1.5, 2.0, 3.0] * 6, np.log(3)))
    assert row["p_value"] <= 0.05
    assert row["hazard_ratio_per_half_point"] > 1
    assert row["note"] == (
        "Batches with more salt spoiled more here; look for something else that differed between them. "
        f"{GUIDANCE} {RECIPE}"
    )


def test_one_level_or_nothing_spoiled_gives_no_numbers_and_says_why() -> None:
    unseen = invented(3, [2.0, 3.0]).with_columns(
        last_sound_days=pl.lit(0.0), found_days=pl.lit(None, pl.Float64), fate=pl.lit("on_shelf")
    )
    for table, words in (
        (invented(3, [2.0] * 4), "All batches followed so far have the same salt level."),
        (invented(3, [2.0, 3.0] * 4, hazard=1e-9), "Nothing has spoiled so far"),
        (invented(3, [2.0, 3.0] * 8), "Salt differed only between years"),
        (unseen, "No batch has been looked at"),
    ):
        row = one(table)
        assert row["p_value"] is None
        assert row["hazard_ratio_per_half_point"] is None
        assert row["note"].startswith(words)


def test_which_methods_are_asked() -> None:
    tables = [
        invented(1, [2.0, 2.0]),
        invented(2, [5.0, 5.0], method="pickle"),
        invented(3, [1.0, 2.0], method="dry"),
        invented(4, [2.0, 3.0], method="jam").with_columns(salt_pct=pl.lit(None, pl.Float64)),
    ]
    found = salt_response(pl.concat(tables), np.random.default_rng(1), 9)
    assert found["method"].to_list() == ["dry", "ferment"]
    assert GUIDANCE not in found["note"][0]
    empty = salt_response(tables[0].clear(), np.random.default_rng(1))
    assert empty.height == 0
    assert empty.schema == found.schema


def test_dry_salted_and_brined_batches_stand_on_one_scale() -> None:
    # 2.5 of salt on 100 of produce is 2.439 % of the 102.5 in the jar.
    table = invented(6, [2.5, 2.0, 3.0, 2.5])
    dry = table.with_columns(salt_basis=pl.lit("of produce"))
    same = table.with_columns(salt_pct=100 * pl.col("salt_pct") / (100 + pl.col("salt_pct")))
    assert_frame_equal(
        salt_response(dry, np.random.default_rng(1), 99), salt_response(same, np.random.default_rng(1), 99)
    )


def test_row_order_changes_nothing_and_p_values_are_shares() -> None:
    table = invented(7, [1.5, 2.0, 2.5, 3.0] * 3)
    row = salt_response(table, np.random.default_rng(1), 99)
    assert 0 < row["p_value"][0] <= 1
    shuffled = table.sample(fraction=1.0, shuffle=True, seed=3)
    assert_frame_equal(salt_response(shuffled, np.random.default_rng(1), 99), row)


def test_salt_trends_are_seldom_found_where_there_are_none() -> None:
    """100 invented households of 12 batches whose jars share their fate (gamma, variance 1)."""
    rng = np.random.default_rng(12)
    found = 0
    for _ in range(100):
        hazard = np.repeat(0.3 * rng.gamma(1.0, 1.0, 12), 8)
        table = invented(1, list(rng.permutation([1.5, 2.0, 2.5, 3.0] * 3)))
        day = np.ceil(rng.exponential(365 / hazard) / 30) * 30
        table = table.with_columns(
            last_sound_days=np.where(day <= 720, day - 30, 720.0),
            found_days=pl.Series(np.where(day <= 720, day, np.nan)).fill_nan(None),
            fate=pl.Series(np.where(day <= 720, "spoiled", "on_shelf")),
        )
        p_value = salt_response(table, rng, 99)["p_value"][0]
        found += p_value <= 0.05
    # 5 % of 100 is 5; 11 or more would come by chance 1 time in 100.
    assert found < 11


LIMITS = pl.DataFrame(
    {
        "method": ["ferment"] * 2,
        "basis": ["of produce", "of all"],
        "limit_pct": [2.0, 3.7],
        "limit_source": ["a published standard", "a tested recipe"],
    }
)
BANDS = {1.5: SALT_BANDS[1], 2.0: SALT_BANDS[2], 3.0: SALT_BANDS[4]}


def banded(seed: int, levels: list[float], **more: str) -> pl.DataFrame:
    table = invented(seed, levels, **more)  # type: ignore[arg-type]
    return table.with_columns(salt_band=pl.col("salt_pct").replace_strict(BANDS, return_dtype=pl.String))


def test_levels_are_in_order_and_the_isotonic_share_never_falls() -> None:
    table = banded(2, [3.0, 1.5, 2.0] * 3)
    found = salt_levels(table, LIMITS)
    assert found.columns == [column.name for column in ANSWERS["salt_levels"].columns]
    assert found["level"].to_list() == list(BANDS.values())
    assert found["batches"].to_list() == [3, 3, 3]
    assert found["kept_12m_isotonic"].is_sorted()
    young = table.with_columns(
        last_sound_days=pl.when(pl.col("salt_pct") == 2.0).then(10.0).otherwise("last_sound_days"),
        found_days=pl.when(pl.col("salt_pct") != 2.0).then("found_days"),
        fate=pl.when(pl.col("salt_pct") != 2.0).then("fate").otherwise(pl.lit("on_shelf")),
    )
    assert salt_levels(young, LIMITS)["kept_12m_isotonic"].is_null().to_list() == [False, True, False]
    empty = salt_levels(table.clear(), LIMITS)
    assert empty.schema == found.schema
    assert empty.is_empty()


def test_no_level_stands_without_the_published_limit_of_its_method_and_basis() -> None:
    table = pl.concat([banded(2, [3.0, 1.5]), banded(3, [2.0, 3.0], method="dry")])
    found = salt_levels(table, LIMITS)
    assert found.select("method", "level", "from_pct", "to_pct", "salt_pct", "limit_pct", "limit_source").rows() == [
        ("dry", BANDS[2.0], 1.75, 2.25, 2.0, None, None),
        ("dry", BANDS[3.0], 2.75, 3.5, 3.0, None, None),
        ("ferment", BANDS[1.5], 1.0, 1.75, 1.5, 3.7, "a tested recipe"),
        ("ferment", BANDS[3.0], 2.75, 3.5, 3.0, 3.7, "a tested recipe"),
    ]


def test_levels_of_the_two_ways_of_salting_stand_apart() -> None:
    brined, dry = banded(2, [1.5, 3.0] * 2), banded(3, [1.5, 3.0] * 2).with_columns(salt_basis=pl.lit("of produce"))
    dry = dry.with_columns(pl.col("batch_id") + "d")
    both = salt_levels(pl.concat([brined, dry]), LIMITS)
    assert both["basis"].to_list() == ["of all"] * 2 + ["of produce"] * 2
    counted = both.select("level", "batches", "containers", "spoiled", "kept_12m", "kept_12m_isotonic")
    alone = [salt_levels(one, LIMITS).select(counted.columns) for one in (brined, dry)]
    assert_frame_equal(counted, pl.concat(alone))


def test_which_methods_have_levels_worth_a_picture() -> None:
    # One band alone says nothing of salt; a ferment is shown all the same, beside its limit.
    table = pl.concat([banded(1, [2.0, 2.0]), banded(2, [2.0, 2.0], method="pickle")])
    assert salt_levels(table, LIMITS)["method"].to_list() == ["ferment"]


def test_the_guidance_in_words_is_the_limit_of_the_reference_tables() -> None:
    limit, brine = salt_limits().rows(named=True)
    assert limit["method"] == "ferment"
    assert f"{limit['limit_pct']:g} % or more" in GUIDANCE
    assert limit["limit_source"].removesuffix(" (1967)") in GUIDANCE
    assert (limit["basis"], brine["basis"]) == ("of produce", "of all")
    # Salt of the dill recipe once evened out, and its source; the sauerkraut standard says nothing of brines.
    assert brine["limit_pct"] == 3.7
    assert "Dill pickles" in brine["limit_source"]
