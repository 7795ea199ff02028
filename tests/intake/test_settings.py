"""rowshelf.toml: every key known, every mistake answered with what to write."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from pipeline.errors import UsageError
from pipeline.settings import Settings, parse_settings
from pipeline.store.folder import read_settings
from schemas.dictionary import settings_toml


def test_the_commented_settings_file_gives_every_default() -> None:
    assert parse_settings(settings_toml()) == Settings()
    assert parse_settings(None) == Settings()


def test_every_commented_example_is_accepted_once_its_mark_is_taken_away() -> None:
    lines = []
    for line in settings_toml().splitlines():
        bare = line.removeprefix("# ")
        lines.append(
            bare if (" = " in bare and line.startswith("# ")) or bare.startswith(("[needs", "[columns.")) else line
        )
    settings = parse_settings("\n".join(lines))
    assert settings.people == 4.0
    assert settings.kitchen_kg_per_week == 15.0
    assert settings.needs["carrot"].fresh_kg_per_week == (1.5,) * 12


@pytest.mark.parametrize(
    ("toml", "message"),
    [
        ("[garden]\nlattitude = 40", "rowshelf.toml: unknown key 'lattitude' in [garden]. Did you mean 'latitude'?"),
        ("[gardn]\nname = 'x'", "rowshelf.toml: unknown section [gardn]. Did you mean 'garden'?"),
        ("[garden]\nlatitude = 400", "rowshelf.toml: [garden] latitude: 400 is outside -75 to 75."),
        (
            "[garden]\nlast_frost = '25 April'",
            "rowshelf.toml: [garden] last_frost: '25 April' is not a month and day; write last_frost = \"04-25\".",
        ),
        (
            "[units]\npint = 'uk'",
            "rowshelf.toml: [units] pint: 'uk' is not one of its words. Known: us, imperial.",
        ),
        (
            "[units]\ndate_order = 'dayfirst'",
            "rowshelf.toml: [units] date_order: 'dayfirst' is not one of its words. Did you mean 'day-first'?",
        ),
        (
            "[needs.carrot]\nfresh_kg_per_week = [1, 2]",
            (
                "rowshelf.toml: [needs.carrot] fresh_kg_per_week: 2 numbers; write one number, or twelve for "
                "January to December."
            ),
        ),
        (
            "[household]\npeople = true",
            "rowshelf.toml: [household] people: True is not a number; write for example people = 4.",
        ),
    ],
)
def test_a_wrong_setting_says_where_and_what_to_write(toml: str, message: str) -> None:
    with pytest.raises(UsageError) as error:
        parse_settings(toml)
    assert str(error.value) == message
    assert error.value.exit_code == 2


def test_broken_toml_is_reported_with_its_place() -> None:
    with pytest.raises(UsageError, match="not readable as TOML"):
        parse_settings("[garden\nname = 3")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ('name = "Gärten"'.encode("latin-1"), "rowshelf.toml: not UTF-8 text. Save it as UTF-8"),
        ('name = "x"'.encode("utf-16"), "rowshelf.toml: not UTF-8 text. Save it as UTF-8"),
        (b"[garden]\nname = \x00", "rowshelf.toml: not readable as TOML"),
        (b"picked_on,crop,weight\n", "rowshelf.toml: not readable as TOML"),
        (None, "rowshelf.toml: cannot be read (Is a directory)"),
    ],
)
def test_a_settings_file_of_another_kind_is_refused_with_what_to_do(
    tmp_path: Path, content: bytes | None, message: str
) -> None:
    if content is None:
        (tmp_path / "rowshelf.toml").mkdir()
    else:
        (tmp_path / "rowshelf.toml").write_bytes(content)
    with pytest.raises(UsageError) as error:
        read_settings(tmp_path)
    assert str(error.value).startswith(message)


def test_a_settings_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    (tmp_path / "rowshelf.toml").write_bytes('[garden]\nname = "Gärten"'.encode("utf-8-sig"))
    assert read_settings(tmp_path).name == "Gärten"


@pytest.mark.parametrize(
    ("latitude", "day", "first", "last"),
    [
        (47, dt.date(2026, 6, 18), dt.date(2026, 1, 1), dt.date(2026, 12, 31)),
        (-41, dt.date(2026, 6, 18), dt.date(2025, 7, 1), dt.date(2026, 6, 30)),
        (-41, dt.date(2026, 7, 1), dt.date(2026, 7, 1), dt.date(2027, 6, 30)),
    ],
)
def test_the_garden_year_starts_in_january_north_and_july_south(
    latitude: int, day: dt.date, first: dt.date, last: dt.date
) -> None:
    assert parse_settings(f"[garden]\nlatitude = {latitude}").season_of(day) == (first, last)
