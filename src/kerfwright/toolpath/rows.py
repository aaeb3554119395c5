"""Rows the kernels write -> a motion."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import Finding
from kerfwright.geometry.record import F64, I64
from kerfwright.model.cut import CutSetup
from kerfwright.model.motion import ToolMotion
from kerfwright.toolpath.writing import (
    CUT,
    CX,
    CY,
    FEED,
    FEED_KIND,
    KIND,
    ROLE,
    TURNED,
    C,
    X,
    Y,
    Z,
)


def motion_of(rows: F64, places: I64, setup: CutSetup, findings: tuple[Finding, ...]) -> ToolMotion:
    """Return rows of N cuts as a motion in the table frame.

    Parameters
    ----------
    rows : ndarray of shape (M, 12), float
        Blocks, as listed in `writing`.
    places : ndarray of shape (N,), int
        Place of each cut in the order.
    setup : CutSetup
        Numbers of the operation.
    findings : tuple of Finding
        What making it found.
    """
    end = rows[:, [X, Y, Z, C]]
    start = end[0] if len(rows) else np.array([0.0, 0.0, setup.lift_z_mm, 0.0])
    n = len(rows)
    return ToolMotion(
        start=start,
        kind=rows[:, KIND].astype(np.int64),
        end=end,
        centre=rows[:, [CX, CY]],
        sweep_rad=rows[:, TURNED],
        feed=rows[:, FEED],
        feed_kind=rows[:, FEED_KIND].astype(np.int64),
        dwell_s=np.zeros(n),
        role=rows[:, ROLE].astype(np.int64),
        cut=places[rows[:, CUT].astype(np.int64)],
        tool=np.zeros(n, np.int64),
        findings=findings,
    )
