"""Random prints for studies of the fit: a growth along each axis, a skew and a bow, thrown anyhow.

Written as formulas of the sheet; knows neither the fit's frames nor its models.
"""

from __future__ import annotations

import numpy as np

WIDTH, HEIGHT = 2440.0, 1220.0
DOMAIN = (0.0, 0.0, WIDTH, HEIGHT)
EDGE = 20.0
BOWS = ("none", "slight", "arc", "drift")
"""What bends: nothing, up to 0.15 mm, 0.8 mm with the cross lines turning, 0.8 mm without."""


def marks_around(count, rng):
    """Return marks on the perimeter, slid along it by up to 40 mm, two on the short sides."""
    upper = (count - 2) // 2
    lower = count - 2 - upper
    low = np.linspace(EDGE, WIDTH - EDGE, lower)
    high = np.linspace(EDGE, WIDTH - EDGE, upper)
    rows = [(x, EDGE) for x in low] + [(x, HEIGHT - EDGE) for x in high]
    rows += [(EDGE, HEIGHT / 2.0), (WIDTH - EDGE, HEIGHT / 2.0)]
    xy = np.array(rows)
    slide = rng.uniform(15.0, 40.0, count) * rng.choice((-1.0, 1.0), count)
    along = np.where(np.arange(count) < count - 2, 0, 1)
    xy[np.arange(count), along] += slide
    return np.clip(xy, EDGE, (WIDTH - EDGE, HEIGHT - EDGE))


def draw_print(rng, bow):
    """Return the true map of a sheet: a function of points (N, 2)."""
    growth, skew = rng.normal(0.0, 1e-3, 2), rng.normal(0.0, 5e-4)
    turn, shift = rng.uniform(-np.pi, np.pi), rng.uniform(0.0, 400.0, 2)
    sag = {"none": 0.0, "slight": rng.uniform(0.0, 0.15), "arc": 0.8, "drift": 0.8}[bow]
    kappa = 8.0 * sag * rng.choice((-1.0, 1.0)) / WIDTH**2
    across = 0.0 if bow == "drift" else 1.0

    def table_from_sheet(xy):
        x, y = xy[:, 0] - WIDTH / 2.0, xy[:, 1] - HEIGHT / 2.0
        u = x * (1.0 + growth[0]) + skew * y - across * kappa * x * y
        v = y * (1.0 + growth[1]) + kappa * x * x / 2.0
        return (
            np.column_stack(
                (u * np.cos(turn) - v * np.sin(turn), u * np.sin(turn) + v * np.cos(turn))
            )
            + shift
        )

    return table_from_sheet


def oracle_sd(bow, marks, xy, noise_mm):
    """Return the sd of a least-squares fit that knows the model and the noise, (N, 2) [mm]."""
    normal = np.linalg.inv(np.tensordot(_terms(bow, marks), _terms(bow, marks), ((0, 1), (0, 1))))
    at = _terms(bow, xy)
    return noise_mm * np.sqrt(np.einsum("nap,pq,naq->na", at, normal, at))


def _terms(bow, xy):
    """Return the displacement of points by each parameter, (N, 2, p)."""
    x, y = ((xy - (WIDTH / 2.0, HEIGHT / 2.0)) / (WIDTH / 2.0)).T
    one, no = np.ones(len(xy)), np.zeros(len(xy))
    terms = [(one, no), (no, one), (x, no), (y, no), (no, x), (no, y)]
    if bow in {"slight", "arc"}:
        terms.append((-x * y, x * x / 2.0))
    if bow == "drift":
        terms.append((no, x * x / 2.0))
    return np.array(terms).transpose(2, 1, 0)
