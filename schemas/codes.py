"""Each vocabulary once: the standard words, and known spellings of them.

A word in neither list is a problem, and the nearest standard word is offered.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from schemas.method_spellings import METHOD_SAYS_ALSO, METHOD_SPELLINGS
from schemas.words.spellings import MORE_NO, MORE_YES, SPELLINGS


@dataclass(frozen=True)
class Code:
    """One vocabulary: standard words with what each means, and other spellings that map to them."""

    name: str
    words: dict[str, str]
    spellings: dict[str, str] = field(default_factory=dict)
    also: dict[str, dict[str, str]] = field(default_factory=dict)
    """Spellings that say more than their own word: what they fill in other columns, where those are empty."""

    def lookup(self) -> dict[str, str]:
        """Every accepted spelling, lower case, and the standard word it stands for."""
        return SPELLINGS.get(self.name, {}) | {word: word for word in self.words} | self.spellings


METHOD = Code(
    "method",
    {
        "freeze": "frozen",
        "dry": "dried",
        "pickle": "kept in vinegar",
        "ferment": "kept in salt, soured by its own bacteria",
        "jam": "kept with sugar or honey",
        "bottle": "heat-processed in closed containers",
        "cure": "kept whole: onions, pumpkins",
        "other": "any other way",
    },
    METHOD_SPELLINGS,
    METHOD_SAYS_ALSO,
)
PROCESS = Code(
    "process",
    {
        "none": "not heated once closed",
        "boiling water": "in boiling water that covers the containers",
        "steam": "in flowing steam, without pressure",
        "pressure": "in a pressure canner",
        "oven": "in an oven",
        "other": "any other way",
    },
    {
        "no": "none",
        "not processed": "none",
        "unprocessed": "none",
        "hot fill": "none",
        "hot filled": "none",
        "open kettle": "none",
        "inverted": "none",
        "turned over": "none",
        "boiling-water": "boiling water",
        "boiling water bath": "boiling water",
        "boiling water canner": "boiling water",
        "water bath": "boiling water",
        "water-bath": "boiling water",
        "waterbath": "boiling water",
        "water bath canner": "boiling water",
        "hot water bath": "boiling water",
        "bwb": "boiling water",
        "boiled": "boiling water",
        "steam canner": "steam",
        "steamed": "steam",
        "atmospheric steam": "steam",
        "pressure canner": "pressure",
        "pressure canned": "pressure",
        "pressure canning": "pressure",
        "in the oven": "oven",
        # None of these reaches, or shows that it reaches, the heat of a pressure canner.
        "pressure cooker": "other",
        "pressure pan": "other",
        "multicooker": "other",
        "slow cooker": "other",
        "microwave": "other",
        "dishwasher": "other",
        "solar": "other",
        "sun": "other",
    },
)
ACID = Code(
    "acid_added",
    {
        "lemon juice": "bottled lemon or lime juice",
        "citric acid": "citric acid",
        "vinegar": "vinegar",
        "none": "no acid",
    },
    {
        "lemon": "lemon juice",
        "bottled lemon juice": "lemon juice",
        "bottled lemon": "lemon juice",
        "lime juice": "lemon juice",
        "citric": "citric acid",
        "vinegar 5%": "vinegar",
        "cider vinegar": "vinegar",
        "white vinegar": "vinegar",
        "wine vinegar": "vinegar",
        "no": "none",
        "-": "none",
    },
)
START = Code(
    "start",
    {"direct": "sown where it grows", "transplant": "raised elsewhere and planted out"},
    {
        "direct sown": "direct",
        "in situ": "direct",
        "in ground": "direct",
        "in the ground": "direct",
        "transplanted": "transplant",
        "tray": "transplant",
        "plug": "transplant",
        "plugs": "transplant",
        "module": "transplant",
        "modules": "transplant",
        "pot": "transplant",
    },
)
SWEETENER = Code(
    "sweetener",
    {"sugar": "sugar", "honey": "honey", "other": "another sweetener", "none": "no sweetener"},
    {"white sugar": "sugar", "cane sugar": "sugar", "no": "none", "-": "none"},
)
PIECE = Code(
    "piece",
    {"whole": "left whole", "chunk": "cut in pieces", "shred": "shredded or thinly sliced"},
    {
        "chunks": "chunk",
        "pieces": "chunk",
        "slices": "shred",
        "sliced": "shred",
        "shredded": "shred",
        "grated": "shred",
        "halves": "chunk",
        "cubes": "chunk",
    },
)
LID = Code(
    "lid",
    {
        "metal": "metal lid",
        "plastic": "plastic lid",
        "glass": "glass lid with clip or weight",
        "other": "another closure, such as a cork",
        "cloth": "cloth cover",
        "bag": "bag",
        "none": "no lid",
    },
    {
        "tin": "metal",
        "steel": "metal",
        "metallic": "metal",
        "metal lid": "metal",
        "plastic lid": "plastic",
        "glass lid": "glass",
        "no lid": "none",
        "freezer bag": "bag",
    },
)
STORE = Code(
    "store",
    {"pantry": "room or pantry", "cellar": "cool cellar", "fridge": "refrigerator", "freezer": "freezer"},
    {
        "cupboard": "pantry",
        "larder": "pantry",
        "shelf": "pantry",
        "basement": "cellar",
        "root cellar": "cellar",
        "refrigerator": "fridge",
        "deep freeze": "freezer",
        "chest freezer": "freezer",
        "deep freezer": "freezer",
    },
)
CROP_ACID = Code(
    "acid",
    {
        "acid": "pH well below 4.6, as of lemon or plum",
        "near limit": "pH about 4.6, as of tomato or fig",
        "low acid": "pH above 4.6, as of nearly all vegetables",
    },
    {
        "high acid": "acid",
        "acidic": "acid",
        "sour": "acid",
        "yes": "acid",
        "high": "acid",
        "near": "near limit",
        "borderline": "near limit",
        "medium": "near limit",
        "low": "low acid",
        "no": "low acid",
    },
)
CAUSE = Code(
    "cause",
    {
        "mould": "fuzzy or coloured growth",
        "yeast film": "pale flat film on the liquid",
        "soft": "gone soft",
        "slime": "slimy",
        "off smell": "smells wrong",
        "bulging": "container bulges",
        "leak": "container leaks",
        "rust": "rust on the lid",
        "damp": "dried food has taken up water",
        "insects": "insects inside",
        "freezer burn": "dried out in the freezer",
        "rot": "fresh produce rotted",
        "other": "something else",
    },
    {
        "mold": "mould",
        "mouldy": "mould",
        "moldy": "mould",
        "film": "yeast film",
        "kahm": "yeast film",
        "mushy": "soft",
        "slimy": "slime",
        "smell": "off smell",
        "bad smell": "off smell",
        "leaking": "leak",
        "leaked": "leak",
        "rusty": "rust",
        "moist": "damp",
        "moths": "insects",
        "weevils": "insects",
        "rotten": "rot",
        "rotted": "rot",
    },
)
ACTION = Code(
    "action",
    {
        "discarded": "thrown away",
        "composted": "put on the compost",
        "fed to animals": "fed to animals",
        "trimmed": "bad part cut off, rest kept",
        "redried": "dried again and kept",
        "skimmed": "film taken off, rest kept",
        "kept": "left as it was",
    },
    {
        "discard": "discarded",
        "binned": "discarded",
        "thrown away": "discarded",
        "threw away": "discarded",
        "thrown out": "discarded",
        "threw out": "discarded",
        "trash": "discarded",
        "compost": "composted",
        "chickens": "fed to animals",
        "animals": "fed to animals",
        "hens": "fed to animals",
        "trim": "trimmed",
        "re-dried": "redried",
        "dried again": "redried",
        "skim": "skimmed",
        "keep": "kept",
    },
)
LOST_ACTIONS = frozenset({"discarded", "composted", "fed to animals"})
"""Actions after which the container is gone."""

HARMLESS_CAUSES = frozenset({"yeast film", "rust"})
"""Findings that are no spoilage by themselves: the container is lost only if it was thrown away."""

USE = Code(
    "use",
    {
        "eaten": "eaten by the household",
        "given": "given away",
        "swapped": "swapped",
        "sold": "sold",
        "donated": "donated",
        "animals": "fed to animals",
    },
    {
        "ate": "eaten",
        "eat": "eaten",
        "used": "eaten",
        "cooked": "eaten",
        "gave": "given",
        "gift": "given",
        "given away": "given",
        "swap": "swapped",
        "sale": "sold",
        "donation": "donated",
        "food bank": "donated",
    },
)

YES_NO: dict[str, bool] = {
    "yes": True,
    "y": True,
    "true": True,
    "1": True,
    "x": True,
    "\u2713": True,
    "\u2714": True,
    "no": False,
    "n": False,
    "false": False,
    "0": False,
    **dict.fromkeys(MORE_YES, True),
    **dict.fromkeys(MORE_NO, False),
}

NOT_KNOWN = frozenset({"?", "??", "n/a", "na", "unknown", "not known", "don't know"})
"""Words that say that a value is not known: the same as an empty cell, whatever the column measures."""

EVIDENCE = ("enough", "thin", "too little")
"""``enough``: 8 batches or more; ``thin``: 3 to 7; ``too little``: fewer than 3."""

CODES: dict[str, Code] = {
    code.name: code
    for code in (METHOD, START, SWEETENER, PIECE, LID, STORE, PROCESS, ACID, CROP_ACID, CAUSE, ACTION, USE)
}
