"""Which rows of one or many season folders may be shared, and which plot each belongs to.

A plot is shared where its row in the plots log says ``share = yes``; silence is not consent. A row belongs to the
plot it names, else to that of its sowing or batch, else to the only plot of its folder. A row that names two
plots, its own and its sowing's, needs the consent of both. All other rows stay behind. Who grew, who tasted and
what was noted stays behind always.

A plot goes by its number. Its own name may hold a person's in more ways than a program can know, so it is shown only
where the folder gives a label that is meant to be public, and never one that holds the name of a grower or taster.

Plots of one grower, in one folder or several and however the name is spelled, count as one: figures of three plots
that are all one person's are that person's figures (the "holdings" of the "Handbook on Statistical Disclosure
Control", 2nd edition, section 4.2, read in its published source).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.garden.growers import bare, together
from pipeline.settings import Settings
from schemas.contracts import core_types

BY_PLOT = ("sowings", "harvests", "batches", "ingredients", "spoilage", "consumption")
"""Logs whose rows belong to a plot; tastings are personal and are not read."""

NAMING_A_PLOT = ("sowings", "harvests", "batches", "spoilage", "consumption")
PRIVATE = ("grower", "note", "treatment", "trial", "bed", "variety")
"""Columns emptied at once: nothing that is shared needs them."""

LEAST_NAME = 2
"""Letters of a part of a person's name that a plot's label may not hold."""
LEAST_STEM = 3
"""From this many letters on, no word of a label may begin with it either: a Quentin's bed may be ``Quentins Beet``."""
NOT_NAMES = frozenset({"grower", "taster", "plot"})

PLOT_TYPES: dict[str, pl.DataType] = {
    "plot": pl.String(),
    "holder": pl.String(),
    "label": pl.String(),
    "own_name": pl.String(),
    "area_m2": pl.Float64(),
    "people": pl.Float64(),
    "folder": pl.Int64(),
}
UNATTRIBUTED_TYPES: dict[str, pl.DataType] = {"log": pl.String(), "rows": pl.Int64()}


@dataclass(frozen=True)
class FolderLogs:
    """The typed logs of one season folder."""

    frames: Mapping[str, pl.DataFrame]
    settings: Settings


@dataclass(frozen=True)
class Pool:
    """The rows that may be shared, of all folders together.

    ``frames`` holds the logs of ``BY_PLOT`` with ``plot`` filled in everywhere, plus ``holder``, who stands
    behind it; plots, sowings and batches go by names that are their own across folders.
    """

    frames: Mapping[str, pl.DataFrame]
    plots: pl.DataFrame
    """``plot``, ``holder``, ``label``, ``own_name`` (never shown), ``area_m2``, ``people`` and ``folder`` (its place in
    the list) of each."""
    unattributed: pl.DataFrame
    """``log`` and ``rows``: rows that name no plot, in folders of several plots; they are left out."""
    some_declined: bool
    """Whether there are plots that did not agree."""

    def __getitem__(self, log: str) -> pl.DataFrame:
        """Shared rows of one log."""
        return self.frames[log]

    def of_plot(self, plot: str) -> dict[str, pl.DataFrame]:
        """The logs of one plot."""
        return {log: frame.filter(pl.col("plot") == plot) for log, frame in self.frames.items()}


def pool(folders: Sequence[FolderLogs]) -> Pool:
    """The shared rows of all folders, as if they were one.

    Args:
        folders: typed logs of each folder.
    """
    parts: dict[str, list[pl.DataFrame]] = {log: [] for log in BY_PLOT}
    plots, lost, declined = [pl.DataFrame(schema=PLOT_TYPES)], dict.fromkeys(BY_PLOT, 0), False
    for number, folder in enumerate(folders):
        shared = _shared_plots(folder.frames, number, many=len(folders) > 1)
        plots.append(shared)
        for log, rows in _with_plot(folder.frames, f"{number + 1}/").items():
            lost[log] += rows["plot"].null_count()
            parts[log].append(rows)
        declined |= shared.height < len(_plots_named(folder.frames))
    listed = _with_holders(pl.concat(plots))
    empty = {
        log: pl.DataFrame(schema=core_types(log) | {"plot": pl.String(), "holder": pl.String()}) for log in BY_PLOT
    }
    columns = {log: list(frame.columns) for log, frame in empty.items()}
    frames = {
        log: pl.concat([empty[log], *(_consented(part, listed).select(columns[log]) for part in parts[log])])
        for log in BY_PLOT
    }
    counts = [(log, count) for log, count in lost.items() if count]
    unattributed = pl.DataFrame(counts, schema=UNATTRIBUTED_TYPES, orient="row")
    return Pool(frames, listed, unattributed, declined)


def _plain(column: str) -> pl.Expr:
    """A plot's name as it is compared: without case and outer spaces."""
    return pl.col(column).str.strip_chars().str.to_lowercase()


def _plots_named(frames: Mapping[str, pl.DataFrame]) -> set[str]:
    """Every plot that a folder knows of, listed or not."""
    names = [frames[log].select(_plain("plot"))["plot"] for log in ("plots", *NAMING_A_PLOT)]
    return set(pl.concat(names).drop_nulls())


def _shared_plots(frames: Mapping[str, pl.DataFrame], number: int, *, many: bool) -> pl.DataFrame:
    """The plots of a folder whose growers agreed, with ``grower`` as typed, and ``label`` and ``number`` to show."""
    names = _names(frames)
    rows: list[dict[str, object]] = []
    plots = frames["plots"].with_columns(plain=_plain("plot"))
    agreed = plots.filter(pl.col("share").fill_null(value=False).all().over("plain"))
    listed = agreed.unique("plain", keep="first").sort(pl.col("plain").str.len_chars(), "plain")
    own_numbers = bool(listed["plain"].str.contains(r"^[0-9]{1,4}$").all())
    for row in listed.iter_rows(named=True):
        plot, public = row["plain"], (row["label"] or "").strip()
        numbered = f"plot no. {plot if own_numbers else len(rows) + 1}"
        label = numbered if not public or _holds(public, names) else public
        rows.append(
            {
                "plot": f"{number + 1}/{plot}",
                "holder": row["grower"] or _who_picks(frames["harvests"], plot),
                "label": f"garden {number + 1}, {label}" if many else label,
                "own_name": row["plot"].strip(),
                "area_m2": row["area_m2"],
                "people": row["people"],
                "folder": number,
            }
        )
    return pl.DataFrame(rows, schema=PLOT_TYPES)


def _with_holders(plots: pl.DataFrame) -> pl.DataFrame:
    """The plots with who stands behind each in place of the grower's name; a plot without one stands for itself."""
    numbers = together(plots["holder"].to_list())
    return plots.with_columns(holder=pl.Series([f"holder {number}" for number in numbers], dtype=pl.String))


def _who_picks(harvests: pl.DataFrame, plot: str) -> str | None:
    """Who picked on a plot that has no grower in the list."""
    names = harvests.filter(_plain("plot") == plot)["grower"].drop_nulls().unique().sort()
    return ";".join(names) or None


def holds_a_name(text: str, frames: Mapping[str, pl.DataFrame]) -> bool:
    """Whether a text holds a part of the name of a grower or a taster of a folder."""
    return _holds(text, _names(frames))


def _holds(text: str, names: set[str]) -> bool:
    return any(_is_of(word, name) for word in _words(text) for name in names)


def _is_of(word: str, name: str) -> bool:
    """Whether a word is a name or made of one; in scripts without spaces a name stands anywhere in a word."""
    stem = len(name) >= LEAST_STEM and word.startswith(name)
    return word == name or stem or (not name.isascii() and name in word)


def _words(text: str | None) -> set[str]:
    """Words without case and accents."""
    return {word for word in re.findall(r"\w+", bare(text or "")) if len(word) >= LEAST_NAME}


def _names(frames: Mapping[str, pl.DataFrame]) -> set[str]:
    """Parts of the names of all growers and tasters of a folder."""
    columns = (("plots", "grower"), ("harvests", "grower"), ("tastings", "taster"))
    people = {name for log, column in columns for name in frames[log][column].drop_nulls()}
    return {word for name in people for word in _words(name)} - NOT_NAMES


def _with_plot(frames: Mapping[str, pl.DataFrame], prefix: str) -> dict[str, pl.DataFrame]:
    """The logs of a folder with every row's plot, null where it has none, and ``second``, another it names."""
    named = _plots_named(frames)
    only = pl.lit(prefix + named.pop() if len(named) == 1 else None, pl.String)
    own = pl.lit(prefix) + _plain("plot")
    rows = {log: _own_names(frames[log], prefix) for log in BY_PLOT}
    sowings, batches = (rows[log].with_columns(plot=pl.coalesce(own, only)) for log in ("sowings", "batches"))
    sown_on = sowings.select("sowing_id", second="plot").unique("sowing_id", keep="first")
    made_on = batches.select("batch_id", "plot").unique("batch_id", keep="first")
    harvests = (
        rows["harvests"]
        .join(sown_on, on="sowing_id", how="left", maintain_order="left")
        .with_columns(plot=pl.coalesce(own, "second", only))
    )
    of_batch = {
        log: rows[log]
        .join(made_on.rename({"plot": "second"}), on="batch_id", how="left", maintain_order="left")
        .with_columns(plot=_of_batch(own if log in NAMING_A_PLOT else None, only))
        for log in ("ingredients", "spoilage", "consumption")
    }
    return {"sowings": sowings, "harvests": harvests, "batches": batches, **of_batch}


def _of_batch(own: pl.Expr | None, only: pl.Expr) -> pl.Expr:
    """The plot of a row that may be of a batch: the one it names, or its batch's; fresh produce may be of the only."""
    fresh = pl.when(pl.col("batch_id").is_null()).then(only)
    return pl.coalesce(*([] if own is None else [own]), "second", fresh)


def _own_names(frame: pl.DataFrame, prefix: str) -> pl.DataFrame:
    """Sowings and batches under names of their own across folders, and nothing private."""
    ids = [name for name in ("batch_id", "sowing_id") if name in frame.columns]
    private = [name for name in PRIVATE if name in frame.columns]
    return frame.with_columns(
        *((pl.lit(prefix) + pl.col(name)).alias(name) for name in ids),
        *(pl.lit(None, pl.String).alias(name) for name in private),
    )


def _consented(rows: pl.DataFrame, shared: pl.DataFrame) -> pl.DataFrame:
    """Rows of shared plots, with who stands behind them."""
    plots = shared.select("plot", "holder")
    kept = rows.join(plots, on="plot", how="inner", maintain_order="left")
    if "second" not in kept.columns:
        return kept
    return kept.filter(pl.col("second").is_null() | pl.col("second").is_in(plots["plot"].to_list())).drop("second")
