"""How growers name their files, sheets and columns, beside the names of the contract.

A word may stand for several logs or columns; then the cells below decide, or the grower is asked. What is read by
one of these words is said, with the lines that settle it in ``rowshelf.toml``.
"""

from __future__ import annotations

from schemas.fields import Field
from schemas.logs import Log

FILE_WORDS: dict[str, tuple[str, ...]] = {
    "sowings": ("sow", "sowing", "sowed", "sown", "sowings", "planted", "planting", "plantings", "seeds", "seedlings"),
    "harvests": (
        *(
            "harvest",
            "harvests",
            "harvested",
            "harvesting",
            "pick",
            "picked",
            "picking",
            "pickings",
            "picks",
            "cropped",
        ),
        *("gathered", "gathering", "crop log", "brought in", "yield", "yields", "produce", "came in", "garden log"),
    ),
    "batches": (
        *("batch", "batches", "preserve", "preserves", "preserved", "preserving", "put by", "putting by", "put up"),
        *(
            "jars",
            "bottled",
            "bottling",
            "canned",
            "canning",
            "pickles",
            "pickled",
            "pickling",
            "jams",
            "jam",
            "ferments",
        ),
        *("fermented", "fermenting", "ferment", "larder", "pantry", "freezer", "frozen", "dried", "drying", "made"),
        *(
            "jam making",
            "store cupboard",
            "preserving log",
            "cellar",
            "chutneys",
            "storeroom",
            "kitchen log",
            "conserves",
        ),
    ),
    "ingredients": ("ingredients", "ingredient", "went into", "mixes", "recipes"),
    "spoilage": (
        *("loss", "losses", "lost", "spoilage", "spoiled", "spoilt", "thrown", "thrown out", "thrown away", "threw"),
        *("threw out", "binned", "waste", "wasted", "wastage", "went off", "gone off", "went bad", "gone bad", "bad"),
        *(
            "rotten",
            "rotted",
            "compost",
            "composted",
            "discarded",
            "failures",
            "checks",
            "checked",
            "jar check",
            "looks",
        ),
        *("jar checks", "shelf check", "shelf checks", "mouldy", "ruined"),
    ),
    "consumption": (
        *("used", "use", "uses", "using", "eaten", "ate", "eating", "consumed", "consumption", "opened", "taken out"),
        *("given", "given away", "gave", "sold", "sales", "swapped", "meals", "used up", "what we ate", "out of store"),
    ),
    "tastings": ("tasting", "tastings", "tasted", "taste", "tastes", "scores", "taste test", "verdicts", "ratings"),
    "weather": ("weather", "temperatures", "temperature", "temps", "min max"),
    "climate": ("climate", "normals", "climate normals"),
    "plots": ("plot", "plots", "beds", "allotments", "plot holders", "members", "gardens"),
    "crops": ("crop names", "names", "our words", "crops"),
}
"""Words in the name of a file or sheet."""

OUTWEIGHED: dict[str, frozenset[str]] = {
    "batches": frozenset({"consumption", "spoilage", "tastings", "ingredients"}),
    "harvests": frozenset({"spoilage", "consumption", "sowings"}),
    "plots": frozenset({"harvests", "sowings", "weather"}),
    "crops": frozenset({"harvests", "sowings"}),
}
"""What a name means when it also names something that is done: ``jars used`` is about using."""

WHEN = ("when", "day", "on", "dated", "fecha", "datum")
WHAT = ("what", "vegetable", "veg", "veggie", "fruit", "plant", "produce", "item", "thing", "kind", "product", "which")
HOW_MANY = ("number", "how_many", "no", "nr", "qty", "quantity", "count", "amount", "how_much", "pieces", "units")
HOW_MUCH = ("how_much", "amount", "quantity", "qty", "wt", "weighed", "how_heavy", "yield", "total", "weight_picked")
WHERE = ("where", "place", "location", "spot", "patch", "plot_no", "row", "raised_bed", "bed_no", "garden")
WHO = ("who", "by", "picked_by", "picker", "harvester", "person", "gardener", "name", "who_picked", "harvested_by")
REMARKS = ("observations", "other", "anything_else", "details", "memo", "remarks_notes", "extra", "further", "info")

HEADINGS: dict[str, dict[str, tuple[str, ...]]] = {
    "sowings": {
        "sown_on": (*WHEN, "sowed", "sown", "planted", "sow_date", "date_planted", "planting_date", "sowed_on"),
        "crop": (*WHAT, "seed", "seeds", "what_i_sowed", "what_sown"),
        "amount": (*HOW_MANY, *HOW_MUCH, "plants", "row_length", "length", "area", "row_m", "seedlings", "sown_amount"),
        "variety": ("sort", "cultivar", "type", "strain", "kind", "variety_name", "named"),
        "bed": WHERE,
        "start": ("how", "method", "started", "sown_how", "where_started", "raised", "started_in", "direct_or_tray"),
        "planted_out_on": ("planted_out", "transplanted", "moved_out", "set_out", "out", "bedded_out", "pricked_out"),
        "treatment": ("fed", "feed", "cover", "trial", "done_differently"),
        "note": REMARKS,
    },
    "harvests": {
        "picked_on": (*WHEN, "picked", "harvested", "harvest_date", "pick_date", "gathered", "date_in"),
        "crop": (*WHAT, "name", "what_we_picked", "what_picked", "picked_what", "crop_name", "harvest"),
        "weight": (*HOW_MUCH, *HOW_MANY, "weight_in", "picked_weight", "mass", "kilos_picked"),
        "bed": WHERE,
        "grower": WHO,
        "note": REMARKS,
    },
    "batches": {
        "batch_id": (
            "label",
            "lot",
            "ref",
            "code",
            "jar_label",
            "id",
            "batch_code",
            "reference",
            "lot_no",
            "tag",
            "key",
        ),
        "made_on": (*WHEN, "made", "date_made", "put_up", "put_by", "bottled", "done", "cooked", "packed", "filled_on"),
        "method": (
            "how",
            "type",
            "kind",
            "way",
            "process_used",
            "how_kept",
            "preserved_by",
            "style",
            "category",
            "made_by",
        ),
        "crop": (
            *WHAT,
            "main_ingredient",
            "contents",
            "made_from",
            "recipe",
            "made",
            "name",
            "of",
            "preserve",
            "what_s_in_it",
        ),
        "containers": (
            *HOW_MANY,
            *(
                "no_of_jars",
                "how_many_jars",
                "jars_made",
                "number_made",
                "tubs",
                "bottles",
                "made_number",
                "jars_filled",
            ),
            *(
                "yield",
                "packs",
                "packets",
                "boxes",
                "pots",
                "number_of_bags",
                "number_of_pots",
                "count_of_jars",
                "batch_size",
            ),
        ),
        "produce": (
            *HOW_MUCH,
            "fruit_weight",
            "veg_weight",
            "prepared",
            "raw",
            "raw_weight",
            "fresh_weight",
            "went_in",
        ),
        "salt": ("salt_used", "salt_added"),
        "vinegar_acid_pct": ("acidity", "vinegar_strength", "acid", "strength", "vinegar_pct", "vinegar_percent"),
        "sweetener_weight": ("sugar", "sugar_added", "sugar_used", "sweetener_amount", "sugar_weight", "honey"),
        "piece": ("cut", "cut_how", "shape", "chopped", "cut_as", "pieces_cut"),
        "container_volume": (
            "size",
            "jar_size",
            "container_size",
            "jar_volume",
            "volume",
            "each",
            "size_of_jar",
            "pot_size",
        ),
        "lid": ("closure", "top", "cap", "seal", "lids", "closed_with", "cover"),
        "submerged": ("under_brine", "under_liquid", "kept_under", "all_under"),
        "vented": ("airlock", "burped", "gas_out", "vent"),
        "store": (
            "where",
            "kept",
            "kept_in",
            "place",
            "location",
            "stored",
            "stored_in",
            "shelf",
            "put_where",
            "storage",
        ),
        "store_c": ("store_temp", "temp", "temperature", "room_temp", "storage_temp"),
        "finished": (
            "end_weight",
            "dry_weight",
            "final_weight",
            "weight_after",
            "dried_weight",
            "weight_out",
            "finished_weight",
        ),
        "heat_processed": ("processed", "water_bath", "heat_treated", "waterbathed", "pasteurised", "pasteurized"),
        "process_minutes": ("minutes", "time", "mins", "boiled_for", "processing_time"),
        "trial": ("experiment", "comparison", "test"),
        "note": REMARKS,
    },
    "ingredients": {
        "batch_id": ("label", "lot", "ref", "code", "jar", "into", "for"),
        "crop": (*WHAT, "ingredient"),
        "weight": (*HOW_MUCH, *HOW_MANY),
    },
    "spoilage": {
        "found_on": (
            *WHEN,
            "found",
            "noticed",
            "checked",
            "checked_on",
            "thrown_out",
            "date_found",
            "looked",
            "lost_on",
        ),
        "batch_id": ("label", "lot", "ref", "code", "jar", "which_jar", "which_batch", "batch_code", *WHAT),
        "crop": (*WHAT, "vegetable_or_fruit", "lost", "food"),
        "containers": (
            *HOW_MANY,
            "bad",
            "jars_lost",
            "lost",
            "number_lost",
            "how_many_bad",
            "bad_jars",
            "jars_bad",
            "gone",
        ),
        "weight": (*HOW_MUCH, "weight_lost", "lost_weight", "kilos_lost", "how_much_lost"),
        "cause": (
            *("why", "reason", "problem", "what_was_wrong", "what_happened", "wrong", "fault", "trouble", "because"),
            *("cause_of_loss", "what_went_wrong", "how_come", "what_i_saw"),
        ),
        "action": (
            "what_we_did",
            "did",
            "outcome",
            "then",
            "what_i_did",
            "done",
            "went_to",
            "where_to",
            "fate",
            "result",
        ),
        "note": REMARKS,
    },
    "consumption": {
        "used_on": (*WHEN, "used", "eaten", "opened", "opened_on", "date_used", "taken", "used_date", "out"),
        "batch_id": (
            "label",
            "lot",
            "ref",
            "code",
            "jar",
            "which_jar",
            "which_batch",
            "batch_code",
            "opened_jar",
            *WHAT,
        ),
        "crop": (*WHAT, "food", "what_we_used", "what_we_ate", "dish"),
        "containers": (*HOW_MANY, "jars_used", "opened_number", "number_used", "how_many_jars", "jars_opened", "tubs"),
        "weight": (*HOW_MUCH, "weight_used", "used_weight", "kilos_used"),
        "use": (
            *("who", "for", "to", "why", "purpose", "went_to", "where_to", "how", "who_for", "eaten_by", "given_to"),
            *("used_for", "reason", "what_for", "who_ate_it", "what_happened", "to_whom", "fate"),
        ),
        "note": REMARKS,
    },
    "tastings": {
        "tasted_on": (*WHEN, "tasted", "tried", "tried_on"),
        "batch_id": ("label", "lot", "ref", "code", "jar", "which", "which_jar", "what"),
        "taster": ("who", "by", "name", "person", "tasted_by", "eater", "judge"),
        "liking": ("score", "marks", "mark", "rating", "out_of_9", "points", "how_good", "stars", "liked", "taste"),
        "firmness": ("crunch", "texture", "crispness", "crisp", "bite", "crunchiness"),
        "note": (*REMARKS, "what_they_said"),
    },
    "weather": {
        "date": WHEN,
        "tmin_c": ("min", "low", "lowest", "night", "tmin", "minimum", "min_temp", "low_temp", "overnight", "temp_min"),
        "tmax_c": ("max", "high", "highest", "tmax", "maximum", "max_temp", "high_temp", "daytime", "temp_max"),
    },
    "climate": {
        "month": ("months", "mon"),
        "tmin_c": ("min", "low", "lowest", "night", "tmin", "minimum", "mean_min", "average_low", "avg_low"),
        "tmax_c": ("max", "high", "highest", "tmax", "maximum", "mean_max", "average_high", "avg_high"),
    },
    "plots": {
        "plot": ("name", "bed", "plot_no", "number", "no", "garden", "patch", "place"),
        "area_m2": ("area", "size", "m2", "sqm"),
        "people": ("mouths", "eaters", "household", "fed", "persons", "family_size", "how_many_people", "feeds"),
        "grower": ("who", "gardener", "holder", "plot_holder", "grown_by", "member"),
        "share": ("sharing", "agrees", "may_share", "shared", "ok_to_share", "consent"),
    },
    "crops": {
        "crop": ("name", "our_word", "word"),
        "aliases": ("other_names", "also_called", "also_known_as", "we_say"),
    },
}
"""Headings of each column beside its own name and its aliases, in lower case with underscores between words."""

UNIT_HEADINGS = frozenset({"unit", "units", "uom", "measure", "measured_in", "kg_or_g", "in", "unit_of_measure"})
"""Headings of a column that holds the unit of the number beside it."""

MASS_HEADINGS: dict[str, tuple[str, ...]] = {
    "harvests": ("weight",),
    "batches": ("produce",),
    "ingredients": ("weight",),
    "spoilage": ("weight",),
    "consumption": ("weight",),
}
"""The column that a heading means which is a unit of weight and nothing else, such as ``kg``."""

FILLERS = frozenset({"the", "a", "of", "our", "my", "approx", "about", "est", "in", "total", "we", "i", "please", "it"})
"""Words that change nothing about what a heading means."""

DONE = frozenset({"picked", "harvested", "lost", "used", "eaten", "made", "weight", "wt", "wasted", "prepared"})
"""Words beside a unit of weight in a heading, such as ``kg picked``."""

HEADING_UNITS: dict[tuple[str, str], str] = {
    ("sowings", "how_many"): "plants",
    ("sowings", "number"): "plants",
    ("sowings", "plants"): "plants",
    ("sowings", "count"): "plants",
    ("sowings", "seedlings"): "plants",
    ("harvests", "number"): "pieces",
    ("harvests", "how_many"): "pieces",
    ("harvests", "count"): "pieces",
    ("harvests", "pieces"): "pieces",
}
"""Headings that say that a bare number below them is counted."""

OWN_LABELS: dict[str, tuple[str, str]] = {"batches": ("batch_id", "made_on"), "sowings": ("sowing_id", "sown_on")}
"""Logs whose rows get a label made of crop and day where the grower gives none: its column, and that of the day."""


def spellings(log: Log) -> dict[str, tuple[str, ...]]:
    """For every heading that growers use, the columns of the log it may stand for, the likelier first."""
    found: dict[str, list[str]] = {}
    for name, words in HEADINGS[log.name].items():
        for word in words:
            columns = found.setdefault(word, [])
            if name not in columns:
                columns.append(name)
    return {word: tuple(columns) for word, columns in found.items()}


def field_of(log: Log, name: str) -> Field | None:
    """The column called ``name``, if the log has it."""
    return next((field for field in log.columns if field.name == name), None)
