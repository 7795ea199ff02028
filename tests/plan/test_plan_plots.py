"""One plan for many plots: each keeps to its crops and its area, and the garden as a whole is as one garden."""

from __future__ import annotations

import datetime as dt
from dataclasses import fields

import polars as pl
import pytest
from small_plans import Asking, small_asking, small_plan

from pipeline.plan.plan import PlanResult
from pipeline.plan.plots import plan_for_plots

FRESH = {"lettuce": 0.8, "tomato": 1.0}


def plots(**grown: tuple[float | None, tuple[str, ...]]) -> pl.DataFrame:
    """A plot = its square metres and what it grows."""
    rows = [(plot, crop, area) for plot, (area, crops) in grown.items() for crop in crops]
    return pl.DataFrame(rows, schema={"plot": pl.String, "crop": pl.String, "area_m2": pl.Float64}, orient="row")


def planned(some_plots: pl.DataFrame, **asked: object) -> PlanResult:
    asking = small_asking(**({"fresh": FRESH} | asked))
    given = {field.name: getattr(asking, field.name) for field in fields(Asking)}
    return plan_for_plots(plots=some_plots, **given)


def most_used_m2(plan: pl.DataFrame, plot: str) -> float:
    """The most area that stands in a plot on any day."""
    rows = plan.filter(pl.col("plot") == plot).with_columns(start=pl.coalesce("plant_out_on", "sow_on"))
    days = rows["start"].to_list()
    return max(
        (
            rows.filter(pl.col("start") <= day, pl.coalesce("last_pick_on", "start") >= day)["area_m2"].sum()
            for day in days
        ),
        default=0.0,
    )


def test_where_plots_are_no_limit_the_garden_is_as_one() -> None:
    one = small_plan(fresh=FRESH)
    many = planned(plots(A=(None, ("lettuce", "tomato")), B=(None, ("lettuce",)), C=(50.0, ("lettuce", "tomato"))))
    assert many.sowing_plan.columns == [*one.sowing_plan.columns, "plot"]
    total = many.sowing_plan.group_by("crop", "sow_on").agg(pl.col("amount", "expected_kg", "area_m2").sum())
    both = one.sowing_plan.join(total, on=["crop", "sow_on"], how="full", coalesce=True, suffix="_plots")
    assert both.height == one.sowing_plan.height
    for name in ("amount", "expected_kg", "area_m2"):
        assert both[f"{name}_plots"].to_list() == pytest.approx(both[name].to_list())
    assert many.harvest_outlook.equals(one.harvest_outlook)
    assert many.plan_comparison.equals(one.plan_comparison)


def test_sowings_of_a_crop_go_round_the_plots_that_grow_it() -> None:
    plan = planned(plots(A=(40.0, ("lettuce",)), B=(40.0, ("lettuce", "tomato")), C=(40.0, ("tomato",)))).sowing_plan
    lettuce, tomato = (plan.filter(pl.col("crop") == crop) for crop in ("lettuce", "tomato"))
    assert set(lettuce["plot"]) == {"A", "B"}
    assert set(tomato["plot"]) <= {"B", "C"}
    # Each sowing is in one plot, and with equal plots the areas differ by no more than one sowing.
    assert lettuce.height == lettuce["sow_on"].n_unique()
    share = lettuce.group_by("plot").agg(pl.col("area_m2").sum())["area_m2"]
    assert abs(share[0] - share[1]) <= lettuce["area_m2"].max()


def test_small_plots_are_never_overfilled_and_share_what_none_can_hold() -> None:
    sizes = {"A": 1.0, "B": 0.7, "C": 2.0}
    grown = {plot: (area, ("lettuce",) if plot != "C" else ("tomato",)) for plot, area in sizes.items()}
    found = planned(plots(**grown), fresh={"lettuce": 2.0, "tomato": 3.0})
    plan = found.sowing_plan
    assert not plan.filter(pl.col("crop") == "lettuce").is_empty()
    for plot, area in sizes.items():
        assert most_used_m2(plan, plot) <= area + 1e-9
        assert set(plan.filter(pl.col("plot") == plot)["crop"]) <= set(grown[plot][1])
    assert found.plan_comparison.filter(pl.col("policy") == "this plan")["weeks_without"][0] > 0
    assert (plan["amount"] > 0).all()


def test_a_crop_that_no_plot_grows_is_named() -> None:
    found = planned(plots(A=(None, ("lettuce",))))
    assert found.skipped.rows() == [("tomato", "no plot grows it")]
    assert set(found.sowing_plan["crop"]) == {"lettuce"}
    nobody = planned(plots())
    assert nobody.sowing_plan.is_empty()
    assert nobody.sowing_plan.columns[-1] == "plot"
    assert nobody.skipped["reason"].to_list() == ["no plot grows it"] * 2


def test_the_simple_plan_of_plots() -> None:
    found = planned(plots(A=(None, ("lettuce",)), B=(None, ("lettuce",))), simple=True)
    assert found.policy == "equal warmth"
    assert found.sowing_plan["sow_on"].dtype == pl.Date()
    assert found.sowing_plan["sow_on"].min() > dt.date(2026, 1, 1)
    assert found.sowing_plan["amount"].n_unique() == 1
