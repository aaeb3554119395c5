"""A second way to measure routed contours: points of the cutter's axis and of the contour, densely.

Nothing of the check is used. The axis is taken at points `STEP_MM` apart, the contour at points as
far apart for distances and `PLACE_MM` apart for what is measured along it. A disc of radius r
whose axis is sampled with a step s is too small by at most ``s^2 / (8 r)``, below 1.4 um here, on
lines and less than a tenth of that more on the arcs that occur.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from kerfwright.geometry.paths import PathSet
from kerfwright.model.motion import ToolMotion
from kerfwright.model.tooling import Cutter
from tests.verify.router_maker import legs_of

STEP_MM = 4e-3
PLACE_MM = 0.02


@dataclass(frozen=True)
class Axis:
    """Points of the axis with the tip in the stock, and the radius swept at the top face."""

    xy: np.ndarray
    z: np.ndarray
    radius: np.ndarray


@dataclass(frozen=True)
class Contour:
    """A closed contour: its polygon, points along it, normals to the left, length of each place."""

    polygon: shapely.Polygon
    tree: cKDTree
    xy: np.ndarray
    left: np.ndarray
    weight: np.ndarray

    def signed(self, xy: np.ndarray) -> np.ndarray:
        """Return the distance from the contour, positive inside."""
        near, _ = self.tree.query(xy)
        inside = shapely.contains_xy(self.polygon, xy[:, 0], xy[:, 1])
        return np.where(inside, near, -near)


def axis_of(motion: ToolMotion, tool: Cutter, top: float, *, step: float = STEP_MM) -> Axis:
    begins, xy, z = motion.begins(), [], []
    for i in range(len(motion)):
        a, b = begins[i], motion.end[i]
        if min(a[2], b[2]) >= top:
            continue
        sweep, centre = motion.sweep_rad[i], motion.centre[i]
        way = np.hypot(*(b - a)[:2]) if sweep == 0 else abs(sweep) * np.hypot(*(a[:2] - centre))
        drop = abs(b[2] - a[2])
        share = np.linspace(0.0, 1.0, int(np.ceil(max(way, drop) / step)) + 2)
        if sweep == 0:
            points = a[:2] + share[:, None] * (b - a)[:2]
        else:
            co, si, d = np.cos(sweep * share), np.sin(sweep * share), a[:2] - centre
            points = centre + np.column_stack((co * d[0] - si * d[1], si * d[0] + co * d[1]))
        xy.append(points)
        z.append(a[2] + share * (b - a)[2])
    at, tips = np.concatenate(xy), np.concatenate(z)
    in_stock = tips < top - 1e-4
    at, tips = at[in_stock], tips[in_stock]
    radius = np.array([tool.radius_at_mm(top - h) for h in np.unique(tips)])
    return Axis(at, tips, radius[np.searchsorted(np.unique(tips), tips)])


def contour_points(path: PathSet, *, step: float = STEP_MM) -> Contour:
    fine, places, left, weight = [], [], [], []
    for leg in legs_of(path):
        n = int(np.ceil(leg.length / step))
        fine.append(np.array([leg.at(s) for s in (np.arange(n) + 0.0) / n]))
        m = max(int(np.ceil(leg.length / PLACE_MM)), 1)
        share = (np.arange(m) + 0.5) / m
        places.append(np.array([leg.at(s) for s in share]))
        d = leg.end - leg.start
        heading = np.arctan2(d[1], d[0]) + leg.sweep * (share - 0.5)
        left.append(np.column_stack((-np.sin(heading), np.cos(heading))))
        weight.append(np.full(m, leg.length / m))
    ring = np.concatenate(fine)
    return Contour(
        polygon=shapely.Polygon(ring[:: max(int(0.01 / step), 1)]),
        tree=cKDTree(ring),
        xy=np.concatenate(places),
        left=np.concatenate(left),
        weight=np.concatenate(weight),
    )


def gouge(axis: Axis, contour: Contour, *, part_inside: bool, most: float) -> float:
    """Return the greatest radius less distance, or plus it where the axis is over the part."""
    depth = contour.signed(axis.xy) * (1.0 if part_inside else -1.0)
    reach = axis.radius + np.where(depth > 0.0, np.minimum(depth, most), depth)
    return max(float(reach.max()), 0.0)


def left_standing(axis: Axis, contour: Contour, deep: float) -> np.ndarray:
    """Return the distance from each place of the contour to what is swept at full depth."""
    own = axis.z <= deep + 1e-9
    best = np.full(len(contour.xy), np.inf)
    for radius in np.unique(np.round(axis.radius[own], 4)):
        points = axis.xy[own & (np.abs(axis.radius - radius) < 1e-4)]
        near, _ = cKDTree(points).query(contour.xy)
        best = np.minimum(best, near - radius)
    return best


def room_beside(contour: Contour, radius: float, side: float) -> np.ndarray:
    """Return how far a disc that touches each place on a side (1 left) stays clear of the rest.

    Negative where it does not fit, by how much it is too wide there.
    """
    near, _ = contour.tree.query(contour.xy + side * radius * contour.left)
    return near - radius
