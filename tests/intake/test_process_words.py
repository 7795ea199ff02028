"""How a batch was heated and soured: what the columns take, and what an old spelling of the method fills."""

from __future__ import annotations

from pathlib import Path

import pytest
from intake_frames import take

from schemas.codes import CODES

HEAD = "batch_id,made_on,method,crop,containers,process,process_minutes,acid_added,acid_weight,weighted_by,salt_kind\n"


def test_the_columns_of_heating_and_acid_are_read(tmp_path: Path) -> None:
    line = "K1,2026-08-01,bottle,tomato,2,hot water bath,45,bottled lemon juice,2 tbsp,a bag of brine,low-sodium\n"
    row = take(tmp_path / "season", HEAD + line, "batches.csv").core.row(0, named=True)
    assert (row["process"], row["process_minutes"]) == ("boiling water", 45.0)
    assert (row["acid_added"], round(row["acid_weight_g"], 1)) == ("lemon juice", 29.6)
    assert (row["weighted_by"], row["salt_kind"]) == ("a bag of brine", "low-sodium")


@pytest.mark.parametrize(
    ("method", "process", "word", "filled"),
    [
        ("pressure canned", "", "bottle", "pressure"),
        ("Pressure-Canning", "", "bottle", "pressure"),
        ("water bath", "", "bottle", "boiling water"),
        ("oven canned", "", "bottle", "oven"),
        ("open kettle", "", "bottle", "none"),
        ("pressure canned", "boiling water", "bottle", "boiling water"),  # what the column says stands
        ("pressure canned", "?", "bottle", None),
        ("bottle", "", "bottle", None),
        ("canned", "pressure cooker", "bottle", "other"),
        ("cordial", "", "bottle", None),
        ("confit", "", "other", None),
        ("root-cellar", "", "cure", None),
    ],
)
def test_a_spelling_of_the_method_may_fill_the_process(
    tmp_path: Path, method: str, process: str, word: str, filled: str | None
) -> None:
    line = f"K1,2026-08-01,{method},bean,2,{process},,,,,\nK2,2026-08-01,dry,bean,2,,,,,,\n"
    core = take(tmp_path / "season", HEAD + line, "batches.csv").core
    assert core.select("method", "process").rows() == [(word, filled), ("dry", None)]


def test_every_word_that_another_column_is_filled_with_is_a_word_of_that_column() -> None:
    for code in CODES.values():
        for spelling, fills in code.also.items():
            assert spelling in code.lookup()
            assert all(word in CODES[column].words for column, word in fills.items() if column != "note")


@pytest.mark.parametrize(
    ("typed", "word", "store", "note"),
    [
        ("fruit leather", "dry", None, None),
        ("Freeze-dried", "dry", None, None),
        ("syrup", "bottle", None, None),
        ("juice", "bottle", None, None),
        ("candied", "jam", None, None),
        ("vinegar infusion", "pickle", None, None),
        ("freezer jam", "jam", "freezer", None),
        ("refrigerator pickle", "pickle", "fridge", None),
        ("plaited", "cure", None, None),
        ("confit", "other", None, "confit"),
        ("In oil", "other", None, "in oil"),
        ("kombucha", "other", None, "kombucha"),
        ("wine", "other", None, "wine"),
    ],
)
def test_a_way_of_keeping_without_a_word_of_its_own_lands_where_it_is_judged(
    tmp_path: Path, typed: str, word: str, store: str | None, note: str | None
) -> None:
    head = "batch_id,made_on,method,crop,containers,store,note\n"
    lines = f"K1,2026-08-01,{typed},bean,2,,\nK2,2026-08-01,{typed},bean,2,pantry,from the far bed\n"
    core = take(tmp_path / "season", head + lines, "batches.csv").core
    assert core.select("method", "store", "note").rows() == [
        (word, store, note),
        (word, "pantry", "from the far bed"),
    ]
