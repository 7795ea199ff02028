"""Salt and spoilage: the published trend and isotonic examples, known truths, and what a note may say."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal
from scipy import special

from pipeline.analysis.permutation import batch_residuals
from pipeline.analysis.salt import GUIDANCE, RECIPE, _isotonic, hazard_ratio, salt_levels, salt_response
from pipeline.analysis.salt_measures import SALT_BANDS
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

    from pipeline.analysis.permutation import batch_exposure

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


def test_the_ratio_stays_finite_where_the_likelihood_has_no_peak() -> None:
    # Three subjects spoiled at 1, 2, 3 with x = 1, 1, 0, read in the help of R's `coxphf`: the plain hazard ratio
    # is infinite, Firth's 3.78.
    rows = {"batch_id": ["a", "b", "c"], "last_sound_days": [1, 2, 3], "found_days": [1, 2, 3], "fate": ["spoiled"] * 3}
    middle, low, high = hazard_ratio(pl.DataFrame(rows).with_columns(salt=pl.Series([1.0, 1.0, 0.0])), 1.0)
    assert 0 < low < 1 < middle < 3.78 < high < 100


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


def test_levels_are_in_order_and_the_isotonic_share_never_falls() -> None:
    bands = {1.5: SALT_BANDS[1], 2.0: SALT_BANDS[2], 3.0: SALT_BANDS[4]}
    table = invented(2, [3.0, 1.5, 2.0] * 3).with_columns(
        salt_band=pl.col("salt_pct").replace_strict(bands, return_dtype=pl.String)
    )
    found = salt_levels(table)
    assert found["level"].to_list() == list(bands.values())
    assert found["batches"].to_list() == [3, 3, 3]
    assert found["kept_12m_isotonic"].is_sorted()
    young = table.with_columns(
        last_sound_days=pl.when(pl.col("salt_pct") == 2.0).then(10.0).otherwise("last_sound_days"),
        found_days=pl.when(pl.col("salt_pct") != 2.0).then("found_days"),
        fate=pl.when(pl.col("salt_pct") != 2.0).then("fate").otherwise(pl.lit("on_shelf")),
    )
    assert salt_levels(young)["kept_12m_isotonic"].is_null().to_list() == [False, True, False]
    assert salt_levels(table.clear()).schema == found.schema
