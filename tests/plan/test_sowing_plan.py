"""The sowing plan: kernel, search against full enumeration, rules, beds, and whole plans of small gardens."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from core_frames import core, reference
from small_plans import (
    LETTUCE,
    NORMALS,
    TOMATO,
    day,
    every_answer,
    plan_crop,
    small_asking,
    small_plan,
    small_problem,
    steady_season,
)

from pipeline.plan.beds import area_used, cut_to_beds, fit_to_beds, scaled_to_beds
from pipeline.plan.kernel import harvest_kernel, yield_noise
from pipeline.plan.last_season import repeated_steps
from pipeline.plan.notes import longest_run, simple_note
from pipeline.plan.options import PLAN_DAYS, PLAN_WEEKS, SOW_WEEKS, PlanNoise, PlanOptions, PlanWeights
from pipeline.plan.plan import PlanResult, ask
from pipeline.plan.problem import Need
from pipeline.plan.rules import RULES, tuned_rules
from pipeline.plan.scores import Trial, compare, outcome, yearly_costs
from pipeline.plan.search import search
from pipeline.plan.season import day_in_season, season_of, sowing_weeks, usual_last_frost
from pipeline.warmth.weather_years import WeatherYears
from schemas.answers import ANSWERS

DTYPES = {"text": pl.String(), "int": pl.Int64(), "float": pl.Float64(), "bool": pl.Boolean(), "date": pl.Date()}


# --- one sowing ---------------------------------------------------------------------------------------------------


def test_kernel_by_hand() -> None:
    kernel = harvest_kernel(plan_crop(), steady_season(), np.random.default_rng(1))
    # Sown on day 0, ready on day 50, the first of week 7 being day 49; done on day 64.
    assert kernel.ready[0, 0] == 50.0
    assert kernel.last[0, 0] == 64.0
    shares = kernel.share[:, 0, 0]
    assert np.flatnonzero(shares).tolist() == [7, 8, 9]
    assert shares.sum() == pytest.approx(1.0)
    # Two thirds of the ripening time bring 80 %: 45, 35 and 20 % in three thirds.
    thirds = harvest_kernel(
        plan_crop(need=490.0, ripening_days=21.0, picking_days=21.0), steady_season(), np.random.default_rng(1)
    )
    assert thirds.share[7:10, 0, 0] == pytest.approx([0.45, 0.35, 0.20], abs=0.005)
    assert kernel.occupied()[0].nonzero()[0].tolist() == list(range(10))


def test_frost_kills_what_stands_but_not_the_seed_in_the_ground() -> None:
    season = steady_season()
    season.tmin_c[0, 55] = -2.0
    season.tmin_c[0, 105] = -2.0
    kernel = harvest_kernel(plan_crop(kill_c=-1.0), season, np.random.default_rng(1))
    assert 0 < kernel.share[:, 0, 0].sum() < 0.7
    assert kernel.last[0, 0] == 55.0
    assert kernel.share[:, 1, 0].sum() == 0.0
    assert np.isinf(kernel.ready[1, 0])
    # Sown in week 14 (day 98), a week before the second frost: not up yet, so it lives.
    assert kernel.share[:, 14, 0].sum() == pytest.approx(1.0)
    raised = harvest_kernel(plan_crop(kill_c=-1.0, raised=True), season, np.random.default_rng(1))
    assert raised.share[:, 14, 0].sum() == 0.0


def test_never_ripe_and_too_late() -> None:
    cold = harvest_kernel(plan_crop(), steady_season(celsius=-1.0), np.random.default_rng(1))
    assert cold.share.sum() == 0.0
    late = harvest_kernel(plan_crop(need=4400.0), steady_season(), np.random.default_rng(1))
    # 440 days: only what is sown in the first two weeks ripens inside the 455 days of the plan.
    assert late.share.sum(axis=0)[:, 0].nonzero()[0].tolist() == [0, 1, 2]
    by_days = harvest_kernel(plan_crop(need=None, days=30.0), steady_season(), np.random.default_rng(1))
    assert by_days.ready[3, 0] == 51.0


def test_harvest_after_the_planned_clearing_is_forfeited() -> None:
    season, clearing = steady_season(), np.full(SOW_WEEKS, 55.0)
    kernel = harvest_kernel(plan_crop(), season, np.random.default_rng(1), clearing)
    assert 0 < kernel.share[:, 0, 0].sum() < 1
    assert kernel.share[:, 1, 0].sum() == 0.0


def test_yield_noise_is_fair_to_every_week() -> None:
    noise = yield_noise(PlanNoise(crop_year_cv=0.0), 40, np.random.default_rng(3))
    assert (noise == 0).sum(axis=1).tolist() == [2] * SOW_WEEKS
    assert np.sort(noise, axis=1)[0] != pytest.approx(noise[0])
    assert noise.mean() == pytest.approx(0.95, abs=0.02)


# --- when it may be sown -----------------------------------------------------------------------------------------


def test_sowing_windows() -> None:
    season, options = steady_season(), PlanOptions(day("2026-01-01"), n_years=1, fresh_years=1)
    season.tmin_c[0, :100] = -1.0
    season.tmax_c[0, 200] = 30.0
    assert usual_last_frost(season, options) == 99
    allowed, _ = sowing_weeks(plan_crop(frost_weeks=1.0), season, options)
    assert np.flatnonzero(allowed)[0] == 16
    hardy, _ = sowing_weeks(plan_crop(frost_weeks=-4.0), season, options)
    assert np.flatnonzero(hardy)[0] == 11
    own = replace(options, last_frost=(3, 1))
    assert np.flatnonzero(sowing_weeks(plan_crop(frost_weeks=0.0), season, own)[0])[0] == 8
    warm, reason = sowing_weeks(plan_crop(least_c=16.0), season, options)
    assert not warm.any()
    assert reason == "no week left is warm enough to sow: it wants 16 C"
    limited = replace(options, first_sowing=(4, 1), last_sowing=(5, 1), not_before=day("2026-04-15"))
    weeks = np.flatnonzero(sowing_weeks(plan_crop(), season, limited)[0])
    days = [season.day(7 * int(week)) for week in weeks]
    assert (days[0], days[-1]) == (day("2026-04-20"), day("2026-04-27"))
    unlimited = sowing_weeks(plan_crop(), season, replace(options, first_sowing=(1, 1)))[0]
    assert unlimited.all()
    raised = sowing_weeks(plan_crop(raised=True, raising_days=42), season, limited)[0]
    assert season.day(7 * int(np.flatnonzero(raised)[0])) == day("2026-06-01")
    nothing, reason = sowing_weeks(plan_crop(), season, replace(limited, not_before=day("2026-06-01")))
    assert not nothing.any()
    assert reason == "no week between the first and last sowing day"


def test_a_frost_free_place_has_no_last_frost() -> None:
    assert usual_last_frost(steady_season(), PlanOptions(day("2026-01-01"))) is None


def test_days_of_the_season_across_new_year_and_leap_day() -> None:
    assert day_in_season(day("2026-07-06"), (1, 1)) == 179
    assert day_in_season(day("2026-07-06"), (7, 1)) == 360
    assert day_in_season(day("2028-01-03"), (2, 29)) == 56


def test_the_grower_s_own_frost_dates_kill_tender_crops_only() -> None:
    years = WeatherYears(day("2026-01-01"), np.full((50, PLAN_DAYS), 15.0), np.full((50, PLAN_DAYS), 15.0))
    options = PlanOptions(day("2026-01-01"), first_frost=(10, 1), n_years=25, fresh_years=25)
    season = season_of(years, options, np.random.default_rng(1))
    assert season.monday == day("2026-01-05")
    assert (season.frost.sum(axis=1) == 1).all()
    tender = harvest_kernel(plan_crop(kill_c=0.0, need=1000.0), season, np.random.default_rng(1))
    hardy = harvest_kernel(plan_crop(kill_c=-5.0, need=1000.0), season, np.random.default_rng(1))
    late = 33
    assert tender.share[:, late].sum() < 0.2 * hardy.share[:, late].sum()


def test_weather_that_is_too_short_is_refused() -> None:
    years = WeatherYears(day("2026-01-01"), np.zeros((3, 400)), np.zeros((3, 400)))
    message = (
        "the plan needs 5 weather years that cover 455 days from 2026-01-05; got 3 years of 400 days from 2026-01-01"
    )
    with pytest.raises(ValueError, match=message):
        season_of(years, PlanOptions(day("2026-01-01"), n_years=2, fresh_years=3), np.random.default_rng(1))
    with pytest.raises(ValueError, match="max_sowings is 0; it must be at least 1"):
        PlanOptions(day("2026-01-01"), max_sowings=0)
    with pytest.raises(ValueError, match="unmet fresh use must not be below that of the unmet shelf"):
        PlanOptions(day("2026-01-01"), weights=PlanWeights(unmet_fresh=0.5))


# --- the search ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("most_sowings", [1, 3])
def test_search_finds_the_best_of_all_answers(seed: int, most_sowings: int) -> None:
    problem = small_problem(seed, most_sowings)
    best = problem.costs(every_answer(problem)).min()
    starts = np.array(list(tuned_rules(problem).values()))
    answer, cost = search(problem, starts, np.random.default_rng(seed), rounds=8)
    assert cost == pytest.approx(best, abs=1e-9)
    assert np.count_nonzero(answer) <= most_sowings


def test_cost_of_one_answer_by_hand() -> None:
    problem = replace(
        small_problem(0),
        running=np.cumsum([[[2.0]], [[0.0]]], axis=0),
        wanted=np.array([[1.0], [0.5]]),
        weeks=np.arange(1),
        occupied_m2=np.zeros((1, PLAN_WEEKS)),
        need=Need(np.zeros(PLAN_WEEKS), 1.0, 0.25, 2.0),
        crop=plan_crop(life_weeks=0),
    )
    # One step: 2 kg ripe, 1 eaten, 0.25 put by, 0.75 lost; 0.5 kg of fresh and 0.75 kg of shelf unmet. In weeks'
    # worth of 2 kg: (0.5 + 0.6 x 0.75 + 0.3 x 0.75) / 2, and 0.75 for the work, 0.02 x 0.5 m2 for the area.
    assert problem.costs(np.array([[1.0]]))[0] == pytest.approx((0.5 + 0.45 + 0.225) / 2 + 0.75 + 0.01)
    assert problem.costs(np.array([[0.0]]))[0] == pytest.approx((1.5 + 0.6) / 2)


@pytest.mark.parametrize("seed", range(6))
def test_the_plan_is_never_worse_than_any_rule_on_its_own_years(seed: int) -> None:
    problem = small_problem(seed, most_sowings=4)
    rules = tuned_rules(problem)
    assert tuple(rules) == RULES
    _, cost = search(problem, np.array(list(rules.values())), np.random.default_rng(1), rounds=0)
    for answer in rules.values():
        assert np.count_nonzero(answer) <= 4
        assert len(set(answer[answer > 0])) == 1
        assert cost <= problem.costs(answer[None])[0] + 1e-9
    assert np.diff(problem.weeks[rules["every 14 days"] > 0]).tolist() in ([2], [2, 2])
    best = problem.costs(rules["best fixed interval"][None])[0]
    assert best <= min(problem.costs(rules[f"every {days} days"][None])[0] for days in (14, 21)) + 1e-9


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("area_m2", [1.0, 2.0, 3.5])
def test_beds_are_never_overfilled_and_nearly_as_well_used_as_can_be(seed: int, area_m2: float) -> None:
    problems = [replace(small_problem(seed + k, 2), most=3) for k in (0, 50)]
    sets = [every_answer(problem) for problem in problems]
    wanted = [problem.best_of(answers)[0] for problem, answers in zip(problems, sets, strict=True)]
    rules = [[tuned_rules(problem)[rule] for problem in problems] for rule in RULES]
    answers, prices = fit_to_beds(problems, wanted, rules, area_m2)
    assert area_used(problems, answers).max() <= area_m2 + 1e-9
    assert (prices >= 0).all()
    total = sum(float(p.costs(a[None])[0]) for p, a in zip(problems, answers, strict=True))
    for rule in rules:
        cut = scaled_to_beds(problems, rule, area_m2)
        assert area_used(problems, cut).max() <= area_m2 + 1e-9
        assert total <= sum(float(p.costs(a[None])[0]) for p, a in zip(problems, cut, strict=True)) + 1e-9
    costs = [problem.costs(some) for problem, some in zip(problems, sets, strict=True)]
    use = [some @ problem.occupied_m2[:, :8] for problem, some in zip(problems, sets, strict=True)]
    fits = (use[0][:, None] + use[1][None] <= area_m2 + 1e-9).all(axis=2)
    best = np.where(fits, costs[0][:, None] + costs[1][None], np.inf).min()
    assert total <= 1.02 * best


# --- what it comes to ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_simple_way_may_choose_what_to_leave_out_of_small_beds(seed: int) -> None:
    """Never worse than everything cut by one factor, always within the beds, and as it was where there is room."""
    problems = [small_problem(seed + k, 5, step_m2=0.5 * k) for k in (1, 2, 3)]
    answers = [np.full(len(problem.weeks), 3.0) for problem in problems]
    for area_m2 in (1.0, 4.0, 9.0):
        cut, scaled = cut_to_beds(problems, answers, area_m2), scaled_to_beds(problems, answers, area_m2)
        assert area_used(problems, cut).max() <= area_m2 + 1e-9
        costs = [sum(float(p.costs(a[None])[0]) for p, a in zip(problems, way, strict=True)) for way in (cut, scaled)]
        assert costs[0] <= costs[1] + 1e-9
        assert all((part <= whole).all() for part, whole in zip(cut, answers, strict=True))
    assert all((a == b).all() for a, b in zip(cut_to_beds(problems, answers, 1e6), answers, strict=True))


def test_comparison_by_hand() -> None:
    # One sowing week, one year; 3 kg ripe in week 10. Wanted 1 kg in weeks 10 and 11, life of one week.
    harvest, wanted = np.zeros((PLAN_WEEKS, SOW_WEEKS, 1)), np.zeros((PLAN_WEEKS, 1))
    harvest[10, 2, 0] = 3.0
    wanted[[10, 11, 12], 0] = 1.0
    kernel = harvest_kernel(plan_crop(), steady_season(), np.random.default_rng(1))
    trial = Trial(plan_crop(), Need(wanted[:, 0], 0.5, np.inf, 1.0), kernel, harvest, wanted)
    steps = np.zeros(SOW_WEEKS)
    steps[2] = 1.0
    assert outcome(trial, steps).eaten_kg[10:13, 0].tolist() == [1.0, 1.0, 0.0]
    table = compare([trial], {"this plan": [steps], "none": [np.zeros(SOW_WEEKS)]})
    assert table.rows() == [
        ("this plan", pytest.approx(0.5), 1.0, 1.0, 1.0, 3.0, 1.0),
        ("none", 0.0, 3.0, 3.0, 0.0, None, 0.0),
    ]


def test_last_season_is_moved_to_the_same_days() -> None:
    crops = reference(kohlrabi={"in_row_cm": 10.0, "row_spacing_cm": 40.0}, tomato=TOMATO)
    sowings = core(
        "sowings",
        {
            "sowing_id": "a",
            "sown_on": day("2025-04-14"),
            "crop": "kohlrabi",
            "amount_value": 20.0,
            "amount_unit": "plants",
        },
        {"sowing_id": "b", "sown_on": day("2025-04-15"), "crop": "kohlrabi", "amount_value": 0.4, "amount_unit": "m2"},
        {"sowing_id": "c", "sown_on": day("2025-03-10"), "crop": "tomato", "amount_value": 2.0, "amount_unit": "m"},
        {"sowing_id": "d", "sown_on": day("2025-03-10"), "crop": "quince", "amount_value": 2.0, "amount_unit": "m"},
    )
    raised = plan_crop(crop="tomato", raised=True, raising_days=42, step_m=0.5)
    kohlrabi, tomato = repeated_steps(sowings, crops, [plan_crop(), raised], day("2026-01-05"))
    # 20 plants at 10 cm are 2 m, 0.4 m2 at 40 cm are 1 m; 14 April is day 99 of the season: week 14.
    assert kohlrabi.nonzero()[0].tolist() == [14]
    assert kohlrabi[14] == pytest.approx(3.0)
    # Planted out 42 days after sowing, on 21 April: week 15. Steps of half a metre.
    assert tomato.nonzero()[0].tolist() == [15]
    assert tomato[15] == pytest.approx(4.0)


def test_longest_run() -> None:
    assert longest_run(np.array([0, 1, 1, 0, 1, 1, 1, 0], dtype=bool)) == (4, 3)
    assert longest_run(np.zeros(3, dtype=bool)) == (0, 0)


# --- whole plans --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def result() -> PlanResult:
    return small_plan(shelf={"tomato": 10.0})


@pytest.mark.parametrize("table", ["sowing_plan", "harvest_outlook", "plan_comparison"])
def test_answers_have_the_columns_of_the_contract(result: PlanResult, table: str) -> None:
    expected = {column.name: DTYPES[column.dtype] for column in ANSWERS[table].columns}
    assert dict(getattr(result, table).schema) == expected
    assert list(getattr(result, table).schema) == list(expected)


def test_a_plan_reads_sensibly(result: PlanResult) -> None:
    plan = result.sowing_plan
    lettuce, tomato = (plan.filter(pl.col("crop") == crop) for crop in ("lettuce", "tomato"))
    assert 3 <= lettuce.height <= 8
    assert tomato.height >= 1
    assert plan["sow_on"].is_sorted()
    assert (lettuce["sow_on"].dt.weekday() == 1).all()
    assert lettuce["plant_out_on"].null_count() == lettuce.height
    assert ((tomato["plant_out_on"] - tomato["sow_on"]).dt.total_days() == 42).all()
    assert (plan["first_pick_low"] <= plan["first_pick_on"]).all()
    assert (plan["first_pick_on"] <= plan["first_pick_high"]).all()
    assert (plan["first_pick_on"] < plan["last_pick_on"]).all()
    assert plan["ready_share"].is_between(0.5, 1).all()
    assert (lettuce["unit"] == "m").all()
    assert (tomato["unit"] == "plants").all()
    assert (lettuce["amount"] * 2 % 1 == 0).all()
    assert tomato["area_m2"].to_list() == pytest.approx((tomato["amount"] * 0.5 * 0.8).to_list())
    assert lettuce["reason"].str.starts_with("for eating ").any()
    assert tomato["reason"].str.contains(r"about \d+ container").any()


def test_a_plan_beats_sowing_all_at_once_on_years_it_never_saw(result: PlanResult) -> None:
    table = {row["policy"]: row for row in result.plan_comparison.iter_rows(named=True)}
    assert list(table) == [*RULES, "this plan"]
    assert table["this plan"]["short_kg"] < 0.8 * table["all at once"]["short_kg"]
    assert table["this plan"]["weeks_without"] < table["all at once"]["weeks_without"]
    assert table["this plan"]["sowings"] == result.sowing_plan.height
    assert 0 < table["this plan"]["shelf_filled_share"] <= 1


def test_outlook_sums_to_the_plan_and_its_weeks_are_mondays(result: PlanResult) -> None:
    outlook = result.harvest_outlook
    assert (outlook["week"].dt.weekday() == 1).all()
    assert (outlook["kg_p10"] <= outlook["kg_p50"]).all()
    assert (outlook["kg_p50"] <= outlook["kg_p90"]).all()
    lettuce = outlook.filter(pl.col("crop") == "lettuce")
    assert lettuce["week"].diff().drop_nulls().unique().to_list() == [dt.timedelta(days=7)]
    assert set(lettuce["need_kg"]) <= {0.0, 0.8}


def test_the_same_seed_gives_the_same_plan(result: PlanResult) -> None:
    again = small_plan(shelf={"tomato": 10.0})
    assert again.sowing_plan.equals(result.sowing_plan)
    assert again.plan_comparison.equals(result.plan_comparison)


def test_south_of_the_equator_the_season_crosses_new_year() -> None:
    turned = NORMALS.with_columns(((pl.col("month") + 5) % 12 + 1).alias("month"))
    south = small_plan(first_day="2026-07-01", climate=turned, latitude=-50.0)
    north = small_plan(latitude=50.0)
    plan = south.sowing_plan.filter(pl.col("crop") == "lettuce")
    assert day("2026-07-06") <= plan["sow_on"].min() < day("2026-12-31")
    assert plan["first_pick_on"].max() > day("2027-01-01")
    eaten = [found.sowing_plan.filter(pl.col("crop") == "lettuce")["expected_kg"].sum() for found in (south, north)]
    assert eaten[0] == pytest.approx(eaten[1], rel=0.25)


def test_limits_of_the_grower_are_kept() -> None:
    found = small_plan(first_sowing=(4, 1), last_sowing=(7, 31), max_sowings=2)
    plan = found.sowing_plan
    assert plan["sow_on"].is_between(day("2026-04-01"), day("2026-07-31")).all()
    assert plan.group_by("crop").len()["len"].max() <= 2
    comparison = found.plan_comparison
    assert comparison["sowings"].max() <= 4


def test_one_sowing_only() -> None:
    found = small_plan(max_sowings=1, fresh={"lettuce": 0.8})
    assert found.sowing_plan.height == 1
    assert found.plan_comparison["sowings"].to_list() == [1.0] * found.plan_comparison.height


def test_the_least_number_of_sowings_is_kept_where_there_is_room() -> None:
    few = small_plan(fresh={"lettuce": 0.8}, max_sowings=8)
    more = small_plan(fresh={"lettuce": 0.8}, max_sowings=8, min_sowings=few.sowing_plan.height + 2)
    assert more.sowing_plan.height == few.sowing_plan.height + 2
    nowhere = small_plan(fresh={"lettuce": 0.8}, min_sowings=4, first_sowing=(5, 1), last_sowing=(5, 14))
    assert 1 <= nowhere.sowing_plan.height <= 2


def test_a_leap_year_does_not_move_the_weeks() -> None:
    plan = small_plan(first_day="2028-01-01", fresh={"lettuce": 0.8}).sowing_plan
    assert (plan["sow_on"].dt.weekday() == 1).all()


def test_small_beds_are_respected_and_tiny_ones_hold_nothing() -> None:
    wide = small_plan()
    small = small_plan(bed_area_m2=1.5)
    assert small.sowing_plan["area_m2"].sum() < wide.sowing_plan["area_m2"].sum()
    assert any(note.startswith("The beds are the limit in ") for note in small.notes)
    tiny = small_plan(bed_area_m2=0.1)
    assert tiny.sowing_plan.is_empty()
    assert tiny.skipped.rows() == [("lettuce", "no room in the beds"), ("tomato", "no room in the beds")]
    assert tiny.plan_comparison.filter(pl.col("policy") == "this plan")["sowings"].to_list() == [0.0]


def test_without_any_weather_the_plan_says_what_it_assumed() -> None:
    found = small_plan(climate=None, latitude=None)
    assert found.notes[0] == (
        "No weather or climate log: dates come from an assumed climate for latitude 45 north, since none is set."
    )
    assert not found.sowing_plan.is_empty()


def test_crops_that_cannot_be_planned_are_named_with_the_reason() -> None:
    crops = reference(
        lettuce=LETTUCE,
        quince={"keeping_days": 60.0},
        chard={name: value for name, value in LETTUCE.items() if name != "yield_kg_per_m"},
        okra=TOMATO | {"degree_days_to_first_pick": 4000.0},
        melon=LETTUCE | {"least_temperature_c": 25.0},
    )
    wanted = dict.fromkeys(("lettuce", "quince", "chard", "okra", "melon", "dragonfruit"), 1.0) | {"swede": 0.0}
    found = small_plan(crops=crops, fresh=wanted)
    assert found.sowing_plan["crop"].unique().to_list() == ["lettuce"]
    assert found.skipped.rows() == [
        ("chard", "not known: yield per metre"),
        ("dragonfruit", "not in the crop reference"),
        ("melon", "no week left is warm enough to sow: it wants 25 C"),
        ("okra", "it would not ripen in 70% of the weather years, whenever it is sown"),
        ("quince", "nothing is known of sowing it: a perennial, or not in the reference"),
        ("swede", "nothing is wanted of it, fresh or put by"),
    ]


def test_nothing_wanted_gives_empty_answers() -> None:
    found = small_plan(fresh={})
    assert found.sowing_plan.is_empty()
    assert found.harvest_outlook.is_empty()
    assert found.plan_comparison.is_empty()
    assert found.skipped.is_empty()


def test_wanted_only_in_weeks_when_it_cannot_be_had() -> None:
    crops = reference(tomato=TOMATO)
    found = small_plan(crops=crops, first_day="2026-09-01", fresh={"tomato": 1.0}, last_sowing=(10, 15))
    assert found.sowing_plan.is_empty()
    assert found.skipped["crop"].to_list() == ["tomato"]


def test_a_crop_for_the_shelf_only() -> None:
    found = small_plan(fresh={}, shelf={"tomato": 12.0}, kitchen_kg_per_week=4.0)
    assert found.sowing_plan["reason"].str.starts_with("fills the shelf: about ").all()
    shares = found.plan_comparison["shelf_filled_share"]
    assert shares[-1] > 0.6
    tight = small_plan(fresh={}, shelf={"tomato": 12.0}, kitchen_kg_per_week=0.2)
    assert tight.plan_comparison["shelf_filled_share"][-1] < shares[-1]


def test_last_season_stands_beside_the_plan() -> None:
    sowings = core(
        "sowings",
        {"sowing_id": "a", "sown_on": day("2025-04-14"), "crop": "lettuce", "amount_value": 10.0, "amount_unit": "m"},
    )
    found = small_plan(fresh={"lettuce": 0.8}, last_season=sowings)
    table = {row["policy"]: row for row in found.plan_comparison.iter_rows(named=True)}
    assert next(iter(table)) == "last season"
    assert table["last season"]["sowings"] == 1.0
    assert table["last season"]["wasted_kg"] > table["this plan"]["wasted_kg"]
    assert table["last season"]["weeks_without"] > table["this plan"]["weeks_without"]
    outlook = found.last_season_outlook
    assert outlook.schema == found.harvest_outlook.schema
    # 10 m of 1 kg each, sown at once: the middle year brings most of it within three weeks.
    assert 4.0 < outlook["kg_p50"].sum() < 11.0
    assert outlook["kg_p50"].max() > found.harvest_outlook["kg_p50"].max()
    assert small_plan(fresh={"lettuce": 0.8}).last_season_outlook.is_empty()


# --- the simpler plan, what is left to gain, the next square metre --------------------------------------------------


def test_the_simple_plan_is_the_one_of_equal_warmth() -> None:
    full, simple = small_plan(fresh={"lettuce": 0.8}), small_plan(fresh={"lettuce": 0.8}, simple=True)
    assert (full.policy, simple.policy) == ("this plan", "equal warmth")
    assert simple.plan_comparison.equals(full.plan_comparison)
    row = simple.plan_comparison.filter(pl.col("policy") == "equal warmth").row(0, named=True)
    assert simple.sowing_plan.height == row["sowings"]
    assert simple.sowing_plan["amount"].n_unique() == 1
    assert simple.sowing_plan.schema == full.sowing_plan.schema
    assert simple.cost >= full.cost
    # Usual first picks as evenly spaced as whole weeks allow.
    gaps = simple.sowing_plan["first_pick_on"].diff().drop_nulls().dt.total_days().to_list()
    assert max(gaps) - min(gaps) <= 14


def test_the_simple_way_is_called_as_good_only_where_it_is() -> None:
    full = np.array([10.0, 12.0, 14.0, 12.0])
    noisy = full + np.array([2.0, -2.0, 1.5, -1.0])
    worse = full + np.array([1.0, 1.1, 0.9, 1.0])
    does = "Sowing each crop at equal steps of warmth does as well, within the noise, as the full plan"
    assert simple_note(noisy, full, chosen=False) == [f"{does}: --simple prints that simpler plan."]
    assert simple_note(full + 0.1, full, chosen=False) == [f"{does}: --simple prints that simpler plan."]
    assert simple_note(worse, full, chosen=False) == []
    assert simple_note(worse, full, chosen=True) == [
        "Sowing each crop at equal steps of warmth, as here, costs 8% more than the full plan."
    ]


def test_yearly_costs_are_those_of_the_question() -> None:
    """On the years the plan was made for, both ways of counting agree."""
    asking = small_asking(shelf={"tomato": 10.0}, fresh_years=6)
    asked = ask(
        asking.crops,
        asking.timing,
        asking.yields,
        asking.years,
        asking.fresh_needs,
        asking.put_by,
        asking.options,
        rng=asking.rng,
    )
    for entry in asked.planned:
        problem, steps = entry.problem, np.zeros(SOW_WEEKS)
        steps[problem.weeks[3]] = 5.0
        harvest = np.zeros((PLAN_WEEKS, SOW_WEEKS, problem.n_years))
        span = slice(0, len(problem.running))
        harvest[span][:, problem.weeks] = np.diff(problem.running, axis=0, prepend=0.0)
        wanted = np.zeros((PLAN_WEEKS, problem.n_years))
        wanted[span] = problem.wanted
        trial = Trial(problem.crop, problem.need, entry.trial.kernel, harvest, wanted)
        expected = problem.costs(steps[problem.weeks][None])[0]
        assert yearly_costs([trial], [steps], problem.weights).mean() == pytest.approx(expected)


def test_the_plan_says_what_is_left_to_gain() -> None:
    found = small_plan(shelf={"tomato": 10.0}, bound_moves=40)
    assert 0 < found.least_cost <= found.cost
    left = 1 - found.least_cost / found.cost
    assert found.notes[1] == (
        "On the weather years it was made for, what is missed, wasted, worked and covered comes to "
        f"{found.cost:.1f} weeks' worth of one crop; no plan can come to less than {found.least_cost:.1f} (proved), "
        f"so at most {left:.0%} is left to gain."
    )
    assert small_plan().least_cost is None


def test_the_next_square_metre_has_a_price_in_the_months_in_which_beds_are_full() -> None:
    small = small_plan(bed_area_m2=1.5, bound_moves=40)
    prices = small.bed_prices
    assert prices["month"].is_sorted()
    assert (prices["month"].dt.day() == 1).all()
    assert (prices["weeks_worth_per_m2"] > 0).all()
    assert small.least_cost <= small.cost
    # About what a little more bed does save: the price is the slope at 1.5 m2.
    wider = small_plan(bed_area_m2=1.7)
    saved, promised = small.cost - wider.cost, 0.2 * prices["weeks_worth_per_m2"].sum()
    assert 0.2 * promised < saved < 3 * promised
    assert small_plan(bed_area_m2=1000.0).bed_prices.is_empty()
