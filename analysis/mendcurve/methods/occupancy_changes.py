"""Kernels as they would be if something were faster or shorter."""

from __future__ import annotations

import numpy as np

from mendcurve.errors import InputError
from mendcurve.methods.occupancy import Kernel


def faster(kernel: Kernel, share: float, *, zone: int | None = None) -> Kernel:
    """Return the kernel with every way of going ``share`` faster: 1 - (1 - h)^(1 + share), causes in proportion.

    Parameters
    ----------
    share : float
        0.1 is 10 % faster; above -1.
    zone : int, optional
        Only in this zone. Default: in all.
    """
    if share <= -1:
        raise InputError(f"Faster by {share:g} would let no one leave.", remedy="Give a share above -1; 0.1 is 10 %.")
    hazard = kernel.hazard.copy()
    which = slice(None) if zone is None else slice(zone, zone + 1)
    # Hazards of causes that end all can add up to a hair above 1.
    total = np.minimum(hazard[:, which].sum(axis=-1, keepdims=True), 1.0)
    new = 1 - (1 - total) ** (1 + share)
    hazard[:, which] *= np.divide(new, total, out=np.ones_like(total), where=total > 0)
    return Kernel(hazard=hazard, last_day=kernel.last_day, exits=kernel.exits)


def shorter(kernel: Kernel, days: int, *, zone: int) -> Kernel:
    """Return the kernel with every duration in ``zone`` shorter by ``days``, not below one day (0 for leaving care).

    Notes
    -----
    What would have come on days 0 .. ``days`` comes on day 1; later hazards move forward.
    """
    if days < 0:
        raise InputError(f"Days shorter must be at least 0, but it is {days}.", remedy="Write 5 for five days shorter.")
    if days == 0:
        return kernel
    length = kernel.hazard.shape[2]
    old = kernel.hazard[:, zone, np.minimum(np.arange(length + days), length - 1)]
    new = old[:, days:].copy()
    stay = np.cumprod(1 - old.sum(axis=-1), axis=-1)
    before = np.concatenate([np.ones((stay.shape[0], 1)), stay[:, :-1]], axis=1)
    early = (before[..., None] * old)[:, : days + 2]
    # A spell of day 0 stays one of day 0; all others that would end by day 1 + days end on day 1.
    new[:, 0] = old[:, 0]
    here = np.maximum(1 - old[:, 0].sum(axis=-1), 1e-300)
    new[:, 1] = early[:, 1:].sum(axis=1) / here[:, None]
    hazard = kernel.hazard.copy()
    hazard[:, zone] = new
    return Kernel(hazard=hazard, last_day=kernel.last_day, exits=kernel.exits)
