"""The logs a grower keeps: one declaration per log, from which all else about it is made."""

from __future__ import annotations

from dataclasses import dataclass

from schemas import fields as f
from schemas.crop_values import CROP_VALUES
from schemas.fields import Field


@dataclass(frozen=True)
class Log:
    """One kind of log file."""

    name: str
    one_row_is: str
    why: str
    columns: tuple[Field, ...]
    key: tuple[str, ...] = ()
    """Typed columns that name a row; a second row of the same key is set aside."""
    needs_one_of: tuple[tuple[str, ...], ...] = ()
    """Groups of columns of which at least one is filled in."""

    def column(self, name: str) -> Field:
        """The column called ``name``."""
        return next(column for column in self.columns if column.name == name)

    @property
    def core_columns(self) -> dict[str, str]:
        """Typed columns in order, with their kind; ``source_file`` and ``source_line`` close the row."""
        typed = {name: kind for column in self.columns for name, kind in column.core_columns}
        return typed | {"source_file": "text", "source_line": "int"}


SOWINGS = Log(
    "sowings",
    "one sowing of one crop",
    "tells when a crop was sown and how much, so that days to harvest and kilos per metre can be learned",
    (
        f.identifier("sowing_id", "your own label for the sowing", required=True),
        f.day("sown_on", "day sown"),
        f.crop(),
        f.text("variety", "variety, as typed"),
        f.identifier("plot", "plot"),
        f.identifier("bed", "bed"),
        Field(
            "amount",
            f.AMOUNT,
            "how much was sown: `24 plants`, `3 m` of row, `1.5 m2`",
            required=True,
            ge=0.0,
            le=100_000.0,
        ),
        f.coded("start", "sown where it grows, or raised and planted out"),
        f.day("planted_out_on", "day planted out, for transplants", required=False),
        f.text("treatment", "anything done differently to compare, such as `fed` and `unfed`"),
        f.note(),
    ),
    key=("sowing_id",),
)
HARVESTS = Log(
    "harvests",
    "one picking",
    "tells what came out of the garden and when: the start of every other answer",
    (
        f.day("picked_on", "day picked"),
        f.crop(),
        f.weight("weight as picked, with its unit: `1.2 kg`, `3 lb 4 oz`, `3 heads`"),
        f.identifier("sowing_id", "the sowing it came from"),
        f.identifier("plot", "plot"),
        f.identifier("bed", "bed"),
        f.text("grower", "who picked; never leaves the folder"),
        f.note(),
    ),
)
BATCHES = Log(
    "batches",
    "one batch put by in one go",
    "tells how each batch was made, so that what kept can be told from what spoiled",
    (
        f.identifier("batch_id", "your own label for the batch, the one on the jars", required=True),
        f.day("made_on", "day made"),
        f.coded("method", "how it was kept", required=True),
        f.crop("main crop; a mixed batch lists the rest in ingredients.csv"),
        f.containers("how many jars, bags or crates were made", required=True, low=1),
        f.kilograms("produce", "weight of prepared produce that went in"),
        f.grams("salt", "weight of salt"),
        f.millilitres("water", "water added"),
        f.millilitres("vinegar", "vinegar added"),
        f.number("vinegar_acid_pct", "acid of the vinegar as on its label, percent", "pct", 0, 80),
        f.coded("sweetener", "what sweetened it"),
        f.grams("sweetener_weight", "weight of the sweetener"),
        f.text("starter", "starter used, if any: whey, brine of an older batch"),
        f.coded("piece", "how it was cut"),
        f.millilitres("container_volume", "volume of one container", core="container_ml"),
        f.coded("lid", "what closes it"),
        f.yes_no("submerged", "was everything kept under the liquid"),
        f.yes_no("vented", "could gas escape"),
        f.coded("store", "where it stands"),
        f.celsius("store_c", "temperature where it stands", low=-60, high=60),
        f.kilograms("finished", "weight when done (dried or cooked down)"),
        f.celsius("drying_c", "air temperature while drying", low=0, high=120),
        f.number("ph", "measured pH", None, 0, 14),
        f.yes_no("heat_processed", "were the closed containers heat-processed by a tested recipe"),
        f.coded("process", "how the closed containers were heated: only this column says so, a note does not"),
        f.number("process_minutes", "minutes that they were heated at full heat", "min", 0, 1440),
        f.coded("acid_added", "acid that went into every container: only this column says so, a note does not"),
        Field(
            "acid_weight",
            f.VOLUME,
            "that acid in all, by weight or by measure; a measure is taken at 1 g per ml",
            unit="g",
            ge=0.0,
            le=200_000.0,
            core="acid_weight_g",
        ),
        f.text("weighted_by", "what holds the produce under its liquid, such as a glass weight or a bag of brine"),
        f.text("salt_kind", "kind of salt, such as sea salt, iodised or reduced-sodium"),
        f.percent_said(
            "salt_pct",
            "salt in per cent of the produce, in place of its weight; with water or vinegar use one of the next two",
            ("salt_percent", "percent_salt", "salt_%", "salt%", "%_salt"),
        ),
        f.percent_said("salt_pct_of_produce", "salt in per cent of the prepared produce, in place of its weight"),
        f.percent_said("salt_pct_of_all", "salt in per cent of all that is in the jar, in place of its weight"),
        f.identifier("trial", "label shared by batches that are compared with one another"),
        f.identifier("plot", "plot"),
        f.note(),
    ),
    key=("batch_id",),
)
INGREDIENTS = Log(
    "ingredients",
    "one ingredient of a mixed batch",
    "shares a mixed batch among its crops",
    (
        f.identifier("batch_id", "the batch", required=True),
        f.crop(),
        f.weight("prepared weight of this crop in the batch"),
    ),
)
SPOILAGE = Log(
    "spoilage",
    "one look at a batch, or fresh produce thrown away",
    "tells what was lost and when; a look that finds nothing wrong is worth as much",
    (
        f.day("found_on", "day you looked"),
        f.identifier("batch_id", "the batch looked at"),
        f.crop("the crop, for fresh produce thrown away", required=False),
        f.containers("how many containers were bad; 0 means looked, all sound"),
        f.weight("weight thrown away, for fresh produce", required=False),
        f.coded("cause", "what was wrong"),
        f.coded("action", "what was done with it"),
        f.identifier("plot", "plot, for fresh produce thrown away"),
        f.note(),
    ),
    needs_one_of=(("batch_id", "crop"), ("containers", "weight")),
)
CONSUMPTION = Log(
    "consumption",
    "something used",
    "tells what your household really eats, and when jars leave the shelf",
    (
        f.day("used_on", "day used"),
        f.identifier("batch_id", "the batch it came from"),
        f.crop("the crop, for fresh produce", required=False),
        f.containers("how many containers"),
        f.weight("weight, for fresh produce", required=False),
        f.coded("use", "eaten, given, swapped, sold, donated"),
        f.identifier("plot", "plot, for fresh produce"),
        f.note(),
    ),
    needs_one_of=(("batch_id", "crop"), ("containers", "weight")),
)
TASTINGS = Log(
    "tastings",
    "one person's score of one batch",
    "tells which of two makes was liked better",
    (
        f.day("tasted_on", "day tasted"),
        f.identifier("batch_id", "the batch", required=True),
        Field("taster", f.TEXT, "who tasted; never leaves the folder", required=True),
        f.count("liking", "1 (dislike) to 9 (like)", required=True, low=1, high=9),
        f.count("firmness", "1 (soft) to 9 (firm)", low=1, high=9),
        f.note(),
    ),
)
WEATHER = Log(
    "weather",
    "one day",
    "lets the plan count warmth instead of days",
    (
        f.day("date", "day"),
        f.celsius("tmin_c", "lowest temperature of the day", required=True, low=-60, high=60),
        f.celsius("tmax_c", "highest temperature of the day", required=True, low=-60, high=60),
    ),
    key=("date",),
)
CLIMATE = Log(
    "climate",
    "one calendar month's normal",
    "stands in where no daily weather is kept",
    (
        f.count("month", "month, 1 to 12", required=True, low=1, high=12),
        f.celsius("tmin_c", "mean of the daily lowest temperatures", required=True, low=-60, high=60),
        f.celsius("tmax_c", "mean of the daily highest temperatures", required=True, low=-60, high=60),
        f.number("error_c", "how far a guessed mean may be off (one standard deviation); empty: measured", "C", 0, 30),
    ),
    key=("month",),
)
PLOTS = Log(
    "plots",
    "one plot",
    "tells how big each plot is and who agreed to share",
    (
        f.identifier("plot", "plot", required=True),
        f.number("area_m2", "area, square metres", "m2", 0, 1_000_000),
        f.number("people", "people who eat from it", None, 0, 10_000),
        f.text("grower", "who grows there; never leaves the folder"),
        f.yes_no("share", "does the grower agree to share this plot's totals"),
        f.text("label", "what a shared report may call the plot; left empty, it goes by a number"),
    ),
    key=("plot",),
)
CROPS = Log(
    "crops",
    "the grower's own words and values for a crop",
    "adds your own names and overrides any reference value",
    (
        Field("crop", f.TEXT, "crop", required=True),
        f.text("aliases", "other names for it, separated by ; or |"),
        f.text("family", "plant family, such as Rosaceae"),
        f.coded("acid", "how sour the ripe crop is by a published pH"),
        *(f.number(v.name, v.description, v.unit, v.low, v.high) for v in CROP_VALUES),
    ),
    key=("crop",),
)

LOGS: dict[str, Log] = {
    log.name: log
    for log in (
        SOWINGS,
        HARVESTS,
        BATCHES,
        INGREDIENTS,
        SPOILAGE,
        CONSUMPTION,
        TASTINGS,
        WEATHER,
        CLIMATE,
        PLOTS,
        CROPS,
    )
}

LATEST_DATE_COLUMN: dict[str, str] = {
    "sowings": "sown_on",
    "harvests": "picked_on",
    "batches": "made_on",
    "spoilage": "found_on",
    "consumption": "used_on",
    "tastings": "tasted_on",
    "weather": "date",
}
"""The column of each log that may not lie in the future."""

ENTRIES: dict[str, str] = {
    "harvest": "harvests",
    "batch": "batches",
    "look": "spoilage",
    "use": "consumption",
    "sowing": "sowings",
    "tasting": "tastings",
}
"""What one row is called where a person writes one at a time (``rowshelf add``, the logbook), and its log."""
