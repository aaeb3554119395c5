"""Clips, kept in the form that the check of clips reads; nothing is cut away by them.

Looked at are the edges of pages, of drawings within drawings and of symbols, and clip paths that
hold one shape. Other clips are only counted.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from itertools import pairwise
from math import cos, sin
from typing import Final

from kerfwright.formats.pdf.store import CLOSE, CURVE, LINE, MOVE, Store
from kerfwright.formats.svg import pile as piled
from kerfwright.formats.svg.matrices import Matrix
from kerfwright.formats.svg.pile import Outlining

_QUADRILATERAL: Final = bytes((MOVE, LINE, LINE, LINE, CLOSE))
_ARC_CHORDS: Final = 64


@dataclass(frozen=True, slots=True)
class Clips:
    """Clips of a drawing by number."""

    store: Store

    def rectangle(self, parent: int, matrix: Matrix, width: float, height: float) -> int:
        """Add a rectangle from the origin on and return its number."""
        corners = array("d", (0.0, 0.0, width, 0.0, width, height, 0.0, height))
        return self.store.clip(parent, _QUADRILATERAL, corners, matrix, even_odd=False)

    def outlines(
        self,
        parent: int,
        matrix: Matrix,
        drawn: Outlining,
        mark: tuple[int, int],
        *,
        even_odd: bool,
    ) -> int:
        """Add the outlines drawn since a mark as one clip and return its number."""
        ops, xy = bytearray(), array("d")
        starts = [*drawn.starts[mark[1] :], len(drawn.kinds)]
        for a, b in pairwise(starts):
            for k in range(a, b):
                row = drawn.rows[piled.WIDTH * k : piled.WIDTH * (k + 1)]
                if k == a:
                    ops.append(MOVE)
                    xy.extend(row[:2])
                _add_piece(ops, xy, drawn.kinds[k], row)
            ops.append(CLOSE)
        return self.store.clip(parent, bytes(ops), xy, matrix, even_odd=even_odd)


def _add_piece(ops: bytearray, xy: array[float], kind: int, row: array[float]) -> None:
    if kind == piled.LINE:
        ops.append(LINE)
        xy.extend(row[8:10])
    elif kind == piled.CURVE:
        ops.append(CURVE)
        xy.extend((*row[2:6], *row[8:10]))
    else:
        x, y, ux, uy, vx, vy = row[2:8]
        for k in range(1, _ARC_CHORDS + 1):
            t = row[10] + row[11] * k / _ARC_CHORDS
            ops.append(LINE)
            xy.extend((x + ux * cos(t) + vx * sin(t), y + uy * cos(t) + vy * sin(t)))
