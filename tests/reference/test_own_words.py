"""Crops in the grower's own words, wherever people read."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline import build, reference
from pipeline.cli import main
from pipeline.reference.own_words import OwnWords, own_names

Season = Callable[..., Path]
CROPS = reference.crop_reference(None)
LOOKUP = reference.crop_lookup(CROPS)
WORDS = OwnWords({"bean": "green beans", "pepper": "Capsicum", "courgette": "zucchini"}, frozenset(CROPS["crop"]))


def test_the_most_used_spelling_is_the_name_and_one_name_is_counted_over_its_spellings() -> None:
    typed = {"capsicum": 4, "capsicums": 3, "Capsicum": 3, "pepper": 8, "tomatoes": 5, "tomato": 5, "carrot": 9}
    assert own_names(typed, LOOKUP) == {"pepper": "capsicum"}
    assert own_names({"Zucchini": 3, "zucchini": 2, "courgette": 1}, LOOKUP) == {"courgette": "Zucchini"}


def test_a_spelling_that_says_more_than_the_name_is_no_name() -> None:
    assert own_names({"cherry tomatoes 2": 9, "tomato": 1, "large courgettes": 3}, LOOKUP) == {}


def test_a_kind_is_the_name_where_the_folder_has_no_other() -> None:
    assert own_names({"mirabelle plums": 3}, LOOKUP) == {"plum": "mirabelle plums"}
    assert own_names({"mirabelle plums": 3, "plum": 1}, LOOKUP) == {}
    assert own_names({"mirabelle plums": 3, "damson plums": 2}, LOOKUP).get("plum") is None


def test_crops_csv_goes_before_what_is_typed_most() -> None:
    assert own_names({"zucchini": 30}, LOOKUP, ["courgettes"]) == {"courgette": "courgettes"}
    assert own_names({"zucchini": 30}, LOOKUP, ["courgette"]) == {}


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Pepper: of 3 kg picked, 1 kg was lost (pepper).", "Capsicum: of 3 kg picked, 1 kg was lost (Capsicum)."),
        ("Courgette: of 3 kg picked.", "Zucchini: of 3 kg picked."),
        ("No need is known for bean, broad bean.", "No need is known for green beans, broad bean."),
        ("green beans stay green beans", "green beans stay green beans"),
        ("beanpole and peppery", "beanpole and peppery"),
    ],
)
def test_sentences_say_the_own_name_once_and_leave_other_words_alone(text: str, expected: str) -> None:
    assert WORDS.text(text) == expected
    assert WORDS.text(WORDS.text(text)) == expected


def test_tables_say_the_own_name_in_columns_and_in_names_of_groups() -> None:
    table = pl.DataFrame(
        {
            "crop": ["bean", None, "broad bean"],
            "grouping": ["method, crop", "method", "crop"],
            "group": ["ferment \u00b7 bean", "bean", "pepper"],
        }
    )
    own = WORDS.table(table)
    assert own["crop"].to_list() == ["green beans", None, "broad bean"]
    assert own["group"].to_list() == ["ferment \u00b7 green beans", "bean", "Capsicum"]


FOLDER = {
    "toml": "[garden]\nlatitude = -35\n",
    "harvests": (
        "picked_on,crop,weight\n2026-02-01,capsicum,3 kg\n2026-02-08,capsicum,2 kg\n2026-02-09,Zucchini,2 kg\n"
    ),
    "sowings": "sowing_id,sown_on,crop,amount\nS1,2025-10-01,capsicum,10 plants\nS2,2025-10-01,Zucchini,3 plants\n",
    "batches": (
        "batch_id,made_on,method,crop,containers,produce,salt\nB1,2026-02-10,ferment,capsicum,4,1 kg,5 g\n"
        "B2,2026-02-12,freeze,Zucchini,4,1 kg,\n"
    ),
    "spoilage": "found_on,batch_id,containers\n2026-03-01,B1,1\n",
}
DAY = ["--as-of", "2026-04-01"]


def run(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main([*words, *DAY]) == 0
    return capsys.readouterr().out


def test_every_page_table_label_and_calendar_says_capsicum(
    season: Season, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = season(**FOLDER)
    out = tmp_path / "out"
    calendar = tmp_path / "looks.ics"
    read = [run(capsys, command, str(folder)) for command in ("gluts", "shelf")]
    read += [run(capsys, "spoilage", str(folder), "--by", "crop")]
    run(capsys, "shelf", str(folder), "--calendar", str(calendar))
    run(capsys, "review", str(folder), "--out", str(out))
    run(capsys, "labels", str(folder), "--out", str(tmp_path / "labels"))
    read += [
        path.read_text(encoding="utf-8") for path in (calendar, out / "index.html", tmp_path / "labels" / "labels.html")
    ]
    for text in read:
        assert "capsicum" in text.casefold()
        assert "courgette" not in text.casefold()
    assert "Zucchini" in read[0]
    assert "pepper" not in read[0].casefold()


def test_csv_and_json_keep_the_name_of_the_reference(
    season: Season, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = season(**FOLDER)
    told = json.loads(run(capsys, "gluts", str(folder), "--json"))
    assert {row["crop"] for row in told["glut_waste"]} == {"pepper", "courgette"}
    build.review(folder, dt.date(2026, 4, 1), None, tmp_path / "out", 1, lambda _: None)
    table = pl.read_csv(tmp_path / "out" / "tables" / "glut_waste.csv")
    assert set(table["crop"]) == {"pepper", "courgette"}
