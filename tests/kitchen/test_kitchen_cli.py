"""``rowshelf kitchen`` as it is typed."""

from __future__ import annotations

import json
from typing import Any

import pytest

from pipeline.errors import UsageError
from pipeline.kitchen_cli import app


def run(*arguments: str) -> None:
    app(args=list(arguments), standalone_mode=False)


def answer(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    run(*arguments, "--json")
    captured = capsys.readouterr()
    assert captured.err == ""
    whole: dict[str, Any] = json.loads(captured.out)
    return whole


@pytest.mark.parametrize(
    ("arguments", "figure", "value"),
    [
        (["salt", "--produce", "2.5 kg", "--percent", "2.25"], "salt_g", 56.25),
        (["salt", "--produce", "5 lb", "--percent", "2,5 %"], "salt_g", 56.699),
        (["salt", "--produce", "1 kg", "--salt", "1 oz"], "salt_pct_of_produce", 2.835),
        (["salt", "--produce", "2 heads", "--crop", "cabbages", "--percent", "2"], "salt_pct_of_produce", 2.0),
        (["brine", "--produce", "1 kg", "--water", "1 l", "--percent", "2.5"], "salt_g", 51.282),
        (["brine", "--produce", "4 lb", "--water", "8 cups", "--strength", "7"], "brine_pct_before_packing", 7.0),
        (["pickle", "--vinegar", "1 pt", "--pint", "imperial"], "acid_pct_of_liquid", 5.0),
        (["pickle", "--vinegar", "2 cups", "--water", "1 qt"], "acid_pct_of_liquid", 1.6667),
        (["jam", "--fruit", "1 kg", "--crop", "plums", "--sugar", "2 lb 4 oz"], "sweetener_solids_g", 1020.583),
        (["jam", "--fruit", "1 kg", "--crop", "plum", "--altitude", "4000 ft"], "gel_jelly_c", 100.0),
        (["jam", "--fruit", "1 kg", "--crop", "kiwi", "--fruit-solids", "16", "--sugar", "490 g"], "final_g", 1000.0),
        (["dry", "--produce", "1 kg", "--crop", "pear", "--fresh-water", "84"], "dried_g", 200.0),
        (["dry", "--produce", "1 kg", "--crop", "oca", "--fresh-water", "80", "--target", "20"], "dried_g", 250.0),
        (["jars", "--produce", "14 lb", "--crop", "green beans", "--jar", "1 qt"], "jars_cut", 7.0),
    ],
)
def test_metric_and_us_measures(
    capsys: pytest.CaptureFixture[str], arguments: list[str], figure: str, value: float
) -> None:
    assert answer(capsys, *arguments)["figures"][figure]["value"] == pytest.approx(value, abs=2e-3)


def test_every_option_reaches_the_sum(capsys: pytest.CaptureFixture[str]) -> None:
    def rules(*arguments: str) -> list[str]:
        return [caution["rule"] for caution in answer(capsys, *arguments)["cautions"]]

    base = ("--produce", "1 kg", "--crop", "cabbage")
    assert rules("salt", *base, "--temperature", "86 F") == ["warm_ferment", "ph_missing"]
    assert rules("pickle", "--vinegar", "1 l", "--acid", "3.5", "--ph", "4.8") == ["ph_above_limit", "weak_vinegar"]
    assert rules("pickle", "--vinegar", "1 l", "--not-processed", "--store", "shelf") == ["pickle_not_processed"]
    jam = ("jam", "--fruit", "1 kg", "--crop", "plum", "--honey", "400 g", "--finished", "1 kg")
    assert rules(*jam) == ["honey_infants", "thin_jam"]
    assert rules(*jam, "--store", "fridge", "--note", "sealed with wax") == ["honey_infants", "jam_turned_or_waxed"]
    assert rules("dry", *base, "--weighed", "130 g", "--air", "95 F") == ["vegetable_too_moist", "cool_drying"]
    whole = answer(capsys, "dry", *base, "--water-error", "2", "--target", "8")
    assert whole["figures"]["dried_g"]["low"] == pytest.approx(1000 * (1 - 0.9418) / 0.92, abs=0.01)
    shredded = answer(capsys, "pickle", "--vinegar", "1 l", "--store", "fridge", "--piece", "slices")
    assert shredded["figures"]["ready_days"]["high"] == 7
    crushed = answer(capsys, "jars", "--produce", "10 kg", "--crop", "tomato", "--form", "crushed")
    assert list(crushed["figures"]) == ["jars_crushed", "kg_per_l_crushed"]


def test_text_is_printed_without_json(capsys: pytest.CaptureFixture[str]) -> None:
    run("salt", "--produce", "1 kg", "--percent", "2.5")
    out = capsys.readouterr().out
    assert out.startswith("Dry salting: 1 kg (2.2 lb) of produce\n")
    assert "Working: 1000 g x 2.5 / 100 = 25 g of salt" in out
    assert "What this does not tell" in out


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["salt", "--produce", "5"], "--produce '5': no unit: write such as 1.2 kg, 800 g or 3 lb 4 oz."),
        (["salt", "--produce", "0 kg"], "--produce '0 kg': write an amount above 0."),
        (["salt", "--produce", "2 heads"], "--produce '2 heads': counted, not measured"),
        (["salt", "--produce", "2 heads", "--crop", "sage"], "what one weighs is not known here"),
        (
            ["salt", "--produce", "1 kg", "--salt", "3 tbsp"],
            "tbsp is not a unit of weight: write such as 1.2 kg, 800 g or 3 lb 4 oz. Salt is weighed, not spooned",
        ),
        (["salt", "--produce", "1 kg", "--percent", "some"], "--percent 'some': expected a number, such as 5 or 2.5."),
        (["salt", "--produce", "1 kg", "--temperature", "warm"], "--temperature 'warm': expected a temperature"),
        (["salt", "--produce", "1 kg", "--piece", "slivers"], "--piece 'slivers': expected one of whole, chunk, shred"),
        (["salt", "--produce", "1 kg", "--crop", "cabbige"], "did you mean 'cabbage'? Leave --crop out for it."),
        (
            ["dry", "--produce", "1 kg", "--crop", "beets"],
            "'beets' can mean more than one thing (US: beetroot; GB: leaf",
        ),
        (["dry", "--produce", "1 kg", "--crop", "squash"], "Write 'courgette', 'winter squash' or 'chayote', or"),
        (["salt", "--produce", "1 kg", "--pint", "scots"], "--pint scots: write us or imperial."),
        (["brine", "--produce", "1 kg", "--water", "1 kg 2 l"], "--water '1 kg 2 l': "),
        (["jam", "--fruit", "1 kg", "--crop", "xingu"], "Give its solids with --fruit-solids."),
        (["jam", "--fruit", "1 kg", "--crop", "plum", "--altitude", "high"], "--altitude 'high': write a height"),
        (["dry", "--produce", "1 kg", "--crop", "xingu"], "Give its water with --fresh-water."),
        (["jars", "--produce", "1 kg", "--crop", "sage"], "sage: no published yield is known."),
    ],
)
def test_wrong_usage_says_what_to_write_instead(arguments: list[str], sentence: str) -> None:
    with pytest.raises(UsageError) as caught:
        run(*arguments)
    assert sentence in str(caught.value)
    assert caught.value.exit_code == 2


@pytest.mark.parametrize(
    ("share", "honey_g"), [("7/8", 875.0), ("0.875", 875.0), ("87.5 %", 875.0), ("87,5%", 875.0), ("1", 1000.0)]
)
def test_a_sweetener_may_be_a_share_of_the_fruit(
    capsys: pytest.CaptureFixture[str], share: str, honey_g: float
) -> None:
    whole = answer(capsys, "jam", "--fruit", "1 kg", "--crop", "plum", "--honey-share", share)
    weighed = answer(capsys, "jam", "--fruit", "1 kg", "--crop", "plum", "--honey", f"{honey_g} g")
    assert whole == weighed


@pytest.mark.parametrize("share", ["7/0", "1/2/3", "80", "much", "-1", "/2", ""])
def test_a_share_that_cannot_be_meant_is_refused(share: str) -> None:
    with pytest.raises(UsageError, match=r"--honey-share .*: write a share of the fruit's weight such as 7/8"):
        run("jam", "--fruit", "1 kg", "--crop", "plum", "--honey-share", share)


def test_salt_of_a_pickle_as_a_share_of_produce_and_vinegar(capsys: pytest.CaptureFixture[str]) -> None:
    base = ("pickle", "--vinegar", "500 ml", "--percent", "2")
    assert answer(capsys, *base, "--produce", "1.5 kg")["figures"]["salt_g"]["value"] == pytest.approx(40.0)
    run(*base, "--produce", "1.501 kg")
    said = " ".join(capsys.readouterr().out.split())
    assert "40.1 g (1.42 oz); 2 % of the produce and the liquid together" in said
    with pytest.raises(UsageError, match="give --produce as well"):
        run(*base)
    with pytest.raises(UsageError, match="give one of --percent, --salt, not 2"):
        run(*base, "--produce", "1 kg", "--salt", "20 g")
