"""What stands beside a page: its print, its charts as pictures, and nothing of an earlier page or of anyone."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from headless import CHROMIUM
from shared_folders import AS_OF, GROWERS, simulated_folders

from pipeline.cli import main
from pipeline.intake.read import OUTPUT_MARKER
from reports.picture import NO_BROWSER
from schemas.shared import SHARED

Season = Callable[..., Path]

# Invented.
LOGS = {
    "harvests": "picked_on,crop,weight\n2026-06-14,pea,800 g\n2026-07-02,courgette,1.5 kg\n2026-07-09,courgette,4 kg\n",
    "batches": (
        "batch_id,made_on,method,crop,containers,produce,salt\n"
        "KOHL-1,2026-06-18,ferment,kohlrabi,5,2 kg,45 g\nPEA-1,2026-06-25,freeze,pea,4,900 g,\n"
    ),
    "spoilage": "found_on,batch_id,containers,cause\n2026-10-01,KOHL-1,1,mould\n",
}


def bare(text: str) -> str:
    """A title without its spaces: the browser drops the one at which a title is broken into lines."""
    return re.sub(r"\s+", "", text)


def bookmarks(pdf: bytes) -> set[str]:
    """Titles of the outline of a PDF file (ISO 32000-1, section 12.3.3: strings in round brackets, or in UTF-16)."""
    plain = [found.decode("latin-1") for found in re.findall(rb"/Title \(([^)]*)\)", pdf)]
    wide = [bytes.fromhex(found.decode()).decode("utf-16") for found in re.findall(rb"/Title <([0-9A-Fa-f]+)>", pdf)]
    return {bare(title) for title in plain + wide}


def test_charts_are_written_beside_the_review_each_as_it_stands_on_the_page(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    given = ["review", str(season(**LOGS)), "--as-of", "2026-11-20", "--out", str(out)]
    assert main([*given, "--pictures"]) == 0
    assert capsys.readouterr().out == f"{out / 'index.html'}\n"
    page = (out / "index.html").read_text(encoding="utf-8")
    names = sorted(path.name for path in (out / "charts").iterdir())
    assert len(names) == 2 * page.count("<figure>") > 2
    for name in names:
        content = (out / "charts" / name).read_bytes()
        if name.endswith(".png"):
            assert content.startswith(b"\x89PNG\r\n\x1a\n")
        else:
            assert content.decode().replace('<rect width="100%" height="100%" fill="#fff"/>', "", 1) in page


def test_what_an_earlier_page_left_is_taken_away_and_nothing_else(season: Season, tmp_path: Path) -> None:
    out = tmp_path / "out"
    (out / "charts").mkdir(parents=True)
    (out / OUTPUT_MARKER).touch()
    for name in ("index.pdf", "charts/gone.svg", "charts/gone.png", "charts/mine.txt", "letter.pdf"):
        (out / name).write_text("earlier", encoding="utf-8")
    assert main(["review", str(season(**LOGS)), "--as-of", "2026-11-20", "--out", str(out)]) == 0
    left = {str(path.relative_to(out)) for path in out.rglob("*") if path.is_file()}
    assert left & {"index.pdf", "charts/gone.svg", "charts/gone.png"} == set()
    assert {"charts/mine.txt", "letter.pdf", "index.html"} <= left


def test_without_a_browser_a_note_says_so_and_all_else_is_written(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, season: Season, tmp_path: Path
) -> None:
    monkeypatch.setattr(shutil, "which", lambda _name: None)
    out = tmp_path / "out"
    status = main(["review", str(season(**LOGS)), "--as-of", "2026-11-20", "--out", str(out), "--pdf"])
    said = capsys.readouterr()
    assert (status, said.out) == (0, f"{out / 'index.html'}\n")
    assert NO_BROWSER in said.err
    assert (out / "index.html").exists()
    assert not list(out.glob("*.pdf*"))


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")
def test_the_printed_review_has_every_part(capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert main(["review", str(season(**LOGS)), "--as-of", "2026-11-20", "--out", str(out), "--pdf"]) == 0
    assert capsys.readouterr().out == f"{out / 'index.html'}\n{out / 'index.pdf'}\n"
    pdf = (out / "index.pdf").read_bytes()
    headings = re.findall(r'<h2 id="[^"]*">([^<]*)</h2>', (out / "index.html").read_text(encoding="utf-8"))
    assert set(map(bare, headings)) <= bookmarks(pdf)
    assert str(tmp_path).encode() not in pdf
    assert b"/Creator (Rowshelf)" in pdf


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")
def test_the_shared_report_is_printed_and_drawn_without_naming_anyone(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = tmp_path / "out"
    folders = [str(folder) for folder in simulated_folders()]
    given = ["share", *folders, "--as-of", AS_OF.isoformat(), "--out", str(out), "--pdf", "--pictures"]
    assert main(given) == 0
    said = capsys.readouterr()
    assert said.out == f"{out / 'index.html'}\n{out / 'index.pdf'}\n"
    assert "earlier report" not in said.err
    pdf = (out / "index.pdf").read_bytes()
    headings = re.findall(r'<h2 id="[^"]*">([^<]*)</h2>', (out / "index.html").read_text(encoding="utf-8"))
    assert len(headings) == 8
    assert set(map(bare, headings)) <= bookmarks(pdf)
    texts = [pdf, *(path.read_bytes() for path in (out / "charts").iterdir()), (out / "index.html").read_bytes()]
    people = {word for name in GROWERS for word in name.split()}
    for word in (*people, str(folders[0])):
        assert not any(word.encode() in text for text in texts), word
    kinds = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()} - {OUTPUT_MARKER}
    tables = {f"tables/{name}.csv" for name in SHARED}
    charts = {name for name in kinds if re.fullmatch(r"charts/[a-z]+\.(svg|png)", name)}
    assert kinds == tables | charts | {"index.html", "index.pdf", "datapackage.json"}


def test_the_keeper_alone_is_told_of_rows_left_out_and_of_an_earlier_report(
    capsys: pytest.CaptureFixture[str], season: Season, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    logs = {
        "plots": "plot,area_m2,grower,share\nP1,40,,yes\nP2,50,,yes\nP3,60,Quentin Marlow,yes\n",
        "harvests": "picked_on,crop,weight,plot\n2026-07-02,bean,4 kg,P1\n2026-07-03,bean,5 kg,P2\n"
        "2026-07-04,bean,6 kg,P3\n2026-07-05,bean,9.9 kg,\n",
        "toml": '[garden]\nname = "Quentin\'s ground"\n',
    }
    folder = season(**logs)
    given = ["share", str(folder), "--as-of", "2026-11-20", "--out", str(out)]
    assert main(given) == 0
    first = capsys.readouterr().err
    assert "harvests: 1 row belongs to no plot, and is left out.\n" in first
    assert "earlier report" not in first
    assert main(given) == 0
    assert "earlier report" not in capsys.readouterr().err  # the very same figures tell nothing new
    page = (out / "index.html").read_text(encoding="utf-8")
    assert "Together they picked 15\u00a0kg" in page
    assert "<h1>Shared garden</h1>" in page
    assert "Quentin" not in "".join(path.read_text(encoding="utf-8") for path in out.rglob("*") if path.is_file())
    with next(path for path in folder.glob("*.csv") if "harvests" in path.name).open("a", encoding="utf-8") as log:
        log.write("2026-07-06,bean,2.5 kg,P1\n")
    assert main([*given[:-1], str(tmp_path / "elsewhere")]) == 0
    assert "an earlier report was made of these folders" in capsys.readouterr().err
    assert "bean" not in (tmp_path / "elsewhere/tables/shared_crops.csv").read_text(encoding="utf-8")
