"""Names of things put by that tell their crop or the way of keeping by themselves."""

from __future__ import annotations

PRODUCTS: dict[str, tuple[str | None, str | None]] = {
    "passata": ("tomato", "bottle"),
    "sauerkraut": ("cabbage", "ferment"),
    "kraut": ("cabbage", "ferment"),
    "kimchi": (None, "ferment"),
    "marmalade": (None, "jam"),
    "chutney": (None, "pickle"),
    "relish": (None, "pickle"),
    "jelly": (None, "jam"),
    "jam": (None, "jam"),
    "conserve": (None, "jam"),
    "raisins": ("grape", "dry"),
    "prunes": ("plum", "dry"),
    "gherkins": ("cucumber", "pickle"),
    "dills": ("cucumber", "ferment"),
    "achar": (None, "pickle"),
    "leather": (None, "dry"),
    "crisps": (None, "dry"),
    "jams": (None, "jam"),
    "jellies": (None, "jam"),
    "chutneys": (None, "pickle"),
    "ferments": (None, "ferment"),
    "pickles": (None, "pickle"),
    "compote": (None, "bottle"),
    "freezer": (None, "freeze"),
    "frozen": (None, "freeze"),
    "purple kraut": ("cabbage", "ferment"),
}
"""By name in lower case: the crop, and the way of keeping, each None where the name leaves it open."""
