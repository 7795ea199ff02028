"""What is written about a batch in words, whatever the column: it may raise a caution and never lifts one.

A column that we do not know and that is named for a fat (``Oil``, ``Fett``) is a column: ``no`` in it says that there
is none, and that is the one way to answer a note in which the word only occurs.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence

import polars as pl

from pipeline import reference
from schemas.codes import LOST_ACTIONS

REMARK_TYPES: dict[str, pl.DataType] = {"batch_id": pl.String(), "where": pl.String(), "text": pl.String()}
SAYS_NO = frozenset(
    (
        *("no", "none", "n", "nil", "0", "0 g", "0 ml", "0g", "0ml", "false", "-", "without", "left out"),
        *("nein", "kein", "keine", "keins", "non", "aucun", "aucune", "sin", "ninguno", "ninguna", "nessuno", "geen"),
        *("nee", "ingen", "nej", "nei", "ne", "nao", "n\xe3o", "nenhum", "nie", "brak", "ei", "nem", "нет", "yok"),
    )
)
NO_FAT = "\ue000"
"""Stands in the remarks of a batch whose fat column says no; it is taken out of whatever was typed."""


def remarks_of(
    batches: pl.DataFrame,
    logs: Mapping[str, pl.DataFrame] | None = None,
    typed: Mapping[str, pl.DataFrame] | None = None,
) -> pl.DataFrame:
    """Every text about each batch.

    Args:
        batches: core batches.
        logs: core rows of the other logs that name a batch, by log: ingredients, spoilage, consumption, tastings.
        typed: rows as typed, by log: ``source_file``, ``source_line``, ``extra`` (cells of unknown columns as JSON) and
            any text columns.

    Returns:
        ``batch_id``, ``where`` and ``text`` in lower case. Where: ``made`` (of the making), ``kept`` (of a look, a use
        or a tasting), ``lost`` (of a look after which the container is gone).
    """
    logs, typed = logs or {}, typed or {}
    made = [("batches", batches), *([("ingredients", logs["ingredients"])] if "ingredients" in logs else [])]
    parts = []
    for name, rows in made:
        log = rows.with_columns(where=pl.lit("made"))
        parts += [_texts(log, [column for column in MADE_WORDS if column in log.columns])]
        parts += _typed(log, typed.get(name))
    for name in ("spoilage", "consumption", "tastings"):
        if name in logs:
            looks = logs[name].with_columns(where=_where_found() if name == "spoilage" else pl.lit("kept"))
            parts += [_texts(_without_denials(looks) if name == "spoilage" else looks, ["note"])]
            parts += _typed(looks, typed.get(name))
    return pl.concat(parts).drop_nulls().with_columns(pl.col("text").str.to_lowercase())


MADE_WORDS = ("note", "starter", "weighted_by", "salt_kind", "crop")
DENIED = r"(?i)\b(?:no|not|nor|none|without|never|nothing|free of)\b[^.;,]{0,40}"


def _where_found() -> pl.Expr:
    gone = pl.col("action").is_in(sorted(LOST_ACTIONS)) | (pl.col("action").is_null() & pl.col("cause").is_not_null())
    return pl.when(gone).then(pl.lit("lost")).otherwise(pl.lit("kept"))


def _without_denials(looks: pl.DataFrame) -> pl.DataFrame:
    """Looks whose columns say that all was sound, without the signs that their note says were not there."""
    sound = (pl.col("containers") == 0) & pl.col("cause").is_null()
    plain = pl.when(sound).then(pl.col("note").str.replace_all(DENIED, " ")).otherwise("note")
    return looks.with_columns(note=plain)


def _texts(log: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    known = log.drop_nulls("batch_id").select("batch_id", "where", *columns)
    long = known.unpivot(columns, index=["batch_id", "where"], value_name="text")
    plain = long.with_columns(pl.col("text").str.replace_all(NO_FAT, " ", literal=True))
    return plain.select(*REMARK_TYPES).cast(REMARK_TYPES)  # type: ignore[arg-type]


def _typed(log: pl.DataFrame, raw: pl.DataFrame | None) -> list[pl.DataFrame]:
    """Texts of the cells as typed, and of the columns that we do not know."""
    if raw is None:
        return []
    at = ["source_file", "source_line"]
    rows = log.drop_nulls("batch_id").select("batch_id", "where", *at).join(raw.drop("batch_id", strict=False), on=at)
    columns = [name for name in ("method", "crop", "process") if name in raw.columns]
    told = rows.select("batch_id", "where", text=pl.col("extra").map_elements(extra_text, return_dtype=pl.String))
    return [*([_texts(rows, columns)] if columns else []), told]


def extra_text(cells: str) -> str | None:
    """Cells of unknown columns as ``name: value``; a fat that is said not to be there stands as such."""
    known = json.loads(cells.replace(NO_FAT, " "))
    if not isinstance(known, dict):
        return None
    said = []
    for name, value in known.items():
        text = str(value or "").strip()
        if text.casefold() in SAYS_NO:
            said += [NO_FAT] if _names_fat(name.casefold()) else []
        elif text:
            said.append(f"{name}: {text}")
    return " ; ".join(said) or None


def _names_fat(name: str) -> bool:
    fats = reference.hazard_words().filter(pl.col("hazard").is_in(["fat", "fat column"]))
    found = pl.select(pl.any_horizontal(pl.lit(name).str.contains(_whole(text)) for text in fats["pattern"]))
    return bool(found.item())


def _whole(pattern: str) -> str:
    """The pattern as whole words; letters without spaces between words (Chinese, Japanese, Thai) match anywhere."""
    return f"(?:{pattern})" if pattern[0] >= "\u0e00" else rf"\b(?:{pattern})\b"


def hazards(remarks: pl.DataFrame, names: Iterable[str]) -> pl.DataFrame:
    """Per batch, what is said of each hazard of ``hazard_words``, one column each; null where nothing is.

    ``vegetable`` holds the first low-acid crop of ``names`` that what is written of the making names.
    """
    words = reference.hazard_words()
    by_place = remarks.group_by("batch_id", "where").agg(pl.col("text").unique(maintain_order=True).str.join(" ; "))
    wide = by_place.pivot("where", index="batch_id", values="text")
    missing = [pl.lit(None, pl.String).alias(place) for place in ("made", "kept", "lost") if place not in wide.columns]
    wide = wide.with_columns(missing).with_columns(
        found=pl.concat_str("kept", "lost", separator=" ; ", ignore_nulls=True),
        any=pl.concat_str("made", "kept", "lost", separator=" ; ", ignore_nulls=True),
    )
    found = []
    for (hazard,), rows in words.filter(pl.col("hazard") != "fat column").group_by("hazard", maintain_order=True):
        said = [_said(row["where"], row["pattern"], row["harmless"]) for row in rows.iter_rows(named=True)]
        found.append(pl.coalesce(said).alias(str(hazard).replace(" ", "_")))
    plants = "|".join(name.replace(" ", "[ -]") for name in sorted(names, key=len, reverse=True))
    found.append(_said("made", f"(?:{plants})(?:e?s)?", VEGETABLES_THAT_ARE_NONE).alias("vegetable"))
    no_fat = pl.col("any").str.contains(NO_FAT, literal=True)
    return wide.select("batch_id", *found, no_fat=no_fat)


VEGETABLES_THAT_ARE_NONE = r"vanilla (?:beans?|pods?)|coffee beans?|bean pot|pepper ?corns?|black pepper|potato masher"


def _said(where: str, pattern: str, harmless: str | None) -> pl.Expr:
    text = pl.col(where)
    if harmless:
        text = text.str.replace_all(_whole(harmless), " ")
    return text.str.extract(f"({_whole(pattern)})")
