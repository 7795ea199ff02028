"""The commands as a person runs them: what is printed where, what is written, and the exit status."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.cli import main
from pipeline.intake.read import OUTPUT_MARKER
from pipeline.store.store import open_store
from schemas.answers import ANSWERS
from schemas.logs import LOGS

Season = Callable[..., Path]
AS_OF = ["--as-of", "2026-11-20"]

# A folder as a new user writes it: ten harvests, three batches, mixed units. Invented.
HAND_MADE = {
    "harvests": """date,crop,weight
2026-06-14,peas,800 g
2026-06-18,peas,2 lb 3 oz
2026-06-25,peas,"1,1 kg"
2026-07-02,courgettes,1.5kg
2026-07-09,courgettes,4 kg
2026-07-16,courgettes,6.2 kg
2026-07-23,courgettes,3½ lb
2026-08-20,plum,12 kg
2026-09-10,kohlrabi,4 heads
2026-09-17,Kohlrabi,2.25 kg
""",
    "batches": """batch_id,made_on,method,crop,containers,produce,salt,water
PEA-1,2026-06-25,frozen,peas,4,900 g,,
PLUM-1,2026-08-21,jam,plum,9,8 kg,,
KOHL-1,2026-09-18,ferment,kohlrabi,5,2 kg,45 g,
""",
    "spoilage": """found_on,batch_id,containers,cause
2026-10-01,KOHL-1,1,mold
2026-10-01,PLUM-1,0,
""",
    "consumption": """used_on,batch_id,containers
2026-09-01,PEA-1,1
2026-10-05,PLUM-1,2
""",
}


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    status = main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    return status, out, err


def test_help_is_fast_because_no_heavy_library_is_touched() -> None:
    code = (
        "import sys; from pipeline.cli import main; main(['--help'])\n"
        "heavy = {'polars', 'duckdb', 'pandera', 'altair', 'scipy', 'numpy', 'icalendar', 'jinja2', 'rich'}\n"
        "sys.exit(','.join(sorted(heavy & set(sys.modules))) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    for command in ("start", "check", "load", "review", "spoilage", "gluts", "shelf", "sow", "export"):
        assert command in done.stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["review", "nowhere"], "there is no such folder"),
        (["spoilage", ".", "--by", "colour"], "--by colour: write one or two of method, salt, lid"),
        (["shelf", ".", "--as-of", "tomorrow"], "--as-of tomorrow: write a date such as 2026-06-18."),
        (["export", ".", "--form", "xml"], "--form xml: write csv or parquet."),
    ],
)
def test_wrong_usage_is_exit_2_with_what_to_write(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    says: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, err = run(capsys, *arguments)
    assert (status, out) == (2, "")
    assert says in err


def test_an_unknown_option_is_exit_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["review", "--colour"]) == 2
    assert "--colour" in capsys.readouterr().err


def test_start_makes_a_folder_that_loads_clean_and_touches_nothing_that_is_there(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    folder = tmp_path / "garden"
    status, out, _ = run(capsys, "start", folder)
    assert status == 0
    assert {Path(line).name for line in out.split()} == {f"{log}.csv" for log in LOGS} | {"rowshelf.toml", "COLUMNS.md"}
    (folder / "harvests.csv").write_text("picked_on,crop,weight\n2026-06-18,carrot,1 kg\n")
    status, out, err = run(capsys, "start", folder)
    assert (status, out) == (0, "")
    assert "nothing was touched" in err
    assert "carrot" in (folder / "harvests.csv").read_text()
    status, out, _ = run(capsys, "check", folder, *AS_OF)
    assert status == 0
    assert "11 files: 1 row = 1 accepted + 0 set aside" in out


def test_check_lists_problems_by_file_and_line_writes_nothing_and_exits_1(
    capsys: pytest.CaptureFixture[str], season: Season
) -> None:
    folder = season(harvests="picked_on,crop,weight\n2026-06-18,carrot,5\n2026-06-19,karrot,1 kg\n")
    before = sorted(path.name for path in folder.iterdir())
    status, out, _ = run(capsys, "check", folder, *AS_OF)
    assert status == 1
    assert "harvests.csv: 2 rows = 1 accepted + 1 set aside, 1 warning" in out
    assert "line 2, weight '5': no unit: write such as 1.2 kg" in out
    assert "did you mean 'carrot'?" in out
    assert sorted(path.name for path in folder.iterdir()) == before
    status, out, _ = run(capsys, "check", folder, "--json", *AS_OF)
    assert status == 1
    assert json.loads(out)["problems"][0]["line"] == 2


def test_check_writes_a_list_to_work_from_where_it_is_told_and_never_among_the_logs(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path
) -> None:
    folder = season(harvests="picked_on,crop,weight\n2026-06-18,carrot,5\n")
    status, out, err = run(capsys, "check", folder, "--out", tmp_path / "mend", *AS_OF)
    assert status == 1
    assert "line 2, weight '5'" in out
    assert err.splitlines()[-1] == str(tmp_path / "mend" / "problems.csv")
    # Marked as a folder of output, the season would be read as if it were empty.
    status, _, err = run(capsys, "check", folder, "--out", folder, *AS_OF)
    assert status == 2
    assert "this is a season folder; name another folder" in err
    assert [path.name for path in folder.iterdir()] == ["harvests.csv"]


def test_progress_is_shown_to_a_person_and_to_nobody_else(
    capsys: pytest.CaptureFixture[str], season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = season(harvests="picked_on,crop,weight\n2026-06-18,carrot,1 kg\n", toml="[garden]\nlatitude = 45\n")
    assert run(capsys, "check", folder, *AS_OF)[2] == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    _, out, err = run(capsys, "check", folder, *AS_OF)
    assert err == "\r\x1b[Kharvests.csv\r\x1b[Kharvests.csv: 1 rows\r\x1b[K"
    assert "\x1b" not in out


def test_a_folder_written_by_hand_gives_a_page_with_its_own_numbers(
    capsys: pytest.CaptureFixture[str], season: Season
) -> None:
    folder = season(**HAND_MADE)
    status, out, _ = run(capsys, "review", folder, *AS_OF)
    assert status == 0
    page = Path(out.strip())
    assert page == folder / "review" / "index.html"
    html = page.read_text()
    # 0.8 + 0.992233 + 1.1 = 2.892 kg of peas; 1.5 + 4 + 6.2 + 1.587573 = 13.288 kg of courgettes
    waste = pl.read_csv(page.parent / "tables" / "glut_waste.csv")
    picked = dict(waste.select("crop", "picked_kg").iter_rows())
    assert picked["pea"] == pytest.approx(2.892, abs=0.001)
    assert picked["courgette"] == pytest.approx(13.288, abs=0.001)
    shelf = pl.read_csv(page.parent / "tables" / "shelf.csv")
    assert dict(shelf.select("crop", "on_hand").iter_rows()) == {"kohlrabi": 4, "pea": 3, "plum": 7}
    assert "Kohlrabi" in html or "kohlrabi" in html
    assert "<script" not in html
    # Its own tables are never read back as logs.
    assert (page.parent / OUTPUT_MARKER).exists()
    status, out, _ = run(capsys, "load", folder, *AS_OF)
    assert status == 0
    assert "4 files: 17 rows = 17 accepted + 0 set aside" in out


def test_every_answer_table_is_written_with_the_columns_of_its_contract(
    capsys: pytest.CaptureFixture[str], season: Season
) -> None:
    folder = season(**HAND_MADE)
    run(capsys, "review", folder, *AS_OF)
    for name, answer in ANSWERS.items():
        header = (folder / "review" / "tables" / f"{name}.csv").read_text().splitlines()[0]
        assert header.split(",") == [column.name for column in answer.columns], name


def test_an_empty_folder_says_what_to_log_first(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = tmp_path / "empty"
    folder.mkdir()
    status, out, _ = run(capsys, "review", folder, *AS_OF)
    assert status == 0
    html = Path(out.strip()).read_text()
    assert "picked_on,crop,weight" in html
    for command in ("spoilage", "gluts", "shelf", "sow"):
        assert run(capsys, command, folder, *AS_OF)[0] == 0, command


def test_a_broken_file_is_a_problem_on_the_page_and_no_crash(
    capsys: pytest.CaptureFixture[str], season: Season
) -> None:
    folder = season(**HAND_MADE | {"harvests": b"\x00\x01\x02 not a log \xff\xfe" * 50})
    status, out, _ = run(capsys, "review", folder, *AS_OF)
    assert status == 0
    assert "no header found" in Path(out.strip()).read_text()
    assert run(capsys, "check", folder, *AS_OF)[0] == 1


def test_a_wrong_setting_stops_every_command_with_exit_2(capsys: pytest.CaptureFixture[str], season: Season) -> None:
    folder = season(toml="[garden]\nlattitude = 47\n")
    status, _, err = run(capsys, "review", folder, *AS_OF)
    assert status == 2
    assert "Did you mean 'latitude'?" in err


@pytest.mark.parametrize(
    ("command", "tables"),
    [
        (
            "spoilage",
            {
                "spoilage",
                "keeping_curves",
                "salt_response",
                "salt_levels",
                "spoilage_causes",
                "spoilage_differences",
                "trials",
            },
        ),
        ("gluts", {"glut_waste", "glut_weeks", "sowing_waste", "yields", "treatments"}),
        ("shelf", {"shelf", "use_first", "shelf_forecast", "cautions"}),
        ("sow", {"sowing_plan", "harvest_outlook", "plan_comparison", "last_season_outlook", "needs", "crop_timing"}),
    ],
)
def test_json_is_the_only_thing_on_stdout(
    capsys: pytest.CaptureFixture[str], season: Season, command: str, tables: set[str]
) -> None:
    folder = season(**HAND_MADE)
    status, out, _ = run(capsys, command, folder, "--json", *AS_OF)
    assert status == 0
    answer = json.loads(out)
    assert answer["as_of"] == "2026-11-20"
    assert set(answer) == tables | {"as_of", "notes"}


def test_spoilage_by_two_columns_and_by_batch(capsys: pytest.CaptureFixture[str], season: Season) -> None:
    folder = season(**HAND_MADE)
    _, out, _ = run(capsys, "spoilage", folder, "--by", "method,crop", "--json", *AS_OF)
    groups = {row["group"]: row["spoiled"] for row in json.loads(out)["spoilage"]}
    assert groups == {"ferment · kohlrabi": 1, "freeze · pea": 0, "jam · plum": 0}
    _, out, _ = run(capsys, "spoilage", folder, "--by", "batch", "--json", *AS_OF)
    assert [row["group"] for row in json.loads(out)["spoilage"]] == ["KOHL-1", "PEA-1", "PLUM-1"]


def test_spoilage_shows_salt_levels_and_trials(capsys: pytest.CaptureFixture[str]) -> None:
    folder = Path(__file__).parents[2] / "sample_data" / "river_island"
    status, out, _ = run(capsys, "spoilage", folder, "--store", ":memory:", "--by", "salt", *AS_OF)
    assert status == 0
    said = " ".join(out.split())
    assert "What kept at each salt level, beside the least salt that is published" in said
    assert "No single salt level of ferments stands out beyond what chance would do" in said
    assert "over all salt levels more salt went with less loss" in said
    assert "salt 2.75 to 3.5 % was firmer than salt 1.75 to 2.25 %" in said


def test_every_batch_is_held_against_published_limits_at_load(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path
) -> None:
    weak = HAND_MADE["batches"].replace("2 kg,45 g", "2 kg,20 g")  # 1 % salt
    folder = season(**HAND_MADE | {"batches": weak})
    status, _, err = run(capsys, "load", folder, "--store", tmp_path / "s.duckdb", *AS_OF)
    assert status == 0
    assert "break a published limit or leave it open" in err
    with open_store(tmp_path / "s.duckdb") as store:
        flagged = store.answer("cautions").filter(pl.col("batch_id") == "KOHL-1")
    assert "low_salt" in flagged["rule"].to_list()


def test_a_warm_store_shortens_the_keeping_time(capsys: pytest.CaptureFixture[str], season: Season) -> None:
    def expired(toml: str) -> float:
        _, out, _ = run(capsys, "gluts", season(**HAND_MADE, toml=toml), "--json", *AS_OF)
        return sum(row["expired_kg"] for row in json.loads(out)["glut_waste"])

    assert expired("[kitchen]\nfresh_store_c = 25\n") > expired("")


def test_the_store_can_live_elsewhere(capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path) -> None:
    folder = season(**HAND_MADE)
    run(capsys, "shelf", folder, "--store", tmp_path / "other.duckdb", *AS_OF)
    assert (tmp_path / "other.duckdb").exists()
    assert not (folder / "rowshelf.duckdb").exists()


SOWN = """sowing_id,sown_on,crop,amount
B-1,2026-05-20,bean,30 m
D-1,2026-05-20,dragon root,3 m
"""


def test_the_outlook_names_a_coming_glut_with_what_the_kitchen_can_do(
    capsys: pytest.CaptureFixture[str], season: Season
) -> None:
    settings = "[garden]\nlatitude = 48\n[needs.bean]\nfresh_kg_per_week = 1.0\n"
    batches = "batch_id,made_on,method,crop,containers,produce\nB-0,2025-08-01,freeze,bean,4,3 kg\n"
    folder = season(sowings=SOWN, batches=batches, toml=settings)
    status, out, err = run(capsys, "sow", folder, "--outlook", "--as-of", "2026-07-05")
    said = " ".join(out.split())
    assert status == 0
    assert "kg of bean between" in said
    assert "more than you eat; " in said
    assert "batches of about 3 kg, frozen as you mostly do." in said
    assert "Not in the outlook: dragon root, not known: days to its first pick." in err
    assert (folder / "plan" / "season_outlook.csv").read_text(encoding="utf-8").startswith("crop,week,kg_p10")
    assert not (folder / "plan" / "sowing_plan.csv").exists()


def test_an_outlook_without_anything_to_come_says_so(capsys: pytest.CaptureFixture[str], season: Season) -> None:
    folder = season(sowings=SOWN)
    status, out, _ = run(capsys, "sow", folder, "--outlook", "--as-of", "2026-11-20")
    assert (status, out.strip()) == (0, "Nothing that stands is likely to be ripe in the next eight weeks.")
    status, _, err = run(capsys, "sow", folder, "--outlook", "--simple", *AS_OF)
    assert status == 2
    assert "name one of the two" in err


def test_an_outlook_without_a_sowing_says_which_log_to_start(
    capsys: pytest.CaptureFixture[str], season: Season
) -> None:
    status, out, _ = run(capsys, "sow", season(harvests=HAND_MADE["harvests"]), "--outlook", *AS_OF)
    assert status == 0
    assert "No sowing is logged" in out
