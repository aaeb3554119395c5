"""Bodies for the friction limit: edges of polygons with uniform pressure, and a slow oracle."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.optimize import minimize

from kerfwright.mechanics import friction_use


def disc(radius=1.0, corners=6000):
    turn = np.arange(corners) * 2.0 * np.pi / corners
    # the polygon of the same area, so that anchors hold to the square of the step
    radius *= np.sqrt(2.0 * np.pi / corners / np.sin(2.0 * np.pi / corners))
    return radius * np.column_stack((np.cos(turn), np.sin(turn)))


def box(a, b):
    return np.array([(0.0, 0.0), (a, 0.0), (a, b), (0.0, b)])


def edges_of(*rings):
    """Edges of rings as they run, (E, 4)."""
    return np.concatenate([np.column_stack((r, np.roll(r, -1, axis=0))) for r in rings])


def use_of(rings, loads, *, friction=1.0, pressure=1.0, tolerance=1e-6):
    """Use of one body under loads (L, 3), the moment about the origin of the frame."""
    edges = edges_of(*rings)
    loads = np.atleast_2d(np.asarray(loads, float))
    n = len(loads)
    return friction_use(
        edges,
        np.zeros(len(edges), np.int64),
        np.array([0, len(edges)]),
        body=np.zeros(n, np.int64),
        pressure_mpa=np.full((n, 1), pressure),
        load=loads,
        friction=friction,
        tolerance=tolerance,
    )


def star(rng, corners):
    """A random star-shaped polygon, counter-clockwise, often with deep notches."""
    turn = (np.arange(corners) + rng.uniform(0.0, 0.9, corners)) * 2.0 * np.pi / corners
    return (rng.uniform(0.3, 1.0, corners) * 50.0)[:, None] * np.column_stack(
        (np.cos(turn), np.sin(turn))
    ) + rng.uniform(-500.0, 500.0, 2)


def oracle_use(ring, load, *, cells=160):
    """Use by a grid of small pads and a general minimiser: an upper bound on hold, nearly exact."""
    shape = shapely.polygons(ring)
    x0, y0, x1, y1 = shape.bounds
    x, y = (low + (np.arange(cells) + 0.5) * (high - low) / cells
            for low, high in ((x0, x1), (y0, y1)))  # fmt: skip
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    pads = grid[shapely.contains_xy(shape, grid[:, 0], grid[:, 1])]
    weight = shape.area / len(pads)
    middle, size = pads.mean(axis=0), np.sqrt(shape.area)
    arm = (pads - middle) / size
    moment = (load[2] - (middle[0] * load[1] - middle[1] * load[0])) / size
    pull = np.array((load[0], load[1], moment))

    def held(w):
        v = np.column_stack((w[0] - w[2] * arm[:, 1], w[1] + w[2] * arm[:, 0]))
        return weight * np.hypot(v[:, 0], v[:, 1]).sum() / (pull @ w)

    unit = pull / np.linalg.norm(pull)
    least = min(
        minimize(
            lambda ab, one=one, two=two: held(unit + ab[0] * one + ab[1] * two),
            np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9 * shape.area},
        ).fun
        for one, two in [np.linalg.svd(unit[None])[2][1:]]
    )  # fmt: skip
    return 1.0 / least
