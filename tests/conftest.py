"""Fixtures shared by all tests: season folders made of a few lines, and the derandomised hypothesis profile."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from headless import browser, opened
from hypothesis import HealthCheck, settings

__all__ = ["browser", "opened"]

settings.register_profile(
    "rowshelf", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
settings.load_profile("rowshelf")


@pytest.fixture
def season(tmp_path: Path) -> Callable[..., Path]:
    """A season folder of the given files; underscores in a keyword stand for the dot before ``csv``."""

    def make(**logs: str | bytes) -> Path:
        folder = tmp_path / "season"
        folder.mkdir(exist_ok=True)
        for name, content in logs.items():
            file = folder / ("rowshelf.toml" if name == "toml" else f"{name}.csv")
            file.write_bytes(content if isinstance(content, bytes) else content.encode())
        return folder

    return make
