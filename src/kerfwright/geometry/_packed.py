"""Paths packed for compiled code: edges as rows, and box trees over each path's run of edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kerfwright.geometry import edges
from kerfwright.geometry._box_tree import build_nodes
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, I64


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """Edges of all paths as rows; a drill point is one edge of no length.

    Parameters
    ----------
    edges : ndarray of shape (E, 5), float
        Start x, y, end x, y, bulge.
    boxes : ndarray of shape (E, 4), float
        x0, y0, x1, y1 of each edge [mm].
    starts : ndarray of shape (K + 1,), int
        Row of each path's first edge.
    vertex : ndarray of shape (E,), int
        Row of the vertex each edge leaves.
    path : ndarray of shape (E,), int
        Path of each edge.
    """

    edges: F64
    boxes: F64
    starts: I64
    vertex: I64
    path: I64

    def trees(self) -> F64:
        """Return the nodes of the box trees over the runs, shape (2 E - K, 4)."""
        return build_nodes(self.boxes, self.starts)


def pack(paths: PathSet) -> Packed:
    """Pack all edges of a set of paths."""
    sizes = np.diff(paths.starts)
    after = np.arange(1, len(paths.points) + 1)
    after[paths.starts[1:] - 1] = paths.starts[:-1]
    has_edge = np.ones(len(paths.points), bool)
    has_edge[paths.starts[1:][~paths.closed & (sizes > 1)] - 1] = False
    vertex = np.flatnonzero(has_edge)
    start, end = paths.points[vertex], paths.points[after[vertex]]
    bulge = paths.bulges[vertex]
    counts = np.where(paths.closed | (sizes == 1), sizes, sizes - 1)
    return Packed(
        edges=np.column_stack((start, end, bulge)),
        boxes=edges.bounds_mm(start, end, bulge),
        starts=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        vertex=vertex,
        path=paths.path_of_vertex[vertex],
    )
