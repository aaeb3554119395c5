"""From the program's numbers back to the table: swap, signs, C sense and zero undone."""

from __future__ import annotations

from math import radians

import numpy as np

from kerfwright.geometry.record import F64, I64
from kerfwright.model.dialect import Dialect
from kerfwright.model.motion import Event, FeedKind, Kind, ToolMotion
from kerfwright.program.read.state import COLUMNS, State

_WORDS = slice(1, 5)
_CENTRE = slice(5, 7)


def motion_of(state: State, dialect: Dialect, *, z_zero_mm: float, text_sha: str) -> ToolMotion:
    """Return what ran as motion in the table frame."""
    table = np.array(state.rows, dtype=np.float64).reshape(-1, COLUMNS)
    kind = table[:, 0].astype(np.int64)
    feed_kind = table[:, 9].astype(np.int64)
    first = np.array([state.first[axis] for axis in "XYZC"])
    places = np.where(np.isnan(table[:, _WORDS]), first, table[:, _WORDS])
    places = _table_places(np.concatenate((first[None, :], places)), dialect, z_zero_mm=z_zero_mm)
    places[np.isnan(places)] = 0.0
    return ToolMotion(
        frame="table",
        start=places[0],
        kind=kind,
        end=places[1:],
        centre=_centres(table[:, _CENTRE], kind, dialect),
        sweep_rad=table[:, 7] * _handedness(dialect),
        feed=np.where(feed_kind == FeedKind.ROTARY, np.radians(table[:, 8]), table[:, 8]),
        feed_kind=feed_kind,
        dwell_s=table[:, 10],
        role=np.zeros(len(table), dtype=np.int64),
        cut=np.full(len(table), -1),
        tool=table[:, 11].astype(np.int64),
        events=tuple(Event(before_block=b, code=c, value=v) for b, c, v in state.events),
        text_sha=text_sha,
        offsets_in=dialect.offsets_in,
    )


def _plane(columns: F64, dialect: Dialect) -> F64:
    signed = columns * np.array([dialect.sign_x, dialect.sign_y])
    table: F64 = signed[:, ::-1] if dialect.swap_xy else signed
    return table


def _handedness(dialect: Dialect) -> int:
    """Return -1 where G2 of the program turns counter-clockwise on the table."""
    return dialect.sign_x * dialect.sign_y * (-1 if dialect.swap_xy else 1)


def _table_places(places: F64, dialect: Dialect, *, z_zero_mm: float) -> F64:
    out = np.zeros_like(places)
    out[:, :2] = _plane(places[:, :2], dialect)
    out[:, 2] = dialect.sign_z * places[:, 2] + z_zero_mm
    out[:, 3] = dialect.sign_c * (places[:, 3] * radians(1.0) - dialect.c_zero_rad)
    return out


def _centres(columns: F64, kind: I64, dialect: Dialect) -> F64:
    centres = _plane(columns, dialect)
    only_arcs: F64 = np.where((kind == Kind.ARC)[:, None], centres, np.nan)
    return only_arcs
