"""When an upward pull lifts the far edge of a flat part that is pressed down."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.record import F64, I64, require
from kerfwright.kernels import kernel


def tip_use(
    hull: F64, starts: I64, *, body: I64, normal_n: F64, centre: F64, up_n: F64, up_xy: F64
) -> F64:
    """Return the upward pull over the pull at which a part begins to tip, shape (L,).

    A stiff part stays flat while what presses it down, less the pull, acts inside the convex hull
    of its outline. With the centre of pressure at c, the pull at q, and the hull left behind at
    ``c + t (c - q)``, it tips when the pull reaches ``N t / (1 + t)``. A round part pulled at its
    rim tips at half its holding force.

    Parameters
    ----------
    hull : ndarray of shape (H, 2), float
        Corners of the convex hulls of all bodies, counter-clockwise [mm].
    starts : ndarray of shape (B + 1,), int
        Row of each body's first corner.
    body : ndarray of shape (L,), int
        Body each pull acts on.
    normal_n, up_n : ndarray of shape (L,), float
        Force down and pull up, both 0 or more [N].
    centre, up_xy : ndarray of shape (L, 2), float
        Where they act [mm].

    Returns
    -------
    ndarray of shape (L,), float
        Use; 1 tips, infinite where nothing presses down.

    Notes
    -----
    Statics of a stiff plate on an even bed; a part that bends peels off earlier, see its curl.
    """
    require(bool((normal_n >= 0.0).all() and (up_n >= 0.0).all()), "tip_use: a force is below 0")
    return _tip_use(hull, starts, body, normal_n, centre, up_n, up_xy)


@kernel
def _tip_use(hull: F64, starts: I64, body: I64, normal: F64, centre: F64, up: F64, at: F64) -> F64:
    out = np.zeros(len(body))
    for i in range(len(body)):
        if up[i] == 0.0:
            continue
        if normal[i] == 0.0:
            out[i] = np.inf
            continue
        cx, cy = centre[i, 0], centre[i, 1]
        dx, dy = cx - at[i, 0], cy - at[i, 1]
        first, count = starts[body[i]], starts[body[i] + 1] - starts[body[i]]
        away = np.inf
        for k in range(count):
            a, b = hull[first + k], hull[first + (k + 1) % count]
            nx, ny = b[1] - a[1], a[0] - b[0]
            towards = nx * dx + ny * dy
            if towards > 0.0:
                away = min(away, max(nx * (a[0] - cx) + ny * (a[1] - cy), 0.0) / towards)
        out[i] = np.inf if away == 0.0 else up[i] * (1.0 + 1.0 / away) / normal[i]
    return out
