"""Who follows a sum as it is printed, and logs that, is flagged for nothing that the sum did not print."""

from __future__ import annotations

import re
from collections.abc import Mapping

from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.kitchen.bench import BenchSum, shipped_bench
from pipeline.kitchen.cautions import sum_cautions
from pipeline.kitchen.drying import drying
from pipeline.kitchen.jam import jam
from pipeline.kitchen.salting import brine, dry_salting
from pipeline.kitchen.vinegar import vinegar_mix
from pipeline.kitchen.words import as_printed, figure_text, grams, millilitres

BENCH = shipped_bench()
METRIC = re.compile(r"^([\d.]+) (kg|g|l|ml)\b")
US = re.compile(r"\(([\d.]+) (oz|lb|qt|cups)\)")
US_SIZES = {"oz": 28.349523125, "lb": 453.59237, "qt": 946.352946, "cups": 236.5882365}

weights = st.floats(50, 30_000)
percents = st.floats(2.0, 3.5)


def printed(answer: BenchSum, name: str) -> float:
    """The metric amount that a figure shows, in g or ml."""
    found = METRIC.match(figure_text(answer.figure(name)))
    assert found is not None
    return float(found[1]) * (1000 if found[2] in {"kg", "l"} else 1)


def no_new_caution(answer: BenchSum, logged: Mapping[str, object]) -> None:
    rules = sum_cautions({**answer.as_batch, **logged}, BENCH.rules, BENCH.crops)["rule"].to_list()
    assert set(rules) <= {caution.rule for caution in answer.cautions}


@settings(max_examples=15, deadline=None)
@given(weights, percents)
def test_salt(produce: float, percent: float) -> None:
    answer = dry_salting(BENCH, produce, percent=percent, crop=BENCH.crop("cabbage"))
    salt = printed(answer, "salt_g")
    assert salt >= answer["salt_g"] * (1 - 1e-9)
    assert "low_salt" not in {caution.rule for caution in answer.cautions}
    no_new_caution(answer, {"salt_g": salt})


@settings(max_examples=12, deadline=None)
@given(weights, st.floats(0.5, 2), st.floats(2.0, 6.0))
def test_brine(produce: float, water: float, percent: float) -> None:
    answer = brine(BENCH, produce, produce * water, percent=percent, crop=BENCH.crop("cucumber"))
    no_new_caution(answer, {"salt_g": printed(answer, "salt_g")})


@settings(max_examples=12, deadline=None)
@given(weights, st.floats(5, 8))
def test_water_that_vinegar_bears(vinegar: float, acid: float) -> None:
    whole = vinegar_mix(BENCH, vinegar, 0.0, acid_pct=acid)
    most = as_printed(whole["most_water_ml"], "down")
    assert most <= whole["most_water_ml"] * (1 + 1e-9)
    assert sum_cautions({**whole.as_batch, "water_ml": most}, BENCH.rules, BENCH.crops)["rule"].to_list() == [
        caution.rule for caution in whole.cautions
    ]


@settings(max_examples=12, deadline=None)
@given(weights, st.floats(0.3, 1.2))
def test_jam_boiled_down_to_the_weight_printed(fruit: float, share: float) -> None:
    answer = jam(BENCH, fruit, BENCH.crop("strawberry"), sugar_g=fruit * share)
    assert "thin_jam" not in {caution.rule for caution in answer.cautions}
    no_new_caution(answer, {"finished_kg": printed(answer, "final_g") / 1000})


@settings(max_examples=12, deadline=None)
@given(weights, st.sampled_from(["tomato", "apple", "carrot"]))
def test_dried_to_the_weight_printed(produce: float, crop: str) -> None:
    answer = drying(BENCH, produce, BENCH.crop(crop))
    no_new_caution(answer, {"finished_kg": printed(answer, "dried_g") / 1000})


@given(st.floats(0.01, 50_000))
def test_both_measures_are_on_the_safe_side(value: float) -> None:
    assert min(amounts(grams(value, "up"))) >= value * (1 - 1e-9)
    assert max(amounts(grams(value, "down"))) <= value * (1 + 1e-9)
    assert min(amounts(millilitres(value, "up"))) >= value * 0.999
    assert max(amounts(millilitres(value, "down"))) <= value * 1.001


def amounts(text: str) -> list[float]:
    """The metric and the US amount of a text, in g or ml."""
    metric, us = METRIC.match(text), US.search(text)
    assert metric is not None
    assert us is not None
    return [float(metric[1]) * (1000 if metric[2] in {"kg", "l"} else 1), float(us[1]) * US_SIZES[us[2]]]


def test_the_working_has_the_numbers_that_were_given() -> None:
    assert dry_salting(BENCH, 2000.0, percent=1.996).working == "2000 g x 1.996 / 100 = 39.92 g of salt"
    assert "5170 g" in dry_salting(BENCH, 5170.0, percent=2.0).working


def test_the_printed_salt_of_the_review_is_not_flagged() -> None:
    answer = dry_salting(BENCH, 5170.0, percent=2.0, crop=BENCH.crop("cabbage"))
    assert figure_text(answer.figure("salt_g")) == "104 g (3.65 oz)"
    strawberry = jam(BENCH, 1000.0, BENCH.crop("strawberry"), sugar_g=1000.0)
    assert figure_text(strawberry.figure("final_g")).startswith("1.67 kg (3.69 lb)")
