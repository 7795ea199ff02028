"""The words for crops: one crop each, or a question; the grower's own words go first."""

from __future__ import annotations

from importlib.resources import files

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reference import crop_lookup, crop_reference
from pipeline.reference.names import CropLookup, fold, plurals, same_name

CROPS = crop_reference()
NAMES = pl.read_csv(files("pipeline.reference").joinpath("crop_names.csv").read_bytes(), infer_schema=False)
OWN = pl.DataFrame(
    {
        "crop": ["Zucchini", "Xingu", "sugar pea"],
        "aliases": ["Trombetta; butternut", None, "pea|eating pea"],
    }
)


@pytest.mark.parametrize(
    ("typed", "crop"),
    [
        ("tomatoes", "tomato"),
        ("cherry tomatoes", "tomato"),
        ("potatoes", "potato"),
        ("strawberries", "strawberry"),
        ("elderberries", "elderberry"),
        ("salad leaves", "leaf lettuce"),
        ("radishes", "radish"),
        ("peaches", "peach"),
        ("green beans", "bean"),
        ("runner beans", "pole bean"),
        ("fava beans", "broad bean"),
        ("brussels sprouts", "brussels sprout"),
        ("mustard greens", "leaf mustard"),
        ("turnip greens", "turnip top"),
        ("chives", "chive"),
        ("zucchini", "courgette"),
        ("zucchinis", "courgette"),
        ("rutabaga", "swede"),
        ("eggplants", "aubergine"),
        ("arugula", "rocket"),
        ("scallions", "spring onion"),
        ("cilantro", "coriander"),
        ("sweet corn", "sweetcorn"),
        ("black-eyed peas", "cowpea"),
        ("snap-peas", "sugar pea"),
    ],
)
def test_a_crop_is_known_by_its_other_names_and_plurals(typed: str, crop: str) -> None:
    assert crop_lookup(CROPS)[typed] == crop


@pytest.mark.parametrize(
    ("typed", "crop"),
    [
        ("chillies", "chilli"),
        ("Chilies", "chilli"),
        ("JALAPEÑOS", "chilli"),
        ("silver beet", "chard"),
        ("bak choi", "pak choi"),
        ("kūmara", "sweet potato"),
        ("kumara", "sweet potato"),
        ("cornichons", "cucumber"),
        ("sugarsnaps", "sugar pea"),
        ("purple sprouting broccoli", "broccoli"),
        ("Witloof", "chicory"),
        ("hispi cabbage", "cabbage"),
        ("rock melon", "melon"),
        ("peas in pod", "pea"),
        ("  bush   beans ", "bean"),
        ("Beans, green", "bean"),
        ("tomatoes (cherry)", "tomato"),
        ("organic carrots", "carrot"),
        ("brussels-sprouts", "brussels sprout"),
        ("lady\u2019s fingers", "okra"),
        ("yardlong beans", "yardlong bean"),
        ("snake bean", "yardlong bean"),
        ("dried chillies", "chilli"),
        ("red capsicum", "pepper"),
        ("carrots (purple)", "carrot"),
        ("baby turnips", "turnip"),
        ("cloves of garlic", "garlic"),
        ("heads of lettuce", "lettuce"),
        ("cilantro leaves", "coriander"),
        ("king edward potatoes", "potato"),
        ("red kuri squash", "winter squash"),
        ("beet greens", "beet leaf"),
        ("sweet potato leaves", "sweet potato leaf"),
        ("cassava leaves", "cassava leaf"),
        ("white nectarines", "white peach"),
        ("white peaches", "white peach"),
        ("adzuki beans", "adzuki bean"),
        # Another plant, or another part of it: not the crop that the last or the first word names.
        ("red beans", None),
        ("carrot leaves", None),
        ("air potato", None),
        ("black pepper", None),
        ("tea tree oil", None),
        # Two crops in one cell are neither.
        ("cherry, tomato", None),
        ("plum/tomato", None),
        ("apple / pear", None),
        ("carrots & peas", None),
        ("tomato and onion", None),
        ("carrots, washed", "carrot"),
        ("potato,", "potato"),
        ("pawpaws of our own", None),
        ("crème brûlée", None),
    ],
)
def test_case_accents_hyphens_plurals_and_word_order_make_no_other_crop(typed: str, crop: str | None) -> None:
    assert crop_lookup(CROPS).get(typed) == crop


@pytest.mark.parametrize("crop", CROPS["crop"].to_list())
def test_every_crop_is_known_by_its_own_name_and_plural(crop: str) -> None:
    lookup = crop_lookup(CROPS)
    assert lookup[crop] == lookup[crop.upper()] == lookup[next(plurals(crop))] == crop


def test_every_listed_word_stands_for_one_crop_or_is_asked_about() -> None:
    lookup = crop_lookup(CROPS)
    for row in NAMES.iter_rows(named=True):
        asked = lookup.unclear(row["name"])
        if row["can_mean"] is not None:
            assert asked is not None, row["name"]
            assert row["crop"] in asked.crops
            assert row["can_mean"] in asked.question() or len(asked.crops) > 1
        elif asked is None:
            assert lookup[row["name"]] == row["crop"], row["name"]
    assert NAMES.height > 4400
    assert NAMES["can_mean"].count() == 283


@pytest.mark.parametrize("word", ["squash", "field bean", "beet", "beets", "corn", "cos", "butter bean", "romanesco"])
def test_a_word_that_means_several_things_stands_for_none_of_them(word: str) -> None:
    assert word not in crop_lookup(CROPS)


@pytest.mark.parametrize(("word", "crop"), [("turnips", "turnip"), ("spinach", "spinach"), ("Plums", "plum")])
def test_a_crop_of_that_name_is_taken_as_typed_and_asked_about(word: str, crop: str) -> None:
    lookup = crop_lookup(CROPS)
    assert lookup[word] == crop
    assert lookup.unclear(word) is not None


def test_the_question_names_every_meaning_and_the_line_that_settles_it() -> None:
    asked = crop_lookup(CROPS).unclear("Turnips")
    assert asked is not None
    assert asked.question() == (
        "'turnips' can mean turnip or swede (US, AU, NZ, IN and south England: white turnip; Scotland, Ireland,"
        " north England: swede; CA: yellow turnip is swede): taken as turnip. To say which, write in crops.csv,"
        " under crop,aliases: `swede,turnips` or `turnip,`"
    )


@pytest.mark.parametrize(
    ("word", "begins", "ends"),
    [
        (
            "squash",
            "'squash' can mean courgette, winter squash or chayote (",
            "under crop,aliases: `courgette,squash`, `winter squash,squash` or `chayote,squash`",
        ),
        (
            "Beets",
            "'beets' can mean beetroot or something else (",
            ": `beetroot,beets`, or the other crop in its place",
        ),
        ("plum", "'plum' can mean plum or something else (", "taken as plum. To say which, write in crops.csv, under"),
    ],
)
def test_the_question_is_put_in_words(word: str, begins: str, ends: str) -> None:
    asked = crop_lookup(CROPS).unclear(word)
    assert asked is not None
    assert asked.question().startswith(begins)
    assert ends in asked.question()


@pytest.mark.parametrize(
    ("crop", "aliases", "word", "means"),
    [
        ("swede", "turnip; turnips", "turnips", "swede"),
        ("swede", "turnip", "Turnip", "swede"),
        ("turnip", None, "turnip", "turnip"),
        ("chard", "spinach", "spinach", "chard"),
        ("beetroot", "beet", "beets", "beetroot"),
        ("winter squash", "squash", "squashes", "winter squash"),
        ("spring onion", "shallots", "shallots", "spring onion"),
        ("spring onion", "shallots", "Shallot", "spring onion"),
    ],
)
def test_a_line_of_crops_csv_settles_what_a_word_means(crop: str, aliases: str | None, word: str, means: str) -> None:
    own = pl.DataFrame({"crop": [crop], "aliases": [aliases]}, schema={"crop": pl.String, "aliases": pl.String})
    lookup = crop_lookup(crop_reference(own), own)
    assert lookup[word] == means
    assert lookup.unclear(word) is None


def test_two_crops_claiming_one_spelling_is_an_error_that_names_both() -> None:
    crops = pl.DataFrame({"crop": ["oca", "yacon"], "aliases": ["ground apple", "Ground  Apple"]})
    with pytest.raises(ValueError, match="'ground apple' stands for both 'oca' and 'yacon'"):
        crop_lookup(crops)


def test_own_aliases_join_the_shipped_ones_and_move_a_shipped_alias_or_name() -> None:
    lookup = crop_lookup(crop_reference(OWN))
    assert lookup["trombetta"] == "courgette"
    assert lookup["zucchini"] == "courgette"
    assert lookup["butternut"] == "courgette"
    assert lookup["butternut squash"] == "winter squash"
    assert lookup["pea"] == "sugar pea"
    assert lookup["eating peas"] == "sugar pea"
    assert lookup["xingus"] == "xingu"


def test_two_own_rows_for_one_crop_or_alias_are_no_error_and_the_first_wins() -> None:
    own = pl.DataFrame(
        {
            "crop": ["zucchini", "courgette", "xingu"],
            "aliases": ["tromba", None, "tromba"],
            "base_c": [9.0, 8.0, 3.0],
        }
    )
    crops = crop_reference(own)
    assert crops.row(by_predicate=pl.col("crop") == "courgette", named=True)["base_c"] == 9.0
    assert crop_lookup(crops)["tromba"] == "courgette"


def test_a_crop_that_the_grower_lists_keeps_its_name_whatever_else_claims_it() -> None:
    own = pl.DataFrame({"crop": ["chard", "spinach"], "aliases": ["spinach", None]})
    assert crop_lookup(crop_reference(own), own)["spinach"] == "spinach"


@given(st.text(max_size=40))
def test_folding_settles_and_sees_neither_case_nor_spaces(text: str) -> None:
    assert fold(fold(text)) == fold(text)
    assert fold(f"  {text}  ") == fold(text)


@given(st.sampled_from(["xingu", "xíngu", "Xingus", "XINGU", "xingus "]))
def test_spellings_of_an_unknown_name_have_one_key(text: str) -> None:
    assert same_name(text) == "xingu"


def test_a_lookup_of_nothing_knows_nothing_and_asks_nothing() -> None:
    assert len(CropLookup()) == 0
    assert CropLookup().get("tomato") is None
    assert CropLookup().unclear("beet") is None
