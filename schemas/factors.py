"""What batches can be compared by: the one list.

``--by`` of the command, the columns that a container's history carries, what is held against spoilage, what may
differ between the arms of a trial, and how a value is said in a sentence are all read from here. A new comparison
is one row; its column must be one of ``batches`` in ``schemas/logs.py``, or made with the histories.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Factor:
    """One thing by which batches can differ."""

    name: str
    """What ``--by`` calls it."""
    noun: str
    """What groups of it are groups of: ``lid``, ``way of keeping``."""
    columns: tuple[str, ...]
    """The columns of a container's history behind it."""
    words: Mapping[str, str] = field(default_factory=dict)
    """How containers of a recorded value are called: ``under a metal lid``."""
    before: str = ""
    """Where a value has no words of its own, what stands before it: ``from plot``."""
    in_arm: str | None = None
    """What stands before a value in the arm of a trial; None where it is no part of a trial."""
    when_empty: str | None = None
    """What an empty cell means; None where it means that nothing was recorded."""
    compared: bool = False
    """Whether its values are held against spoilage."""
    yes_no: bool = False
    reviewed: bool = False
    """Whether the review groups by it."""
    modelled: bool = True
    """Whether the model of what keeps has an effect of it; what most batches leave open is only compared."""
    where_kept: bool = False
    """Whether it may be changed without changing a recipe."""


FACTORS: tuple[Factor, ...] = (
    Factor("method", "way of keeping", ("method",), in_arm="", reviewed=True),
    Factor(
        "salt",
        "salt level",
        ("salt_band", "salt_basis"),
        before="with salt",
        in_arm="salt ",
        compared=True,
        reviewed=True,
    ),
    Factor(
        "lid",
        "lid",
        ("lid",),
        words={
            "metal": "under a metal lid",
            "plastic": "under a plastic lid",
            "glass": "under a glass lid",
            "cloth": "under cloth",
            "bag": "in bags",
            "none": "without a lid",
        },
        in_arm="lid ",
        compared=True,
        reviewed=True,
        where_kept=True,
    ),
    Factor(
        "store",
        "store",
        ("store",),
        words={
            "pantry": "in the pantry",
            "cellar": "in the cellar",
            "fridge": "in the fridge",
            "freezer": "in the freezer",
        },
        in_arm="store ",
        compared=True,
        reviewed=True,
        where_kept=True,
    ),
    Factor("crop", "crop", ("crop",), before="of", in_arm="", reviewed=True),
    Factor(
        "piece",
        "cut",
        ("piece",),
        words={
            "whole": "of whole produce",
            "chunk": "of produce cut in chunks",
            "shred": "of shredded produce",
        },
        in_arm="cut ",
        compared=True,
        reviewed=True,
    ),
    Factor(
        "starter",
        "starter",
        ("starter",),
        words={"none": "made without a starter"},
        in_arm="starter ",
        # Nobody writes down a starter that was not there.
        when_empty="none",
        compared=True,
    ),
    Factor(
        "sweetener",
        "sweetener",
        ("sweetener",),
        words={
            "sugar": "made with sugar",
            "honey": "made with honey",
            "other": "made with another sweetener",
            "none": "made without a sweetener",
        },
        in_arm="sweetener ",
        when_empty="none",
        compared=True,
    ),
    Factor(
        "submerged",
        "cover of liquid",
        ("submerged",),
        words={"yes": "kept under the liquid", "no": "not kept under the liquid"},
        in_arm="submerged ",
        compared=True,
        yes_no=True,
    ),
    Factor(
        "vented",
        "vent",
        ("vented",),
        words={"yes": "that could vent", "no": "that could not vent"},
        in_arm="vented ",
        compared=True,
        yes_no=True,
    ),
    Factor(
        "heat_processed",
        "heat-processing",
        ("heat_processed",),
        words={"yes": "heat-processed", "no": "not heat-processed"},
        compared=True,
        yes_no=True,
    ),
    Factor(
        "process",
        "way of heating",
        ("process",),
        words={
            "none": "not heated once closed",
            "boiling water": "heated in boiling water",
            "steam": "heated in steam",
            "pressure": "heated in a pressure canner",
            "oven": "heated in an oven",
            "other": "heated another way",
        },
        in_arm="process ",
        compared=True,
        modelled=False,
    ),
    Factor(
        "acid_added",
        "acid added",
        ("acid_added",),
        words={
            "lemon juice": "with lemon or lime juice added",
            "citric acid": "with citric acid added",
            "vinegar": "with vinegar as added acid",
            "none": "without acid added",
        },
        in_arm="acid added ",
        compared=True,
        modelled=False,
    ),
    Factor(
        "weighted_by",
        "weight on top",
        ("weighted_by",),
        words={"none": "without a weight on top"},
        before="held down by",
        in_arm="held down by ",
        compared=True,
        modelled=False,
    ),
    Factor(
        "salt_kind",
        "kind of salt",
        ("salt_kind",),
        before="made with salt called",
        in_arm="salt called ",
        compared=True,
        modelled=False,
    ),
    Factor(
        "drying",
        "drying warmth",
        ("drying_band",),
        before="dried at",
        in_arm="dried at ",
        compared=True,
        modelled=False,
    ),
    Factor(
        "store_warmth",
        "warmth of the store",
        ("warmth_band",),
        before="kept at",
        compared=True,
        modelled=False,
        where_kept=True,
    ),
    Factor("size", "size of the container", ("size_band",), before="in containers of", compared=True, modelled=False),
    Factor("trial", "trial", ("trial",), before="of trial", modelled=False),
    Factor("batch", "batch", ("batch_id",), before="of batch"),
    Factor("plot", "plot", ("plot",), before="from plot"),
    Factor("year", "year", ("year",), before="made in"),
)

BY_NAME = {factor.name: factor for factor in FACTORS}
BY_COLUMN = {factor.columns[0]: factor for factor in FACTORS}


def value_in_words(column: str, value: str) -> str:
    """How containers of a recorded value are called: ``under a metal lid``, ``with salt 1 to 1.75 %``."""
    factor = BY_COLUMN.get(column) or BY_NAME.get(column)
    if value in {"not recorded", "none recorded"}:
        return f"with no {factor.noun if factor else column} recorded"
    if factor is None:
        return f"with {column.replace('_', ' ')} {value}"
    return factor.words.get(value) or f"{factor.before or f'with {factor.noun}'} {value}"
