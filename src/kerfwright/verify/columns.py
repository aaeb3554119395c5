"""Names of the columns of the flat arrays the kernels of this room work on.

*Piece*: a line or arc of a wanted contour in the table frame. *Corner*: where two pieces meet
with more than a small turn, or where an open contour ends. *Slice*: a short stretch of a motion
block with the tip below the stock's top face. Angles in rad, lengths in mm.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
BOOL = NDArray[np.bool_]

# Pieces: ends, centre, radius (0 for a line, signed: positive turns left), sweep, heading at the
# start and its direction, place of the start along the contour, length, turn to the next piece.
X0, Y0, X1, Y1, CX, CY, RADIUS, SWEEP, HEAD, UX, UY, PLACE, LENGTH, TURN = range(14)
PIECE_COLUMNS = 14

# Links of a piece: its row of the design, the pieces after and before it (-1 for none), and the
# corners at its end and start (-1 for none).
ROW, NEXT, PREVIOUS, END_CORNER, START_CORNER = range(5)

# Corners: point, heading in, turn, unit vectors of the headings in and out.
KX, KY, KHEAD, KTURN, KINX, KINY, KOUTX, KOUTY = range(8)
CORNER_COLUMNS = 8

# Ends of a corner: the piece that comes in, the piece that leaves (-1 for none).
BEFORE, AFTER = range(2)

# Slices: start and end of the C axis, centre, radius at start and end, angle of the start seen
# from the centre, sweep (0 for a line), tip height and blade direction at start and end.
SX0, SY0, SX1, SY1, SCX, SCY, SR0, SR1, SANGLE, SSWEEP, SZ0, SZ1, SC0, SC1 = range(14)
SLICE_COLUMNS = 14

# Blades: middle of the tip ahead of the C axis, half the flat at the tip, cotangents of the
# trailing and the leading edge, height above the tip at which the full width is reached.
BREF, BHALF, BTRAIL, BLEAD, BHEEL = range(5)
BLADE_COLUMNS = 5


class Shape(NamedTuple):
    """Every wanted contour, as the kernels see it.

    Parameters
    ----------
    pieces : ndarray of shape (P, 14), float
        Lines and arcs, contour by contour.
    links : ndarray of shape (P, 5), int
        How they hang together.
    corners : ndarray of shape (C, 8), float
        Corners and open ends.
    ends : ndarray of shape (C, 2), int
        The pieces that meet there.
    length : ndarray of shape (K,), float
        Length of each contour, 0 for one without any [mm].
    closed : ndarray of shape (K,), bool
        Whether it is closed.
    """

    pieces: F64
    links: I64
    corners: F64
    ends: I64
    length: F64
    closed: BOOL
