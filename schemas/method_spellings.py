"""How growers name a way of keeping: the spellings of each word of ``method``, and what they say besides.

A way of keeping that has no word of its own lands where its limits are: a cordial is judged as a bottled food, fruit
leather as a dried one.
"""

from __future__ import annotations

_SPELLINGS: dict[str, tuple[str, ...]] = {
    "freeze": (
        *("frozen", "freezing", "deep frozen", "deep freeze", "deep freezing", "freezer"),
        *("blanched and frozen", "blanch and freeze", "frozen raw", "open frozen", "flash frozen"),
    ),
    "dry": (
        *("dried", "drying", "dehydrating", "air dried", "sun dried", "dehydrate", "dehydrated"),
        *("freeze dried", "freeze dry", "fruit leather", "leather", "oven dried", "air dry", "air drying"),
        *("sun dry", "sun drying", "solar dried", "oven dry", "oven drying", "hung to dry", "hang dried"),
        *("freeze drying", "lyophilised", "lyophilized", "dehydrator", "dryer", "drier", "powder"),
        *("powdered", "leathers", "fruit leathers", "fruit roll", "fruit roll up"),
    ),
    "pickle": (
        *("pickled", "pickles", "pickling", "quick pickle", "vinegar", "vinegar infusion", "infused vinegar"),
        *("in vinegar", "shrub", "relish", "chutney", "piccalilli", "quick pickled", "quick pickling"),
        *("fridge pickle", "refrigerator pickle", "fridge pickled", "vinegar pickle", "vinegared"),
        *("infused in vinegar", "vinegar infused", "sweet pickle", "chutneys", "relishes", "shrubs"),
    ),
    "ferment": (
        *("fermented", "fermenting", "fermentation", "lacto", "salt", "salted", "salting", "brined"),
        *("lacto fermented", "lactofermented", "kraut", "sauerkraut", "kimchi", "ferments"),
        *("fermented in brine", "fermented in salt", "salt brine", "brine pickle", "brine pickled"),
        *("dry salted", "dry salt", "in salt", "salt cured", "preserved in salt", "lacto ferment"),
        *("lacto fermentation", "curtido"),
    ),
    "jam": (
        *("jelly", "preserve", "preserves", "conserve", "marmalade", "fruit butter", "fruit cheese"),
        *("candied", "crystallised", "crystallized", "jams", "jellies", "marmalades", "conserves"),
        *("fruit paste", "fruit spread", "membrillo", "freezer jam", "in sugar", "preserved in sugar"),
        *("in honey", "preserved in honey", "candy", "candying", "glace"),
    ),
    "bottle": (
        *("bottled", "bottling", "can", "canned", "canning", "jarred", "cordial", "syrup", "juice", "juiced"),
        *("passata", "compote", "home canned", "home canning", "home bottled", "tinned", "hot pack"),
        *("hot packed", "raw pack", "raw packed", "cold pack", "jarring", "cordials", "syrups", "in syrup"),
        *("bottled in syrup", "juices", "juicing", "compotes"),
    ),
    "cure": (
        *("cured", "stored", "store", "root cellar", "root cellared", "clamp", "clamped", "in sand"),
        *("curing", "storing", "root cellaring", "cellar", "cellared", "in the cellar", "cold store"),
        *("cold stored", "cool store", "cool stored", "dry store", "dry stored", "kept whole", "braided"),
        *("plaited", "in straw", "in sawdust", "in boxes", "in a clamp", "earth pit"),
    ),
}

_HEATED: dict[str, tuple[str, ...]] = {
    "pressure": (*("pressure canned", "pressure can", "pressure canning", "pressure canner", "pressure bottled"),),
    "boiling water": (
        *("water bath", "waterbath", "water bathed", "water bath canned", "water bath canning"),
        *("boiling water bath", "boiling water canned", "hot water bath"),
    ),
    "steam": (*("steam canned", "steam canning"),),
    "oven": (*("oven canned", "oven canning", "oven bottled"),),
    "none": (*("open kettle", "open kettle canned", "open kettle canning"),),
}
"""How a way of heating is written in place of the method: bottled, and heated so."""

_NO_WORD = (
    *("confit", "in fat", "under fat", "in oil", "oil", "infused oil", "oil infusion", "herb oil", "pesto"),
    *("smoked", "smoking", "soup", "stock", "broth", "sauce", "hot sauce", "salsa", "ketchup", "puree", "paste"),
    *("wine", "cider", "mead", "beer", "kombucha", "kefir", "in alcohol", "in spirit", "in vodka", "in brandy"),
    *("liqueur", "tincture", "rumtopf", "miso", "tempeh", "koji", "curd", "vacuum packed", "vacuum sealed"),
    *("sous vide", "infusion"),
)
"""Ways of keeping with no word of their own: the word itself stays readable in the note, where that is empty."""

_KEPT_COLD: dict[str, str] = {
    "freezer jam": "freezer",
    "fridge pickle": "fridge",
    "refrigerator pickle": "fridge",
    "fridge pickled": "fridge",
}

METHOD_SPELLINGS: dict[str, str] = (
    {spelling: word for word, spellings in _SPELLINGS.items() for spelling in spellings}
    | {spelling: "bottle" for spellings in _HEATED.values() for spelling in spellings}
    | dict.fromkeys(_NO_WORD, "other")
)
"""Each spelling and the word of ``method`` that it stands for."""

METHOD_SAYS_ALSO: dict[str, dict[str, str]] = (
    {spelling: {"process": process} for process, spellings in _HEATED.items() for spelling in spellings}
    | {spelling: {"note": spelling} for spelling in _NO_WORD}
    | {spelling: {"store": store} for spelling, store in _KEPT_COLD.items()}
)
"""Spellings that say more than their word, and what they fill in other columns where those are empty."""
