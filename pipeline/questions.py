"""What ``start`` asks: where the garden is, for how many, how dates are written, which crops; each may be left open."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.cities import MOST_SHOWN, City, find_cities, the_city
from pipeline.errors import UsageError
from pipeline.settings import parse_settings
from schemas.settings import SETTINGS, Setting

Ask = Callable[[str], str]
Say = Callable[[str], None]

BY_KEY: dict[str, Setting] = {setting.key: setting for setting in SETTINGS}

QUESTIONS: tuple[tuple[str, str], ...] = (
    ("name", "What is the garden called?"),
    ("elevation_m", "How high above the sea, in metres?"),
    ("people", "How many people eat from it?"),
    ("date_order", "How do you write dates: day-first (18/6/2026), month-first (6/18/2026) or iso (2026-06-18)?"),
    ("report", "Which units shall the pages use: metric or us?"),
    ("pint", "Whose pints and quarts are yours: us or imperial?"),
    ("crops", "Which crops do you grow? Names with commas between:"),
)
WHERE = "Where is the garden? A town nearby, or latitude and longitude such as -33.9, 18.4:"
GIVEN = "what you gave"


@dataclass
class Answers:
    """What was said, by key of ``rowshelf.toml``."""

    values: dict[str, str] = field(default_factory=dict)
    """Values as TOML writes them."""
    notes: list[str] = field(default_factory=list)

    @property
    def latitude(self) -> float | None:
        """Degrees north, if said."""
        return _number(self.values.get("latitude"))

    @property
    def longitude(self) -> float | None:
        """Degrees east, if said."""
        return _number(self.values.get("longitude"))

    @property
    def elevation_m(self) -> float | None:
        """Height above the sea, if said."""
        return _number(self.values.get("elevation_m"))


def _number(text: str | None) -> float | None:
    return None if text is None else float(text)


def answered(given: Mapping[str, str], crops: Mapping[str, str]) -> Answers:
    """Answers from options.

    Args:
        given: texts by key of the settings, and ``city``.
        crops: every spelling of a crop and the crop.

    Raises:
        UsageError: one of them cannot be read.
    """
    answers = Answers()
    if city := given.get("city"):
        _place(answers, city, None)
    for key, text in given.items():
        if key != "city":
            _take(answers, key, text, crops)
    return answers


def ask_for_the_rest(answers: Answers, crops: Mapping[str, str], ask: Ask, say: Say) -> None:
    """Ask for what is not said yet; an answer that cannot be read is asked for again."""
    if answers.latitude is None:
        _until_read(WHERE, ask, say, lambda text: _place(answers, text, ask))
        _tell(answers, say)
    for key, question in QUESTIONS:
        if key not in answers.values and not (key == "elevation_m" and answers.latitude is None):
            _until_read(question, ask, say, lambda text, key=key: _take(answers, key, text, crops))  # type: ignore[misc]
            _tell(answers, say)


def _tell(answers: Answers, say: Say) -> None:
    """What an answer was taken to be, said at once."""
    for line in answers.notes:
        say(line)
    answers.notes.clear()


def _until_read(question: str, ask: Ask, say: Say, take: Callable[[str], None]) -> None:
    while text := ask(question).strip():
        try:
            take(text)
        except UsageError as error:
            say(str(error).removeprefix(f"{GIVEN}: "))
        else:
            return


_PAIR = re.compile(r"\s*([+-]?[\d.]+)\s*°?\s*([NSns]?)\s*[,; ]\s*([+-]?[\d.]+)\s*°?\s*([EWew]?)\s*")


def _place(answers: Answers, text: str, ask: Ask | None) -> None:
    """Latitude and longitude, to a tenth of a degree: near enough for a climate, and no address."""
    pair = _PAIR.fullmatch(text)
    if pair:
        latitude, longitude = _signed(pair[1], pair[2]), _signed(pair[3], pair[4])
    else:
        found = find_cities(text) if ask else [the_city(text)]
        city = found[0] if len(found) == 1 or ask is None else _which(text, found[:MOST_SHOWN], ask)
        latitude, longitude = city.latitude, city.longitude
        answers.notes.append(f"{city.shown}: latitude {latitude:.1f}, longitude {longitude:.1f}.")
    _take(answers, "latitude", f"{latitude:.1f}", {})
    _take(answers, "longitude", f"{longitude:.1f}", {})


_DEGREES = re.compile(r"(\d+(?:\.\d+)?)\s*°?\s*([NSEWnsew])")


def _signed(number: str, side: str) -> float:
    try:
        return -abs(float(number)) if side.casefold() in {"s", "w"} else float(number)
    except ValueError as error:
        message = f"{number}: not a number of degrees; write such as -33.9, 18.4."
        raise UsageError(message) from error


def _which(text: str, found: Sequence[City], ask: Ask) -> City:
    """The town that is meant, asked for by its number."""
    ways = "; ".join(f"{number} {city.shown}" for number, city in enumerate(found, start=1))
    chosen = ask(f"Which {text}: {ways}?").strip()
    if not re.fullmatch(r"\d+", chosen) or not 1 <= int(chosen) <= len(found):
        message = f"{chosen or 'Nothing'}: not one of the numbers 1 to {len(found)}."
        raise UsageError(message)
    return found[int(chosen) - 1]


def _take(answers: Answers, key: str, text: str, crops: Mapping[str, str]) -> None:
    """One answer as ``rowshelf.toml`` writes it, checked as it will be read."""
    setting = BY_KEY[key]
    value = _crop_list(answers, text, crops) if setting.kind == "crops" else _literal(setting, text)
    parse_settings(f"[{setting.section}]\n{key} = {value}\n", GIVEN)
    answers.values[key] = value


def _literal(setting: Setting, text: str) -> str:
    plain = text.strip()
    if setting.kind in {"number", "whole"}:
        number = plain.replace(",", ".")
        side = _DEGREES.fullmatch(number) if setting.key in {"latitude", "longitude"} else None
        number = str(_signed(side[1], side[2])) if side else number
        return number if re.fullmatch(r"[+-]?\d+(\.\d+)?", number) else json.dumps(plain, ensure_ascii=False)
    if "|" in setting.kind:
        plain = "-".join(plain.casefold().split())
        begun = [word for word in setting.kind.split("|") if word.startswith(plain)]
        plain = begun[0] if len(begun) == 1 else {"year": "iso", "year-first": "iso"}.get(plain, plain)
    return json.dumps(plain, ensure_ascii=False)


def _crop_list(answers: Answers, text: str, crops: Mapping[str, str]) -> str:
    from pipeline.intake.cells import nearest_crop

    named = [" ".join(part.split()) for part in re.split(r"[,;\n]", text) if part.strip()]
    for name in named:
        if name not in crops:
            hint = nearest_crop(name.casefold(), crops)
            answers.notes.append(f"{name}: not in the crop reference{hint or ''}".rstrip("?") + ("?" if hint else "."))
    return json.dumps(named, ensure_ascii=False)
