"""Jam, drying and jars against published values and identities."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import UsageError
from pipeline.kitchen.bench import BenchSum, shipped_bench
from pipeline.kitchen.drying import drying
from pipeline.kitchen.jam import gel_points, jam
from pipeline.kitchen.jars import jars

BENCH = shipped_bench()
CABBAGE, PLUM = BENCH.crop("cabbage"), BENCH.crop("plum")
LB_G = 453.59237


def rules(answer: BenchSum) -> list[str]:
    return [caution.rule for caution in answer.cautions]


def named(answer: BenchSum) -> set[str]:
    return {figure.name for figure in answer.figures}


# Jam


def test_jam_of_a_published_standard() -> None:
    # 21 CFR 150: 45 parts of fruit to 55 of sugar, boiled to 65 %. 450 g of fruit at 8 % and 550 g of sugar make
    # (36 + 550) / 0.65 = 901.5 g.
    answer = jam(BENCH, 450, PLUM, sugar_g=550, fruit_solids_pct=8)
    assert answer["final_g"] == pytest.approx(901.5, abs=0.1)
    assert answer["boil_off_g"] == pytest.approx(98.5, abs=0.1)
    assert answer["sweetener_solids_g"] == 550
    assert not [line for line in answer.advice if "less than what is sold as jam" in line]
    # The table's solids (12.77 %) are the most that the fruit can bring: the rule stays silent.
    assert rules(answer) == []


def test_equal_weights_and_honey_at_seven_eighths() -> None:
    # Common practice, no source. White et al., USDA Tech. Bull. 1261 (1962): honey is 17.2 % water.
    sugar = jam(BENCH, 1000, PLUM, sugar_g=1000)
    assert sugar["honey_instead_g"] == 875
    assert sugar["final_g"] == pytest.approx((127.7 + 1000) / 0.65, abs=0.1)
    honey = jam(BENCH, 1000, PLUM, honey_g=875)
    assert honey["sweetener_solids_g"] == pytest.approx(724.5)
    assert honey["final_g"] == pytest.approx((127.7 + 724.5) / 0.65, abs=0.1)
    assert rules(honey) == ["honey_infants"]
    # Univ. of Wyoming Extension, citing Oregon State: honey for up to half of the sugar.
    assert [line for line in honey.advice if "More than half of the sweetener is honey" in line]
    assert not [line for line in jam(BENCH, 1000, PLUM, sugar_g=500, honey_g=500).advice if "More than half" in line]


def test_the_weight_is_a_bound_and_says_how_loose_it_is() -> None:
    figure = jam(BENCH, 1000, PLUM, sugar_g=650).figure("final_g")
    assert figure.note == "1 kg (2.2 lb) if none of the fruit's solids dissolved"
    measured = jam(BENCH, 1000, PLUM, sugar_g=650, fruit_solids_pct=10)
    assert measured.figure("final_g").note == ""
    assert not [line for line in measured.not_told if "refractometer" in line]


def test_the_water_of_the_crop_is_told_with_its_source_unless_it_was_measured() -> None:
    # USDA SR28: plums 87.23 % water, cabbage 92.18 %.
    assert jam(BENCH, 1000, PLUM, sugar_g=650).limits[0].words == "water of fresh plum: 87.23 %"
    assert "fresh_water" not in [limit.name for limit in jam(BENCH, 1000, PLUM, fruit_solids_pct=10).limits]
    source = drying(BENCH, 1000, CABBAGE).limits[0]
    assert (source.words, source.read_as) == ("water of fresh cabbage: 92.18 %", "read in a copy")
    assert "USDA" in source.source
    assert "fresh_water" not in [limit.name for limit in drying(BENCH, 1000, CABBAGE, fresh_water_pct=92).limits]


def test_finished_jam_by_its_weight() -> None:
    # 1 kg of plums at 12.77 % and 500 g of sugar in 1.2 kg: 52.3 %.
    answer = jam(BENCH, 1000, PLUM, sugar_g=500, finished_g=1200)
    assert answer["solids_pct"] == pytest.approx(52.3, abs=0.05)
    assert rules(answer) == ["thin_jam"]
    assert rules(jam(BENCH, 1000, PLUM, sugar_g=500, finished_g=1200, store="fridge")) == []
    with pytest.raises(UsageError, match="check the finished weight"):
        jam(BENCH, 1000, PLUM, sugar_g=1000, finished_g=900)


def test_a_low_sugar_target_is_flagged_for_the_pantry_and_leaves_it_wetter() -> None:
    low = jam(BENCH, 1000, PLUM, sugar_g=400, target_pct=45)
    assert rules(low) == ["thin_jam"]
    assert "refrigerated or frozen" in low.cautions[0].message
    assert rules(jam(BENCH, 1000, PLUM, honey_g=400, sugar_g=100, target_pct=45)) == ["honey_infants", "thin_jam"]
    # Norrish, Ross: about 0.93 to 0.95 at 45 to 50 %, below 0.87 at 65 %.
    assert 0.91 < low["water_activity"] < 0.95
    assert jam(BENCH, 1000, PLUM, sugar_g=1000)["water_activity"] < 0.87


@pytest.mark.parametrize(
    ("crop", "words"),
    [
        ("quince", "group 1"),
        ("elderberry", "group 2"),
        ("strawberry", "group 3, always needs added acid or pectin"),
        ("tomato", "no published class"),
    ],
)
def test_pectin_and_acid_of_the_fruit(crop: str, words: str) -> None:
    # So Easy to Preserve, 5th ed. (2006).
    assert words in jam(BENCH, 1000, BENCH.crop(crop), sugar_g=1000).advice[0]


@pytest.mark.parametrize(
    ("altitude_m", "jelly_f"),
    # NCHFP, Testing jelly without added pectin: 220 F at sea level, 212 F at 4000 ft, 205 F at 8000 ft.
    [(0, 220), (-50, 220), (304.8, 218), (1219.2, 212), (457.2, 217), (2438.4, 205)],
)
def test_gel_point_by_altitude(altitude_m: float, jelly_f: float) -> None:
    jelly, jam_point = gel_points(BENCH, altitude_m)
    assert jelly.value == pytest.approx((jelly_f - 32) / 1.8, abs=0.01)
    # Michigan State Univ. Extension 01600549: jam gels 9 F above the boiling point, jelly 8 F.
    assert jam_point.value - jelly.value == pytest.approx(1 / 1.8)


def test_gel_point_at_sea_level_lies_where_65_pct_is_reached() -> None:
    # A food science reference book, section on sugar preserves (read in a copy): 103 to 105 C.
    jelly, jam_point = gel_points(BENCH, 0)
    assert 103 <= jelly.value <= jam_point.value + 1e-9 <= 105.01


def test_jam_beyond_the_published_values_is_refused() -> None:
    with pytest.raises(UsageError, match="table ends at 2438 m"):
        gel_points(BENCH, 3000)
    with pytest.raises(UsageError, match="give its solids with --fruit-solids"):
        jam(BENCH, 1000, BENCH.crop("sage"), sugar_g=1000)
    with pytest.raises(UsageError, match="solids to boil down to 95 %"):
        jam(BENCH, 1000, PLUM, sugar_g=1000, target_pct=95)


def test_jars_turned_over_or_waxed_and_fruit_near_the_line() -> None:
    assert "jam_turned_or_waxed" in rules(jam(BENCH, 1000, PLUM, sugar_g=1000, note="turned upside down"))
    assert "near_limit_fruit" in rules(jam(BENCH, 1000, BENCH.crop("elderberry"), sugar_g=1000))


@settings(max_examples=25)
@given(st.floats(100, 20_000), st.floats(0, 20_000), st.floats(0, 20_000), st.floats(40, 80))
def test_solids_are_neither_made_nor_lost(fruit: float, sugar: float, honey: float, target: float) -> None:
    answer = jam(BENCH, fruit, PLUM, sugar_g=sugar, honey_g=honey, target_pct=target, fruit_solids_pct=12)
    assert answer["final_g"] * target / 100 == pytest.approx(fruit * 0.12 + sugar + honey * 0.828)
    again = jam(BENCH, fruit, PLUM, sugar_g=sugar, honey_g=honey, finished_g=answer["final_g"], fruit_solids_pct=12)
    assert again["solids_pct"] == pytest.approx(target)


# Drying


@pytest.mark.parametrize(
    ("crop", "grams"),
    # Mass balance on USDA SR28 water contents; vegetables to 10 %, fruit to 20 % (Drying and Preserving Food,
    # Part Three).
    [("cabbage", 87), ("carrot", 130), ("tomato", 61), ("chilli", 133), ("apple", 181), ("rhubarb", 80)],
)
def test_dried_weight_of_a_kilogram(crop: str, grams: float) -> None:
    assert drying(BENCH, 1000, BENCH.crop(crop))["dried_g"] == pytest.approx(grams, abs=1)


def test_one_point_of_fresh_water_moves_the_answer_by_eleven_at_92_pct() -> None:
    answer = drying(BENCH, 1000, CABBAGE, fresh_water_pct=92, target_pct=10)
    assert answer["sensitivity"] == pytest.approx(11.25)
    # Weighed at its target by the table, it may hold 10 % water, or 21 %, or none.
    weighed = drying(BENCH, 1000, CABBAGE, fresh_water_pct=92, weighed_g=80 / 0.9)
    figure = weighed.figure("moisture_pct")
    assert (figure.low, figure.value, figure.high) == pytest.approx((0, 10, 21.25), abs=0.01)
    assert weighed["sensitivity"] == pytest.approx(11.25)
    assert "perhaps not dry yet, up to 11.1 g" in weighed.title


def test_a_weighing_says_how_much_is_still_to_lose() -> None:
    answer = drying(BENCH, 1000, CABBAGE, weighed_g=130)
    assert answer["moisture_pct"] == pytest.approx(39.8, abs=0.05)
    figure = answer.figure("to_lose_g")
    # 78.2 g of solids come to 86.9 g at 10 %; to 75.8 g had the cabbage held one point more water.
    assert figure.value == pytest.approx(43.1, abs=0.05)
    assert figure.high == pytest.approx(54.2, abs=0.05)
    assert "not dry yet, up to 54.2 g (1.91 oz) to lose" in answer.title
    assert rules(answer) == ["vegetable_too_moist"]


def test_a_weight_at_target_is_no_proof() -> None:
    answer = drying(BENCH, 1000, CABBAGE, weighed_g=75)
    assert answer.title.endswith("by weight at its target; test by feel")
    assert "Vegetables are brittle" in answer.not_told[0]
    assert "closed jar" in answer.not_told[1]
    assert rules(answer) == []


@pytest.mark.parametrize(
    ("crop", "air_c", "expected"),
    # VCE 348-597: 60 C; sun-dried fruit from 30 C. Drying near 30 C is common practice.
    [
        ("tomato", 30.0, ["cool_drying"]),
        ("tomato", 60.0, []),
        ("plum", 30.0, []),
        ("plum", 25.0, ["cool_drying_fruit"]),
    ],
)
def test_cool_air_is_flagged(crop: str, air_c: float, expected: list[str]) -> None:
    assert rules(drying(BENCH, 1000, BENCH.crop(crop), air_c=air_c)) == expected


def test_fruit_is_conditioned_and_vegetables_are_not() -> None:
    # Utah State Univ. Extension: 1 to 2 weeks, the longest of the published times.
    figure = drying(BENCH, 1000, PLUM).figure("ready_days")
    assert (figure.low, figure.high) == (7, 14)
    assert "ready_days" not in named(drying(BENCH, 1000, CABBAGE))


def test_drying_that_cannot_be_worked_out_is_refused() -> None:
    with pytest.raises(UsageError, match="give it with --fresh-water"):
        drying(BENCH, 1000, BENCH.crop("sage"))
    with pytest.raises(UsageError, match="dried produce weighs less"):
        drying(BENCH, 1000, CABBAGE, weighed_g=1000)


@settings(max_examples=25)
@given(st.floats(100, 50_000), st.floats(60, 97), st.floats(5, 25))
def test_drying_keeps_the_solids(produce: float, water: float, target: float) -> None:
    answer = drying(BENCH, produce, CABBAGE, fresh_water_pct=water, target_pct=target)
    assert answer["dried_g"] * (100 - target) == pytest.approx(produce * (100 - water))
    figure = answer.figure("dried_g")
    assert figure.low is not None
    assert figure.high is not None
    assert figure.low <= figure.value <= figure.high


# Jars


def test_jars_from_published_yields() -> None:
    # USDA Complete Guide to Home Canning: 14 lb of snap beans fill 7 quarts.
    answer = jars(BENCH, 14 * LB_G, BENCH.crop("bean"), jar_ml=946.352946)
    assert answer["jars_cut"] == pytest.approx(7)
    assert answer.figure("jars_cut").note == "have 7 ready"
    assert rules(answer) == ["low_acid_bottled"]


def test_a_range_of_yields_is_a_range_of_jars() -> None:
    # Georgia Dept. of Agriculture: 2 to 2 1/2 lb of plums to the quart.
    figure = jars(BENCH, 10 * LB_G, PLUM, jar_ml=946.352946).figure("jars_halves")
    assert (figure.low, figure.high) == pytest.approx((4, 5))
    assert figure.note == "have 5 ready"


def test_one_form_of_several() -> None:
    tomato = BENCH.crop("tomato")
    assert "jars_crushed" in named(jars(BENCH, 1000, tomato))
    assert named(jars(BENCH, 1000, tomato, form="crushed")) == {"jars_crushed", "kg_per_l_crushed"}
    with pytest.raises(UsageError, match="published for tomato: whole, crushed, juice, thin sauce, thick sauce"):
        jars(BENCH, 1000, tomato, form="ketchup")
    with pytest.raises(UsageError, match="sage: no published yield is known"):
        jars(BENCH, 1000, BENCH.crop("sage"))
