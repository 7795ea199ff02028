"""Sourced values equal the published row they cite, on one basis each; the counts in the notes are the tables' own."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import polars as pl
import pytest

from pipeline import reference
from schemas.crop_values import READ_AS

VALUES = reference.crop_values_long()
SR28 = pl.read_csv(Path(__file__).with_name("sr28_extract.csv"), infer_schema=False)
"""Rows of the USDA National Nutrient Database, release 28 (2015, public domain), that the tables cite."""
FOOD = re.compile(r"USDA SR28 \(2015\), food (\d{5})")
HERE = files("pipeline.reference")
README = HERE.joinpath("README.md").read_text(encoding="utf-8")
TABLES = {
    path.name.removesuffix(".csv"): table
    for path in sorted(HERE.iterdir(), key=lambda path: path.name)
    if path.name.endswith(".csv") and "read_as" in (table := pl.read_csv(path.read_bytes(), infer_schema=False)).columns
}


def cited(name: str) -> list[tuple[str, float, str]]:
    """(crop, value, food number) of each value that cites a row of SR28."""
    rows = VALUES.filter(pl.col("name") == name, pl.col("source").str.starts_with("USDA SR28"))
    found = []
    for crop, value, source in rows.select("crop", "value", "source").iter_rows():
        match = FOOD.fullmatch(source)
        assert match, source
        found.append((crop, value, match[1]))
    return found


@pytest.mark.parametrize(("name", "least"), [("water_pct", 195), ("refuse_pct", 190)])
def test_water_and_refuse_equal_the_cited_row_of_sr28(name: str, least: int) -> None:
    published = {row["ndb_no"]: row[name] for row in SR28.iter_rows(named=True)}
    rows = cited(name)
    assert len(rows) >= least
    assert [(crop, food, value) for crop, value, food in rows if value != float(published[food])] == []


def test_the_extract_holds_what_is_cited_and_nothing_else() -> None:
    assert sorted(SR28["ndb_no"]) == sorted(
        {food for name in ("water_pct", "refuse_pct") for _, _, food in cited(name)}
    )


def test_no_water_or_refuse_of_sr28_is_left_from_memory() -> None:
    rows = VALUES.filter(pl.col("name").is_in(["water_pct", "refuse_pct"]))
    assert "from memory" not in set(rows["read_as"])
    left = rows.filter(pl.col("read_as") == "common practice, no source")["crop"].to_list()
    assert sorted(left) == ["broad bean", "lamb's lettuce", "oregano", "sage", "tarragon", "tomatillo"]


def test_yield_and_refuse_of_a_crop_are_of_the_same_weight() -> None:
    basis = VALUES.filter(pl.col("name").is_in(["yield_kg_per_m", "refuse_pct"]))
    assert basis["basis"].null_count() == 0
    assert set(basis["basis"]) == {"as picked", "in the pod", "shelled and dry"}
    assert basis.group_by("crop").agg(pl.col("basis").n_unique())["basis"].max() == 1
    water = VALUES.filter(pl.col("name") == "water_pct")
    assert set(water["basis"]) == {"prepared", "shelled and dry"}


def test_the_yield_of_lima_beans_is_the_published_shelled_weight_put_back_in_the_pod() -> None:
    values = {row["name"]: row["value"] for row in VALUES.filter(pl.col("crop") == "lima bean").iter_rows(named=True)}
    # Kansas State Univ. MF315: 25 lb shelled from 100 ft of row.
    shelled = 25 * 0.45359237 / (100 * 0.3048)
    assert values["yield_kg_per_m"] == pytest.approx(shelled / (1 - values["refuse_pct"] / 100), abs=0.01)


def test_the_share_of_fruit_is_that_of_its_group() -> None:
    shares = {row["id"]: row["value"] for row in reference.kitchen_values().iter_rows(named=True)}
    assert shares["fruit_share"] == 45
    assert shares["fruit_share_group_1"] == pytest.approx(100 * 47 / (47 + 55), abs=0.05)
    groups = dict(reference.jam_groups().select("crop", "fruit_group").iter_rows())
    assert (groups["strawberry"], groups["rhubarb"], groups["plum"], groups["guava"]) == (1, 1, 2, 2)
    assert set(groups) <= set(reference.crop_reference()["crop"])


def markdown(header: list[str], rows: list[list[object]]) -> str:
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join(f"| {' | '.join(str(cell) for cell in line)} |" for line in lines)


def test_the_counts_in_the_readme_are_those_of_the_tables() -> None:
    counts = {
        name: [table.height, *(table.filter(pl.col("read_as") == how).height for how in READ_AS)]
        for name, table in TABLES.items()
    }
    counts["all"] = [sum(column) for column in zip(*counts.values(), strict=True)]
    wanted = markdown(["table", "rows", *READ_AS], [[name, *numbers] for name, numbers in counts.items()])
    assert wanted in README, f"pipeline/reference/README.md: write\n\n{wanted}\n"


def test_the_readme_names_all_that_is_still_from_memory() -> None:
    rows: list[list[object]] = []
    for name, table in TABLES.items():
        memory = table.filter(pl.col("read_as") == "from memory")
        named = next(column for column in ("crop", "id", "food", "method", "place", *table.columns) if column in table)
        if name == "crop_values":
            parts = [(value, part["crop"]) for (value,), part in memory.group_by("name", maintain_order=True)]
        else:
            parts = [(name, memory[named])] if memory.height else []
        rows += [[value, len(which), ", ".join(which)] for value, which in sorted(parts, key=lambda part: part[0])]
    wanted = markdown(["value", "rows", "which"], rows)
    assert wanted in README, f"pipeline/reference/README.md: write\n\n{wanted}\n"


@pytest.mark.parametrize(
    ("crop", "words"),
    [
        ("lemon", "Lemons"),
        ("chilli", "hot chili"),
        ("ginger", "Ginger"),
        ("banana", "Bananas"),
        ("plantain", "Plantains"),
        ("passionfruit", "Passion-fruit"),
        ("feijoa", "Feijoa"),
        ("nashi", "asian"),
        ("mango", "Mangos"),
        ("papaya", "Papayas"),
        ("cassava", "Cassava"),
        ("taro", "Taro, raw"),
        ("yam", "Yam, raw"),
        ("amaranth", "Amaranth leaves"),
        ("bitter gourd", "bitter gourd"),
        ("chayote", "Chayote"),
        ("luffa", "dishcloth"),
        ("yardlong bean", "Yardlong"),
        ("moringa", "Drumstick leaves"),
        ("mushroom", "Mushrooms, white"),
        ("persimmon", "Persimmons"),
        ("okra", "Okra"),
    ],
)
def test_the_cited_food_is_the_crop(crop: str, words: str) -> None:
    foods = {food for name in ("water_pct", "refuse_pct") for known, _, food in cited(name) if known == crop}
    assert len(foods) == 1
    description = SR28.row(by_predicate=pl.col("ndb_no") == foods.pop(), named=True)["description"]
    assert words in description
