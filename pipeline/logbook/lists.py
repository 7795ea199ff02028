"""What a folder's logs name: its crops in the grower's own spelling, its plots, beds, sowings and batches."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from pipeline import reference
from schemas.codes import CODES
from schemas.fields import IDENTIFIER
from schemas.logbook import GardenLists
from schemas.logs import ENTRIES, LOGS
from schemas.words.days import full_day

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.store.store import Store

MOST_OFFERED = 400
PEOPLE = frozenset({"grower", "taster"})
"""Columns of text that name a person, and so come again."""

Offers = tuple[tuple[str, str], ...]


def garden_lists(store: Store, settings: Settings) -> GardenLists:
    """What this garden's logs and settings name; every crop of the reference where they name none.

    Args:
        store: a store in line with the folder.
        settings: the folder's settings.
    """
    offers: dict[str, Offers] = {"crop": _crops(store, settings), "batch_id": _batches(store)}
    offers["sowing_id"] = _sowings(store)
    columns = {
        column.name
        for name in ENTRIES.values()
        for column in LOGS[name].columns
        if (column.kind == IDENTIFIER or column.name in PEOPLE) and column.name not in offers
    }
    for name in sorted(columns):
        offers[name] = _typed(store, name)
    return GardenLists(settings.name, {name: words[:MOST_OFFERED] for name, words in offers.items() if words})


def _crops(store: Store, settings: Settings) -> Offers:
    """Each crop once, as it is spelt most often here."""
    parts = [
        store.frame(
            f"select trim(raw_.crop) as typed, core_.crop as crop from raw.{log} as raw_ "  # noqa: S608 -- our names
            f"join core.{log} as core_ using (source_file, source_line) where core_.crop is not null"
        )
        for log in LOGS
        if log != "crops" and "crop" in LOGS[log].core_columns
    ]
    spelt = pl.concat([part.select(pl.col("typed").cast(pl.String), pl.col("crop").cast(pl.String)) for part in parts])
    ranked = spelt.group_by("crop", "typed").len().sort("len", "typed", descending=[True, False])
    words = ranked.unique("crop", keep="first", maintain_order=True)
    named = dict(words.select("crop", "typed").iter_rows())
    own = store.core("crops")
    crops = reference.crop_reference(own)
    lookup = reference.crop_lookup(crops, own)
    for crop in settings.plan_crops or ():
        named.setdefault(lookup.get(crop, crop), crop)
    return tuple((word, "") for word in sorted(set(named.values()) or set(crops["crop"]), key=str.casefold))


def _batches(store: Store) -> Offers:
    """The newest first, each with what it is."""
    batches = store.core("batches").sort("made_on", "batch_id", descending=True)
    return tuple(
        (batch, f"{crop}, {CODES['method'].words[method]}, {full_day(made_on)}")
        for batch, crop, method, made_on in batches.select("batch_id", "crop", "method", "made_on").iter_rows()
    )


def _sowings(store: Store) -> Offers:
    sowings = store.core("sowings").sort("sown_on", "sowing_id", descending=True)
    return tuple(
        (sowing, f"{crop}, {full_day(sown_on)}")
        for sowing, crop, sown_on in sowings.select("sowing_id", "crop", "sown_on").iter_rows()
    )


def _typed(store: Store, column: str) -> Offers:
    logs = [name for name, log in LOGS.items() if column in log.core_columns]
    words = {word for name in logs for word in store.core(name)[column].drop_nulls().to_list()}
    return tuple((word, "") for word in sorted(words, key=str.casefold))
