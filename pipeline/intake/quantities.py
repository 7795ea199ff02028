"""Numbers with their units as a grower writes them -> values in our base units.

One reading, or none: what could be meant in two ways is set aside with both ways named.
"""

from __future__ import annotations

import re
from fractions import Fraction

from pipeline.intake.cells import Cell, bad, tidy
from pipeline.intake.nearest import did_you_mean
from schemas.units import (
    BY_SPELLING,
    CONTAINER_WORDS,
    COUNT_WORDS,
    DIFFERS_BY_SYSTEM,
    IMPERIAL_SIZE_ML,
    MEASURED_AS,
    Unit,
)

LONGEST_NUMBER = 25
LARGEST_COUNT = 10**15
"""Far beyond any count, and well within what the store can hold."""
NUMBER = r"(?:\d+ \d+/\d+|\d+/\d+|\d{1,3}(?:[ '.,]\d{3})+(?!\d)(?:[.,]\d+)?|\d+(?:[.,]\d+)?|[.,]\d+)"
_PLAIN = re.compile(r"(\d*)(?:([.,])(\d+))?")
_GROUPED = re.compile(r"\d{1,3}(?P<mark>[ '.,])\d{3}(?:(?P=mark)\d{3})*(?:(?!(?P=mark))[.,]\d+)?")
_UNIT = r"(?:m|ft)2|[^\d\s.,+&]*(?:\.? (?:oz|ounces?|m|ft|feet|foot|metres?|meters?)(?!\w))?"
_QUANTITY = re.compile(rf"({NUMBER}) ?({_UNIT})\.?,? ?(?:(?:and |& ?|\+ ?)(?=[\d.]))?", re.IGNORECASE)
_RANGE = re.compile(r"\d ?(?:-|to|bis) ?\d")
_TIMES = re.compile(r"[\d.,]+ ?[a-z]* ?[x*\u00d7] ?\d", re.IGNORECASE)
_HYPHENED = re.compile(r"(\d+) ?- ?(\d+/\d+)(?![\d/])")
_DOZENS = re.compile(
    rf"({NUMBER}|an?|half an?) ?(?:dozens?|doz|dz)\.?(?: ({'|'.join(COUNT_WORDS)}|{'|'.join(CONTAINER_WORDS)}))?",
    re.IGNORECASE,
)
_THINGS = re.compile(rf"({NUMBER}) ?([^\W\d]+(?: (?:box|boxes|bushels?))?)\.?(?: of [^\d]*)?", re.IGNORECASE)
_COUNTED = re.compile(rf"(-?)({NUMBER})(?: ?(?:{'|'.join(CONTAINER_WORDS)}))*", re.IGNORECASE)
_ABOUT = re.compile(r"^(?:~|ca\.?|circa|about|approx\.?|approximately|roughly) ?", re.IGNORECASE)
_SIGNED = re.compile(r"([+-]?) ?(.*)", re.DOTALL)
_DEGREES = re.compile(
    rf"([+-]?) ?({NUMBER}) ?(?:[°º]|o(?= ?[cf])|deg(?:rees?)?\.?)? ?(c|f|celsius|centigrade|fahrenheit)?\.?",
    re.IGNORECASE,
)
FINE_UNITS = frozenset({"g", "ml", "mg"})
"""Units of which nobody writes a thousandth, as of plants or jars: ``1.250 g`` may as well mean 1250 g."""


def _read_number(text: str) -> float | Cell:
    """The number; a complaint where it can be read in two ways (``1,234``) or is none that can be meant."""
    if len(text) > LONGEST_NUMBER or text.endswith("/0"):
        return bad("not_a_number", f"{text[:40]} is not a number that can be meant")
    if "/" in text:
        return _read_fraction(text)
    if match := _PLAIN.fullmatch(text):
        whole, mark, decimals = match.groups()
        if mark == "," and len(decimals) == 3 and 1 <= len(whole) <= 3 and whole[0] != "0":
            return _two_readings(text)
        return float(f"{whole or 0}.{decimals or 0}")
    if match := _GROUPED.fullmatch(text):
        return float(text.replace(match["mark"], "").replace(",", "."))
    return bad("not_a_number", f"{text[:40]!r} is not a number: write such as 1234.5")


def _read_fraction(text: str) -> float | Cell:
    whole, _, fraction = text.rpartition(" ")
    top, bottom = fraction.split("/")
    value = float(int(whole or 0) + Fraction(int(top), int(bottom)))
    if not whole and len(top) > 1 and int(top) > int(bottom):
        mixed = f"{top[:-1]} {top[-1]}/{bottom}"
        return bad("two_readings", f"{text!r} can be read in two ways: write {mixed} or {value:g}")
    return value


def _two_readings(text: str) -> Cell:
    """Both readings, each written so that it has only one: a fourth decimal is never taken for a thousand."""
    whole, decimals = re.split("[.,]", text)
    point = f"{whole}.{decimals[:-1]}" if decimals.endswith("0") else f"{whole}.{decimals}0"
    return bad("two_readings", f"{text!r} can be read in two ways: write {whole}{decimals} or {point}")


def thousand_or_point(text: str) -> Cell:
    """A complaint about ``1.250``, which is 1250 where a comma stands for the decimal point; else an empty cell."""
    match = _POINTED.search(tidy(text))
    return _two_readings(match[0]) if match else Cell()


def number(text: str | None, *, percent: bool = False, unit: str | None = None) -> Cell:
    """A plain number; a trailing ``%`` is allowed where percent are meant. ``unit`` is named in a complaint."""
    plain = tidy(text)
    if percent:
        plain = plain.removesuffix("%").strip()
    if not plain:
        return Cell()
    sign, body = _signed(plain)
    if not re.fullmatch(NUMBER, body):
        in_unit = f" in {unit}" if unit and not percent else ""
        return bad("not_a_number", f"expected a number{in_unit}, such as 5 or 2.5")
    value = _read_number(body)
    return value if isinstance(value, Cell) else Cell(sign * value)


def _signed(plain: str) -> tuple[float, str]:
    match = _SIGNED.fullmatch(plain)
    return (-1.0 if match and match[1] == "-" else 1.0), match[2] if match else plain


def count(text: str | None) -> Cell:
    """A whole number; a word for what is counted (``6 jars``) may follow, and dozens are counted out."""
    plain = tidy(text)
    if not plain:
        return Cell()
    match = _COUNTED.fullmatch(plain)
    if match and _THOUSANDTHS.fullmatch(match[2]):
        whole, _ = match[2].split(".")
        return bad("two_readings", f"{match[2]!r} can be read in two ways: write {whole}000 or {whole}")
    value = _read_number(match[2]) if match else _dozens(plain)
    if isinstance(value, Cell):
        return value
    if value is None or value != int(value) or value > LARGEST_COUNT:
        return bad("not_a_whole_number", "expected a whole number alone, such as 6")
    return Cell(-int(value) if match and match[1] else int(value))


def _dozens(plain: str) -> float | Cell | None:
    """How many ``2 dozen`` are; None for anything else."""
    match = _DOZENS.fullmatch(plain)
    if match is None:
        return None
    word = match[1].casefold()
    some = {"a": 1.0, "an": 1.0, "half a": 0.5, "half an": 0.5}.get(word)
    value = _read_number(word) if some is None else some
    return value if isinstance(value, Cell) else 12 * value


def temperature(text: str | None, header_unit: str | None = None) -> Cell:
    """Degrees Celsius; ``65 F``, or a bare number under a header that says F, is converted."""
    plain = tidy(text)
    if not plain:
        return Cell()
    match = _DEGREES.fullmatch(plain)
    value = _read_number(match[2]) if match else Cell()
    if match is None or isinstance(value, Cell):
        return bad("not_a_temperature", "expected a temperature in degrees C, such as 18, or 65 F")
    value = -value if match[1] == "-" else value
    fahrenheit = (match[3] or header_unit or "c")[0].casefold() == "f"
    return Cell((value - 32.0) / 1.8 if fahrenheit else value)


def quantity(
    text: str | None, wanted: str, header_unit: str | None, *, pint: str = "us", countable: bool = False
) -> Cell:
    """A weight (in g), a volume (in ml), or counted produce (value = count, unit = ``piece``).

    Args:
        text: the cell.
        wanted: ``mass`` or ``volume``; a liquid may be weighed (1 g = 1 ml).
        header_unit: the unit that the header names, for a bare number.
        pint: ``us`` or ``imperial``.
        countable: whether ``3 heads`` will do.
    """
    plain = tidy(text)
    if not plain:
        return Cell()
    if match := _SIMPLE.fullmatch(plain):
        unit = BY_SPELLING[match[2]]
        if unit.quantity == wanted:
            return Cell(float(match[1]) * unit.size)
    rough = _ABOUT.sub("", plain)
    sign, body = _signed(rough)
    counted = _of_things(body, header_unit, pint if countable else None)
    if counted is not None and not isinstance(counted, Cell):
        return _counted(sign * counted[0], counted[1], wanted, countable=countable)
    parts = counted or _parts(body, header_unit)
    if isinstance(parts, Cell):
        return _with_example(parts, wanted)
    total = _sum_parts(parts, wanted, pint)
    return total if isinstance(total, Cell) else Cell(sign * total, estimated=rough != plain)


def _with_example(complaint: Cell, wanted: str) -> Cell:
    if complaint.rule == "unit_missing":
        message = f"{complaint.message}: write such as {EXAMPLES[wanted]}, or name the unit in the header"
        return bad(complaint.rule, message)
    if complaint.rule == "not_a_quantity":
        return bad(complaint.rule, f"{complaint.message}: write such as {EXAMPLES[wanted]}")
    return complaint


EXAMPLES = {"mass": "1.2 kg, 800 g or 3 lb 4 oz", "volume": "500 ml, 1.5 l or 2 qt"}
_SIMPLE = re.compile(r"(\d{1,9}(?:\.\d{1,2})?) ?(kg|g|ml)", re.ASCII)
"""The usual way to write a quantity, which can be read at once; :func:`_parts` reads it the same way."""


def _of_things(body: str, header_unit: str | None, pint: str | None) -> tuple[float, str] | Cell | None:
    """A number of bunches, heads or boxes and the word for them; what is wrong with it; None for anything else.

    ``pint`` says that quarts and litres of berries are boxes of them; it is None where they are a liquid.
    """
    if match := _DOZENS.fullmatch(body):
        value = _dozens(body)
        unit = COUNT_WORDS.get((match[2] or "").casefold(), "piece")
        return (value, unit) if isinstance(value, float) else value
    match = _THINGS.fullmatch(body)
    if match is None:
        return None
    word = match[2].casefold().rstrip(".")
    measure = BY_SPELLING[word].name if word in BY_SPELLING else ""
    if word not in COUNT_WORDS and (pint != "us" or measure not in MEASURED_AS):
        return None
    parts = _parts(f"{match[1]} {word if word in BY_SPELLING else 'head'}", header_unit)
    if isinstance(parts, Cell):
        return parts
    unit, size = (COUNT_WORDS[word], 1.0) if word in COUNT_WORDS else MEASURED_AS[measure]
    return parts[0][0] * size, unit


def _counted(value: float, unit: str, wanted: str, *, countable: bool) -> Cell:
    if not countable:
        return bad("not_weighed", f"counted, not measured: write such as {EXAMPLES[wanted]}")
    return Cell(value, unit=unit, estimated=True)


def _parts(plain: str, header_unit: str | None) -> list[tuple[float, str]] | Cell:
    """Pairs of number and unit word, or what is wrong."""
    if several := _several(plain):
        return bad("two_readings", several)
    found: list[tuple[str, str]] = []
    position = 0
    while position < len(plain):
        match = _QUANTITY.match(plain, position)
        if not match:
            return bad("not_a_quantity", "expected a number and a unit")
        found.append((match[1], match[2].casefold().strip().replace(".", "")))
        position = match.end()
    if len(found) == 1 and not found[0][1]:
        if header_unit is None:
            return bad("unit_missing", "no unit")
        found = [(found[0][0], header_unit)]
    if any(not unit for _, unit in found):
        return bad("unit_missing", "a number without a unit")
    return _valued(found) or bad("not_a_quantity", "expected a number and a unit")


def _several(plain: str) -> str:
    """What to write where there is more than one number; an empty text where all is one quantity."""
    if hyphened := _HYPHENED.search(plain):
        return f"{hyphened[0]!r} may be a range: write {hyphened[1]} {hyphened[2]}, or the one number you mean"
    if _RANGE.search(plain):
        return "a range: write the one number you mean"
    return "a multiplication: write the one quantity you mean" if _TIMES.match(plain) else ""


def _valued(found: list[tuple[str, str]]) -> list[tuple[float, str]] | Cell:
    parts = []
    for text, word in found:
        unit = BY_SPELLING.get(word)
        whole_things = word in COUNT_WORDS or (unit is not None and unit.quantity == "count")
        if (whole_things or (unit is not None and unit.name in FINE_UNITS)) and _THOUSANDTHS.fullmatch(text):
            return _two_readings(text)
        value = _read_number(text)
        if isinstance(value, Cell):
            return value
        parts.append((value, word))
    return parts


_POINTED = re.compile(r"(?<![\d.,])[1-9]\d{0,2}\.\d{3}(?![\d.,])")
_THOUSANDTHS = re.compile(r"[1-9]\d{0,2}\.\d{3}")


def _sum_parts(parts: list[tuple[float, str]], wanted: str, pint: str) -> float | Cell:
    units = _units(parts, wanted)
    if isinstance(units, Cell):
        return units
    if wanted == "volume" and units[-1].name == "oz":
        return bad("two_readings", "an ounce is a weight or a measure: write fl oz, or the weight in g")
    kinds = {unit.quantity for unit in units}
    fits = kinds == {wanted} or (wanted == "volume" and kinds == {"mass"})
    if not fits:
        return bad("wrong_unit", _wrong_unit(wanted, units))
    sizes = [_size(unit, pint) for unit in units]
    if sizes != sorted(set(sizes), reverse=True):
        return bad("two_readings", "more than one quantity in the cell: write one, such as 3 lb 4 oz")
    return _too_much_of_a_part(parts, sizes, wanted) or sum(
        value * size for (value, _), size in zip(parts, sizes, strict=True)
    )


def _too_much_of_a_part(parts: list[tuple[float, str]], sizes: list[float], wanted: str) -> Cell | None:
    """A complaint about ``1 lb 20 oz``, whose smaller part is more than one of the larger."""
    for (_, larger), (value, word), whole, size in zip(parts, parts[1:], sizes, sizes[1:], strict=False):
        if value * size >= whole:
            said = f"{value:g} {word} is a whole {larger} or more"
            return bad("two_readings", f"{said}: check the unit, and write one quantity, such as {EXAMPLES[wanted]}")
    return None


def _units(parts: list[tuple[float, str]], wanted: str) -> list[Unit] | Cell:
    """The unit of each part, or what is wrong with one."""
    if any(word in COUNT_WORDS for _, word in parts):
        return bad("wrong_unit", f"counted and weighed in one cell: write one of them, such as {EXAMPLES[wanted]}")
    units = []
    for _, word in parts:
        unit = BY_SPELLING.get(word)
        if unit is None:
            return bad("unit_unknown", f"unit {word!r} is not known{_nearest(word, wanted)}")
        units.append(unit)
    return units


def _wrong_unit(wanted: str, units: list[Unit]) -> str:
    names = ", ".join(dict.fromkeys(unit.name for unit in units))
    return f"{names} is not a unit of {'weight' if wanted == 'mass' else 'volume'}: write such as {EXAMPLES[wanted]}"


def _size(unit: Unit, pint: str) -> float:
    if pint == "imperial" and unit.name in DIFFERS_BY_SYSTEM:
        return IMPERIAL_SIZE_ML[unit.name]
    return unit.size


def amount(text: str | None, header_unit: str | None) -> Cell:
    """How much was sown: plants, metres of row or square metres; the unit stays with the value."""
    plain = tidy(text)
    if not plain:
        return Cell()
    parts = _parts(plain, header_unit)
    if isinstance(parts, Cell):
        if parts.rule in {"unit_missing", "not_a_quantity"}:
            return bad(parts.rule, f"{parts.message}: write such as 24 plants, 3 m or 1.5 m2")
        return parts
    if len(parts) > 1:
        return bad("two_readings", "more than one amount in the cell: write one, such as 24 plants")
    value, word = parts[0]
    unit = BY_SPELLING.get(word)
    base = {"length": "m", "area": "m2", "count": "plants"}
    if unit is None or unit.quantity not in base:
        return bad("unit_unknown", f"{word!r} is not an amount to sow: write such as 24 plants, 3 m or 1.5 m2")
    return Cell(value * unit.size, unit=base[unit.quantity])


def _nearest(word: str, wanted: str) -> str:
    known = {spelling: spelling for spelling in (*BY_SPELLING, *COUNT_WORDS)}
    return did_you_mean(word, known, 70) or f": write such as {EXAMPLES[wanted]}"
