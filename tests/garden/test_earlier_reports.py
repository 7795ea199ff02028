"""Two reports of the same gardens, wherever they lie: their difference tells nobody who joined, left or changed."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from collections.abc import Sequence
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import UsageError
from pipeline.share import EARLIER_REPORT, share
from pipeline.store.shared_reports import LIST_NAME
from schemas.shared import ALL_CROPS

AS_OF = dt.date(2026, 12, 1)
NAMES = ("Ada Bell", "Bo Marl", "Cy Thorn", "Di Wells", "Ed Yarrow", "Flo Quick", "Gus Hart")


@pytest.fixture
def gardens(tmp_path: Path) -> list[Path]:
    """Seven INVENTED gardens of one plot each; all picked beans, and the first four kale."""
    return [_garden(tmp_path / f"g{number}", number) for number in range(len(NAMES))]


def _garden(place: Path, number: int, more_kg: float = 0.0) -> Path:
    place.mkdir(exist_ok=True)
    (place / "plots.csv").write_text(f"plot,area_m2,grower,share\nP1,{40 + 7 * number},{NAMES[number]},yes\n")
    rows = [f"2026-07-05,bean,{5 + 1.37 * number + more_kg:.2f}"]
    if number < 4:
        rows.append(f"2026-08-05,kale,{3 + 0.71 * number:.2f}")
    (place / "harvests.csv").write_text("picked_on,crop,weight_kg\n" + "\n".join(rows) + "\n")
    return place


def _report(folders: Sequence[Path], out: Path) -> tuple[dict[str, float | None], tuple[str, ...], float | None]:
    """Kilos by crop, the notes to the keeper, and the area."""
    made = share(folders, AS_OF, out, 1, lambda _: None)
    kilos = pl.read_csv(out / "tables/shared_crops.csv", schema_overrides={"kg": pl.Float64})
    area = pl.read_csv(out / "tables/shared_garden.csv", schema_overrides={"area_m2": pl.Float64})["area_m2"].item()
    return dict(kilos.select("crop", "kg").iter_rows()), made.notes, area


def test_who_left_is_not_told_by_a_second_report_elsewhere(gardens: list[Path], tmp_path: Path) -> None:
    before, _, area = _report(gardens, tmp_path / "one")
    assert set(before) == {"bean", "kale", ALL_CROPS}
    assert area is not None
    after, notes, area = _report(gardens[:-1], tmp_path / "two")
    assert after == {"kale": before["kale"]}  # beans and the whole would leave the seventh's
    assert area is None
    assert EARLIER_REPORT in notes


def test_who_joined_is_not_told(gardens: list[Path], tmp_path: Path) -> None:
    before, _, _ = _report(gardens[:-2], tmp_path / "one")
    after, _, area = _report(gardens, tmp_path / "two")
    assert after == {"kale": before["kale"]}
    assert area is None


def test_who_withdrew_or_logged_more_alone_is_not_told(gardens: list[Path], tmp_path: Path) -> None:
    _report(gardens, tmp_path / "one")
    _garden(gardens[5], 5, more_kg=2.0)
    assert set(_report(gardens, tmp_path / "two")[0]) == {"kale"}
    _garden(gardens[5], 5)
    plots = gardens[6] / "plots.csv"
    plots.write_text(plots.read_text().replace("yes", "no"))
    assert set(_report(gardens, tmp_path / "three")[0]) == {"kale"}


def test_what_three_plots_changed_is_told(gardens: list[Path], tmp_path: Path) -> None:
    before, _, _ = _report(gardens[:4], tmp_path / "one")
    after, notes, area = _report(gardens, tmp_path / "two")
    assert after["kale"] == before["kale"]
    assert after["bean"] is not None
    assert after[ALL_CROPS] is not None
    assert area is not None
    assert EARLIER_REPORT not in notes


def test_the_same_figures_again_and_in_another_order_are_the_same_report(gardens: list[Path], tmp_path: Path) -> None:
    before = _report(gardens, tmp_path / "one")[0]
    lists = [(place / LIST_NAME).read_bytes() for place in gardens]
    assert _report(gardens[::-1], tmp_path / "two")[0] == before
    assert [(place / LIST_NAME).read_bytes() for place in gardens] == lists


def test_a_folder_remembers_its_own_figures_and_nobody_s_name(gardens: list[Path], tmp_path: Path) -> None:
    _report(gardens, tmp_path / "one")
    for place in gardens:
        text = (place / LIST_NAME).read_text()
        assert not any(part in text for name in NAMES for part in name.split())
        cells = json.loads(text)["reports"][0]["cells"]
        assert all(len(cell["own"]) <= 1 and cell["holders"] >= 3 for cell in cells.values())


def test_the_list_is_never_written_over_a_person_s_file_or_through_a_link(gardens: list[Path], tmp_path: Path) -> None:
    mine = gardens[0] / LIST_NAME
    mine.write_text("my own notes")
    with pytest.raises(UsageError, match="give it another name"):
        _report(gardens, tmp_path / "one")
    assert mine.read_text() == "my own notes"
    elsewhere = tmp_path / "elsewhere.json"
    shutil.move(mine, elsewhere)
    mine.symlink_to(elsewhere)
    with pytest.raises(UsageError, match="a link"):
        _report(gardens, tmp_path / "one")
    assert elsewhere.read_text() == "my own notes"
    assert not (tmp_path / "one").exists()
