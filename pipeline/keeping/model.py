"""One model for everything the household ever put by.

Hazard of container j of batch c at age t (years):

    exp(effects of c) * Z_c * shape * t^(shape - 1),   Z_c ~ Gamma(mean 1, variance theta)

The gamma factor, which containers of one batch share, is integrated out in closed form. Effects are normal with a
spread for each kind. Given the few spreads (theta, shape, one for each kind of effect) the log-likelihood is concave
in the effects, so they are found by Newton's method and integrated by Laplace's; the spreads are explored by weighted
draws about their mode (the idea of Rue, Martino & Chopin 2009, J R Statist Soc B 71:319; from memory). Every spread is
carried on a scale on which its prior is the standard normal, so that the draws fit where data say little too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, log_ndtr, ndtr, ndtri

from pipeline.keeping.design import SHAPE_GRID, Design
from pipeline.keeping.risk import FloatArray

LEVEL, LEVEL_SD = np.log(0.12), 1.5
"""Log hazard of a year, before anything is known: a twentieth of the jars to nearly all."""
SHAPE, SHAPE_SD = np.log(1.2), 0.35
SPREADS = {"method": 0.8}
USUAL_SPREAD = 0.5
"""Half-normal scale of the spread of each kind of effect on the log hazard; methods differ more."""
SLOPE_SD = 1.0
"""Of a slope per half point."""

DRAWS = 256
ROUNDS = 2
EACH = 2
"""Draws of the effects for each draw of the spreads."""
T_FREEDOM = 8.0
STEP = 0.05
NEWTON_STEPS, HALVINGS, MODE_STEPS = 30, 12, 12
"""At most; a handful is usual."""


@dataclass(frozen=True)
class Fit:
    """Weighted draws of all unknowns; rows are draws, equally weighted after resampling."""

    design: Design
    effects: FloatArray
    theta: FloatArray
    shape: FloatArray
    spreads: FloatArray
    """By kind of effect, in the order of ``design.kinds``."""
    effective_draws: float
    """Of the weighted draws that were resampled (Kish): below some 50, intervals are rough."""


def hyper(z: FloatArray, design: Design) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Theta, log shape and spreads of rows of ``z``, whose prior is the standard normal."""
    theta = -log_ndtr(-z[:, 0])
    log_shape = SHAPE + SHAPE_SD * z[:, 1]
    scale = np.array([SPREADS.get(kind.name, USUAL_SPREAD) for kind in design.kinds])
    spreads = scale * ndtri(0.5 + 0.5 * np.clip(ndtr(z[:, 2:]), 1e-12, 1 - 1e-12)) if design.kinds else z[:, 2:]
    return np.maximum(theta, 1e-6), log_shape, np.maximum(spreads, 1e-4)


def _precision(spreads: FloatArray, design: Design) -> tuple[FloatArray, FloatArray]:
    """Prior precision of every effect, by draw, and the log of its determinant."""
    width = design.effects.shape[1]
    precision = np.empty((spreads.shape[0], width))
    precision[:, 0] = LEVEL_SD**-2
    for place, kind in enumerate(design.kinds):
        precision[:, kind.columns] = spreads[:, place, None] ** -2
    precision[:, width - len(design.slopes) :] = SLOPE_SD**-2
    return precision, np.log(precision).sum(axis=1)


def log_exposure_at(log_shape: FloatArray, design: Design) -> FloatArray:
    """Log exposure of every batch by draw, straight between the shapes of the grid."""
    grid = np.log(SHAPE_GRID)
    place = np.clip(np.searchsorted(grid, log_shape) - 1, 0, grid.size - 2)
    part = ((log_shape - grid[place]) / (grid[place + 1] - grid[place]))[:, None]
    mixed: FloatArray = (1 - part) * design.log_exposure[place] + part * design.log_exposure[place + 1]
    return mixed


def batch_log_likelihood(
    spoiled: FloatArray, eta: FloatArray, log_exposure: FloatArray, theta: FloatArray
) -> FloatArray:
    """Log-likelihood of batches with the factor that their containers share integrated out.

    Args:
        spoiled: containers lost in each batch.
        eta: log hazard of each batch, without the shared factor.
        log_exposure: log of the sum over its containers of age to the power of the shape.
        theta: variance of the shared factor.

    Returns:
        The log-likelihood but for what the ages of the lost alone add (losses times the log of the shape, and the
        shape less one times the sum of their log ages).
    """
    k = 1 / theta
    constant = gammaln(spoiled + k) - gammaln(k) + spoiled * np.log(theta)
    mixed: FloatArray = constant + spoiled * eta - (spoiled + k) * np.logaddexp(0.0, np.log(theta) + eta + log_exposure)
    return mixed


@dataclass(frozen=True)
class _Inner:
    """Effects at their mode for given spreads, and what is left of them."""

    mode: FloatArray
    curvature: FloatArray
    log_marginal: FloatArray


def _inner(z: FloatArray, design: Design, start: FloatArray) -> _Inner:
    """Newton to the mode of the effects of each row of ``z``, and Laplace's integral over them."""
    theta, log_shape, spreads = hyper(z, design)
    x, d = design.effects, design.spoiled
    precision, log_det = _precision(spreads, design)
    log_e = log_exposure_at(log_shape, design)
    k = 1 / theta[:, None]
    centre = np.zeros(x.shape[1])
    centre[0] = LEVEL
    pairs = (x[:, :, None] * x[:, None, :]).reshape(x.shape[0], -1)
    beta = np.array(np.broadcast_to(start, (z.shape[0], x.shape[1])))
    log_theta = np.log(theta)[:, None]
    diagonal = np.arange(x.shape[1])

    def value(beta: FloatArray) -> tuple[FloatArray, FloatArray]:
        eta = beta @ x.T
        batches = batch_log_likelihood(d, eta, log_e, theta[:, None])
        return batches.sum(axis=1) - 0.5 * (precision * (beta - centre) ** 2).sum(axis=1), eta

    log_post, eta = value(beta)
    for _ in range(NEWTON_STEPS):
        part = 1 / (1 + np.exp(-(log_theta + eta + log_e)))
        weight = (d + k) * part
        gradient = (d - weight) @ x - precision * (beta - centre)
        curvature = ((weight * (1 - part)) @ pairs).reshape(-1, x.shape[1], x.shape[1])
        curvature[:, diagonal, diagonal] += precision
        move = np.linalg.solve(curvature, gradient[:, :, None])[:, :, 0]
        size = np.ones((beta.shape[0], 1))
        for _ in range(HALVINGS):
            tried, tried_eta = value(beta + size * move)
            worse = tried < log_post - 1e-9 * np.abs(log_post)
            if not worse.any():
                break
            size[worse] *= 0.5
        beta = beta + size * move
        log_post, eta = tried, tried_eta
        if np.abs(size * move).max() < 1e-6:
            break
    part = 1 / (1 + np.exp(-(log_theta + eta + log_e)))
    curvature = (((d + k) * part * (1 - part)) @ pairs).reshape(-1, x.shape[1], x.shape[1])
    curvature[:, diagonal, diagonal] += precision
    shape = np.exp(log_shape)
    ages = d.sum() * log_shape + (shape - 1) * design.log_age_sum.sum()
    log_marginal = log_post + ages + 0.5 * log_det - 0.5 * np.linalg.slogdet(curvature)[1]
    return _Inner(beta, curvature, log_marginal)


def _log_density(z: FloatArray, inner: _Inner) -> FloatArray:
    density: FloatArray = inner.log_marginal - 0.5 * (z**2).sum(axis=1)
    return density


def _mode(design: Design) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mode of the spreads on the normal scale, their covariance there, and the effects at the mode."""
    size = 2 + len(design.kinds)
    z: FloatArray = np.zeros(size)
    start = np.zeros(design.effects.shape[1])
    start[0] = LEVEL
    pairs = [(i, j) for i in range(size) for j in range(i)]
    steps = np.vstack(
        [np.zeros(size), np.eye(size), -np.eye(size), *(np.eye(size)[[i]] + np.eye(size)[[j]] for i, j in pairs)]
    )
    hessian: FloatArray = np.eye(size)
    for _ in range(MODE_STEPS):
        around = z + STEP * steps
        inner = _inner(around, design, start)
        values = _log_density(around, inner)
        start = inner.mode[0]
        up, down = values[1 : size + 1], values[size + 1 : 2 * size + 1]
        gradient = (up - down) / (2 * STEP)
        hessian = np.diag(-(up - 2 * values[0] + down) / STEP**2)
        for place, (i, j) in enumerate(pairs):
            cross = (values[2 * size + 1 + place] - up[i] - up[j] + values[0]) / STEP**2
            hessian[i, j] = hessian[j, i] = -cross
        root, axes = np.linalg.eigh(hessian)
        hessian = (axes * np.maximum(root, 0.5)) @ axes.T
        if np.abs(gradient).max() < 0.05:
            break
        move = np.linalg.solve(hessian, gradient)
        move *= min(1.0, 2.0 / np.abs(move).max())
        sizes = np.array([1.0, 0.5, 0.25, 0.1])
        tried = z + sizes[:, None] * move
        gains = _log_density(tried, _inner(tried, design, start))
        if gains.max() <= values[0]:
            break
        z = tried[int(np.argmax(gains))]
    covariance = np.linalg.inv(hessian).astype(np.float64)
    return z, covariance, start


def fit(design: Design, rng: np.random.Generator, draws: int = DRAWS) -> Fit:
    """Fit the model.

    Args:
        design: of :func:`pipeline.keeping.design.design_of`.
        rng: random generator; the same seed gives the same draws.
        draws: weighted draws of the spreads, and draws handed back.
    """
    middle, cov, start = _mode(design)
    for turn in range(ROUNDS):
        z, log_q = _student(middle, cov, draws, rng)
        inner = _inner(z, design, start)
        log_w = _log_density(z, inner) - log_q
        weight = np.exp(log_w - log_w.max())
        weight /= weight.sum()
        if turn + 1 < ROUNDS:
            middle = weight @ z
            away = z - middle
            spread = (weight[:, None] * away).T @ away
            share = min(1.0, 1 / (weight**2).sum() / (10 * z.shape[1]))
            cov = share * spread + (1 - share) * cov + 1e-6 * np.eye(z.shape[1])
    chosen = np.repeat(_systematic(weight, draws, rng), EACH)
    theta, log_shape, spreads = hyper(z[chosen], design)
    lower = np.swapaxes(np.linalg.cholesky(inner.curvature), 1, 2)
    noise = rng.standard_normal((chosen.size, design.effects.shape[1]))
    # Where L L' is the curvature, L'^-1 noise has its inverse as covariance.
    away = np.linalg.solve(lower[chosen], noise[:, :, None])[:, :, 0]
    return Fit(
        design=design,
        effects=inner.mode[chosen] + away,
        theta=theta,
        shape=np.exp(log_shape),
        spreads=spreads,
        effective_draws=float(1 / (weight**2).sum()),
    )


def _student(
    middle: FloatArray, cov: FloatArray, draws: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Draws of a multivariate t and the log of their density, up to a constant."""
    size = middle.size
    lower = np.linalg.cholesky(cov)
    normal = rng.standard_normal((draws, size))
    chi = rng.chisquare(T_FREEDOM, draws) / T_FREEDOM
    raw = normal / np.sqrt(chi)[:, None]
    log_q = -0.5 * (T_FREEDOM + size) * np.log1p((raw**2).sum(axis=1) / T_FREEDOM)
    return middle + raw @ lower.T, log_q - np.log(np.diag(lower)).sum()


def _systematic(weight: FloatArray, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Draws by weight, evenly spaced along their sum."""
    points = (np.arange(draws) + rng.random()) / draws
    return np.minimum(np.searchsorted(np.cumsum(weight), points), weight.size - 1)
