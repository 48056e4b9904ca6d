"""Additive per-subject moments from which a linear mixed model is fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import qr, solve_triangular

from mendcurve.errors import InputError

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moments:
    """Sums over each subject's rows, in columns that are centred, scaled and orthogonal over all rows.

    The user's columns are ``X = Q @ x_scale`` and ``Z = P @ z_scale``; the sums are of ``Q`` and ``P``, so that days,
    hours or dates give the same fit. Sums of two data sets add.

    Attributes
    ----------
    subjects : tuple of str, length m
        Names of the subjects, in the order of the sums.
    names, random_names : tuple of str, lengths p and q
        Names of the columns of X and of Z.
    n : ndarray, shape (m,)
        Rows of each subject.
    xx, xz, zz, xy, zy, yy : ndarray, shapes (m, p, p), (m, p, q), (m, q, q), (m, p), (m, q), (m,)
        Sums of products over a subject's rows.
    x_scale, z_scale : ndarray, shapes (p, p) and (q, q)
        Upper triangular.
    """

    subjects: tuple[str, ...]
    names: tuple[str, ...]
    random_names: tuple[str, ...]
    n: Array
    xx: Array
    xz: Array
    zz: Array
    xy: Array
    zy: Array
    yy: Array
    x_scale: Array
    z_scale: Array

    def __add__(self, other: Moments) -> Moments:
        """Return the moments of both data sets; a subject in both is one subject."""
        if (self.names, self.random_names) != (other.names, other.random_names):
            raise InputError(
                "Moments add only when their columns are the same.",
                [f"{', '.join(self.names)} and {', '.join(other.names)}"],
            )
        other = other.rescaled(self.x_scale, self.z_scale)
        subjects = tuple(dict.fromkeys(self.subjects + other.subjects))
        where = {name: i for i, name in enumerate(subjects)}
        to = np.array([where[s] for s in self.subjects + other.subjects])

        def total(a: Array, b: Array) -> Array:
            out = np.zeros((len(subjects), *a.shape[1:]))
            np.add.at(out, to, np.concatenate([a, b]))
            return out

        sums = {k: total(getattr(self, k), getattr(other, k)) for k in ("n", "xx", "xz", "zz", "xy", "zy", "yy")}
        return Moments(
            subjects=subjects,
            names=self.names,
            random_names=self.random_names,
            x_scale=self.x_scale,
            z_scale=self.z_scale,
            **sums,
        )

    def rescaled(self, x_scale: Array, z_scale: Array) -> Moments:
        """Return the same moments written in other scaled columns."""
        a = solve_triangular(x_scale.T, self.x_scale.T, lower=True).T
        b = solve_triangular(z_scale.T, self.z_scale.T, lower=True).T
        return Moments(
            subjects=self.subjects,
            names=self.names,
            random_names=self.random_names,
            n=self.n,
            yy=self.yy,
            xx=a.T @ self.xx @ a,
            xz=a.T @ self.xz @ b,
            zz=b.T @ self.zz @ b,
            xy=self.xy @ a,
            zy=self.zy @ b,
            x_scale=x_scale,
            z_scale=z_scale,
        )

    def with_random(self, columns: int) -> Moments:
        """Return the moments with only the first ``columns`` random columns (1: the intercept alone)."""
        return Moments(
            subjects=self.subjects,
            names=self.names,
            random_names=self.random_names[:columns],
            n=self.n,
            yy=self.yy,
            xx=self.xx,
            xy=self.xy,
            xz=self.xz[:, :, :columns],
            zz=self.zz[:, :columns, :columns],
            zy=self.zy[:, :columns],
            x_scale=self.x_scale,
            z_scale=self.z_scale[:columns, :columns],
        )


def moments(
    subject: ArrayLike,
    y: ArrayLike,
    x: ArrayLike,
    z: ArrayLike,
    *,
    names: Sequence[str] | None = None,
    random_names: Sequence[str] | None = None,
) -> Moments:
    """Sum the products of X, Z and y over each subject's rows, in one pass without a loop over subjects.

    Parameters
    ----------
    subject : array_like, shape (n,)
        Which subject a row belongs to.
    y : array_like, shape (n,)
    x : array_like, shape (n, p)
        Columns of the fixed part, the intercept among them.
    z : array_like, shape (n, q), q = 1 or 2
        Columns of the random part.
    names, random_names : sequence of str, optional
        Names of the columns of x and z, used in every message.

    Raises
    ------
    InputError
        If lengths differ, a value is missing or infinite, columns are collinear (they are named) or q is not 1 or 2.

    Notes
    -----
    Time is centred and scaled here, by a QR decomposition of the columns over all rows: the model with an unrestricted
    random covariance is the same in any units of the columns.
    """
    y, x, z = np.asarray(y, float), np.atleast_2d(np.asarray(x, float)), np.atleast_2d(np.asarray(z, float))
    names = tuple(names) if names is not None else tuple(f"x{i}" for i in range(x.shape[1]))
    random_names = tuple(random_names) if random_names is not None else tuple(f"z{i}" for i in range(z.shape[1]))
    labels, code = np.unique(np.asarray(subject).astype(str), return_inverse=True)
    _check(y, x, z, code, names)
    q_x, x_scale = _scaled(x, names, "fixed")
    q_z, z_scale = _scaled(z, random_names, "random")
    m = len(labels)
    both = np.column_stack([q_x, q_z, y])
    k, p = both.shape[1], q_x.shape[1]
    sums = np.empty((m, k, k))
    for i in range(k):  # over columns, not over subjects
        for j in range(i, k):
            sums[:, i, j] = sums[:, j, i] = np.bincount(code, both[:, i] * both[:, j], m)
    return Moments(
        subjects=tuple(map(str, labels)),
        names=names,
        random_names=random_names,
        n=np.bincount(code, minlength=m).astype(float),
        xx=sums[:, :p, :p],
        xz=sums[:, :p, p:-1],
        zz=sums[:, p:-1, p:-1],
        xy=sums[:, :p, -1],
        zy=sums[:, p:-1, -1],
        yy=sums[:, -1, -1],
        x_scale=x_scale,
        z_scale=z_scale,
    )


def _check(y: Array, x: Array, z: Array, code: NDArray[np.intp], names: tuple[str, ...]) -> None:
    if not len(y) == len(x) == len(z) == len(code):
        raise InputError(
            "subject, y, x and z must have one row each for the same rows.",
            [f"lengths {len(code)}, {len(y)}, {len(x)} and {len(z)}"],
        )
    if z.shape[1] not in (1, 2):
        raise InputError("A mixed model here has one or two random columns.", [f"{z.shape[1]} given"])
    if len(y) <= x.shape[1]:
        raise InputError(
            "A mixed model needs more rows than columns.",
            [f"{len(y)} rows, {x.shape[1]} columns ({', '.join(names)})"],
            "Use fewer columns.",
        )
    bad = ~(np.isfinite(y) & np.isfinite(x).all(axis=1) & np.isfinite(z).all(axis=1))
    if bad.any():
        raise InputError(
            "Every value of a mixed model must be a finite number.",
            [f"{int(bad.sum())} of {len(y)} rows are not, the first is row {int(np.argmax(bad))}"],
            "Leave these rows out and say how many.",
        )


def _scaled(columns: Array, names: tuple[str, ...], part: str) -> tuple[Array, Array]:
    """Return orthogonal columns of mean square 1 and the triangle that turns them back."""
    size = np.sqrt((columns**2).mean(axis=0))
    if not size.all():
        empty = [name for name, s in zip(names, size, strict=True) if not s]
        raise InputError(f"A column of the {part} part is zero in every row.", empty, "Leave it out.")
    basis, triangle = qr(columns / size, mode="economic")
    # A column that is a sum of the earlier ones leaves nothing on the diagonal.
    left = np.abs(np.diag(triangle)) / np.linalg.norm(triangle, axis=0)
    if (left < 1e-9).any():
        extra = [name for name, rest in zip(names, left, strict=True) if rest < 1e-9]
        raise InputError(
            f"Columns of the {part} part must not be sums of one another.",
            [f"{name} is a combination of the columns before it" for name in extra],
            "Leave it out.",
        )
    root = np.sqrt(len(columns))
    return basis * root, triangle * size / root
