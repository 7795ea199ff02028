"""Salt and vinegar against published recipes and identities, and what every sum says."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pipeline.errors import UsageError
from pipeline.kitchen import told
from pipeline.kitchen.bench import BenchSum, shipped_bench
from pipeline.kitchen.drying import drying
from pipeline.kitchen.jam import jam
from pipeline.kitchen.jars import jars
from pipeline.kitchen.salting import brine, dry_salting
from pipeline.kitchen.vinegar import vinegar_mix

BENCH = shipped_bench()
CABBAGE, CUCUMBER, PLUM = (BENCH.crop(name) for name in ("cabbage", "cucumber", "plum"))
LB_G = 453.59237


def rules(answer: BenchSum) -> list[str]:
    return [caution.rule for caution in answer.cautions]


def named(answer: BenchSum) -> set[str]:
    return {figure.name for figure in answer.figures}


# Salt


def test_dry_salting_of_a_kilogram() -> None:
    answer = dry_salting(BENCH, 1000, percent=2.25, crop=CABBAGE)
    assert answer["salt_g"] == 22.5
    assert answer["salt_pct_of_produce"] == 2.25
    assert answer["salt_pct_of_all"] == pytest.approx(100 * 22.5 / 1022.5)
    # USDA food 11109: cabbage holds 92.18 % water.
    assert answer["salt_pct_of_water"] == pytest.approx(100 * 22.5 / (921.8 + 22.5))
    assert answer["water_activity"] == pytest.approx(0.986, abs=0.001)
    assert answer["container_ml"] == 1670
    assert answer.working == "1000 g x 2.25 / 100 = 22.5 g of salt"
    assert rules(answer) == ["ph_missing"]


def test_without_a_percentage_the_middle_of_the_published_range_is_taken() -> None:
    # 7 CFR 52.3451: 2 to 3 %.
    assert dry_salting(BENCH, 2000)["salt_g"] == 50


@pytest.mark.parametrize(
    ("salt_g", "produce_g", "percent", "expected"),
    [
        # Michigan State Univ. Extension 01600078: 3/4 cup (219 g) to 25 lb, and 3 tablespoons (54 g) to 5 lb.
        (219, 25 * LB_G, 1.93, ["low_salt", "ph_missing"]),
        (54, 5 * LB_G, 2.38, ["ph_missing"]),
    ],
)
def test_a_published_recipe_by_cups_and_by_spoons(
    salt_g: float, produce_g: float, percent: float, expected: list[str]
) -> None:
    answer = dry_salting(BENCH, produce_g, salt_g=salt_g, crop=CABBAGE)
    assert answer["salt_pct_of_produce"] == pytest.approx(percent, abs=0.005)
    assert rules(answer) == expected


def test_the_three_traps_of_salt_are_named() -> None:
    for answer in (dry_salting(BENCH, 1000), brine(BENCH, 1000, 1000, percent=3)):
        traps = [line.split(":")[0] for line in answer.not_told]
        assert traps[:3] == ["Spoons", "Basis", "Water activity"]
        assert "1.93 % by its cups and 2.38 % by its spoons" in answer.not_told[0]


def test_dill_pickles_before_packing_and_evened_out() -> None:
    # USDA Complete Guide to Home Canning, Guide 6: 4 lb cucumbers, 146 g salt, 59 ml vinegar, 1893 ml water give 7.0 %
    # before packing, 3.7 % of everything and 3.8 % of all the water.
    answer = brine(BENCH, 4 * LB_G, 1893, salt_g=146, vinegar_ml=59, crop=CUCUMBER)
    assert answer["brine_pct_before_packing"] == pytest.approx(7.0, abs=0.05)
    assert answer["salt_pct_of_all"] == pytest.approx(3.7, abs=0.05)
    assert answer["salt_pct_of_water"] == pytest.approx(3.8, abs=0.05)
    assert answer["salt_pct_of_produce"] == pytest.approx(100 * 146 / (4 * LB_G))
    assert "7 %" in answer.limits[1].words
    assert "3.7 %" in answer.limits[2].words


@settings(max_examples=25)
@given(st.floats(100, 50_000), st.floats(100, 50_000), st.floats(0.1, 12))
def test_brine_of_a_share_of_everything_comes_back_as_that_share(produce: float, water: float, share: float) -> None:
    assume(share / 100 * (produce + water) < water / 5)
    answer = brine(BENCH, produce, water, percent=share)
    assert answer["salt_pct_of_all"] == pytest.approx(share)
    assert answer["salt_g"] / (produce + water + answer["salt_g"]) == pytest.approx(share / 100)


def test_brine_by_its_strength_is_weaker_of_everything() -> None:
    answer = brine(BENCH, 1000, 1000, strength=5)
    assert answer["salt_g"] == pytest.approx(1000 * 5 / 95)
    assert answer["brine_pct_before_packing"] == pytest.approx(5)
    assert answer["salt_pct_of_all"] == pytest.approx(100 * 52.63 / 2052.63, abs=0.01)


def test_a_brine_may_be_strong_of_produce_and_weak_of_everything() -> None:
    answer = brine(BENCH, 1000, 1000, salt_g=30)
    assert answer["salt_pct_of_produce"] == 3
    assert answer["salt_pct_of_all"] < 2
    assert "low_salt" in rules(answer)


@pytest.mark.parametrize(
    ("temperature_c", "days", "rule"),
    [
        # Michigan State Univ. Extension 01600078; NDSU Extension, node 2254.
        (22.0, (21, 28), None),
        (17.0, (35, 42), None),
        (26.0, (21, 28), "warm_ferment"),
        (12.0, None, "cool_ferment"),
        (None, (21, 42), None),
    ],
)
def test_warmth_sets_the_time_and_the_cautions(
    temperature_c: float | None, days: tuple[int, int] | None, rule: str | None
) -> None:
    answer = dry_salting(BENCH, 1000, crop=CABBAGE, temperature_c=temperature_c)
    if days is None:
        assert "ready_days" not in named(answer)
    else:
        figure = answer.figure("ready_days")
        assert (figure.low, figure.high) == days
    assert {"warm_ferment", "cool_ferment"} & set(rules(answer)) == ({rule} if rule else set())


def test_impossible_salt_is_refused() -> None:
    with pytest.raises(UsageError, match="give one of --percent, --salt, not 2"):
        dry_salting(BENCH, 1000, percent=2, salt_g=20)
    with pytest.raises(UsageError, match="salt of the produce 40 %: write a number above 0 and at most 26"):
        dry_salting(BENCH, 1000, percent=40)
    with pytest.raises(UsageError, match="say how much salt"):
        brine(BENCH, 1000, 1000)
    with pytest.raises(UsageError, match="before packing"):
        brine(BENCH, 1000, 100, percent=10)
    with pytest.raises(UsageError, match="salt of the brine 30 %"):
        brine(BENCH, 1000, 100, strength=30)


def test_salt_that_the_produce_cannot_dissolve_gets_no_water_activity() -> None:
    answer = dry_salting(BENCH, 1000, percent=20, crop=BENCH.crop("dry bean"))
    assert "water_activity" not in named(answer)


# Vinegar


@pytest.mark.parametrize(
    ("water_ml", "acid_pct"),
    # Vinegar of 5 % in 1, 2 and 4 times the water: 5 x V / (V + W).
    [(500.0, 2.5), (1000.0, 1.67), (2000.0, 1.0)],
)
def test_acid_after_mixing(water_ml: float, acid_pct: float) -> None:
    answer = vinegar_mix(BENCH, 500, water_ml)
    assert answer["acid_pct_of_liquid"] == pytest.approx(acid_pct, abs=0.004)
    assert ("more_water_than_vinegar" in rules(answer)) == (water_ml > 500)


def test_vinegar_bears_as_much_water_and_says_what_is_lacking() -> None:
    answer = vinegar_mix(BENCH, 500, 750)
    assert answer["most_water_ml"] == 500
    assert answer["more_vinegar_ml"] == pytest.approx(250)
    assert vinegar_mix(BENCH, 750, 750)["acid_pct_of_liquid"] == 2.5


def test_weak_vinegar_is_flagged_and_no_water_is_allowed_for_it() -> None:
    # Univ. of California ANR (2024), citing FDA: 4 % is the least that is sold as vinegar.
    answer = vinegar_mix(BENCH, 500, 0, acid_pct=3.5)
    assert rules(answer) == ["weak_vinegar"]
    assert "most_water_ml" not in named(answer)
    assert rules(vinegar_mix(BENCH, 500, 0, acid_pct=4)) == []


@pytest.mark.parametrize(
    ("ph", "processed", "expected"),
    # 21 CFR 114.3(b): 4.6. Food Code tables as adopted in Wyoming: 4.2 where not heat-processed.
    [
        (4.7, True, ["ph_above_limit"]),
        (4.4, None, ["ph_near_limit"]),
        (4.4, True, []),
        (4.1, None, []),
        (None, None, []),
    ],
)
def test_a_measured_ph_is_held_against_both_lines(
    ph: float | None, processed: bool | None, expected: list[str]
) -> None:
    assert rules(vinegar_mix(BENCH, 500, 500, ph=ph, processed=processed)) == expected


def test_no_ph_is_ever_worked_out() -> None:
    answer = vinegar_mix(BENCH, 500, 500, produce_g=1000, crop=CUCUMBER)
    assert not [figure for figure in answer.figures if "ph" in figure.name.split("_")]
    assert answer.not_told[0].startswith("The pH")
    # The water of 1 kg of cucumbers at 95.23 % thins 25 g of acid in 1000 g.
    assert answer["acid_pct_evened_out"] == pytest.approx(2500 / (1000 + 952.3), abs=0.001)


def test_salt_in_vinegar_by_common_practice_and_as_weighed() -> None:
    # 1.5 % of the vegetables' weight: common practice, no source.
    answer = vinegar_mix(BENCH, 500, 500, produce_g=1000)
    assert answer["salt_practice_g"] == 15
    assert "common practice" in answer.figure("salt_practice_g").note
    weighed = vinegar_mix(BENCH, 500, 500, produce_g=1000, salt_g=15)
    assert weighed["salt_pct_of_produce"] == 1.5
    assert weighed["salt_pct_of_all"] == pytest.approx(100 * 15 / 2015)


def test_unprocessed_pickles_on_a_shelf_are_flagged() -> None:
    assert "pickle_not_processed" in rules(vinegar_mix(BENCH, 500, 500, processed=False, store="pantry"))
    assert rules(vinegar_mix(BENCH, 500, 500, processed=False, store="fridge")) == []


# What every sum says


EVERY = [
    dry_salting(BENCH, 1000, crop=CABBAGE),
    brine(BENCH, 1000, 1000, percent=3, crop=CUCUMBER),
    vinegar_mix(BENCH, 500, 750, produce_g=1000, crop=CUCUMBER),
    jam(BENCH, 1000, PLUM, honey_g=875),
    drying(BENCH, 1000, CABBAGE, weighed_g=130, air_c=45.0),
    jars(BENCH, 1000, BENCH.crop("tomato")),
]


@pytest.mark.parametrize("answer", EVERY, ids=lambda answer: answer.kind)
def test_every_sum_tells_its_working_its_sources_and_what_it_does_not_tell(answer: BenchSum) -> None:
    text = told.sum_text(answer, 90)
    flat = " ".join(text.split())
    assert "\n" not in answer.working
    assert f"Working: {answer.working}" in flat
    assert answer.limits
    for limit in answer.limits:
        assert " ".join(f"{limit.words}. {limit.source} ({limit.read_as})".split()) in flat
    assert answer.not_told
    assert "Follow a tested recipe from your food-safety authority" in flat
    assert not re.search(r"\bsafe\b", flat, re.IGNORECASE)
    assert max(len(line) for line in text.splitlines()) <= 90


@pytest.mark.parametrize("answer", EVERY, ids=lambda answer: answer.kind)
def test_json_says_the_same(answer: BenchSum) -> None:
    whole = json.loads(told.sum_json(answer))
    assert list(whole) == ["sum", "title", "figures", "working", "limits", "not_told", "advice", "cautions", "note"]
    assert set(whole["figures"]) == named(answer)
    for figure in answer.figures:
        assert whole["figures"][figure.name]["value"] == pytest.approx(figure.value, abs=1e-4)
        assert whole["figures"][figure.name]["unit"] == figure.unit
    assert [caution["rule"] for caution in whole["cautions"]] == rules(answer)


def test_amounts_are_told_in_both_measures() -> None:
    text = told.sum_text(dry_salting(BENCH, 5 * LB_G, percent=2.5))
    assert "Dry salting: 2.27 kg (5 lb) of produce" in text
    assert "salt                  56.7 g (2 oz)" in text
    assert "3.79 l (4 qt)" in text
    assert "104.4 C (220 F)" in told.sum_text(jam(BENCH, 1000, PLUM, sugar_g=1000))
