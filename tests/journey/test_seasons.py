"""Which season is reviewed, what is later than the day computed for, and sowings picked across a season's edge."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline import build
from pipeline.cli import main
from pipeline.errors import UsageError
from pipeline.logbook.days import as_of_day
from pipeline.seasons import Choice, chosen_season, planned_season, season_sentence, usual_season
from pipeline.settings import Settings

Season = Callable[..., Path]
NORTH, SOUTH = Settings(latitude=50.0), Settings(latitude=-35.0)
TODAY = dt.date(2026, 11, 27)


def year(first: int, settings: Settings = SOUTH) -> tuple[dt.date, dt.date]:
    return settings.season_of(dt.date(first, 12, 31))


@pytest.mark.parametrize("text", ["2025/26", "2025-26", "2025/2026", "25/26", " 2025 / 26 ", "2025\u201326"])
def test_a_season_of_two_years_is_read_as_it_is_written(text: str) -> None:
    assert chosen_season(text, {year(2025): 1.0}, SOUTH) == (dt.date(2025, 7, 1), dt.date(2026, 6, 30))


def test_one_year_names_the_season_that_holds_most_of_it_or_the_one_that_is_logged() -> None:
    autumn = Settings(season_starts=(3, 1))
    both = {year(2025): 1.0, year(2026): 1.0}
    assert chosen_season("2026", {year(2026, NORTH): 1.0}, NORTH) == (dt.date(2026, 1, 1), dt.date(2026, 12, 31))
    assert chosen_season("2026", {year(2026, autumn): 1.0}, autumn) == year(2026, autumn)
    assert chosen_season("2026", {year(2025): 1.0}, SOUTH) == year(2025)
    with pytest.raises(UsageError, match=r"may be 2025/26 or 2026/27, for the garden year starts on 1 July"):
        chosen_season("2026", both, SOUTH)


@pytest.mark.parametrize("text", ["last", "2025/27", "", "20255", "0000", "9999", "2025/26/27"])
def test_what_is_no_season_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(UsageError, match=r"such as 2025/26; here it starts on 1 July"):
        chosen_season(text, {year(2025): 1.0}, SOUTH)


def test_a_season_of_which_nothing_is_logged_is_refused_with_those_that_are() -> None:
    with pytest.raises(UsageError, match=r"no picking or sowing is logged of it\. Logged: 2024/25, 2025/26\."):
        chosen_season("2019/20", {year(2024): 1.0, year(2025): 2.0}, SOUTH)


@pytest.mark.parametrize(
    ("logged", "expected"),
    [
        ({2024: 200.0, 2025: 280.0, 2026: 33.0}, 2025),  # the season just begun
        ({2024: 200.0, 2025: 280.0, 2026: 121.0}, 2026),  # half of what is usual
        ({2026: 3.0}, 2026),  # the first one
        ({2024: 200.0, 2025: 21.0}, 2025),  # a poor season that is over is a season
        ({2024: 200.0, 2025: 19.0}, 2024),  # one in which the logs broke off is not
    ],
)
def test_the_season_reviewed_is_the_last_with_enough_logged(logged: dict[int, float], expected: int) -> None:
    found = usual_season({year(first): kilos for first, kilos in logged.items()}, SOUTH, TODAY)
    assert found == year(expected)


def test_what_is_planned_does_not_hang_on_what_is_reviewed() -> None:
    assert planned_season(year(2025), SOUTH, TODAY) == year(2026)  # spring: the season that runs
    assert planned_season(year(2026, NORTH), NORTH, TODAY) == year(2027, NORTH)
    assert planned_season(year(2025, NORTH), NORTH, TODAY) == year(2027, NORTH)  # five weeks are no season


def test_the_page_says_which_season_and_how_to_choose_another() -> None:
    logged = {year(2024): 1.0, year(2025): 1.0, year(2026): 0.1}
    assert season_sentence(year(2025), year(2025), logged, TODAY) == (
        "This is the season 2025/26, the last with enough logged; for another add --season 2026/27 "
        "(also logged: 2024/25)."
    )
    assert season_sentence(year(2026), year(2025), {year(2025): 1.0, year(2026): 0.1}, TODAY) == (
        "This is the season 2026/27 so far, as asked for; for another add --season 2025/26."
    )
    assert not season_sentence(year(2026), year(2026), {year(2026): 1.0}, TODAY)


EDGE = {
    "toml": "[garden]\nlatitude = -35\n",
    "sowings": "sowing_id,sown_on,crop,amount\nS1,2026-03-01,carrot,10 m2\n",
    "harvests": (
        "picked_on,crop,weight,sowing_id\n2026-06-10,carrot,3 kg,S1\n2026-06-29,carrot,2 kg,S1\n"
        "2026-07-06,carrot,4 kg,S1\n2026-07-20,carrot,1 kg,S1\n2026-07-21,carrot,5 kg,\n"
    ),
}


@pytest.mark.parametrize("season_asked", ["2025/26", "2026/27"])
def test_a_sowing_is_told_whole_where_picking_crosses_the_edge(season: Season, season_asked: str) -> None:
    answers = build.gluts(season(**EDGE), TODAY, None, 1, lambda _: None, choice=Choice(season_asked))
    told = answers.tables["yields"].filter(sowing_id="S1").row(0, named=True)
    assert told["kg"] == pytest.approx(10)
    assert told["kg_per_m2"] == pytest.approx(1)
    assert told["first_pick"] == dt.date(2026, 6, 10)
    assert told["days_to_first_pick"] == 101
    unnamed = answers.tables["yields"].filter(pl.col("sowing_id").is_null())
    assert unnamed.height == (season_asked == "2026/27")


def test_a_bush_picked_for_years_is_told_by_its_season_with_its_true_first_pick(season: Season) -> None:
    folder = season(
        sowings="sowing_id,sown_on,crop,amount\nR,2024-03-01,rhubarb,4 plants\n",
        harvests=(
            "picked_on,crop,weight,sowing_id\n2025-04-20,rhubarb,1 kg,R\n2026-04-20,rhubarb,2 kg,R\n"
            "2026-05-20,rhubarb,2 kg,R\n"
        ),
    )
    row = build.gluts(folder, TODAY, None, 1, lambda _: None).tables["yields"].row(0, named=True)
    assert (row["kg"], row["days_to_first_pick"]) == (pytest.approx(4), 415)


def test_rows_after_the_day_computed_for_are_later_and_a_day_yet_to_come_is_an_error(season: Season) -> None:
    folder = season(
        harvests=(
            "picked_on,crop,weight\n2026-06-18,carrot,1 kg\n2026-07-01,carrot,2 kg\n2026-10-02,carrot,2 kg\n"
            "2062-06-18,carrot,1 kg\n"
        )
    )
    as_of = dt.date(2026, 6, 30)
    found = build.check(folder, as_of, lambda _: None, choice=Choice(today=TODAY))
    row = found.summary.row(0, named=True)
    assert [row[name] for name in ("rows", "accepted", "set_aside", "later")] == [4, 1, 1, 2]
    said = found.problems.filter(rule="date_later").row(0, named=True)
    assert (said["level"], said["line"]) == ("note", 3)
    assert said["message"] == (
        "2 rows are of a day after 2026-06-30, the day this is computed for (up to 2026-10-02): later, so not counted,"
        " and nothing to mend"
    )
    wrong = found.problems.filter(level="error")
    assert wrong["line"].to_list() == [5]
    assert wrong["message"].to_list() == ["after 2026-11-27, the day this is computed for: check the year"]


def test_later_rows_come_back_when_their_day_has_come(season: Season) -> None:
    folder = season(harvests="picked_on,crop,weight\n2026-06-18,carrot,1 kg\n2026-10-02,carrot,2 kg\n")
    kilos = []
    for day in (dt.date(2026, 6, 30), TODAY, dt.date(2026, 6, 30)):
        answers = build.gluts(folder, day, None, 1, lambda _: None, choice=Choice(today=TODAY))
        kilos.append(answers.tables["glut_waste"]["picked_kg"].sum())
    assert kilos == pytest.approx([1, 3, 1])


def test_check_of_a_day_gone_by_has_nothing_to_mend(season: Season, capsys: pytest.CaptureFixture[str]) -> None:
    folder = season(harvests="picked_on,crop,weight\n2020-06-18,carrot,1 kg\n2020-07-18,carrot,1 kg\n")
    assert main(["check", str(folder), "--as-of", "30 June 2020"]) == 0
    assert "harvests.csv: 2 rows = 1 accepted + 0 set aside + 1 later" in capsys.readouterr().out


@pytest.mark.parametrize(
    "text",
    [
        "2026-06-18",
        "18 Jun 2026",
        "18th June 2026",
        "June 18, 2026",
        "18.6.2026",
        "18/6/2026",
        "18.6.26",
        "18 Jun",
        "Thu 18 June 2026",
    ],
)
def test_as_of_takes_any_day_that_the_logs_take(text: str) -> None:
    assert as_of_day(text, TODAY) == dt.date(2026, 6, 18)


def test_as_of_with_two_readings_says_both() -> None:
    with pytest.raises(UsageError, match=r"3/4/2026: may be 2026-03-04 or 2026-04-03; write a date such as"):
        as_of_day("3/4/2026", TODAY)
