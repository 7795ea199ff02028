"""What breaks a published limit stands before everything else, and is never proposed for use. All data invented."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.cli import main
from pipeline.findings.cautions import caution_findings

Season = Callable[..., Path]
AS_OF = ("--as-of", "2026-11-20")

BATCHES = """batch_id,made_on,method,crop,containers,store,heat_processed,note
A,2026-08-01,bottle,bean,6,pantry,yes,"pressure canner broken, boiled instead"
B,2026-08-02,jam,plum,5,pantry,yes,
"""
USES = "used_on,batch_id,containers,use\n2026-09-01,A,1,given\n2026-09-02,B,1,eaten\n"


def test_a_serious_caution_comes_first_on_the_page_and_names_what_was_given_away(
    season: Season, tmp_path: Path
) -> None:
    folder = season(batches=BATCHES, consumption=USES)
    assert main(["review", str(folder), "--out", str(tmp_path / "page"), *AS_OF]) == 0
    page = (tmp_path / "page" / "index.html").read_text()
    short, todo = page.index("The season in short</h2>"), page.index("What to do next</h2>")
    warned = "1 batch on the shelf (5 containers) breaks a published limit: A (bean:"
    assert page.index(warned, short) < page.index("containers put by so far", short)
    assert todo < page.index(warned, todo) < page.index("Do not eat from these", todo)
    assert "Given away, and breaking a published limit: A (bean:" in page
    first = pl.read_csv(tmp_path / "page" / "tables" / "use_first.csv")
    assert first["batch_id"].to_list() == ["B"]


def test_the_shelf_says_so_before_what_to_use_first(season: Season, capsys: pytest.CaptureFixture[str]) -> None:
    folder = season(batches=BATCHES)
    assert main(["shelf", str(folder), *AS_OF]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert out.startswith("1 batch on the shelf (6 containers) breaks a published limit: A (bean:")
    assert main(["shelf", str(folder), "--json", *AS_OF]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert [row["batch_id"] for row in answer["use_first"]] == ["B"]
    assert {row["batch_id"] for row in answer["cautions"] if row["severity"] == "serious"} == {"A"}


def test_honey_is_about_who_eats_and_a_jar_that_is_gone_is_not_on_the_shelf() -> None:
    cautions = pl.DataFrame(
        {
            "batch_id": ["H", "G"],
            "rule": ["honey_infants", "ph_above_limit"],
            "severity": ["serious", "serious"],
            "found": ["sweetened with honey", "pH 5.9"],
        }
    )
    ledger = pl.DataFrame({"batch_id": ["H", "G"], "crop": ["plum", "bean"], "on_hand": [4, 0]})
    given = pl.DataFrame({"batch_id": ["G"], "used_on": [dt.date(2026, 1, 1)]})
    assert caution_findings(cautions, ledger, given.clear()) == []
    (told,) = caution_findings(cautions, ledger, given)
    assert told.sentence == "Given away, and breaking a published limit: G (bean: pH 5.9)."
