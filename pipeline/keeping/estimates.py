"""What kept and what was lost, by group: the model's answer beside the picture of what was seen.

The model (:mod:`pipeline.keeping.model`) answers wherever the day made is known. The picture (Kaplan-Meier,
Aalen-Johansen) answers where it is not, and checks the model: where the model's share leaves the picture's interval,
the picture's is given.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.keeping.curves import seen_keeping
from pipeline.keeping.design import design_of
from pipeline.keeping.model import Fit, fit
from pipeline.keeping.predict import lost_by, lost_in_batches
from pipeline.keeping.risk import FloatArray, Followed, IntArray, follow, names
from schemas.words.days import YEAR_DAYS

SEED = 20
"""Of the draws of the spreads; the same histories always give the same answer."""

MOST_AGES = 24
"""Ages at which use is stated when it competes with loss."""

LOW, HIGH = 0.025, 0.975


def fit_keeping(histories: pl.DataFrame, by: Sequence[str] | str = ()) -> Fit | None:
    """Fit the model to all containers of a household; None where no batch has a day made, or nothing is there.

    Args:
        histories: as for :func:`estimate_keeping`, with ``made_on``.
        by: columns that make effects beside the factors of ``schemas/factors.py``.
    """
    if "made_on" not in histories.columns or histories.is_empty():
        return None
    return fit(design_of(histories, names(by)), np.random.default_rng(SEED))


def estimate_keeping(
    histories: pl.DataFrame, by: Sequence[str] | str, horizon_days: float, model: Fit | None = None
) -> pl.DataFrame:
    """Share kept if left alone and share lost while others are used, by group, at an age of ``horizon_days``.

    With ``made_on`` the shares are the model's (median and 95 % interval of its draws) of containers such as the
    group's batches, made in a year to come; by year or batch, of those made. Without it they are Kaplan-Meier and
    Aalen-Johansen with intervals in which the batch is the unit. A spoiled container is dated to the middle of
    (last known sound, found]; a used one leaves the risk set when used; one on the shelf at its last look.

    Args:
        histories: one row per container: ``batch_id``, ``last_sound_days``, ``found_days`` (null unless
            spoiled), ``fate``, the grouping columns, and ``made_on`` and further factors where they are known.
        by: grouping columns; an empty list gives one row for everything.
        horizon_days: age asked for; infinity stands for the end of each group's follow-up.
        model: of :func:`fit_keeping` for these batches or more; fitted here where it is left out.

    Returns:
        The grouping columns, then ``kept``, ``kept_low``, ``kept_high`` (95 %, null where the group was not
        followed so long), ``lost_share``, ``lost_low``, ``lost_high`` (use competing, by the horizon or by the end
        of follow-up if that is earlier), ``batches`` (those followed at all), ``containers`` and ``spoiled``
        (all, by now), ``evidence``. Sorted by group.
    """
    followed = follow(histories, by)
    seen = seen_keeping(followed, horizon_days)
    found = model or fit_keeping(histories, by)
    return seen if found is None else modelled(seen, followed, histories, by, horizon_days, found)


def modelled(
    seen: pl.DataFrame,
    followed: Followed,
    histories: pl.DataFrame,
    by: Sequence[str] | str,
    horizon_days: float,
    model: Fit,
) -> pl.DataFrame:
    """The picture of what was seen with the model's shares in it, group by group, where the two agree."""
    columns = names(by)
    ages = np.minimum(horizon_days, followed.end)
    rows = _rows_of_groups(histories, followed, model)
    values = {name: seen[name].to_numpy().copy() for name in ("kept", "kept_low", "kept_high")}
    values |= {name: seen[name].to_numpy().copy() for name in ("lost_share", "lost_low", "lost_high")}
    for group, batches in enumerate(rows):
        if not batches.size or not ages[group] > 0:
            continue
        steps, unused = _use_of(followed, group, ages[group])
        lost = _lost_draws(model, batches, steps / YEAR_DAYS, columns)
        _take(values, ("kept", "kept_low", "kept_high"), group, 1 - lost[:, -1])
        _take(values, ("lost_share", "lost_low", "lost_high"), group, np.diff(lost, axis=1, prepend=0.0) @ unused)
    return seen.with_columns(
        pl.when(pl.col(name).is_not_null()).then(pl.Series(value, dtype=pl.Float64)).alias(name)
        for name, value in values.items()
    )


def _lost_draws(model: Fit, batches: IntArray, ages_years: FloatArray, columns: list[str]) -> FloatArray:
    """Share lost if left alone by each age, by draw: of these batches as they were, or of such made again."""
    if "batch_id" not in columns:
        return lost_by(model, batches, ages_years, again="year" not in columns)
    by_age = [lost_in_batches(model, batches, np.zeros(1), np.full(1, age)).mean(axis=1) for age in ages_years]
    return np.stack(by_age, axis=1)


def _take(values: dict[str, FloatArray], columns: tuple[str, str, str], group: int, draws: FloatArray) -> None:
    """Put the model's share and interval where the picture's stood, unless the picture contradicts it."""
    share, low, high = columns
    middle = float(np.median(draws))
    if not values[low][group] - 1e-9 <= middle <= values[high][group] + 1e-9:
        return
    values[share][group] = middle
    values[low][group], values[high][group] = np.quantile(draws, [LOW, HIGH])


def _rows_of_groups(histories: pl.DataFrame, followed: Followed, model: Fit) -> list[IntArray]:
    """For each group, the rows of the model's batches that belong to it."""
    places = model.design.batches.select("batch_id", place=pl.int_range(pl.len(), dtype=pl.Int64))
    pairs = pl.DataFrame({"group": followed.group, "batch_id": histories["batch_id"]}).unique(maintain_order=True)
    pairs = pairs.join(places, on="batch_id")
    group, place = pairs["group"].to_numpy(), pairs["place"].to_numpy()
    return [place[group == one] for one in range(followed.groups.height)]


def _use_of(followed: Followed, group: int, age: float) -> tuple[FloatArray, FloatArray]:
    """Ages up to ``age`` at which containers were used, ``age`` last, and the share unused just before each."""
    here = (followed.table_group == group) & (followed.table["used"] > 0) & (followed.table["age"] < age)
    used_on = followed.table["age"][here]
    left = np.cumprod(1 - followed.table["used"][here] / followed.table["at_risk"][here])
    steps, unused = np.append(used_on, age), np.append(1.0, left)
    if steps.size > MOST_AGES:
        chosen = np.unique(np.linspace(0, steps.size - 1, MOST_AGES).round().astype(np.int64))
        steps, unused = steps[chosen], unused[chosen]
    keep = steps > 0
    return steps[keep], unused[keep]
