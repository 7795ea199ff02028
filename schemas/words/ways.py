"""The ways of keeping in words: one row for each word of the ``method`` column."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Way:
    """How one way of keeping is said, by its place in a sentence."""

    plural: str
    """``Ferments``: begins a sentence on all of them."""
    jars: str
    """``jars of ferments``: what is counted."""
    participle: str
    """``fermented``: before the crop, or behind it where ``after``."""
    put_by: str
    """``fermented``: what was done with a batch; empty where that would say nothing."""
    on_label: str
    """``fermented``: on a label, behind the crop."""
    after: bool = False


WAYS: dict[str, Way] = {
    "ferment": Way("Ferments", "jars of ferments", "fermented", "fermented", "fermented"),
    "pickle": Way("Pickles", "jars of pickles", "pickled", "pickled", "in vinegar"),
    "jam": Way("Jam", "jars of jam", "jam", "made into jam", "jam", after=True),
    "bottle": Way("Bottled food", "jars of bottled food", "bottled", "bottled", "in closed jars"),
    "dry": Way("Dried food", "containers of dried food", "dried", "dried", "dried"),
    "freeze": Way("Frozen food", "containers of frozen food", "frozen", "frozen", "frozen"),
    "cure": Way("Food kept whole", "containers of food kept whole", "kept whole", "cured", "kept whole", after=True),
    "other": Way(
        "Food kept in other ways",
        "containers kept in other ways",
        "put by in other ways",
        "",
        "put by",
        after=True,
    ),
}


def kind_of_food(crop: str, method: str) -> str:
    """A crop and how it is kept: ``plum jam``, ``bottled pear``, ``onion kept whole``."""
    way = WAYS.get(method)
    if way is None:
        return f"{method} {crop}"
    return f"{crop} {way.participle}" if way.after else f"{way.participle} {crop}"
