"""``rowshelf start``: what it asks, what it takes as options, what it writes, and that nothing is overwritten."""

from __future__ import annotations

import datetime as dt
import io
import tomllib
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.cities import find_cities, the_city
from pipeline.cli import main
from pipeline.errors import UsageError
from pipeline.questions import answered, ask_for_the_rest
from pipeline.reference import climates
from pipeline.store.folder import read_settings
from pipeline.warmth.climate_guess import guess_climate
from pipeline.warmth.weather_years import garden_climate, weather_years
from schemas.settings import SETTINGS

CROPS = {"carrot": "carrot", "carrots": "carrot", "capsicum": "pepper"}
NO_WEATHER = pl.DataFrame(schema={"date": pl.Date, "tmin_c": pl.Float64, "tmax_c": pl.Float64})


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    status = main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    return status, out, err


class Keyboard(io.StringIO):
    """A person at the keyboard."""

    def isatty(self) -> bool:
        return True


def test_options_become_settings_and_a_guessed_climate(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "garden"
    status, out, err = run(
        capsys, "start", folder, "--city", "Quito", "--people", "4", "--date-order", "Day first", "--crops",
        "capsicum, carrots; quince", "--units", "US", "--elevation", "2850", "--no-ask",
    )  # fmt: skip
    assert status == 0
    assert str(folder / "rowshelf.toml") in out
    settings = read_settings(folder)
    assert (settings.latitude, settings.longitude, settings.elevation_m) == (-0.2, -78.5, 2850.0)
    assert (settings.people, settings.date_order, settings.report) == (4.0, "day-first", "us")
    assert settings.plan_crops == ("capsicum", "carrots", "quince")
    climate = pl.read_csv(folder / "climate.csv")
    assert climate.columns == ["month", "tmin_c", "tmax_c", "error_c"]
    assert climate["month"].to_list() == list(range(1, 13))
    assert climate["error_c"].min() > 1.0
    assert "climate.csv is a guess from 134 measured places, the nearest 427 km away" in err
    assert f'Next: write your first picking, such as `rowshelf add harvest {folder} carrot "1.2 kg"`' in err
    status, out, err = run(capsys, "check", folder)
    assert status == 0
    assert "Where the garden lies" not in err


def test_a_person_is_asked_for_what_is_not_said_and_asked_again_where_it_cannot_be_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = "nowhere at all\n33.9 S, 18.4 E\nMy plot\n\nmany\n2,5\nmonth\nimperial\ncarrot\n"
    monkeypatch.setattr("sys.stdin", Keyboard(typed))
    folder = tmp_path / "garden"
    status, _, err = run(capsys, "start", folder, "--units", "us")
    assert status == 0
    assert "nowhere at all: no such town in the list" in err
    assert "people: 'many' is not a number" in err
    settings = read_settings(folder)
    assert (settings.latitude, settings.longitude, settings.elevation_m) == (-33.9, 18.4, None)
    assert (settings.name, settings.people, settings.date_order) == ("My plot", 2.5, "month-first")
    assert (settings.pint, settings.report, settings.plan_crops) == ("imperial", "us", ("carrot",))
    assert settings.southern


def test_enter_leaves_everything_open_and_so_does_an_end_of_input(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", Keyboard("\n"))
    assert run(capsys, "start", tmp_path / "garden")[0] == 0
    assert not any(tomllib.loads((tmp_path / "garden" / "rowshelf.toml").read_text()).values())


@pytest.mark.parametrize("no_ask", [True, False])
def test_a_script_is_asked_nothing(
    no_ask: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", Keyboard("45, 5\n") if no_ask else io.StringIO("45, 5\n"))
    status, _, err = run(capsys, "start", tmp_path / "garden", *(["--no-ask"] if no_ask else []))
    assert status == 0
    assert "?" not in err
    assert read_settings(tmp_path / "garden").latitude is None


def test_nothing_is_overwritten_and_what_could_not_be_written_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "garden"
    run(capsys, "start", folder, "--no-ask")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    monkeypatch.setattr("sys.stdin", Keyboard("should not be asked\n"))
    status, out, err = run(capsys, "start", folder, "--latitude", "45", "--people", "3")
    assert (status, out) == (0, "")
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert "rowshelf.toml is there already and was not touched; write into it:\n  [garden] latitude = 45\n" in err
    assert "  [household] people = 3\n" in err
    assert "climate.csv is there already and was not touched; no climate was guessed." in err


@pytest.mark.parametrize(
    ("option", "value", "says"),
    [
        ("--latitude", "95", "[garden] latitude: 95 is outside -75 to 75."),
        ("--latitude", "north", "[garden] latitude: 'north' is not a number"),
        ("--people", "-1", "[household] people: -1 is outside"),
        ("--date-order", "backwards", "'backwards' is not one of its words"),
        ("--city", "Qwrtzuiop", "Qwrtzuiop: no such town in the list. Name a larger one nearby, or give latitude"),
        ("--city", "Springfield", "towns are called so; write one of 'Springfield, MO, US';"),
    ],
)
def test_an_option_that_cannot_be_read_writes_nothing(
    option: str, value: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, _, err = run(capsys, "start", tmp_path / "garden", option, value)
    assert status == 2
    assert says in err
    assert not (tmp_path / "garden").exists()


def test_a_town_is_found_by_any_of_its_names_and_narrowed_down_by_region_or_country() -> None:
    assert the_city("köln").name == the_city("Cologne").name
    assert the_city("springfield, Illinois").shown == "Springfield, IL, US"
    assert the_city("Springfield, OR, US").latitude == pytest.approx(44.05, abs=0.1)
    assert {city.country for city in find_cities("Cordoba, Spain")} == {"ES"}
    with pytest.raises(UsageError, match="no such town"):
        the_city("Cordoba, Norway")


def test_of_several_towns_one_is_asked_for_by_its_number() -> None:
    answers = answered({}, CROPS)
    typed = iter(["Springfield, US", "7 or so", "Springfield, US", "2", *[""] * 10])
    said: list[str] = []
    ask_for_the_rest(answers, CROPS, lambda _: next(typed), said.append)
    assert said == [
        "7 or so: not one of the numbers 1 to 6.",
        "Springfield, MA, US: latitude 42.1, longitude -72.6.",
    ]
    assert answers.latitude == 42.1


def test_a_crop_that_nobody_knows_is_kept_and_its_nearest_is_told() -> None:
    answers = answered({"crops": "carot, capsicum"}, CROPS)
    assert answers.values == {"crops": '["carot", "capsicum"]'}
    assert answers.notes == ["carot: not in the crop reference; did you mean 'carrot'?"]


def test_degrees_may_say_their_side() -> None:
    answers = answered({"latitude": "33,9° S", "longitude": "18.4 E"}, CROPS)
    assert (answers.latitude, answers.longitude) == (-33.9, 18.4)


def test_every_question_is_a_setting() -> None:
    keys = [setting.key for setting in SETTINGS]
    assert len(set(keys)) == len(keys), "settings_toml() takes values by key"


def test_check_says_first_that_the_place_is_not_known(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "harvests.csv").write_text("date,crop,weight\n2026-06-18,carrot,1 kg\n")
    assert run(capsys, "check", tmp_path)[2].startswith("Where the garden lies is not known: there is no latitude")
    (tmp_path / "climate.csv").write_text("month,tmin_c,tmax_c\n1,2,9\n")
    assert "Where the garden lies" not in run(capsys, "check", tmp_path)[2]


def test_the_error_of_a_guess_is_what_leaving_places_out_finds() -> None:
    """Each fifth place guessed from the others: the errors told are about as large as the errors made."""
    places = climates()
    made, told = [], []
    for place in range(0, places.height, 5):
        row = places.row(place, named=True)
        others = places.filter(pl.int_range(places.height) != place)
        guess = guess_climate(others, row["latitude"], row["longitude"], row["elevation_m"])
        truth = np.array([[row[f"{side}_{month:02}"] for month in range(1, 13)] for side in ("tmin", "tmax")])
        found = guess.months.select("tmin_c", "tmax_c").to_numpy().T
        made.append(np.mean((found - truth) ** 2))
        told.append(np.mean(guess.months["error_c"].to_numpy() ** 2))
    assert 0.7 < np.sqrt(np.mean(made) / np.mean(told)) < 1.3


def test_a_guess_knows_less_the_farther_the_places_are_and_the_south_has_its_own_seasons() -> None:
    places = climates()
    near, far = guess_climate(places, 51.5, 0.0, 20.0), guess_climate(places, -33.9, 18.4, 20.0)
    assert near.nearest_km is not None
    assert far.nearest_km is not None
    assert near.nearest_km < far.nearest_km
    assert near.error_c < far.error_c < guess_climate(places, -33.9).error_c
    south = far.months
    assert south["tmax_c"][0] > south["tmax_c"][6] + 5
    assert (south["tmin_c"] <= south["tmax_c"]).all()


def test_a_guessed_climate_widens_the_made_up_years_and_is_named() -> None:
    measured = pl.DataFrame({"month": range(1, 13), "tmin_c": [8.0] * 12, "tmax_c": [18.0] * 12})
    guessed = measured.with_columns(error_c=3.0)
    spreads = []
    for climate in (measured, guessed):
        years = weather_years(
            NO_WEATHER, climate, 45.0, dt.date(2027, 1, 1), 365,
            300, np.random.default_rng(1),
        )  # fmt: skip
        spreads.append(years.tmax_c.mean(axis=1).std())
    assert spreads[1] ** 2 - spreads[0] ** 2 == pytest.approx(9.0, rel=0.25)
    assert (
        "The climate is a guess from measured places, 3.0 C either way"
        in garden_climate(NO_WEATHER, guessed, 45.0).notes[0]
    )
    assert garden_climate(NO_WEATHER, measured, 45.0).unsure_c == 0.0
