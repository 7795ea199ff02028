"""Published values as tables, each row with its source and how that source was read.

``crops.csv`` names the crops, ``crop_names.csv`` the words for them, ``crop_values.csv`` holds their values in long
form, ``quality_months.csv`` the quality time of each way of keeping, ``cautions.csv`` the published limits that a
batch or a kitchen sum is held against. For the kitchen sums: ``kitchen_values.csv``, ``jar_yields.csv``,
``gel_temperatures.csv``, ``pectin_classes.csv``, ``jam_groups.csv`` and ``ready_times.csv``. ``climates.csv`` has the
measured climates that a garden without weather of its own is guessed from.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from pipeline.reference.names import CropLookup, UnclearName, fold, plurals, singulars
from schemas.crop_values import CROP_VALUE_NAMES, CROP_VALUES, GROWERS_WORDS, REFERENCE_COLUMNS

if TYPE_CHECKING:
    import polars as pl

OVERRIDE_SOURCE = "crops.csv of this folder"
OVERRIDE_READ_AS = "grower"


def crop_reference(overrides: pl.DataFrame | None = None) -> pl.DataFrame:
    """Every crop on one row, the grower's own words and values laid over the shipped ones.

    Args:
        overrides: the grower's crops log, or None: ``crop``, optionally ``aliases`` (separated by ``;`` or
            ``|``) and any columns named in ``CROP_VALUES``; other columns are ignored. A crop is known by any
            spelling of :func:`crop_lookup`; an unknown one is appended under its own name in lower case.
            An alias moves to the grower's crop, even where it is the name of another crop, unless the grower
            lists that other crop too.

    Returns:
        ``crop``, ``aliases`` (separated by ``|``), ``family``, ``kind``, ``sown_again``, ``acid`` (only as the grower
        gives it) and one Float64 column per name in ``CROP_VALUE_NAMES``; null where unknown. Shipped order, then the
        grower's.
    """
    return _shipped_reference() if overrides is None or overrides.is_empty() else _with_own(overrides)


@cache
def _shipped_reference() -> pl.DataFrame:
    return _with_own(None)


def _with_own(overrides: pl.DataFrame | None) -> pl.DataFrame:
    import polars as pl

    own = _own(overrides)
    shipped = _shipped()
    values = crop_values_long(overrides)
    wide = values.pivot("name", index="crop", values="value", aggregate_function="first")
    # A value that only growers give has no column until one does.
    nobodys = [name for name in CROP_VALUE_NAMES if name not in wide.columns]
    wide = wide.with_columns(pl.lit(None, dtype=pl.Float64).alias(name) for name in nobodys)
    appended = pl.DataFrame({"crop": [crop for crop in own if crop not in set(shipped["crop"])]})
    return (
        pl.concat([shipped, appended.cast(pl.String)], how="diagonal")
        .with_columns(
            pl.Series("aliases", _aliases(shipped, own), dtype=pl.String),
            pl.col("sown_again").fill_null(value=False),
        )
        .with_columns(_growers_word(name, own) for name in GROWERS_WORDS)
        .join(wide, on="crop", how="left", maintain_order="left")
        .select(*REFERENCE_COLUMNS, "acid", *CROP_VALUE_NAMES)
    )


def crop_values_long(overrides: pl.DataFrame | None = None) -> pl.DataFrame:
    """Every known value of every crop with its source.

    Returns:
        ``crop``, ``name``, ``value`` (Float64, in ``unit``), ``unit``, ``source``, ``read_as``, ``note`` and
        ``basis`` (what a weight is of: ``as picked``, ``in the pod``, ``shelled and dry`` or ``prepared``).
        A value from the grower's log has the source ``crops.csv of this folder`` and is read as ``grower``.
    """
    import polars as pl

    shipped = _table("crop_values").with_columns(pl.col("value").cast(pl.Float64))
    units = {value.name: value.unit for value in CROP_VALUES}
    rows = [
        (crop, name, value, units[name], OVERRIDE_SOURCE, OVERRIDE_READ_AS, None, None)
        for crop, row in _own(overrides).items()
        for name, value in row.values.items()
    ]
    own = pl.DataFrame(rows, schema=shipped.schema, orient="row")
    return pl.concat([shipped.join(own, on=["crop", "name"], how="anti", maintain_order="left"), own])


def quality_months() -> pl.DataFrame:
    """Quality time by method and store.

    Returns:
        ``method``, ``store``, ``crop``, ``months`` (Float64), ``source``, ``read_as``, ``note``. A null
        ``crop`` holds for every crop without a row of its own; a null ``store``, where the store is unknown.
        A time of a kind, such as dried fruit, has a row for each crop of that kind that has none of its own.
    """
    import polars as pl

    table = _table("quality_months").with_columns(pl.col("months").cast(pl.Float64))
    of_a_kind = table.drop_nulls("kind")
    single = table.filter(pl.col("kind").is_null())
    members = (
        of_a_kind.drop("crop")
        .join(_table("crops").select("kind", "crop"), on="kind", maintain_order="left_right")
        .join(single, on=["method", "store", "crop"], how="anti", nulls_equal=True, maintain_order="left")
        .select(table.columns)
    )
    return pl.concat([single, members]).drop("kind")


def caution_rules() -> pl.DataFrame:
    """The published limits that batches and kitchen sums are held against.

    Returns:
        ``id``, ``severity`` (``caution`` or ``serious``), ``condition`` (in words), ``value`` (Float64, the limit
        that the condition compares with; null where it compares with none), ``unit``, ``limit``, ``source``,
        ``read_as``, ``message``.
    """
    return _with_numbers(_table("cautions"), "value")


def food_ph() -> pl.DataFrame:
    """How sour foods are.

    Returns:
        ``food``, ``ph_low``, ``ph_high`` (Float64; null where only the class is known), ``class`` (``acid``, ``near
        limit``, ``low acid``; null for what is made of a food), ``source``, ``read_as``, ``note``.
    """
    return _with_numbers(_table("food_ph"), "ph_low", "ph_high")


def hazard_words() -> pl.DataFrame:
    """Words in which a hazard is written down.

    Returns:
        ``hazard``, ``where`` (``made``: what is written of the making; ``kept``: of a use, a tasting, or a look that
        left the rest; ``found``: of any of these; ``any``),
        ``pattern`` and ``harmless`` (regular expressions in lower case; the second is taken out of the text first).
    """
    return _table("hazard_words")


def kitchen_values() -> pl.DataFrame:
    """Single values that kitchen sums use or print.

    Returns:
        ``id``, ``label``, ``value``, ``low``, ``high`` (Float64 in ``unit``; a value, a range or a bound),
        ``unit``, ``source``, ``read_as``, ``note``.
    """
    return _with_numbers(_table("kitchen_values"), "value", "low", "high")


def gel_temperatures() -> pl.DataFrame:
    """Jelly point by altitude.

    Returns:
        ``altitude_ft`` and ``gel_f`` (Float64, feet and degrees Fahrenheit as published), ``source``, ``read_as``,
        lowest first.
    """
    return _with_numbers(_table("gel_temperatures"), "altitude_ft", "gel_f")


def pectin_classes() -> pl.DataFrame:
    """Fruit by pectin and acid.

    Returns:
        ``crop``, ``pectin_group`` (Float64: 1 has enough of both, 2 may need some added, 3 always does),
        ``pectin`` (``high``, ``low`` or null), ``source``, ``read_as``, ``note``.
    """
    return _with_numbers(_table("pectin_classes"), "pectin_group")


def jam_groups() -> pl.DataFrame:
    """Fruit by the share of it that jam must have to be sold as jam in the United States.

    Returns:
        ``crop``, ``fruit_group`` (Float64: 1 or 2, as ``fruit_share_group_1`` and ``fruit_share`` of
        :func:`kitchen_values`), ``source``, ``read_as``, ``note``.
    """
    return _with_numbers(_table("jam_groups"), "fruit_group")


def jar_yields() -> pl.DataFrame:
    """Fresh produce that fills jars or freezer boxes.

    Returns:
        ``crop``, ``form``, ``method``, ``lb_low``, ``lb_high``, ``quarts`` (Float64: so many pounds as picked fill
        so many US quarts, as published), ``source``, ``read_as``, ``note``.
    """
    return _with_numbers(_table("jar_yields"), "lb_low", "lb_high", "quarts")


def ready_times() -> pl.DataFrame:
    """How long batches take until they are ready.

    Returns:
        ``method``, ``crop``, ``kind`` (``fruit``), ``piece``, ``store`` (null: any), ``least_c`` and ``below_c``
        (Float64, half-open range of temperature; null: open), ``days_low`` and ``days_high`` (Float64; null where
        the note says why no time is published), ``source``, ``read_as``, ``note``.
    """
    return _with_numbers(_table("ready_times"), "least_c", "below_c", "days_low", "days_high")


def climates() -> pl.DataFrame:
    """Monthly means of the daily lowest and highest temperature at places where they were measured.

    Returns:
        ``station``, ``latitude``, ``longitude``, ``elevation_m``, ``years`` (Float64) and ``tmin_01`` to ``tmax_12``
        (Float64, C), ``source``, ``read_as``.
    """
    table = _table("climates")
    return _with_numbers(table, *(name for name in table.columns if name not in {"station", "source", "read_as"}))


def crop_lookup(crops: pl.DataFrame, overrides: pl.DataFrame | None = None) -> CropLookup:
    """Every accepted spelling and the crop it stands for.

    Args:
        crops: a frame of :func:`crop_reference`.
        overrides: the grower's crops log that went into it: a crop or an alias named there is never asked about.

    Raises:
        ValueError: two crops claim one spelling. :func:`crop_reference` lets no grower's alias do so.
    """
    if crops is _shipped_reference() and (overrides is None or overrides.is_empty()):
        return _shipped_lookup()
    return _lookup(crops, overrides)


@cache
def _shipped_lookup() -> CropLookup:
    return _lookup(_shipped_reference(), None)


def _lookup(crops: pl.DataFrame, overrides: pl.DataFrame | None) -> CropLookup:
    names = {crop: crop for crop in crops["crop"]}
    claimed: dict[str, str] = {}
    for crop, aliases in crops.select("crop", "aliases").iter_rows():
        for spelling in _split(aliases):
            other = claimed.setdefault(fold(spelling), crop)
            if other != crop:
                message = f"{spelling!r} stands for both {other!r} and {crop!r}; take it from one of them."
                raise ValueError(message)
    # Only the grower's own words can be aliases that are asked about.
    settled = set(claimed) & set(_unclear_names())
    if overrides is not None and overrides.height:
        settled |= {fold(crop) for crop in overrides["crop"].drop_nulls()}
    unclear = {
        word: asked
        for word, asked in _unclear_names().items()
        if settled.isdisjoint((word, *singulars(word), *plurals(word)))
    }
    # A crop's own name, and its plural, stand for it even where they are asked about.
    named = {word: asked.crops[0] for word, asked in unclear.items() if asked.is_name}
    # An alias that is another crop's name can only be the grower's, whose word goes first.
    return CropLookup(names | named | claimed, unclear, _herbs())


@cache
def _herbs() -> frozenset[str]:
    import polars as pl

    return frozenset(_table("crops").filter(pl.col("kind") == "herb")["crop"])


@cache
def _unclear_names() -> dict[str, UnclearName]:
    """Words of ``crop_names.csv`` that mean more than one thing, by their folded spelling."""
    import polars as pl

    found: dict[str, UnclearName] = {}
    rows = _table("crop_names").filter(pl.col("can_mean").is_not_null())
    for crop, name, can_mean in rows.select("crop", "name", "can_mean").iter_rows():
        key = fold(name)
        before = found.get(key)
        crops = (*before.crops, crop) if before else (crop,)
        own = [one for one in crops if fold(one) in {key, *singulars(key)}]
        found[key] = UnclearName(name, tuple(dict.fromkeys((*own, *crops))), can_mean, is_name=bool(own))
    return found


@dataclass(frozen=True)
class _Own:
    """What the grower's log says about one crop."""

    aliases: list[str] = field(default_factory=list)
    values: dict[str, float] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)


def _own(overrides: pl.DataFrame | None) -> dict[str, _Own]:
    """The grower's rows by crop; the first of several rows for one crop wins."""
    if overrides is None or overrides.is_empty():
        return {}
    lookup = _shipped_lookup()
    own: dict[str, _Own] = {}
    for row in overrides.iter_rows(named=True):
        typed = _spelling(row["crop"])
        entry = own.setdefault(lookup.get(typed, typed), _Own())
        entry.aliases.extend(_split(row.get("aliases")))
        for name in CROP_VALUE_NAMES:
            if row.get(name) is not None:
                entry.values.setdefault(name, float(row[name]))
        for name in GROWERS_WORDS:
            if row.get(name) is not None:
                entry.words.setdefault(name, row[name])
    return own


def _growers_word(name: str, own: dict[str, _Own]) -> pl.Expr:
    """A column of words with the grower's own laid over the shipped ones."""
    import polars as pl

    given = {crop: entry.words[name] for crop, entry in own.items() if name in entry.words}
    shipped = pl.lit(None, pl.String) if name == "acid" else pl.col(name)
    return pl.coalesce(pl.col("crop").replace_strict(given, default=None, return_dtype=pl.String), shipped).alias(name)


def _aliases(shipped: pl.DataFrame, own: dict[str, _Own]) -> list[str | None]:
    """Aliases per crop, shipped crops first: each spelling with one crop, the grower's word first."""
    ships = dict(shipped.select("crop", "aliases").iter_rows())
    names = {fold(crop) for crop in ships}
    claims = [
        (form, crop)
        for crop, entry in own.items()
        for alias in entry.aliases
        # Who says what "shallots" are says it of "shallot", though that is a crop's name.
        for form in (alias, *(name for name in singulars(fold(alias)) if name in names))
    ]
    claims += [(alias, crop) for crop, aliases in ships.items() for alias in _split(aliases)]
    # A crop that the grower names keeps its name; any other name or alias is theirs to give away.
    stands_for = {fold(crop): crop for crop in own}
    kept: dict[str, list[str]] = {crop: [] for crop in (*ships, *own)}
    for alias, crop in claims:
        if fold(alias) not in stands_for and alias != crop:
            stands_for[fold(alias)] = crop
            kept[crop].append(alias)
    return ["|".join(aliases) or None for aliases in kept.values()]


def _spelling(text: str) -> str:
    return " ".join(text.casefold().split())


def _split(aliases: str | None) -> list[str]:
    parts = (aliases or "").replace(";", "|").split("|")
    return [spelling for part in parts if (spelling := _spelling(part))]


@cache
def _shipped() -> pl.DataFrame:
    import polars as pl

    unclear = [*_unclear_names()]
    named = (
        _table("crop_names")
        .filter(pl.col("can_mean").is_null() & ~pl.col("name").map_elements(fold, pl.String).is_in(unclear))
        .group_by("crop")
        .agg(pl.col("name").str.join("|").alias("aliases"))
    )
    return (
        _table("crops")
        .with_columns(pl.col("sown_again") == "true")
        .join(named, on="crop", how="left", maintain_order="left")
    )


def _with_numbers(table: pl.DataFrame, *columns: str) -> pl.DataFrame:
    import polars as pl

    return table.with_columns(pl.col(columns).cast(pl.Float64))


def _table(name: str) -> pl.DataFrame:
    """One shipped table, all text; an empty cell is null."""
    import polars as pl

    content = files("pipeline.reference").joinpath(f"{name}.csv").read_bytes()
    return pl.read_csv(content, infer_schema=False)
