"""A season folder as one thing: its settings and its store."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from pipeline.errors import UsageError
from pipeline.settings import Settings, parse_settings
from pipeline.store.store import STORE_NAME, Store, open_store

SETTINGS_NAME = "rowshelf.toml"


@contextmanager
def opened(folder: Path, store: Path | None, *, in_memory: bool = False) -> Iterator[tuple[Store, Settings]]:
    """The store and the settings of a folder.

    Args:
        folder: the season folder.
        store: where the store is kept, if not in the folder.
        in_memory: use a store that leaves nothing behind. It stands in a temporary file, since a large
            folder would not fit in memory.

    Raises:
        UsageError: the folder is not there, or a setting is wrong.
        StoreError: the store cannot be used.
    """
    settings = read_settings(folder)
    with ExitStack() as stack:
        if in_memory:
            store = Path(stack.enter_context(TemporaryDirectory(prefix="rowshelf-"))) / STORE_NAME
        yield stack.enter_context(open_store(store or folder / STORE_NAME)), settings


def read_settings(folder: Path) -> Settings:
    """Settings of a folder; every default where it has no ``rowshelf.toml``."""
    if not folder.is_dir():
        what = "is a file, not a folder" if folder.exists() else "there is no such folder"
        message = f"{folder}: {what}. Name the folder that holds the logs; `rowshelf start {folder}` makes a new one."
        raise UsageError(message)
    path = folder / SETTINGS_NAME
    if not path.exists():
        return parse_settings(None)
    try:
        return parse_settings(path.read_text(encoding="utf-8"), SETTINGS_NAME)
    except UnicodeDecodeError as error:
        message = (
            f"{SETTINGS_NAME}: not UTF-8 text. Save it as UTF-8, or compare it with the one `rowshelf start` writes."
        )
        raise UsageError(message) from error
    except OSError as error:
        message = f"{SETTINGS_NAME}: cannot be read ({error.strerror}). Is it a file, and are you allowed to read it?"
        raise UsageError(message) from error
