"""A season folder as one thing: its settings, its store and where its output goes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from pipeline.errors import RowshelfError, UsageError
from pipeline.intake.read import ENDINGS, OUTPUT_MARKER, WORKBOOKS, kind_of
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


def _holds_logs(target: Path) -> bool:
    """Whether a folder is a season's own; marked as output, it would be read as if it were empty."""
    if (target / OUTPUT_MARKER).exists():
        return False
    logs = (path for path in target.iterdir() if path.suffix.casefold() in ENDINGS | WORKBOOKS)
    return (target / SETTINGS_NAME).exists() or any(kind_of(path.name) for path in logs)


def output_folder(out: Path | None, default: Path) -> Path:
    """The folder for output, made if need be and marked so that it is never read back as logs.

    Raises:
        UsageError: it cannot be written, or is a season folder's own top level.
    """
    target = out or default
    try:
        target.mkdir(parents=True, exist_ok=True)
        if _holds_logs(target):
            message = f"--out {target}: this is a season folder; name another folder, such as {target / 'review'}."
            raise UsageError(message)
        (target / OUTPUT_MARKER).touch()
    except OSError as error:
        message = f"--out {target}: cannot be written ({error.strerror}). Name a folder of your own."
        raise UsageError(message) from error
    return target


def drop_stale(target: Path, files: Iterable[str]) -> None:
    """Take away the pictures and the print of an earlier page: beside the new one they would pass for its own.

    Args:
        target: a folder of ours, which holds our marker.
        files: paths inside it that are of the new page.
    """
    made = {target / name for name in files}
    earlier = [target / "index.pdf", *(path for ending in ("svg", "png") for path in target.glob(f"charts/*.{ending}"))]
    if (target / OUTPUT_MARKER).exists():
        for path in earlier:
            if path not in made:
                path.unlink(missing_ok=True)


def write_files(target: Path, files: Mapping[str, bytes | Iterable[bytes]]) -> list[Path]:
    """Write files, each whole or not at all.

    Args:
        target: the folder they go to.
        files: content by path inside that folder, whole or in pieces.

    Raises:
        RowshelfError: a file cannot be written.
    """
    written = []
    for name, content in files.items():
        path = target / name
        part = path.with_name(path.name + ".part")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with part.open("wb") as stream:
                stream.writelines([content] if isinstance(content, bytes) else content)
            part.replace(path)
        except OSError as error:
            message = f"{path}: cannot be written ({error.strerror}). Is the disk full, or the folder read-only?"
            raise RowshelfError(message) from error
        written.append(path)
    return written
