"""Pages and charts as files for elsewhere: a chart as SVG and PNG, a page as PDF printed by an installed browser."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from pathlib import Path

import vl_convert

BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "msedge",
)
"""Programs that print a page without showing it, in the order tried."""
PIXELS_PER_POINT = 2.0
"""A chart of 440 px is printed 9 cm wide at 250 dots an inch or more."""
LONGEST_PRINT_S = 120.0

BY_HAND = "Open the page in any browser and print it to a file; it is laid out for A4."
NO_BROWSER = f"No PDF was made: no Chromium, Chrome or Edge was found. {BY_HAND}"


def chart_files(charts: Mapping[str, str]) -> dict[str, bytes]:
    """Each chart as an SVG and as a PNG file on white, by its path beside the page: ``charts/use.svg``.

    Args:
        charts: SVG text by slug, as they stand on a page.
    """
    files: dict[str, bytes] = {}
    for slug, svg in charts.items():
        on_white = _on_white(svg)
        files[f"charts/{slug}.svg"] = on_white.encode()
        files[f"charts/{slug}.png"] = vl_convert.svg_to_png(on_white, scale=PIXELS_PER_POINT)
    return files


def _on_white(svg: str) -> str:
    """The picture with a white ground: a page gives it one, a file has none."""
    end = svg.index(">") + 1
    return f'{svg[:end]}<rect width="100%" height="100%" fill="#fff"/>{svg[end:]}'


def find_browser() -> str | None:
    """Path of an installed browser that can print a page, or None."""
    return next((path for path in map(shutil.which, BROWSERS) if path), None)


def print_pdf(page: Path, target: Path) -> tuple[Path | None, str]:
    """Print a page to a PDF file with a bookmark for each heading; its metadata name neither machine nor system.

    Args:
        page: an HTML file.
        target: the PDF file to write, whole or not at all.

    Returns:
        The file and no words, or None and a sentence that says why there is none.
    """
    browser = find_browser()
    if browser is None:
        return None, NO_BROWSER
    part = target.with_name(target.name + ".part")
    with tempfile.TemporaryDirectory(prefix="rowshelf-print-") as profile:
        command = [
            browser,
            "--headless",
            "--disable-gpu",
            "--disable-extensions",
            "--no-first-run",
            "--no-pdf-header-footer",
            "--generate-pdf-document-outline",
            "--user-agent=Rowshelf",  # a browser writes it into the file as the creator
            f"--user-data-dir={profile}",
            f"--print-to-pdf={part.resolve()}",
            page.resolve().as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")  # a browser run by root does not start without it
        try:
            # our own page, and a browser found on the PATH
            subprocess.run(command, check=True, capture_output=True, timeout=LONGEST_PRINT_S)  # noqa: S603
        except (OSError, subprocess.SubprocessError) as error:
            return None, f"No PDF was made: {browser} could not print the page ({type(error).__name__}). {BY_HAND}"
    if not part.is_file():
        return None, f"No PDF was made: {browser} wrote no file. {BY_HAND}"
    part.replace(target)
    return target, ""
