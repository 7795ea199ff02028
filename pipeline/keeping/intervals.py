"""Intervals for shares and rates, and the one used for spoilage, where jars of a batch share their fate.

Sources: Wilson 1927, J Am Stat Assoc 22:209. Brown, Cai & DasGupta 2001, Statistical Science 16:101
(Jeffreys). Garwood 1936, Biometrika 28:437. Effective sample size: Dorey & Korn 1987, Statistics in Medicine
6:679. Design effect from clusters: Rao & Scott 1992, Biometrics 48:577. Moderation of a variance towards a
prior value by degrees of freedom: Smyth 2004, Stat Appl Genet Mol Biol 3:3. Their combination in
:func:`moderated_interval` was made for this project and checked by simulation only; citations from memory.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]
Numbers = npt.ArrayLike

PRIOR_CORRELATION = 0.2
"""Correlation of fates within a batch that is assumed before the batches speak (chosen by simulation)."""

PRIOR_WEIGHT = 4.0
"""What that assumption weighs, in batches."""

ENOUGH_FOR_A_CORRELATION = 30
"""Batches, over all groups in which some but not all was lost, from which it is estimated instead."""


def wilson_interval(count: Numbers, n: Numbers, level: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Wilson score interval of a share of independent things.

    Args:
        count: things with the property; need not be whole.
        n: things in all, above 0.
        level: confidence, 0 to 1.
    """
    z = special.ndtri(0.5 + level / 2)
    n = np.asarray(n, dtype=np.float64)
    return wilson_score(np.asarray(count, dtype=np.float64) / n, n, z)


def wilson_score(share: Numbers, n: Numbers, critical: Numbers) -> tuple[FloatArray, FloatArray]:
    """Wilson score interval of ``share`` seen in ``n``, with any critical value."""
    p, n, z = (np.asarray(value, dtype=np.float64) for value in (share, n, critical))
    squared = z**2 / n
    middle = (p + squared / 2) / (1 + squared)
    half = z * np.sqrt(np.maximum(p * (1 - p), 0) / n + squared / (4 * n)) / (1 + squared)
    # Exact at the ends, where the last binary digit would else print as a share that is not quite none or all.
    low, high = np.where(p > 0, middle - half, 0.0), np.where(p < 1, middle + half, 1.0)
    return np.clip(low, 0, 1), np.clip(high, 0, 1)


def jeffreys_interval(count: Numbers, n: Numbers, level: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Jeffreys interval of a share of independent things; 0 below when none, 1 above when all."""
    x, n = np.asarray(count, dtype=np.float64), np.asarray(n, dtype=np.float64)
    tail = (1 - level) / 2
    low = np.where(x > 0, special.betaincinv(x + 0.5, n - x + 0.5, tail), 0.0)
    high = np.where(x < n, special.betaincinv(x + 0.5, n - x + 0.5, 1 - tail), 1.0)
    return low, high


def garwood_interval(count: Numbers, exposure: Numbers = 1.0, level: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Exact interval of a Poisson rate: ``count`` events in ``exposure``, events independent."""
    x, time = np.asarray(count, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    tail = (1 - level) / 2
    low = np.where(x > 0, special.gammaincinv(np.maximum(x, 1), tail), 0.0)
    return low / time, special.gammaincinv(x + 1, 1 - tail) / time


def fate_correlation(share: Numbers, variance: Numbers, batch_variance: Numbers, batches: Numbers) -> float:
    """Correlation of fates within a batch, one for all groups, from how far their batches differ.

    The design effect of each group, less 1, over what it would be if jars of a batch went off together;
    groups weigh by their batches. Fewer than 30 batches say too little: the prior value stands.

    Args:
        share: estimated share lost, one per group.
        variance: its variance if jars were independent.
        batch_variance: its variance between batches.
        batches: batches behind it.
    """
    f, v, vb, m = (np.asarray(value, dtype=np.float64) for value in (share, variance, batch_variance, batches))
    telling = (f > 0) & (f < 1) & (v > 0) & (m > 1)
    f, v, vb, m = f[telling], v[telling], vb[telling], m[telling]
    together = (m - 1) * np.maximum(f * (1 - f) / v / m - 1, 0)
    if m.sum() < ENOUGH_FOR_A_CORRELATION or not together.sum():
        return PRIOR_CORRELATION
    return float(np.clip(((m - 1) * (vb / v - 1)).sum() / together.sum(), 0, 1))


def moderated_interval(
    share: Numbers,
    variance: Numbers,
    batch_variance: Numbers,
    jars_at_extreme: Numbers,
    batches: Numbers,
    correlation: float = PRIOR_CORRELATION,
) -> tuple[FloatArray, FloatArray]:
    """95 % interval of a share lost, when jars of one batch share their fate and batches are few.

    The plain variance says how many independent jars the share is worth. The design effect says how much of
    that is lost because jars come in batches; it is seen unsteadily in few batches, so it is drawn towards
    a prior one, and is never below 1. A Wilson interval with that effective number of jars, and with the
    critical value of t for the spread of the design effect, follows. It never comes out empty: with nothing
    spoiled, or one batch, the prior design effect stands alone.

    Args:
        share: estimated share lost, 0 to 1.
        variance: its variance if jars were independent (0 where the share is 0 or 1).
        batch_variance: its variance between batches.
        jars_at_extreme: jars the share is worth where it is 0 or 1.
        batches: batches behind it.
        correlation: of fates within a batch, held likely before these batches speak.
    """
    f, v, vb = (np.asarray(value, dtype=np.float64) for value in (share, variance, batch_variance))
    m = np.maximum(np.asarray(batches, dtype=np.float64), 1)
    inside = (f > 0) & (f < 1) & (v > 0)
    safe_v = np.where(inside, v, 1.0)
    jars = np.where(inside, f * (1 - f) / safe_v, np.asarray(jars_at_extreme, dtype=np.float64))
    prior = 1 + np.maximum(jars / m - 1, 0) * correlation
    seen = inside & (m > 1)
    pooled = (PRIOR_WEIGHT * prior + (m - 1) * vb / safe_v) / (PRIOR_WEIGHT + m - 1)
    design = np.maximum(np.where(seen, pooled, prior), 1)
    critical = special.stdtrit(np.where(seen, PRIOR_WEIGHT + m - 1, PRIOR_WEIGHT), 0.975)
    return wilson_score(f, np.maximum(jars / design, 0.5), critical)
