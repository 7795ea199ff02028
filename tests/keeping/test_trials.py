"""Trials on tables small enough to check by eye. All makes, tasters and scores are invented."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.keeping.trials import compare_tasters, compare_trials, sign_comparison, trial_arms
from schemas.answers import ANSWERS
from schemas.logs import LOGS

KINDS = {"text": pl.String, "int": pl.Int64, "float": pl.Float64, "bool": pl.Boolean, "date": pl.Date}
DAY = dt.date(2026, 3, 1)


def core(log: str, rows: list[dict[str, object]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema={name: KINDS[kind] for name, kind in LOGS[log].core_columns.items()})


def batch(batch_id: str, **values: object) -> dict[str, object]:
    made = {"batch_id": batch_id, "made_on": DAY, "method": "jam", "crop": "plum", "containers": 2, "trial": "T"}
    return made | values


def tastings(scores: dict[str, dict[str, int]]) -> pl.DataFrame:
    """Scores by batch and taster."""
    return core(
        "tastings",
        [
            {"tasted_on": DAY, "batch_id": name, "taster": taster, "liking": liking}
            for name, tasters in scores.items()
            for taster, liking in tasters.items()
        ],
    )


def histories(fates: dict[str, list[str]]) -> pl.DataFrame:
    """Containers of one age: found spoiled at 20 days, else sound at 30."""
    rows = [
        (name, fate, 10.0 if fate == "spoiled" else 30.0, 20.0 if fate == "spoiled" else None)
        for name, several in fates.items()
        for fate in several
    ]
    numbers = {"last_sound_days": pl.Float64, "found_days": pl.Float64}
    return pl.DataFrame(rows, schema={"batch_id": pl.String, "fate": pl.String} | numbers, orient="row")


def compared(batches: pl.DataFrame, scores: pl.DataFrame, fates: pl.DataFrame) -> pl.DataFrame:
    return compare_trials(batches, scores, fates, np.random.default_rng(1))


def arms(*rows: dict[str, object]) -> list[str]:
    return trial_arms(core("batches", list(rows))).sort("batch_id")["arm"].to_list()


def test_arms_are_named_by_what_differs() -> None:
    assert arms(batch("A", sweetener="honey"), batch("B", sweetener="sugar")) == ["sweetener honey", "sweetener sugar"]
    assert arms(batch("A", crop="plum"), batch("B", crop="quince")) == ["plum", "quince"]
    two = (batch("A", lid="glass", store="cellar"), batch("B", lid="metal", store="pantry"))
    assert arms(*two) == ["lid glass, store cellar", "lid metal, store pantry"]
    assert arms(batch("A", submerged=True), batch("B", submerged=False)) == ["submerged yes", "submerged no"]


def test_no_starter_is_an_arm_and_an_unrecorded_lid_is_not() -> None:
    assert arms(batch("A", starter="whey"), batch("B")) == ["starter whey", "starter none"]
    assert arms(batch("A", lid="glass"), batch("B")) == ["batch A", "batch B"]
    three = (batch("A", lid="glass"), batch("B", lid="metal"), batch("C"))
    assert arms(*three) == ["lid glass", "lid metal", "lid not recorded"]


def test_salt_bands_count_where_the_batches_have_them() -> None:
    table = core("batches", [batch("A"), batch("B")]).with_columns(salt_band=pl.Series(["1 to 2 %", "2 to 3 %"]))
    assert trial_arms(table)["arm"].to_list() == ["salt 1 to 2 %", "salt 2 to 3 %"]


def test_a_trial_by_hand() -> None:
    batches = core(
        "batches",
        [
            batch("A", sweetener="honey"),
            batch("B", sweetener="honey"),
            batch("C", sweetener="sugar"),
            batch("D", trial=None),
        ],
    )
    scores = tastings(
        {
            # Each person's score of honey is the mean over its two batches.
            "A": {"ann": 6, "bea": 5, "cy": 4},
            "B": {"ann": 8, "cy": 6},
            "C": {" Ann ": 4, "BEA": 6, "cy": 4, "dot": 9},
            "D": {"ann": 1},
        }
    )
    fates = histories({"A": ["used", "spoiled"], "B": ["on_shelf"] * 2, "C": ["spoiled"] * 2, "D": ["spoiled"] * 2})
    table = compared(batches, scores, fates)
    assert dict(table.schema) == {c.name: KINDS[c.dtype] for c in ANSWERS["trials"].columns}
    honey, sugar = table.rows(named=True)
    assert (honey["trial"], honey["arm"], honey["batches"], honey["tasters"]) == ("T", "sweetener honey", 2, 3)
    assert honey["mean_liking"] == pytest.approx((7 + 5 + 5) / 3)
    assert [honey[name] for name in ("difference", "low", "high", "p_value")] == [None] * 4
    assert (honey["containers"], honey["spoiled"], honey["evidence"]) == (4, 1, "thin")
    # Differences -3, +1, -1; dot tasted sugar only. One up, two down: p = 2 (1 + 3) / 8 = 1. Three who differ
    # can never tell two makes apart.
    assert (sugar["tasters"], sugar["difference"], sugar["p_value"]) == (4, -1.0, 1.0)
    assert (sugar["low"], sugar["high"]) == (-8.0, 8.0)
    assert (sugar["containers"], sugar["spoiled"], sugar["evidence"]) == (2, 2, "too little")


def test_a_trial_nobody_tasted_still_counts_what_spoiled() -> None:
    batches = core("batches", [batch("A", lid="glass"), batch("B", lid="metal")])
    table = compared(batches, tastings({}), histories({"A": ["used"], "B": ["spoiled"]}))
    assert table.select("arm", "tasters", "mean_liking", "difference", "p_value", "spoiled", "evidence").rows() == [
        ("lid glass", 0, None, None, None, 0, "too little"),
        ("lid metal", 0, None, None, None, 1, "too little"),
    ]


def test_no_trials_give_an_empty_table_of_the_right_columns() -> None:
    table = compared(core("batches", [batch("A", trial=None)]), tastings({}), histories({}))
    assert table.height == 0
    assert dict(table.schema) == {c.name: KINDS[c.dtype] for c in ANSWERS["trials"].columns}


def test_eight_tasters_who_agree_by_hand() -> None:
    found = sign_comparison(np.array([2.0, 1, 3, 1, 2, 2, 1, 4]))
    told = {"differing": 8, "difference": 2.0, "low": 1.0, "high": 4.0}
    assert found == told | {"p_value": pytest.approx(2 / 2**8)}


def judgements(agreeing: int, n: int) -> np.ndarray:  # type: ignore[type-arg]
    """Paired scores of ``n`` tasters, of whom ``agreeing`` prefer the same make."""
    return np.array([1.0] * agreeing + [-1.0] * (n - agreeing))


@pytest.mark.parametrize(
    ("n", "two_sided", "one_sided"),
    # Fewest agreeing judgements that are significant at 5 % in the paired comparison test (ISO 5495; Roessler
    # et al. 1978, J Food Sci 43:940). From memory; 9 of 10 also read in a student's report that quotes a table.
    [(7, 7, 7), (8, 8, 7), (10, 9, 9), (15, 12, 12), (20, 15, 15), (25, 18, 18), (30, 21, 20), (40, 27, 26)],
)
def test_critical_numbers_of_the_paired_comparison_test(n: int, two_sided: int, one_sided: int) -> None:
    least = min(k for k in range(n // 2 + 1, n + 1) if sign_comparison(judgements(k, n))["p_value"] <= 0.05)
    assert least == two_sided
    # The test is symmetric, so half its p-value is the one-sided one.
    assert min(k for k in range(n // 2 + 1, n + 1) if sign_comparison(judgements(k, n))["p_value"] <= 0.1) == one_sided


def test_the_examples_of_iso_5495() -> None:
    # ISO 5495:2005/Amd 1:2016, B.5.2, read in a public copy: 21 of 30 are significant one-sided and 32 of 44
    # two-sided, both at 5 %.
    assert sign_comparison(judgements(21, 30))["p_value"] / 2 <= 0.05
    assert sign_comparison(judgements(32, 44))["p_value"] <= 0.05


def scored(*pairs: tuple[int, int]) -> dict[str, object]:
    """The second of two arms, each taster giving a score to both."""
    batches = core("batches", [batch("A", lid="glass"), batch("B", lid="metal")])
    first, second = ({f"t{i}": pair[side] for i, pair in enumerate(pairs)} for side in (0, 1))
    return compare_tasters(batches, tastings({"A": first, "B": second}), "liking").row(1, named=True)


def test_five_who_differ_are_too_few_to_tell_whatever_they_say() -> None:
    assert sign_comparison(judgements(5, 5))["p_value"] > 0.05
    assert scored(*[(4, 8)] * 5)["evidence"] == "too little"
    assert scored(*[(4, 8)] * 6)["evidence"] == "thin"
    # Four of nine find them alike: five who differ, and the interval leaves room for a difference.
    assert scored(*[(4, 8)] * 5, *[(5, 5)] * 4)["evidence"] == "too little"
    # Ten of eleven find them alike: that is an answer.
    alike = scored((4, 8), *[(5, 5)] * 10)
    assert (alike["low"], alike["high"], alike["evidence"]) == (0.0, 0.0, "enough")


def test_firmness_is_compared_like_liking_where_it_was_scored() -> None:
    batches = core("batches", [batch("A", lid="glass"), batch("B", lid="metal")])
    rows = [
        {"tasted_on": DAY, "batch_id": name, "taster": f"t{i}", "liking": 5, "firmness": firmness}
        for name, scores in {"A": [3, 3, 4, 2, 3, 3, None], "B": [7, 6, 8, 5, 6, 7, 9]}.items()
        for i, firmness in enumerate(scores)
    ]
    glass, metal = compare_tasters(batches, core("tastings", rows), "firmness").rows(named=True)
    assert (glass["tasters"], glass["mean"], glass["both"]) == (6, 3.0, 6)
    # The seventh scored one arm only. All six find metal firmer: p = 2 / 2^6.
    assert (metal["tasters"], metal["differing"], metal["difference"]) == (7, 6, 3.5)
    assert (metal["p_value"], metal["evidence"]) == (pytest.approx(2 / 64), "thin")
    unscored = compare_tasters(batches, tastings({"A": {"ann": 5}, "B": {"ann": 5}}), "firmness")
    assert unscored.select("tasters", "mean", "difference", "evidence").rows() == [(0, None, None, "too little")] * 2


def test_a_trial_has_firmness_beside_liking() -> None:
    batches = core("batches", [batch("A", lid="glass"), batch("B", lid="metal")])
    rows = [
        {"tasted_on": DAY, "batch_id": name, "taster": f"t{i}", "liking": liking, "firmness": firmness}
        for name, scores in {"A": [(7, 3)] * 8, "B": [(7, 6)] * 3 + [(7, None)] * 5}.items()
        for i, (liking, firmness) in enumerate(scores)
    ]
    glass, metal = compared(batches, core("tastings", rows), histories({"A": ["used"], "B": ["used"]})).rows(named=True)
    assert (glass["mean_firmness"], glass["firmness_tasters"], glass["firmness_difference"]) == (3.0, 8, None)
    assert (metal["mean_firmness"], metal["firmness_tasters"], metal["firmness_difference"]) == (6.0, 3, 3.0)
    # Eight scored liking, three of them firmness: 2 / 2^3, and too few to tell.
    assert (metal["firmness_low"], metal["firmness_high"], metal["firmness_p_value"]) == (-8.0, 8.0, 0.25)
    assert (metal["evidence"], metal["firmness_evidence"]) == ("enough", "too little")


def two_makes(n: int, lost: dict[str, int], jars: int = 4) -> pl.DataFrame:
    """A trial of ``n`` batches of each make, of whose containers so many of each batch spoiled."""
    names = {f"{make}{i}": make for make in lost for i in range(n)}
    batches = core("batches", [batch(name, lid=make) for name, make in names.items()])
    fates = {name: ["spoiled"] * lost[make] + ["on_shelf"] * (jars - lost[make]) for name, make in names.items()}
    return compared(batches, tastings({}), histories(fates))


def test_losses_of_two_makes_are_compared_batch_against_batch() -> None:
    glass, metal = two_makes(4, {"glass": 0, "metal": 3}).rows(named=True)
    assert (glass["lost_share"], metal["lost_share"]) == (0.0, pytest.approx(0.75))
    assert glass["lost_low"] == 0.0
    assert metal["lost_low"] < 0.75 < metal["lost_high"]
    assert glass["spoiled_p_value"] is None
    # Two of the 70 ways of dealing out four and four are as far apart: 2 / 70.
    assert metal["spoiled_p_value"] == pytest.approx(2 / 70, abs=0.012)


def test_two_batches_of_a_make_or_no_loss_leave_nothing_to_test() -> None:
    assert two_makes(2, {"glass": 0, "metal": 4})["spoiled_p_value"].to_list() == [None, None]
    assert two_makes(4, {"glass": 0, "metal": 0})["spoiled_p_value"].to_list() == [None, None]
    # Makes that lost alike: every dealing out is as far apart.
    assert two_makes(4, {"glass": 2, "metal": 2})["spoiled_p_value"].to_list() == [None, 1.0]


def test_a_make_nobody_looked_at_has_no_share_lost() -> None:
    batches = core("batches", [batch("A", lid="glass"), batch("B", lid="metal")])
    unseen = histories({"A": ["on_shelf"], "B": ["spoiled"]}).with_columns(
        last_sound_days=pl.when(pl.col("fate") == "on_shelf").then(0.0).otherwise("last_sound_days")
    )
    table = compared(batches, tastings({}), unseen)
    assert table["lost_share"].to_list() == [None, 1.0]
    assert table["containers"].to_list() == [1, 1]


def test_ties_leave_the_test_and_stay_in_the_median() -> None:
    found = sign_comparison(np.array([0.0, 0, 0, 1, 1]))
    assert (found["difference"], found["p_value"]) == (0.0, pytest.approx(0.5))
    assert sign_comparison(np.zeros(9))["p_value"] == 1.0


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.lists(st.integers(-8, 8), min_size=6, max_size=40))
def test_sign_test_and_interval_agree_with_scipy(differences: list[int]) -> None:
    from scipy.stats import binomtest, quantile_test

    values = np.array(differences, dtype=float)
    found = sign_comparison(values)
    # Quantile interval of Conover as scipy has it.
    interval = quantile_test(values, q=0, p=0.5).confidence_interval(0.95)
    assert (found["low"], found["high"]) == (interval.low, interval.high)
    up, down = int((values > 0).sum()), int((values < 0).sum())
    if up + down:
        assert found["p_value"] == pytest.approx(binomtest(up, up + down).pvalue)
    assert found["low"] <= found["difference"] <= found["high"]
