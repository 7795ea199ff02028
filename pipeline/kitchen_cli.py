"""``rowshelf kitchen``: batch sums at the bench. Parse, call, print; no folder is needed."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.errors import UsageError

if TYPE_CHECKING:
    from pipeline.intake.cells import Cell
    from pipeline.kitchen.bench import Bench, BenchSum, Crop

app = typer.Typer(
    name="kitchen",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Work out a batch at the bench, beside the published limits. No folder is needed.",
)

WIDEST = 100
MOST_SWEETENER = 3.0
"""More sweetener than this for one of fruit is a slip of the pen: 80 for 80 %."""

Produce = Annotated[
    str,
    typer.Option(
        "--produce", metavar="WEIGHT", help='Give the weight of prepared produce, such as "2.5 kg" or "5 lb".'
    ),
]
CropName = Annotated[str | None, typer.Option("--crop", help="Say what it is, in any spelling.")]
Salt = Annotated[
    str | None, typer.Option("--salt", metavar="WEIGHT", help='Give the salt as weighed, such as "50 g" or "2 oz".')
]
Temperature = Annotated[
    str | None,
    typer.Option("--temperature", metavar="DEGREES", help='Say how warm it will stand, such as "20 C" or "68 F".'),
]
Piece = Annotated[str | None, typer.Option("--piece", help="Say how it is cut: whole, chunk or shred.")]
Store = Annotated[
    str | None, typer.Option("--store", help="Say where it will stand: pantry, cellar, fridge or freezer.")
]
Processed = Annotated[
    bool | None,
    typer.Option("--processed/--not-processed", help="Say whether the jars are processed in boiling water."),
]
Pint = Annotated[
    str, typer.Option("--pint", help="Say which pint, quart, gallon and fluid ounce are meant: us or imperial.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the sum as JSON, and nothing else, on stdout.")]
FreshWater = Annotated[
    str | None,
    typer.Option("--fresh-water", metavar="PERCENT", help="Give the water of the fresh produce, if you know it."),
]


@app.command()
def salt(
    *,
    produce: Produce,
    percent: Annotated[
        str | None, typer.Option("--percent", help="Give the salt in per cent of the produce, such as 2.5.")
    ] = None,
    salt: Salt = None,
    crop: CropName = None,
    temperature: Temperature = None,
    piece: Piece = None,
    pint: Pint = "us",
    json: AsJson = False,
) -> None:
    """Work out the salt of a dry-salted batch."""
    from pipeline.kitchen.salting import dry_salting

    bench = _bench()
    named = bench.crop(crop, "Leave --crop out for it.") if crop else None
    answer = dry_salting(
        bench,
        _weight("--produce", produce, pint, named),
        percent=_number("--percent", percent),
        salt_g=_salt(salt, pint),
        crop=named,
        temperature_c=_degrees("--temperature", temperature),
        piece=_word("--piece", piece, "piece"),
    )
    _print(answer, as_json=json)


@app.command()
def brine(
    *,
    produce: Produce,
    water: Annotated[str, typer.Option("--water", metavar="VOLUME", help='Give the water, such as "1 l" or "1 qt".')],
    percent: Annotated[
        str | None, typer.Option("--percent", help="Give the salt in per cent of everything: produce, liquid and salt.")
    ] = None,
    strength: Annotated[
        str | None, typer.Option("--strength", help="Give the salt of the brine before packing, in per cent.")
    ] = None,
    salt: Salt = None,
    vinegar: Annotated[
        str | None, typer.Option("--vinegar", metavar="VOLUME", help="Give the vinegar that goes in too.")
    ] = None,
    crop: CropName = None,
    temperature: Temperature = None,
    piece: Piece = None,
    pint: Pint = "us",
    json: AsJson = False,
) -> None:
    """Work out a brine, at packing and once it has evened out."""
    from pipeline.kitchen import salting

    bench = _bench()
    named = bench.crop(crop, "Leave --crop out for it.") if crop else None
    answer = salting.brine(
        bench,
        _weight("--produce", produce, pint, named),
        _volume("--water", water, pint),
        percent=_number("--percent", percent),
        strength=_number("--strength", strength),
        salt_g=_salt(salt, pint),
        vinegar_ml=_volume("--vinegar", vinegar, pint) if vinegar else 0.0,
        crop=named,
        temperature_c=_degrees("--temperature", temperature),
        piece=_word("--piece", piece, "piece"),
    )
    _print(answer, as_json=json)


@app.command()
def pickle(
    *,
    vinegar: Annotated[
        str, typer.Option("--vinegar", metavar="VOLUME", help='Give the vinegar, such as "500 ml" or "2 cups".')
    ],
    water: Annotated[
        str | None, typer.Option("--water", metavar="VOLUME", help="Give the water; left out, there is none.")
    ] = None,
    acid: Annotated[str, typer.Option("--acid", metavar="PERCENT", help="Give the acid on the vinegar's label.")] = "5",
    produce: Annotated[
        str | None, typer.Option("--produce", metavar="WEIGHT", help="Give the weight of prepared produce.")
    ] = None,
    percent: Annotated[
        str | None,
        typer.Option("--percent", help="Give the salt in per cent of the produce and the vinegar together, such as 2."),
    ] = None,
    salt: Salt = None,
    ph: Annotated[str | None, typer.Option("--ph", help="Give the pH, if you measured it.")] = None,
    crop: CropName = None,
    processed: Processed = None,
    store: Store = None,
    piece: Piece = None,
    pint: Pint = "us",
    json: AsJson = False,
) -> None:
    """Work out the acid of a pickle and the water it bears."""
    from pipeline.kitchen.vinegar import vinegar_mix

    bench = _bench()
    named = bench.crop(crop, "Leave --crop out for it.") if crop else None
    answer = vinegar_mix(
        bench,
        _volume("--vinegar", vinegar, pint),
        _volume("--water", water, pint) if water else 0.0,
        acid_pct=_number("--acid", acid) or 0.0,
        produce_g=_weight("--produce", produce, pint, named) if produce else None,
        salt_g=_salt(salt, pint),
        percent=_number("--percent", percent),
        ph=_number("--ph", ph),
        crop=named,
        processed=processed,
        store=_word("--store", store, "store"),
        piece=_word("--piece", piece, "piece"),
    )
    _print(answer, as_json=json)


@app.command()
def jam(
    *,
    fruit: Annotated[
        str, typer.Option("--fruit", metavar="WEIGHT", help='Give the prepared fruit, such as "1 kg" or "2 lb 4 oz".')
    ],
    crop: Annotated[str, typer.Option("--crop", help="Name the fruit, in any spelling.")],
    sugar: Annotated[str | None, typer.Option("--sugar", metavar="WEIGHT", help="Give the weight of sugar.")] = None,
    honey: Annotated[str | None, typer.Option("--honey", metavar="WEIGHT", help="Give the weight of honey.")] = None,
    sugar_share: Annotated[
        str | None,
        typer.Option(
            "--sugar-share", metavar="SHARE", help='Give the sugar for one of fruit, such as "3/4", "0.75" or "75 %".'
        ),
    ] = None,
    honey_share: Annotated[
        str | None,
        typer.Option(
            "--honey-share",
            metavar="SHARE",
            help='Give the honey for one of fruit, such as "7/8", "0.875" or "87.5 %".',
        ),
    ] = None,
    fruit_solids: Annotated[
        str | None,
        typer.Option("--fruit-solids", metavar="PERCENT", help="Give the dissolved solids of the fruit, if measured."),
    ] = None,
    target: Annotated[
        str | None, typer.Option("--target", metavar="PERCENT", help="Boil down to these solids; left out, to 65.")
    ] = None,
    finished: Annotated[
        str | None, typer.Option("--finished", metavar="WEIGHT", help="Give the weight once it is made.")
    ] = None,
    altitude: Annotated[
        str,
        typer.Option(
            "--altitude", metavar="HEIGHT", help='Give the height above the sea, such as "500 m" or "2000 ft".'
        ),
    ] = "0 m",
    processed: Processed = None,
    store: Store = "pantry",
    note: Annotated[
        str | None,
        typer.Option("--note", help='Say what else is done, such as "turned upside down" or "sealed with wax".'),
    ] = None,
    pint: Pint = "us",
    json: AsJson = False,
) -> None:
    """Work out what a jam is boiled down to, and its sugar."""
    from pipeline.kitchen import jam as jams

    solids = _number("--fruit-solids", fruit_solids)
    bench = _bench(crop, None if solids is None else 100 - solids)
    named = bench.crop(crop, "Give its solids with --fruit-solids.")
    fruit_g = _weight("--fruit", fruit, pint, named)
    answer = jams.jam(
        bench,
        fruit_g,
        named,
        sugar_g=_sweetener("sugar", sugar, sugar_share, fruit_g, pint),
        honey_g=_sweetener("honey", honey, honey_share, fruit_g, pint),
        fruit_solids_pct=solids,
        target_pct=_number("--target", target),
        finished_g=_weight("--finished", finished, pint) if finished else None,
        altitude_m=_metres("--altitude", altitude),
        store=_word("--store", store, "store") or "pantry",
        processed=processed,
        note=note,
    )
    _print(answer, as_json=json)


@app.command()
def dry(
    *,
    produce: Produce,
    crop: Annotated[str, typer.Option("--crop", help="Say what is dried, in any spelling.")],
    weighed: Annotated[str | None, typer.Option("--weighed", metavar="WEIGHT", help="Say what it weighs now.")] = None,
    fresh_water: FreshWater = None,
    target: Annotated[
        str | None, typer.Option("--target", metavar="PERCENT", help="Say how much water may be left.")
    ] = None,
    air: Annotated[
        str | None,
        typer.Option("--air", metavar="DEGREES", help='Give the warmth of the drying air, such as "60 C" or "140 F".'),
    ] = None,
    water_error: Annotated[
        str, typer.Option("--water-error", metavar="POINTS", help="Say how far the fresh water may be off.")
    ] = "1",
    pint: Pint = "us",
    json: AsJson = False,
) -> None:
    """Work out the weight when dry, and what a weighing tells."""
    from pipeline.kitchen.drying import drying

    water = _number("--fresh-water", fresh_water)
    bench = _bench(crop, water)
    named = bench.crop(crop, "Give its water with --fresh-water.")
    answer = drying(
        bench,
        _weight("--produce", produce, pint, named),
        named,
        fresh_water_pct=water,
        target_pct=_number("--target", target),
        weighed_g=_weight("--weighed", weighed, pint) if weighed else None,
        air_c=_degrees("--air", air),
        water_error=_number("--water-error", water_error) or 0.0,
    )
    _print(answer, as_json=json)


@app.command()
def jars(
    *,
    produce: Annotated[
        str, typer.Option("--produce", metavar="WEIGHT", help='Give the produce as picked, such as "10 kg" or "20 lb".')
    ],
    crop: Annotated[str, typer.Option("--crop", help="Say what fills them, in any spelling.")],
    jar: Annotated[
        str, typer.Option("--jar", metavar="VOLUME", help='Give the volume of one jar, such as "500 ml" or "1 qt".')
    ] = "500 ml",
    form: Annotated[str | None, typer.Option("--form", help="Name one way of filling, such as crushed.")] = None,
    pint: Pint = "us",
    json: AsJson = False,
) -> None:
    """Work out how many jars a weight of produce fills."""
    from pipeline.kitchen import jars as filling

    bench = _bench()
    named = bench.crop(crop)
    produce_g = _weight("--produce", produce, pint, named)
    _print(filling.jars(bench, produce_g, named, jar_ml=_volume("--jar", jar, pint), form=form), as_json=json)


def _bench(crop: str | None = None, water_pct: float | None = None) -> Bench:
    """The shipped tables; a crop given with its water is known by that, even one the reference lacks."""
    import polars as pl

    from pipeline.kitchen.bench import shipped_bench

    if crop is None or water_pct is None:
        return shipped_bench()
    return shipped_bench(pl.DataFrame({"crop": [crop], "water_pct": [water_pct]}))


def _print(answer: BenchSum, *, as_json: bool) -> None:
    from pipeline.kitchen import told

    if as_json:
        typer.echo(told.sum_json(answer))
    else:
        typer.echo(told.sum_text(answer, min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns)))


def _checked(option: str, text: str, cell: Cell) -> float:
    """The number of a cell that must be more than nothing."""
    if cell.rule:
        message = f"{option} {text!r}: {cell.message.removesuffix(', or name the unit in the header')}."
        raise UsageError(message)
    if not isinstance(cell.value, float) or cell.value <= 0:
        message = f"{option} {text!r}: write an amount above 0."
        raise UsageError(message)
    return cell.value


def _system(pint: str) -> str:
    if pint not in {"us", "imperial"}:
        message = f"--pint {pint}: write us or imperial."
        raise UsageError(message)
    return pint


def _weight(option: str, text: str, pint: str, crop: Crop | None = None) -> float:
    """A weight in g; counted produce by what one piece of the crop weighs."""
    from pipeline.intake.quantities import quantity
    from pipeline.reference.produce_units import unit_kg

    cell = quantity(text, "mass", None, pint=_system(pint), countable=crop is not None)
    value = _checked(option, text, cell)
    if cell.unit is None:
        return value
    one = None if crop is None else unit_kg(crop.name, cell.unit)
    if one is None:
        message = f"{option} {text!r}: what one weighs is not known here; weigh it, such as 1.2 kg or 2 lb."
        raise UsageError(message)
    # What one weighs is as picked; the sums are of what is left once it is trimmed.
    prepared = 1 - (crop.refuse_pct or 0.0) / 100 if crop else 1.0
    return 1000 * value * one * prepared


def _sweetener(name: str, weight: str | None, share: str | None, fruit_g: float, pint: str) -> float:
    """A sweetener in g, weighed or as a share of the fruit; none is 0."""
    if weight is not None and share is not None:
        message = f"give one of --{name}, --{name}-share, not 2."
        raise UsageError(message)
    if share is not None:
        return fruit_g * _share(f"--{name}-share", share)
    return _weight(f"--{name}", weight, pint) if weight else 0.0


def _share(option: str, text: str) -> float:
    """A share as a fraction, a number or a percentage; at most three times the fruit."""
    from pipeline.intake.quantities import number

    parts = text.removesuffix("%").split("/")
    cells = [number(part.strip()) for part in parts]
    values = [cell.value for cell in cells if not cell.rule and isinstance(cell.value, float) and cell.value > 0]
    of_100 = 100.0 if text.rstrip().endswith("%") else 1.0
    value = values[0] / (values[1] if len(values) == 2 else 1.0) / of_100 if values else 0.0
    if len(values) != len(parts) or len(parts) > 2 or not 0 < value <= MOST_SWEETENER:
        message = f"{option} {text!r}: write a share of the fruit's weight such as 7/8, 0.875 or 87.5 %."
        raise UsageError(message)
    return value


def _salt(text: str | None, pint: str) -> float | None:
    """Salt in g. Spoons are refused: what a spoon of salt weighs differs by its grain."""
    if text is None:
        return None
    try:
        return _weight("--salt", text, pint)
    except UsageError as error:
        message = f"{error} Salt is weighed, not spooned: a spoon of it weighs differently by grain."
        raise UsageError(message) from error


def _volume(option: str, text: str, pint: str) -> float:
    from pipeline.intake.quantities import quantity

    return _checked(option, text, quantity(text, "volume", None, pint=_system(pint)))


def _number(option: str, text: str | None) -> float | None:
    from pipeline.intake.quantities import number

    return None if text is None else _checked(option, text, number(text, percent=True))


def _degrees(option: str, text: str | None) -> float | None:
    from pipeline.intake.quantities import temperature

    if text is None:
        return None
    cell = temperature(text)
    if cell.rule or not isinstance(cell.value, float):
        message = f"{option} {text!r}: {cell.message or 'write a temperature such as 20 C or 68 F'}."
        raise UsageError(message)
    return cell.value


def _metres(option: str, text: str) -> float:
    from pipeline.intake.quantities import amount

    cell = amount(text, "m")
    if cell.rule or cell.unit != "m" or not isinstance(cell.value, float):
        message = f"{option} {text!r}: write a height such as 500 m or 2000 ft."
        raise UsageError(message)
    return cell.value


def _word(option: str, text: str | None, vocabulary: str) -> str | None:
    from pipeline.intake.cells import code

    if text is None:
        return None
    cell = code(text, vocabulary)
    if cell.rule:
        message = f"{option} {text!r}: {cell.message}{'' if cell.message.endswith('?') else '.'}"
        raise UsageError(message)
    return None if cell.value is None else str(cell.value)
