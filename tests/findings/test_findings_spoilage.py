"""What a gardener reads about spoilage, word for word. All counts are invented."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.findings.spoilage import in_words, spoilage_findings
from pipeline.keeping.salt import GUIDANCE, RECIPE
from schemas.answers import ANSWERS
from schemas.page import Finding

KINDS = {"text": pl.String, "int": pl.Int64, "float": pl.Float64}
AS_OF = dt.date(2026, 5, 1)


def answer(name: str, *rows: dict[str, object]) -> pl.DataFrame:
    return pl.DataFrame(list(rows), schema={c.name: KINDS[c.dtype] for c in ANSWERS[name].columns})


def shuffled(*rows: tuple[str, float, float | None]) -> pl.DataFrame:
    schema = {"group": pl.String, "z": pl.Float64, "p_value": pl.Float64}
    return pl.DataFrame(list(rows), schema=schema, orient="row")


def looks(*rows: dict[str, object]) -> pl.DataFrame:
    shares = dict.fromkeys(("median_gap_days", "kept", "kept_least", "kept_most"), pl.Float64)
    return pl.DataFrame(list(rows), schema={"group": pl.String, "far_apart": pl.Boolean} | shares)


def findings(by: tuple[str, ...] = ("method",), **tables: pl.DataFrame) -> list[Finding]:
    given_tables = {
        "by_method": answer("spoilage"),
        "by_salt": answer("spoilage"),
        "salt_response": answer("salt_response"),
        "worse": shuffled(),
        "differences": answer("spoilage_differences"),
        "far_apart": looks(),
        "trials": answer("trials"),
    } | tables
    return spoilage_findings(**given_tables, by=by, as_of=AS_OF)


def only(by: tuple[str, ...] = ("method",), **tables: pl.DataFrame) -> Finding:
    (finding,) = findings(by, **tables)
    return finding


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0, "none"),
        (0.004, "fewer than 1 in 100"),
        (0.01, "1 in 100"),
        (0.034, "1 in 30"),
        (0.083, "1 in 12"),
        (0.1, "1 in 10"),
        (0.2, "1 in 5"),
        (0.25, "1 in 4"),
        (0.3, "3 in 10"),
        (1 / 3, "1 in 3"),
        (0.4, "4 in 10"),
        (0.52, "1 in 2"),
        (0.6, "6 in 10"),
        (0.66, "2 in 3"),
        (0.74, "3 in 4"),
        (0.8, "8 in 10"),
        (0.9, "9 in 10"),
        (0.95, "19 in 20"),
        (0.98, "nearly all"),
        (1, "all"),
    ],
)
def test_shares_in_words(share: float, words: str) -> None:
    assert in_words(share) == words


def value(words: str) -> float:
    named = {"none": 0.0, "all": 1.0, "nearly all": 0.98, "fewer than 1 in 100": 0.005}
    if words in named:
        return named[words]
    part, whole = words.split(" in ")
    return int(part) / int(whole)


@settings(derandomize=True, deadline=None)
@given(st.floats(0, 1), st.floats(0, 1))
def test_words_keep_the_order_of_shares_and_stay_near_them(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert value(in_words(low)) <= value(in_words(high))
    assert value(in_words(low)) == pytest.approx(low, abs=0.055)


FERMENTS = {
    "grouping": "method",
    "group": "ferment",
    "batches": 4,
    "containers": 11,
    "spoiled": 3,
    "lost_share": 0.2,
    "kept_12m": 0.75,
    "kept_12m_low": 0.5,
    "kept_12m_high": 0.917,
    "followed_months": 14.0,
    "evidence": "thin",
}


def test_what_kept() -> None:
    finding = only(by_method=answer("spoilage", FERMENTS))
    assert finding.sentence == (
        "3 of 11 jars of ferments lost by 1 May 2026; left alone, we expect about 1 in 4 to be lost within a "
        "year, somewhere between 1 in 12 and 1 in 2; four batches, thin evidence."
    )
    assert (finding.section, finding.evidence) == ("spoilage", "thin")


def test_nothing_lost_is_not_a_promise() -> None:
    sound = FERMENTS | {"spoiled": 0, "kept_12m": 1.0, "kept_12m_low": 0.8, "kept_12m_high": 1.0}
    assert only(
        by_method=answer("spoilage", sound | {"group": "jam", "batches": 12, "evidence": "enough"})
    ).sentence == (
        "0 of 11 jars of jam lost by 1 May 2026; left alone, our best guess for a year is none lost, though up "
        "to 1 in 5 would not surprise; twelve batches."
    )


def test_too_young_to_say() -> None:
    young = {"kept_12m": None, "kept_12m_low": None, "kept_12m_high": None, "batches": 1, "evidence": "too little"}
    months = only(by_method=answer("spoilage", FERMENTS | young | {"followed_months": 4.2})).sentence
    assert months == (
        "3 of 11 jars of ferments lost by 1 May 2026; followed for 4 months so far, too short to say what a "
        "year does; one batch, too little evidence."
    )
    weeks = only(by_method=answer("spoilage", FERMENTS | young | {"followed_months": 0.8})).sentence
    assert "followed for a few weeks so far" in weeks
    unseen = only(by_method=answer("spoilage", FERMENTS | young | {"batches": 0, "spoiled": 0}))
    assert "nothing is known of the rest" in unseen.sentence
    assert unseen.action


def test_looks_too_far_apart_to_date_what_was_lost() -> None:
    far = {"group": "ferment", "far_apart": True, "median_gap_days": 430.0, "kept_least": 0.5, "kept_most": 1.0}
    finding = only(by_method=answer("spoilage", FERMENTS), far_apart=looks(far))
    assert finding.sentence == (
        "3 of 11 jars of ferments lost by 1 May 2026; looks were about 14 months apart where something went off, "
        "too far apart to say what a year does: left alone, anything from 1 in 2 to all may keep a year, before "
        "any allowance for chance; four batches, thin evidence."
    )
    assert finding.action == "Look every few weeks, and write the day down also when all is sound."
    same = only(by_method=answer("spoilage", FERMENTS), far_apart=looks(far | {"kept_most": 0.5}))
    assert "left alone, about 1 in 2 may keep a year" in same.sentence
    near = looks(far | {"far_apart": False, "kept_least": None, "kept_most": None})
    assert "we expect about 1 in 4" in only(by_method=answer("spoilage", FERMENTS), far_apart=near).sentence


CLOTH = {
    "factor": "lid",
    "value": "cloth",
    "batches": 3,
    "containers": 16,
    "spoiled": 8,
    "expected": 2.7,
    "ratio": 2.61,
    "low": 1.07,
    "high": 6.37,
    "p_value": 0.016,
    "evidence": "thin",
}


def differences(*rows: dict[str, object]) -> pl.DataFrame:
    return answer("spoilage_differences", *(CLOTH | row for row in rows))


def test_what_stands_out_among_the_batches_that_spoiled() -> None:
    finding = only(differences=differences({}, {"value": "metal", "p_value": 1.0}, {"value": "bag", "p_value": None}))
    assert finding.sentence == (
        "Containers under cloth lost 8 of 16, where about 2.7 would be usual at their age and for their method; "
        "allowing for chance, about 2.6 times the usual (1.1 to 6.4). Chance alone would make some lid, store, cut or "
        "other detail look this bad about 2 times in 100; three batches, thin evidence."
    )
    assert (finding.evidence, finding.action) == (
        "thin",
        "Look at these first, and see what else was different about them.",
    )


@pytest.mark.parametrize(
    ("factor", "value", "words"),
    [
        ("store", "pantry", "Containers in the pantry lost"),
        ("piece", "shred", "Containers of shredded produce lost"),
        ("starter", "none", "Containers made without a starter lost"),
        ("starter", "whey", "Containers with starter whey lost"),
        ("submerged", "no", "Containers not kept under the liquid lost"),
        ("heat_processed", "no", "Containers not heat-processed lost"),
        ("salt", "3.5 to 5 % of all", "Containers with salt 3.5 to 5 % of all lost"),
    ],
)
def test_recorded_values_in_words(factor: str, value: str, words: str) -> None:
    finding = only(differences=differences({"factor": factor, "value": value}))
    assert finding.sentence.startswith(words)
    assert (GUIDANCE in finding.sentence) == (factor == "salt")
    assert (finding.action == RECIPE) == (factor not in {"lid", "store"})


def test_nothing_stands_out_and_nothing_to_judge() -> None:
    rows = ({"p_value": 0.06}, {"value": "metal", "p_value": 0.01, "spoiled": 2})
    assert only(differences=differences(*rows)).sentence == (
        "Nothing recorded about the batches stands out: no lid, store, cut or other detail of the make lost more "
        "than chance would do."
    )
    assert findings(differences=differences({"p_value": None})) == []


def test_a_method_is_called_worse_only_by_the_test() -> None:
    assert findings(worse=shuffled(("dry", 1.0, 1.0))) == []
    assert only(worse=shuffled(("ferment", 2.0, 0.06), ("dry", -2.0, 1.0))).sentence == (
        "No way of keeping stands out as losing more than the others beyond what chance would do."
    )
    assert only(worse=shuffled(("ferment", 3.0, 0.02), ("dry", -3.0, 1.0))).sentence == (
        "Ferments lost more than the rest: chance alone would make some way of keeping look this bad about 2 "
        "times in 100."
    )


@pytest.mark.parametrize(
    ("by", "group", "accused", "thing"),
    [
        (("lid",), "cloth", "Containers under cloth lost more than others kept the same way", "lid"),
        (("store",), "pantry", "Containers in the pantry lost more than others kept the same way", "store"),
        (("piece",), "shred", "Containers of shredded produce lost more than others kept the same way", "cut"),
        (("starter",), "whey", "Containers with starter whey lost more than others kept the same way", "starter"),
        (
            ("starter",),
            "none recorded",
            "Containers with no starter recorded lost more than others kept the same way",
            "starter",
        ),
        (("lid",), "not recorded", "Containers with no lid recorded lost more than others kept the same way", "lid"),
        (("crop",), "plum", "Containers of plum lost more than others kept the same way", "crop"),
        (("plot",), "7", "Containers from plot 7 lost more than others kept the same way", "plot"),
        (("year",), "2025", "Containers made in 2025 lost more than others kept the same way", "year"),
        (
            ("method", "lid"),
            "jam · metal",
            "Jam under a metal lid lost more than the rest",
            "pair of way of keeping and lid",
        ),
        (
            ("lid", "store"),
            "metal · cellar",
            "Containers under a metal lid and in the cellar lost more than others kept the same way",
            "pair of lid and store",
        ),
        (("lid",), "a · b", "Containers of a · b lost more than others kept the same way", "lid"),
    ],
)
def test_an_accusation_names_what_was_grouped(by: tuple[str, ...], group: str, accused: str, thing: str) -> None:
    finding = only(by, worse=shuffled((group, 3.0, 0.02), ("other", -3.0, 1.0)))
    assert finding.sentence == f"{accused}: chance alone would make some {thing} look this bad about 2 times in 100."


def test_an_accusation_of_a_salt_level_stands_beside_the_published_guidance() -> None:
    rows = shuffled(("1 to 1.75 % · of produce", 3.0, 0.02), ("2.25 to 2.75 % · of all", -3.0, 1.0))
    finding = only(("salt_band", "salt_basis"), worse=rows)
    assert finding.sentence == (
        "Ferments with salt 1 to 1.75 % of produce lost more than ferments with other salt: chance alone would make "
        f"some salt level look this bad about 2 times in 100. {GUIDANCE}"
    )
    assert finding.action == RECIPE
    both = only(
        ("method", "salt_band", "salt_basis"),
        worse=shuffled(("pickle · 1 to 1.75 % · of all", 3.0, 0.02), ("ferment · 1 to 1.75 % · of all", -3.0, 1.0)),
    )
    assert both.sentence.startswith("Pickles with salt 1 to 1.75 % of all lost more than the rest")


def test_where_no_group_stands_out_or_none_can_be_judged() -> None:
    quiet = shuffled(("pantry", 1.0, 0.4), ("cellar", -1.0, 1.0))
    assert only(("store",), worse=quiet).sentence == (
        "No store stands out as losing more than the others on food kept the same way beyond what chance would do."
    )
    salt = only(("salt_band", "salt_basis"), worse=quiet).sentence
    assert salt == (
        "No single salt level of ferments stands out beyond what chance would do; whether more salt goes with less "
        "loss is asked of all levels together."
    )
    assert findings(("batch_id",), worse=shuffled(("B1", 1.0, None), ("B2", -1.0, None))) == []
    # A group of too few batches is not accused, however bad it looks.
    few = only(worse=shuffled(("dry", 4.0, None), ("jam", -1.0, 0.9)))
    assert few.sentence.startswith("No way of keeping stands out")


def salt_tables(low: int, high: int, **response: object) -> dict[str, pl.DataFrame]:
    def band(group: str, spoiled: int, containers: int) -> dict[str, object]:
        return FERMENTS | {"group": group, "spoiled": spoiled, "containers": containers}

    asked = {"method": "ferment", "batches": 9, "evidence": "thin", "p_value": 0.2} | response
    by_salt = answer(
        "spoilage",
        band("ferment · 2.75 to 3.5 %", high, 22),
        band("ferment · 1 to 1.75 %", low, 9),
        band("ferment · 1.75 to 2.25 %", 2, 8),
        band("ferment · not recorded", 5, 5),
        band("pickle · 1 to 1.75 %", 1, 5),
    )
    return {"by_salt": by_salt, "salt_response": answer("salt_response", asked)}


def test_salt_with_few_batches() -> None:
    finding = only(**salt_tables(4, 1))
    assert finding.sentence == (
        "Ferments with 1 to 1.75 % salt lost 4 of 9 containers (four batches); with 2.75 to 3.5 %, 1 of 22 (four "
        f"batches); too few batches to be sure. {GUIDANCE}"
    )
    assert finding.action == RECIPE


@pytest.mark.parametrize(
    ("response", "words"),
    [
        ({"batches": 20, "p_value": 0.3, "hazard_ratio_per_half_point": 0.9}, "over all salt levels no clear trend"),
        ({"batches": 20, "p_value": None}, "over all salt levels no clear trend"),
        (
            {"batches": 20, "p_value": 0.01, "hazard_ratio_per_half_point": 0.5},
            "over all salt levels more salt went with less loss; chance alone would do this about 1 time in 100",
        ),
        (
            {"batches": 20, "p_value": 0.004, "hazard_ratio_per_half_point": 2.0},
            (
                "over all salt levels more salt went with more loss; chance alone would do this less than 1 time in "
                "100, so look for something else that differed"
            ),
        ),
    ],
)
def test_salt_with_enough_batches_never_argues_for_less(response: dict[str, object], words: str) -> None:
    finding = only(**salt_tables(0, 9, **response))
    assert f"; {words}. {GUIDANCE}" in finding.sentence


TRIAL = {"trial": "plum", "arm": "sweetener honey", "batches": 1, "tasters": 9, "evidence": "enough"}


def trial(**other: object) -> pl.DataFrame:
    compared = {"difference": 1.5, "low": 0.5, "high": 2.0, "p_value": 0.0195}
    return answer("trials", TRIAL, TRIAL | {"arm": "sweetener sugar"} | compared | other)


def test_which_make_was_liked_better() -> None:
    assert only(trials=trial()).sentence == (
        "Trial plum: sweetener sugar was liked better than sweetener honey, typically by 1.5 points of 9; chance "
        "alone would do this about 2 times in 100."
    )
    other_way = only(trials=trial(difference=-1.5, low=-2.0, high=-0.5)).sentence
    assert "sweetener honey was liked better than sweetener sugar" in other_way


def test_no_clear_difference_and_too_few_tasters() -> None:
    assert only(trials=trial(p_value=0.3, low=-0.5)).sentence == (
        "Trial plum: no clear difference in liking between sweetener sugar and sweetener honey (typical "
        "difference +1.5 points of 9, between -0.5 and +2.0)."
    )
    assert only(trials=trial(evidence="too little")).sentence == (
        "Trial plum: too few tasters to tell sweetener sugar from sweetener honey; where five people or fewer score "
        "two makes differently, even full agreement may be chance."
    )
    assert findings(trials=trial(difference=None)) == []


def firm(**other: object) -> pl.DataFrame:
    """Makes not told apart by liking, and compared on firmness."""
    alike = {"difference": 0.0, "low": 0.0, "high": 0.0, "p_value": 1.0}
    found = {"difference": 1.5, "low": 0.5, "high": 2.0, "p_value": 0.0195, "evidence": "enough"}
    return trial(**alike, **{f"firmness_{name}": value for name, value in (found | other).items()})


def test_firmness_is_told_beside_liking() -> None:
    liking, firmness = sorted(findings(trials=firm()), key=lambda finding: finding.weight)
    assert "no clear difference in liking" in liking.sentence
    assert firmness.sentence == (
        "Trial plum: sweetener sugar was firmer than sweetener honey, typically by 1.5 points of 9; chance alone "
        "would do this about 2 times in 100."
    )
    unclear = [finding.sentence for finding in findings(trials=firm(p_value=0.3))]
    assert any("no clear difference in firmness" in sentence for sentence in unclear)


def test_too_few_tasters_of_firmness_is_said_unless_it_was_said_of_liking() -> None:
    few = [finding.sentence for finding in findings(trials=firm(evidence="too little"))]
    assert few[1] == (
        "Trial plum: too few tasters to tell sweetener sugar from sweetener honey by their firmness; where five people "
        "or fewer score two makes differently, even full agreement may be chance."
    )
    both = firm(evidence="too little").with_columns(evidence=pl.lit("too little"))
    assert len(findings(trials=both)) == 1


def test_liking_less_salt_does_not_argue_for_less_than_published() -> None:
    arms = [TRIAL | {"arm": f"salt {band} %"} for band in ("1.75 to 2.25", "2.75 to 3.5")]
    compared = {"difference": -1.5, "low": -2.0, "high": -0.5, "p_value": 0.008}
    finding = only(trials=answer("trials", arms[0], arms[1] | compared))
    assert "salt 1.75 to 2.25 % was liked better than salt 2.75 to 3.5 %" in finding.sentence
    assert finding.sentence.endswith(GUIDANCE)
    assert finding.action == RECIPE


def lost(p_value: float | None, arms: tuple[str, str] = ("lid glass", "lid metal")) -> Finding:
    first, second = (
        TRIAL | {"arm": arm, "batches": 4, "spoiled": spoiled, "containers": 6, "lost_share": spoiled / 6}
        for arm, spoiled in zip(arms, (0, 2), strict=True)
    )
    return only(trials=answer("trials", first, second | {"spoiled_p_value": p_value}))


def test_what_a_trial_lost_and_what_can_be_made_of_it() -> None:
    counts = "Trial plum, containers lost so far: 0 of 6 (lid glass, four batches); 2 of 6 (lid metal, four batches)."
    assert lost(None).sentence == (
        f"{counts} That is too few batches to tell, since jars of a batch go off together and a test takes three "
        "batches of each make."
    )
    assert lost(0.3).sentence == f"{counts} That is no clear difference between lid metal and lid glass."
    clear = lost(0.03)
    assert clear.sentence == (
        f"{counts} That is more of lid metal than of lid glass: chance alone would do this about 3 times in 100."
    )
    assert clear.weight > lost(0.3).weight
    assert lost(0.03, ("salt 1 to 1.75 %", "salt 2.25 to 2.75 %")).sentence.endswith(GUIDANCE)


def test_weightiest_first_and_nothing_from_nothing() -> None:
    assert findings() == []
    found = findings(
        by_method=answer("spoilage", FERMENTS, FERMENTS | {"group": "jam", "kept_12m": 0.4}),
        worse=shuffled(("ferment", 3.0, 0.02), ("dry", -3.0, 1.0)),
    )
    assert [finding.sentence.split(" lost")[0] for finding in found] == [
        "Ferments",
        "3 of 11 jars of jam",
        "3 of 11 jars of ferments",
    ]
