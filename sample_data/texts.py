"""The settings file and the page that says what the folder is."""

from __future__ import annotations

from sample_data.scenario import Scenario
from sample_data.truth import CROPS

FRESH_NEEDS = ("lettuce", "pea", "bean", "courgette", "cucumber", "tomato", "kohlrabi", "carrot", "beetroot")
WARM_MONTHS_ONLY = frozenset({"lettuce"})
CONTAINER_NEEDS = {
    "kohlrabi": 24,
    "bean": 30,
    "tomato": 60,
    "plum": 40,
    "pea": 24,
    "cucumber": 24,
    "beetroot": 24,
}
CONTAINERS_FOR = 9
"""People that the container needs above are meant for."""


def settings(scenario: Scenario) -> str:
    """``rowshelf.toml`` of this garden."""
    grown = {line.crop for line in scenario.sowings} | {tree.crop for tree in scenario.trees}
    lines = [
        "# Invented settings of an invented garden.",
        "[garden]",
        f'name = "{scenario.garden_name}"',
        f"latitude = {scenario.latitude}",
        f'last_frost = "{scenario.last_frost}"',
        f'first_frost = "{scenario.first_frost}"',
        f"bed_area_m2 = {sum(plot.area_m2 for plot in scenario.plots):g}",
        "",
        "[household]",
        f"people = {scenario.people}",
        'fresh_use = "part"',
        "",
        "[units]",
        'date_order = "iso"',
        'pint = "imperial"',
        'report = "metric"',
        "",
        "[kitchen]",
        f"kg_per_week = {scenario.kitchen_kg_per_week:g}",
        f"jars = {scenario.jars}",
        "",
        "[plan]",
        "longest_gap = 3",
        "max_sowings = 6",
        "",
        "[share]",
        "smallest_group = 3",
    ]
    for crop in CROPS:
        needs = _needs(crop, scenario) if crop in grown else []
        if needs:
            lines += ["", f"[needs.{crop}]", *needs]
    return "\n".join(lines) + "\n"


def _needs(crop: str, scenario: Scenario) -> list[str]:
    lines = []
    if crop in FRESH_NEEDS:
        weekly = f"{CROPS[crop].fresh_kg * scenario.people:.1f}"
        cold = (12, 1, 2) if scenario.latitude > 0 else (6, 7, 8)
        by_month = ", ".join("0" if month in cold else weekly for month in range(1, 13))
        lines.append(f"fresh_kg_per_week = {f'[{by_month}]' if crop in WARM_MONTHS_ONLY else weekly}")
    if crop in CONTAINER_NEEDS:
        per_year = round(CONTAINER_NEEDS[crop] * scenario.people / CONTAINERS_FOR)
        lines.append(f"containers_per_year = {per_year}")
    return lines


def about(scenario: Scenario) -> str:
    """The page that says that all this is invented."""
    mess = (
        "Some batches break published limits, and some rows are wrong, on purpose: "
        "they show what a warning looks like. "
    )
    return (
        f"# {scenario.garden_name}\n"
        "\n"
        "Everything in this folder is invented: the place, the people, the weather and every figure. "
        f"`python -m sample_data.simulate` made it with seed {scenario.seed}. "
        "Growers and tasters are letters; no real person, place or business is meant.\n"
        "\n"
        f"{mess if scenario.honest_mess else ''}Nothing here is a recipe. "
        "Follow a tested recipe from your food-safety authority; "
        "local rules and qualified advice come first.\n"
        "\n"
        f"What the simulator drew from is in `{scenario.name}_truth.json`, beside this folder.\n"
    )
