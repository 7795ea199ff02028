"""Shares lost at stated ages, for many groups at once, with plain and between-batch variances.

Two questions, two estimators. What would be lost of jars left alone: Kaplan & Meier 1958, J Am Stat Assoc
53:457, variance of Greenwood 1926. What was lost while others were being eaten: Aalen & Johansen 1978,
Scand J Statist 5:141, delta-method variance. Between-batch variance: the influence of each container on the
share, summed over its batch, squared and summed, times m / (m - 1) (the between-cluster variance of
Williams 1995, Lifetime Data Analysis 1:171; abstract read). A spoiled container counts as lost at the middle
of the time between last known sound and found.

Everything is read off one risk table per group, so that the cost is one sort and a few gathers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Share:
    """A share lost per group, with what an interval needs."""

    share: FloatArray
    variance: FloatArray
    """If containers were independent."""
    batch_variance: FloatArray
    """Between batches, times m / (m - 1)."""
    jars_at_extreme: FloatArray
    """Independent containers it is worth where it is 0 or 1 and the variance says nothing."""
    at_risk: IntArray
    """Containers followed to this age or longer."""


@dataclass(frozen=True)
class Followed:
    """Containers of all groups, the risk table of each group, and where each container stands in it."""

    groups: pl.DataFrame
    """One row per group: the grouping columns, sorted."""
    group: IntArray
    batch: IntArray
    step: IntArray
    """Row of ``table`` at which the container leaves; these four have one value per container."""
    age: FloatArray
    spoiled: BoolArray
    used: BoolArray
    batch_group: IntArray
    """Group of each batch."""
    batch_followed: BoolArray
    """Whether any container of the batch was followed at all."""
    table: dict[str, FloatArray]
    """Per group and age of leaving, sorted: see :func:`_risk_table`."""
    table_group: IntArray
    end: FloatArray
    """Longest follow-up of each group."""

    @property
    def batches(self) -> IntArray:
        """Batches with follow-up, per group."""
        return np.bincount(self.batch_group[self.batch_followed], minlength=self.groups.height)

    def total(self, values: npt.NDArray[np.generic]) -> FloatArray:
        """Sum over the containers of each group."""
        return np.bincount(self.group, weights=values, minlength=self.groups.height).astype(np.float64)


def names(by: str | Sequence[str]) -> list[str]:
    """Grouping columns as a list."""
    return [by] if isinstance(by, str) else list(by)


def follow(histories: pl.DataFrame, by: str | Sequence[str]) -> Followed:
    """Arrange container histories for estimation.

    Args:
        histories: ``batch_id``, ``last_sound_days`` (null counts as 0: never seen since it was made),
            ``found_days``, ``fate`` and the columns of ``by``.
        by: grouping columns; none puts all containers in one group.
    """
    columns = names(by)
    left, found = (histories[name].cast(pl.Float64) for name in ("last_sound_days", "found_days"))
    left, fate = left.fill_null(0.0), histories["fate"].cast(pl.String)
    spoiled = fate == "spoiled"
    seen_to = left.zip_with(~spoiled, found)
    age = left.zip_with(~spoiled, (left + found) / 2)
    groups, group = _code(histories, columns)
    batches, batch = _code(histories.select("batch_id").with_columns(group=group), ["group", "batch_id"])
    frame = pl.DataFrame({"group": group, "age": age, "spoiled": spoiled, "used": fate == "used"})
    table, step = _risk_table(frame)
    code = batch.to_numpy()
    end = np.zeros(groups.height)
    np.maximum.at(end, group.to_numpy(), seen_to.to_numpy())
    followed = np.zeros(batches.height, dtype=np.bool_)
    followed[code[(seen_to > 0).to_numpy()]] = True
    return Followed(
        groups=groups,
        group=group.to_numpy(),
        batch=code,
        step=step,
        age=age.to_numpy(),
        spoiled=spoiled.to_numpy(),
        used=frame["used"].to_numpy(),
        batch_group=batches["group"].to_numpy(),
        batch_followed=followed,
        table={name: table[name].cast(pl.Float64).to_numpy() for name in table.columns if name != "group"},
        table_group=table["group"].to_numpy(),
        end=end,
    )


def _code(frame: pl.DataFrame, columns: list[str]) -> tuple[pl.DataFrame, pl.Series]:
    """The distinct values of ``columns``, sorted, and the row among them of each row of ``frame``."""
    if not columns:
        return pl.DataFrame(height=min(frame.height, 1)), pl.zeros(frame.height, pl.Int64, eager=True)
    values = frame.select(columns)
    # Rows of one batch mostly stand together: look each run up once.
    run = values.select(pl.struct(columns).rle_id()).to_series().to_numpy()
    heads = values.filter(pl.Series(np.diff(run, prepend=-1) != 0)) if values.height else values
    keys = heads.unique().sort(columns, nulls_last=True)
    coded = keys.with_columns(code=pl.int_range(pl.len(), dtype=pl.Int64))
    found = heads.join(coded, on=columns, how="left", nulls_equal=True, maintain_order="left")["code"]
    return keys, found.gather(pl.Series(run))


def _risk_table(frame: pl.DataFrame) -> tuple[pl.DataFrame, IntArray]:
    """Risk table by group and age of leaving, and the row of each container in it.

    ``kept`` and ``greenwood`` belong to spoilage alone (Kaplan-Meier). ``staying`` is the share neither
    spoiled nor used just before this age and ``either`` Greenwood's sum over both; ``nelson`` is the
    cumulative hazard of spoiling.
    """
    ages = frame["age"].unique().sort()
    # An empty lookup forgets its type, hence the cast.
    place = frame["age"].replace_strict(ages, pl.int_range(ages.len(), eager=True)).cast(pl.Int64)
    width = max(ages.len(), 1)
    cells, step = np.unique((frame["group"] * width + place).to_numpy(), return_inverse=True)
    events = {name: np.bincount(step[frame[name].to_numpy()], minlength=cells.size) for name in ("spoiled", "used")}
    leaving = np.bincount(step, minlength=cells.size)
    counts = pl.DataFrame({"group": cells // width, "age": ages.gather(pl.Series(cells % width)), "leaving": leaving})
    counts = counts.with_columns(pl.Series(name, values) for name, values in events.items())
    n, d = pl.col("at_risk"), pl.col("spoiled") + pl.col("used")

    def running(value: pl.Expr) -> pl.Expr:
        return value.cum_sum().over("group")

    def greenwood(lost: pl.Expr) -> pl.Expr:
        # Where everything left leaves, the sum is infinite; nothing is ever multiplied by it but 0.
        return running(pl.when(n > lost).then(lost / (n * (n - lost))).otherwise(0.0))

    def before(value: pl.Expr, first: float) -> pl.Expr:
        return value.shift(1, fill_value=first).over("group")

    table = (
        counts.with_columns(at_risk=pl.col("leaving").cum_sum(reverse=True).over("group"))
        .with_columns(
            kept=(1 - pl.col("spoiled") / n).cum_prod().over("group"),
            greenwood=greenwood(pl.col("spoiled")),
            nelson=running(pl.col("spoiled") / n),
            after=(1 - d / n).cum_prod().over("group"),
            either=greenwood(d),
        )
        .with_columns(staying=before(pl.col("after"), 1.0), either_before=before(pl.col("either"), 0.0))
    )
    return table, step


def _last_step(followed: Followed, ages: FloatArray) -> IntArray:
    """Last row of each group's table at or before its age; -1 where there is none."""
    inside = followed.table["age"] <= ages[followed.table_group]
    size = followed.groups.height
    first = np.searchsorted(followed.table_group, np.arange(size))
    count = np.bincount(followed.table_group[inside], minlength=size)
    return np.where(count > 0, first + count - 1, -1)


def _at(values: FloatArray, last: IntArray, otherwise: float) -> FloatArray:
    """Value of a table column at ``last``, or ``otherwise`` before its first row."""
    if not values.size:
        return np.full(last.shape, otherwise)
    return np.where(last >= 0, values[last], otherwise)


def _batch_variance(followed: Followed, influence: FloatArray) -> FloatArray:
    """Between-batch variance per group from the influence of each container."""
    size = followed.groups.height
    sums = np.bincount(followed.batch, weights=influence, minlength=followed.batch_group.size)
    squares = np.bincount(followed.batch_group, weights=sums**2, minlength=size)
    m = followed.batches
    return squares * m / np.maximum(m - 1, 1)


def lost_if_left_alone(followed: Followed, ages: FloatArray) -> Share:
    """Kaplan-Meier share lost by ``ages`` (one per group): used containers leave without telling."""
    influence, last = kept_influence(followed, ages)
    kept = _at(followed.table["kept"], last, 1.0)
    watched = _watched(followed, ages)
    spoiled_by = followed.total(followed.spoiled & (followed.age <= ages[followed.group]))
    return Share(
        share=1 - kept,
        variance=kept**2 * _at(followed.table["greenwood"], last, 0.0),
        batch_variance=_batch_variance(followed, influence),
        jars_at_extreme=np.where(kept > 0, watched, spoiled_by),
        at_risk=_at_risk(followed, ages),
    )


def kept_influence(followed: Followed, ages: FloatArray) -> tuple[FloatArray, IntArray]:
    """Derivative of the share kept in the weight of each container, and the last table row of each group."""
    table, group = followed.table, followed.table_group
    last = _last_step(followed, ages)
    inside = table["age"] <= ages[group]
    survivors = table["at_risk"] - table["spoiled"]
    own = np.where(inside & (survivors > 0), 1 / np.maximum(survivors, 1), 0.0)
    shared = np.where(inside, table["greenwood"], _at(table["greenwood"], last, 0.0)[group])
    kept = _at(table["kept"], last, 1.0)
    step = followed.step
    return kept[followed.group] * (shared[step] - own[step] * followed.spoiled), last


def _watched(followed: Followed, ages: FloatArray) -> FloatArray:
    """Containers followed to ``ages``, those followed for half of it counting one half."""
    span = ages[followed.group]
    part = np.where(span > 0, np.minimum(followed.age, span) / np.where(span > 0, span, 1), followed.age > 0)
    return followed.total(part)


def _at_risk(followed: Followed, ages: FloatArray) -> IntArray:
    return followed.total(followed.age >= ages[followed.group]).astype(np.int64)


def lost_so_far(followed: Followed, ages: FloatArray, cause: str = "spoiled") -> Share:
    """Aalen-Johansen share lost by ``ages`` while use competes; ``cause="used"`` gives the share used."""
    influence, share = lost_influence(followed, ages, cause)
    events = followed.spoiled | followed.used
    known = (events & (followed.age <= ages[followed.group])) | (followed.age >= ages[followed.group])
    return Share(
        share=share,
        variance=followed.total(influence**2),
        batch_variance=_batch_variance(followed, influence),
        jars_at_extreme=followed.total(known & (followed.age > 0)),
        at_risk=_at_risk(followed, ages),
    )


def lost_of_made(followed: Followed) -> Share:
    """Share of all containers made that was lost, whatever their age by now: a ratio of sums over batches."""
    made = followed.total(np.ones(followed.group.size))
    share = followed.total(followed.spoiled) / np.maximum(made, 1)
    influence = (followed.spoiled - share[followed.group]) / np.maximum(made, 1)[followed.group]
    return Share(
        share=share,
        variance=share * (1 - share) / np.maximum(made, 1),
        batch_variance=_batch_variance(followed, influence),
        jars_at_extreme=followed.total(followed.age > 0),
        at_risk=made.astype(np.int64),
    )


def lost_influence(followed: Followed, ages: FloatArray, cause: str) -> tuple[FloatArray, FloatArray]:
    """Derivative of the Aalen-Johansen share in the weight of each container, and the share per group."""
    table, group = followed.table, followed.table_group
    last = _last_step(followed, ages)
    inside = table["age"] <= ages[group]
    steps = table["staying"] * table[cause] / table["at_risk"]
    share, spread, own = (
        _running(values, group) for values in (steps, steps * table["either_before"], steps / table["at_risk"])
    )
    total = _at(share, last, 0.0)
    ahead = total[group] - share
    shared = np.where(
        inside, spread + ahead * table["either"] - own, (_at(spread, last, 0.0) - _at(own, last, 0.0))[group]
    )
    survivors = table["at_risk"] - table["spoiled"] - table["used"]
    leaving = np.where(inside & (survivors > 0), ahead / np.maximum(survivors, 1), 0.0)
    counted = np.where(inside, table["staying"] / table["at_risk"], 0.0)
    step = followed.step
    of_cause = followed.spoiled if cause == "spoiled" else followed.used
    events = followed.spoiled | followed.used
    return shared[step] - leaving[step] * events + counted[step] * of_cause, total


def _running(values: FloatArray, group: IntArray) -> FloatArray:
    """Cumulative sum within groups (``group`` sorted)."""
    return pl.DataFrame({"g": group, "v": values}).select(pl.col("v").cum_sum().over("g"))["v"].to_numpy()
