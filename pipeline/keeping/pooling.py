"""Risks of many groups, each drawn towards all of them, as far as its own batches are few.

Losses of batch c in group k are Poisson with mean rate_k * Z_c * exposure_c; Z_c is gamma with mean 1 and
variance ``spread`` (jars of a batch share their fate); log rates are normal around a common level. Priors:
spread exponential with mean 1, spread of log rates half-normal with scale 0.7, level flat. A batch's losses
are then negative binomial, and everything is summed on a grid. The model is a standard one; priors and grid
were chosen for this project and checked by simulation.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy import special

from pipeline.keeping.risk import FloatArray, IntArray

LOG_RATES = np.linspace(np.log(1e-4), np.log(30.0), 181)
"""Cumulative hazard of 12 months; steps of 7 % serve groups of up to some hundreds of batches."""
LEVELS = np.linspace(np.log(0.005), np.log(3.0), 31)
"""Common level of the log rates: 12-month risks from half a percent to 95 %."""
SPREADS = -np.log(1 - (np.arange(10) + 0.5) / 10)
GROUP_SPREADS = 0.7 * special.ndtri(0.5 + (np.arange(8) + 0.5) / 16)


def pooled_risk(spoiled: IntArray, exposure: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Posterior mean of the risk of each group over one unit of exposure.

    Args:
        spoiled: losses of each batch.
        exposure: exposure of each batch, 1 for one container followed over the whole time; above 0.
        group: code of each batch's group, 0 to ``groups - 1``; a group without batches gets the common risk.
        groups: number of groups.
    """
    likelihood = _group_likelihood(spoiled, exposure, group, groups)
    peak = likelihood.max(axis=1, keepdims=True)
    scaled = np.exp(likelihood - peak)
    prior = np.exp(-0.5 * ((LOG_RATES - LEVELS[:, None, None]) / GROUP_SPREADS[:, None]) ** 2)
    prior = (prior / prior.sum(axis=2, keepdims=True)).reshape(-1, LOG_RATES.size)
    risk = 1 - (1 + np.exp(LOG_RATES)[:, None] * SPREADS) ** (-1 / SPREADS)
    # Groups x (level, group spread) x spread. A level far from a group's own has no weight left to count.
    evidence = np.maximum(prior @ scaled, 1e-300)
    expected = (prior @ (scaled * risk)) / evidence
    log_posterior = np.log(evidence).sum(axis=0) + peak.sum(axis=0)
    posterior = np.exp(log_posterior - log_posterior.max())
    means: FloatArray = (expected * posterior).sum(axis=(1, 2)) / posterior.sum()
    return means


def _group_likelihood(spoiled: IntArray, exposure: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Log-likelihood by group, log rate and spread."""
    # Exposures within 1 % of each other are one, so that many batches cost no more than some.
    rounded = np.exp(np.round(np.log(exposure) * 100) / 100)
    batches = pl.DataFrame({"group": group, "spoiled": spoiled, "exposure": rounded})
    distinct = batches.group_by("group", "spoiled", "exposure").len().sort("group", "spoiled", "exposure")
    code, d, e, count = (distinct[name].to_numpy() for name in distinct.columns)
    mean = e[:, None] * np.exp(LOG_RATES)
    present, first = np.unique(code, return_index=True)
    total = np.zeros((groups, LOG_RATES.size, SPREADS.size))
    for place, spread in enumerate(SPREADS):
        shape = 1 / spread
        constant = special.gammaln(d + shape) - special.gammaln(shape) + d * np.log(spread)
        log_p = constant[:, None] + d[:, None] * np.log(mean) - (d + shape)[:, None] * np.log1p(spread * mean)
        total[present, :, place] = np.add.reduceat(log_p * count[:, None], first, axis=0)
    return total
