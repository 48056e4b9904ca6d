"""Natural cubic splines: straight beyond the outer knots, so that the ends of a curve do not swing."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mendcurve.errors import InputError


def knots(x: ArrayLike, df: int) -> NDArray[np.float64]:
    """Return df + 1 knots: the smallest and largest value and the inner quantiles at equal shares between.

    Raises
    ------
    InputError
        If ``df`` is below 1, or ``x`` has too few different values for the knots to differ.
    """
    x = np.asarray(x, float)
    if df < 1:
        raise InputError("A spline needs at least 1 degree of freedom.", [f"{df} given"])
    at = np.quantile(x, np.linspace(0, 1, df + 1))
    if len(np.unique(at)) < df + 1:
        raise InputError(
            f"A spline with {df} degrees of freedom needs {df + 1} different knots.",
            [f"the quantiles are {', '.join(f'{k:g}' for k in at)}"],
            "Use fewer degrees of freedom.",
        )
    return at


def basis(x: ArrayLike, at: ArrayLike) -> NDArray[np.float64]:
    """Return the natural cubic spline basis without its constant, truncated-power form [1]_.

    Parameters
    ----------
    x : array_like, shape (n,)
    at : array_like, shape (k,), k >= 2
        Knots, ascending; the first and last are the outer ones.

    Returns
    -------
    ndarray, shape (n, k - 1)
        The first column is x - knot_1, so with two knots the spline is a straight line.

    Notes
    -----
    N_1 = x - k_1 and N_{j+1} = d_j - d_{K-1}, with d_j = ((x - k_j)+^3 - (x - k_K)+^3) / (k_K - k_j), each divided by
    the range of the knots, to be. Any basis of the same space gives the same curve.

    References
    ----------
    .. [1] Hastie, Tibshirani & Friedman (2009), The Elements of Statistical Learning, eq. 5.4-5.5 (from memory).
    """
    x, at = np.asarray(x, float), np.asarray(at, float)
    if len(at) < 2 or (np.diff(at) <= 0).any():
        raise InputError("Knots of a spline must be at least two, ascending.", [", ".join(f"{k:g}" for k in at)])
    last, width = at[-1], at[-1] - at[0]
    cubes = np.maximum(x[:, None] - at, 0) ** 3
    d = (cubes[:, :-1] - cubes[:, -1:]) / (last - at[:-1])
    return np.column_stack([x - at[0], (d[:, :-1] - d[:, -1:]) / width])
