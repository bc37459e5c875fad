"""The largest subset of measurements that a chi-square test finds consistent.

Cox, *The evaluation of key comparison data: determining the largest consistent subset*, Metrologia 44 (2007),
187-200: of all subsets whose χ² = Σ ((x_i - y) / u_i)² about their weighted mean y stays within the 5 %
point of the chi-square distribution, the one with most members; of those, the one with the least χ².

Walking all 2^n subsets is not needed. About a fixed centre c, the subset of k members with the least
Σ ((x_i - c) / u_i)² is the k nearest, by |x_i - c| / u_i; and the subset with the least χ² is the k nearest
of its own mean. So it is enough to know the order of nearness at every c, which changes only where two
measurements are equally near, at no more than n (n - 1) places. Up to ``EXACT_UP_TO`` measurements every
interval between these places is tried: exact, in n³ log n. Above, a spread of centres is tried, and the best
are moved to the mean of their subset until nothing improves (the concentration step of least trimmed
squares, Rousseeuw and Van Driessen 1999). The result is consistent and cannot be enlarged by one; where
clusters overlap it can be one or two smaller than the exact one.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from scipy.special import chdtri

from fitcalc.quantities import Real

EXACT_UP_TO = 30
"""Number of measurements up to which every centre is tried."""

_CELLS = 8000
"""Centres times measurements of the first try above that number, what 1,000 measurements take 1 ms for."""
_TIE = 1e-9


def weighted_mean(values: Real, u: Real) -> tuple[float, float]:
    """Mean weighted by inverse variance and its standard uncertainty, 1 / sqrt(Σ 1 / u²).

    Cox 2002, Metrologia 39, section 5, steps 1 and 2. ``values`` and ``u`` are arrays of one length, u > 0.
    """
    weights = 1.0 / np.square(u)
    total = float(np.sum(weights))
    # Summed about one of the values, so that a large common offset costs no digits.
    return float(values[0] + np.sum(weights * (values - values[0])) / total), total**-0.5


def largest_consistent_subsets(values: Real, u: Real, level: float = 0.05) -> list[Any]:
    """Masks of the largest consistent subsets with the least χ²: one, or several that tie.

    ``values`` and ``u`` are arrays of one length, u > 0; ``level`` is the probability of a larger χ² below
    which a subset is not consistent. Equal measurements of which some are in and some out give a mask each.
    """
    x = np.asarray(values, dtype=float)
    doubts = np.asarray(u, dtype=float)
    limits = _limits(len(x), level)
    if len(x) <= EXACT_UP_TO:
        order, chi, _ = _nested(x, doubts, _every_centre(x, doubts))
    else:
        order, chi = _refined(x, doubts, limits)
    size = int(np.flatnonzero(chi.min(axis=0) <= limits)[-1]) + 1
    least = chi[:, size - 1].min()
    rows = np.flatnonzero(chi[:, size - 1] <= least + _TIE * (1.0 + least))
    masks = np.zeros((len(rows), len(x)), dtype=bool)
    np.put_along_axis(masks, order[rows, :size], True, axis=1)
    distinct = list({mask.tobytes(): mask for mask in masks}.values())
    if len(x) > EXACT_UP_TO and len(distinct) == 1:
        distinct = [_enlarged(x, doubts, distinct[0], limits)]
    return [swapped for mask in distinct for swapped in _with_twins(x, doubts, mask)]


@lru_cache(maxsize=64)
def _limits(count: int, level: float) -> Any:
    """The largest χ² of a consistent subset of 1, 2, ... ``count`` members."""
    return np.concatenate([[np.inf], chdtri(np.arange(1, count), level)])


def _nested(x: Any, u: Any, centres: Any) -> tuple[Any, Any, Any]:
    """For each centre (rows) the order of nearness, and χ² and mean of the 1, 2, ... n nearest."""
    apart = x - centres[:, None]
    order = np.argsort(np.abs(apart) / u, axis=1)
    weights = (1.0 / np.square(u))[order]
    apart = np.take_along_axis(apart, order, axis=1)
    moments = weights * apart
    total = np.cumsum(weights, axis=1)
    first = np.cumsum(moments, axis=1)
    chi = np.cumsum(moments * apart, axis=1) - np.square(first) / total
    return order, np.maximum(chi, 0.0), centres[:, None] + first / total


def _every_centre(x: Any, u: Any) -> Any:
    """One centre in each interval in which the order of nearness does not change.

    Two are equally near at (x_i u_j + x_j u_i) / (u_i + u_j), between them, and at
    (x_i u_j - x_j u_i) / (u_j - u_i), outside.
    """
    i, j = np.triu_indices(len(x), 1)
    places = [(x[i] * u[j] + x[j] * u[i]) / (u[i] + u[j])]
    unequal = u[i] != u[j]
    i, j = i[unequal], j[unequal]
    places.append((x[i] * u[j] - x[j] * u[i]) / (u[j] - u[i]))
    low, high = x.min(), x.max()
    ends = np.unique(np.concatenate([*places, [low, high]]))
    ends = ends[(ends >= low) & (ends <= high)]
    return (ends[:-1] + ends[1:]) / 2.0 if len(ends) > 1 else ends


def _refined(x: Any, u: Any, limits: Any) -> tuple[Any, Any]:
    """Order and χ² about the best centres found from a spread of order statistics."""
    tries = max(8, _CELLS // len(x))
    spread = np.sort(x)[np.linspace(0, len(x) - 1, tries).astype(int)]
    order, chi, means = _nested(x, u, spread)
    best = (0, 0.0, 0.0)
    while True:
        size = int(np.flatnonzero(chi.min(axis=0) <= limits)[-1]) + 1
        larger = min(size + 1, len(x))
        reached = (size, -float(chi[:, size - 1].min()), -float(chi[:, larger - 1].min()))
        if reached <= best:
            return order, chi
        best = reached
        nearest = [np.argsort(chi[:, count - 1])[: tries // 4] for count in (size, larger)]
        centres = np.concatenate([means[nearest[0], size - 1], means[nearest[1], larger - 1]])
        fresh = _nested(x, u, np.unique(centres))
        order, chi, means = (
            np.concatenate([old[nearest[0][:1]], new])
            for old, new in zip((order, chi, means), fresh, strict=True)
        )


def _enlarged(x: Any, u: Any, mask: Any, limits: Any) -> Any:
    """``mask`` with the nearest others added while it stays consistent."""
    mask = mask.copy()
    mean, u_mean = weighted_mean(x[mask], u[mask])
    chi = float(np.sum(np.square((x[mask] - mean) / u[mask])))
    while not mask.all():
        # Adding one raises χ² by (x_i - y)² / (u_i² + u_y²).
        rise = np.where(mask, np.inf, np.square(x - mean) / (np.square(u) + u_mean**2))
        nearest = int(np.argmin(rise))
        chi += float(rise[nearest])
        if chi > limits[np.count_nonzero(mask)]:
            break
        mask[nearest] = True
        mean, u_mean = weighted_mean(x[mask], u[mask])
    return mask


def _with_twins(x: Any, u: Any, mask: Any) -> list[Any]:
    """``mask``, and a mask without each member that has an equal outside, which has the same χ²."""
    masks = [mask]
    for inside in np.flatnonzero(mask & np.isin(x, x[~mask])):
        equal = np.flatnonzero(~mask & (x == x[inside]) & (u == u[inside]))
        if len(equal):
            swapped = mask.copy()
            swapped[inside], swapped[equal[0]] = False, True
            masks.append(swapped)
    return masks
