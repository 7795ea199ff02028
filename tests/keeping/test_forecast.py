"""What the shelf will have lost by a day: ranges that cover on invented households, and sums that agree."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from benchmarks.households import MOST, START, Truth, lifetimes

from pipeline.findings.forecast import forecast_findings
from pipeline.keeping.estimates import fit_keeping
from pipeline.keeping.forecast import batch_risk, shelf_forecast

CUT, AHEAD = 900, 120
"""Day of the household's calendar at which it is asked, and days ahead."""


def household(seed: int, batches: int = 60) -> tuple[pl.DataFrame, int]:
    """Histories at the cut, and how many of the containers then on the shelf are off by the day if left alone."""
    rng = np.random.default_rng([seed, batches, 7])
    made = rng.integers(0, CUT - 30, batches)
    method = np.arange(batches) % 4
    factor = np.exp(0.4 * rng.standard_normal(3))[np.minimum(made // 366, 2)]
    spoils, opens, exists = lifetimes(Truth(), factor * np.exp(0.8 * rng.standard_normal(4))[method], rng)
    calendar = np.cumsum(rng.uniform(1, 3, 40)) * 30.4
    rows, lost = [], 0
    for batch in range(batches):
        age = float(CUT - made[batch])
        looks = [day - made[batch] for day in calendar if made[batch] < day <= CUT]
        for jar in range(MOST):
            if not exists[batch, jar]:
                continue
            spoiled, opened = spoils[batch, jar], opens[batch, jar]
            found = min((look for look in [*looks, opened] if spoiled <= look <= age), default=None)
            sound = max((look for look in looks if look < spoiled), default=0.0)
            if opened < spoiled and opened <= age:
                rows.append((batch, opened, None, "used"))
            elif found is not None:
                rows.append((batch, sound, found, "spoiled"))
            else:
                rows.append((batch, sound, None, "on_shelf"))
                lost += spoiled <= age + AHEAD
    frame = pl.DataFrame(rows, schema=["batch", "last_sound_days", "found_days", "fate"], orient="row")
    day = [START + dt.timedelta(days=int(made[batch])) for batch in frame["batch"]]
    named = frame.with_columns(
        batch_id=pl.format("B{}", "batch"), method=pl.format("m{}", pl.col("batch") % 4), crop=pl.lit("plum")
    )
    return named.with_columns(pl.col("found_days").cast(pl.Float64), made_on=pl.Series(day)), lost


def test_the_range_holds_what_is_lost_eight_times_in_ten() -> None:
    inside, day = 0, START + dt.timedelta(days=CUT + AHEAD)
    for seed in range(40):
        histories, lost = household(seed)
        whole = shelf_forecast(histories, fit_keeping(histories), day, ("crop",)).row(0, named=True)
        inside += whole["expect_lost_low"] <= lost <= whole["expect_lost_high"]
    assert 27 <= inside <= 38


def test_rows_hold_every_container_on_hand_and_expectations_add_up() -> None:
    histories, _ = household(1)
    model, day = fit_keeping(histories), START + dt.timedelta(days=CUT + AHEAD)
    fine, coarse = shelf_forecast(histories, model, day), shelf_forecast(histories, model, day, ("method",))
    assert fine["on_hand"].sum() == histories.filter(pl.col("fate") == "on_shelf").height
    assert fine["expect_lost"].sum() == pytest.approx(coarse["expect_lost"].sum())
    assert (coarse["expect_lost_low"] <= coarse["expect_lost"]).all()


def test_a_later_day_loses_more_and_an_empty_shelf_nothing() -> None:
    histories, _ = household(2)
    model = fit_keeping(histories)
    near, far = (
        shelf_forecast(histories, model, START + dt.timedelta(days=CUT + ahead), ("crop",))["expect_lost"][0]
        for ahead in (30, 300)
    )
    assert near < far
    assert shelf_forecast(histories.filter(pl.col("fate") != "on_shelf"), model, START).is_empty()
    assert shelf_forecast(histories.clear(), None, START).is_empty()


def test_a_batch_that_lost_jars_is_the_riskier_one() -> None:
    histories, _ = household(3)
    risk = batch_risk(histories, fit_keeping(histories), START + dt.timedelta(days=CUT), 90)
    lost = histories.group_by("batch_id").agg(share=(pl.col("fate") == "spoiled").mean())
    both = risk.join(lost, on="batch_id")
    bad, good = both.filter(pl.col("share") > 0.3), both.filter(pl.col("share") == 0)
    assert bad["risk"].mean() > 2 * good["risk"].mean()


def test_the_forecast_in_words() -> None:
    row = {
        "method": "jam",
        "crop": None,
        "on_hand": 139,
        "batches": 20,
        "by_date": dt.date(2027, 3, 1),
        "expect_lost": 3.6,
        "expect_lost_low": 1.0,
        "expect_lost_high": 8.0,
        "evidence": "enough",
    }
    schema = {"crop": pl.String}
    told = forecast_findings(pl.DataFrame([row, row | {"expect_lost": 0.3}], schema_overrides=schema))
    assert [finding.sentence for finding in told] == [
        "Of 139 jars of jam on the shelf, 1 to 8 will be off by 1 Mar 2027 if left alone (8 times in 10; 20 batches)."
    ]
