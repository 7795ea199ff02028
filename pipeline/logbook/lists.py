"""What a folder's logs name: its crops in the grower's own spelling, its plots, beds, sowings and batches."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from pipeline import reference
from pipeline.intake.nearest import nearest
from pipeline.shelf.ledger import shelf_ledger
from pipeline.store.crop_spellings import own_words
from schemas.fields import IDENTIFIER
from schemas.logbook import GardenLists
from schemas.logs import ENTRIES, LOGS
from schemas.words.days import full_day
from schemas.words.ways import kind_of_food

if TYPE_CHECKING:
    import datetime as dt

    from pipeline.reference.own_words import OwnWords
    from pipeline.settings import Settings
    from pipeline.store.store import Store

MOST_OFFERED = 400
ALIKE_PCT = 85
"""An unknown crop so like a known one is likely a slip of the pen."""
PEOPLE = frozenset({"grower", "taster"})
"""Columns of text that name a person, and so come again."""

Offers = tuple[tuple[str, str], ...]


def garden_lists(store: Store, settings: Settings, today: dt.date) -> GardenLists:
    """What this garden's logs and settings name; every crop of the reference where they name none.

    Args:
        store: a store in line with the folder.
        settings: the folder's settings.
        today: the day on which batches with something left are offered.
    """
    crops = reference.crop_reference(store.core("crops"))
    own = own_words(store, crops, reference.crop_lookup(crops, store.core("crops")))
    offers: dict[str, Offers] = {"crop": _crops(store, settings), "batch_id": _batches(store, today, own)}
    offers["sowing_id"] = _sowings(store, own)
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
    counted = (
        spelt.group_by("crop", "typed").len().with_columns(own=pl.col("typed").str.to_lowercase() == pl.col("crop"))
    )
    ranked = counted.sort("len", "own", "typed", descending=[True, True, False])
    words = ranked.unique("crop", keep="first", maintain_order=True)
    own = store.core("crops")
    crops = reference.crop_reference(own)
    lookup = reference.crop_lookup(crops, own)
    named = {
        crop: typed
        for crop, typed in words.select("crop", "typed").iter_rows()
        if crop in lookup or not nearest(crop, lookup, ALIKE_PCT)  # what is likely a slip is not offered again
    }
    for crop in settings.plan_crops or ():
        named.setdefault(lookup.get(crop, crop), crop)
    return tuple((word, "") for word in sorted(set(named.values()) or set(crops["crop"]), key=str.casefold))


def _batches(store: Store, today: dt.date, own: OwnWords) -> Offers:
    """Those of which something is left, the newest first, each with what it is."""
    ledger = shelf_ledger(store.core("batches"), store.core("spoilage"), store.core("consumption"), today)
    left = ledger.filter(pl.col("on_hand") > 0).select("batch_id")
    batches = store.core("batches").join(left, on="batch_id", how="semi")
    newest = batches.sort("made_on", "batch_id", descending=True).select("batch_id", "crop", "method", "made_on")
    return tuple(
        (batch, f"{kind_of_food(crop, method)}, {full_day(made_on)}")
        for batch, crop, method, made_on in own.table(newest).iter_rows()
    )


def _sowings(store: Store, own: OwnWords) -> Offers:
    sowings = store.core("sowings").sort("sown_on", "sowing_id", descending=True)
    return tuple(
        (sowing, f"{crop}, {full_day(sown_on)}")
        for sowing, crop, sown_on in own.table(sowings.select("sowing_id", "crop", "sown_on")).iter_rows()
    )


def _typed(store: Store, column: str) -> Offers:
    logs = [name for name, log in LOGS.items() if column in log.core_columns]
    words = {word for name in logs for word in store.core(name)[column].drop_nulls().to_list()}
    return tuple((word, "") for word in sorted(words, key=str.casefold))
