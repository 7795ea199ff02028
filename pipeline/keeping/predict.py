"""What the model says of groups of containers: share kept if left alone, share lost while others are eaten."""

from __future__ import annotations

import numpy as np

from pipeline.keeping.model import Fit, log_exposure_at
from pipeline.keeping.risk import FloatArray, IntArray

NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
YEAR_WEIGHTS = WEIGHTS / WEIGHTS.sum()

MOST_BATCHES = 40
"""A larger group is stood for by as many evenly spaced quantiles of its batches' hazards, draw by draw."""


def log_hazards(fit: Fit, rows: IntArray, *, again: bool) -> tuple[FloatArray, FloatArray]:
    """Log hazards of some batches, as they were made or made again in a year to come.

    Args:
        fit: of the model.
        rows: the batches.
        again: take the year a batch was made in out and draw a new one, since what is mostly asked is how such
            containers keep, not how those of one year did.

    Returns:
        Draws by batches by years to come, and the weights of the years.
    """
    design = fit.design
    eta = fit.effects @ design.effects[rows].T
    place = next((place for place, kind in enumerate(design.kinds) if kind.name == "year"), None)
    if place is None or not again:
        return _thinned(eta)[:, :, None], np.ones(1)
    columns = design.kinds[place].columns
    eta = eta - fit.effects[:, columns] @ design.effects[rows][:, columns].T
    years = NODES * fit.spreads[:, place, None]
    return _thinned(eta)[:, :, None] + years[:, None, :], YEAR_WEIGHTS


def _thinned(eta: FloatArray) -> FloatArray:
    if eta.shape[1] <= MOST_BATCHES:
        return eta
    places = ((np.arange(MOST_BATCHES) + 0.5) / MOST_BATCHES * eta.shape[1]).astype(np.int64)
    return np.sort(eta, axis=1)[:, places]


def lost_by(fit: Fit, rows: IntArray, ages_years: FloatArray, *, again: bool = True) -> FloatArray:
    """Share lost of containers left alone, by draw (rows) and age (columns), over batches of these rows."""
    eta, weights = log_hazards(fit, rows, again=again)
    out = np.empty((eta.shape[0], ages_years.size))
    shape, theta = fit.shape[:, None, None], fit.theta[:, None, None]
    for place, age in enumerate(ages_years):
        risk = theta * np.exp(eta + shape * np.log(max(age, 1e-12)))
        out[:, place] = (-np.expm1(-np.log1p(risk) / theta)).mean(axis=1) @ weights
    return out


def batch_fates(fit: Fit) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What is known of each batch's own factor after its containers were seen.

    Returns:
        Log hazards of all batches (draws by batches), and the shape and the rate of the gamma distribution of
        the factor that the containers of a batch share.
    """
    design = fit.design
    eta = fit.effects @ design.effects.T
    exposure = np.exp(log_exposure_at(np.log(fit.shape), design))
    k = 1 / fit.theta[:, None]
    return eta, k + design.spoiled, k + np.exp(eta) * exposure


def lost_in_batches(fit: Fit, rows: IntArray, from_years: FloatArray, to_years: FloatArray) -> FloatArray:
    """Chance that a container of a batch, sound at one age, is lost by another, after all that was seen.

    Args:
        fit: of the model.
        rows: batches, one for each container or group of containers asked about.
        from_years: age at which it was last known sound.
        to_years: age asked for.

    Returns:
        Draws by ``rows``.
    """
    eta, shape, rate = batch_fates(fit)
    more = to_years ** fit.shape[:, None] - from_years ** fit.shape[:, None]
    return -np.expm1(-shape[:, rows] * np.log1p(np.exp(eta[:, rows]) * more / rate[:, rows]))


def lost_counts(
    fit: Fit, rows: IntArray, from_years: FloatArray, to_years: FloatArray, count: IntArray, rng: np.random.Generator
) -> FloatArray:
    """Containers lost by an age, drawn: draws by ``rows``; containers of one batch share its factor."""
    eta, shape, rate = batch_fates(fit)
    factor = rng.gamma(shape, 1 / rate)[:, rows]
    more = to_years ** fit.shape[:, None] - from_years ** fit.shape[:, None]
    return rng.binomial(count, -np.expm1(-factor * np.exp(eta[:, rows]) * more)).astype(np.float64)
