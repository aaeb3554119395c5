"""One demanding print, read to 0.02 mm at ten marks, and its fit."""

from __future__ import annotations

import numpy as np

from kerfwright.registration import fit_sheet

DOMAIN = (0.0, 0.0, 2440.0, 1220.0)
MARKS = np.array(
    [(20, 20), (860, 20), (1630, 20), (2420, 20), (2420, 640), (2420, 1200), (1560, 1200),
     (790, 1200), (20, 1200), (20, 580)], float,
)  # fmt: skip
AT = np.array([(100.0, 100.0), (1220.0, 610.0), (2300.0, 900.0)])
KAPPA = 8.0 * 0.8 / 2440.0**2


def printed(xy, *, bow=KAPPA, turn=0.06, shift=(30.0, 50.0)):
    x, y = xy.T
    u = 1.0008 * x + 2e-4 * y - bow * x * y
    v = 1.0003 * y + bow * x * x / 2.0
    c, s = np.cos(turn), np.sin(turn)
    return np.column_stack((c * u - s * v, s * u + c * v)) + shift


def seen(marks=MARKS, *, seed=0, noise=0.02, **how):
    return printed(marks, **how) + np.random.default_rng(seed).normal(0.0, noise, marks.shape)


def fitted(marks=MARKS, measured=None, **more):
    return fit_sheet(marks, seen(marks) if measured is None else measured, domain=DOMAIN, **more)
