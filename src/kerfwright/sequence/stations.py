"""Station, head and setup of every cut, and what they allow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from kerfwright.errors import ModelError, UnknownNameError
from kerfwright.geometry.record import F64, I64
from kerfwright.model.cut import CutOrder, CutSetup
from kerfwright.model.table import Head, Table
from kerfwright.sequence.strokes import Bodies

T = TypeVar("T")

_SLACK_MM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stations:
    """What each of N cuts is done with.

    Parameters
    ----------
    number : ndarray of shape (N,), int
        Station.
    head : ndarray of shape (N,), int
        Index into `heads`.
    heads : tuple of Head
        Heads of the table.
    c_limits_rad : ndarray of shape (N, 2), float
        Lowest and highest C, infinite for an axis without end [rad].
    reach_mm : ndarray of shape (N, 4), float
        x0, y0, x1, y1 of the tool's axis [mm].
    z_travel_mm : ndarray of shape (N, 2), float
        Lowest and highest tip height [mm].
    stroke_hz : ndarray of shape (N,), float
        Strokes per second in the cut, 0 for none [Hz].
    spindle_hz : ndarray of shape (N,), float
        Revolutions per second in the cut, 0 for none [Hz].
    top_z_mm, lift_z_mm : ndarray of shape (N,), float
        Top face of the stock and height the tip is lifted to inside a cut [mm].
    """

    number: I64
    head: I64
    heads: tuple[Head, ...]
    c_limits_rad: F64
    reach_mm: F64
    z_travel_mm: F64
    stroke_hz: F64
    spindle_hz: F64
    top_z_mm: F64
    lift_z_mm: F64

    def rest_rad(self, c_rad: F64) -> F64:
        """Return the C at which each head is left when it stands at `c_rad`, shape (N,) [rad].

        An axis with an end goes back to 0, or as near as it gets; one without end to the nearest
        whole turn.
        """
        low, high = self.c_limits_rad.T
        turns = np.round(c_rad / (2.0 * np.pi)) * (2.0 * np.pi)
        return np.where(np.isinf(low), turns, np.clip(0.0, low, high))


def stations_of(
    bodies: Bodies,
    order: CutOrder,
    table: Table,
    *,
    stations: Mapping[str, int],
    setups: Mapping[str, CutSetup],
) -> Stations:
    """Return what each cut is done with.

    Raises
    ------
    UnknownNameError
        If an operation has no station or setup, or the table has no such station.
    ModelError
        If two cuts of one tool group are done with two stations.
    """
    cuts: list[int] = bodies.cut.tolist()
    names = dict.fromkeys(order.operation[k] for k in cuts)
    index = {name: i for i, name in enumerate(names)}
    of_cut = np.array([index[order.operation[k]] for k in cuts], np.int64)
    number = np.array([_named(stations, n, "station") for n in names], np.int64)[of_cut]
    _check_groups(order.group[bodies.cut], number)
    setup = [_named(setups, n, "setup") for n in names]
    ids = [h.id for h in table.heads]
    head = np.array([ids.index(table.station(stations[n]).head_id) for n in names], np.int64)
    own = [table.heads[i] for i in head.tolist()]
    limits = np.array([h.c_limits_rad or (-np.inf, np.inf) for h in own]).reshape(-1, 2)
    return Stations(
        number=number,
        head=head[of_cut],
        heads=table.heads,
        c_limits_rad=limits[of_cut],
        reach_mm=np.array([h.reach for h in own]).reshape(-1, 4)[of_cut],
        z_travel_mm=np.array([h.z_travel_mm for h in own]).reshape(-1, 2)[of_cut],
        stroke_hz=np.array([s.stroke_hz for s in setup])[of_cut],
        spindle_hz=np.array([s.spindle_hz for s in setup])[of_cut],
        top_z_mm=np.array([s.top_z_mm for s in setup])[of_cut],
        lift_z_mm=np.array([s.lift_z_mm for s in setup])[of_cut],
    )


def check_heights(
    bodies: Bodies, own: Stations, order: CutOrder, *, travel_z_mm: float, clearance_mm: float
) -> None:
    """Refuse heights that would drag a tip through the stock or send a head beyond its travel.

    Raises
    ------
    ModelError
        If the travel height is less than the clearance above the stock or above what a head
        reaches, or a cut begins below its lift height or ends inside the stock.
    """
    if not len(bodies):
        return
    least = float(own.top_z_mm.max()) + clearance_mm
    if travel_z_mm < least - _SLACK_MM:
        msg = (
            f"travel height {travel_z_mm:.3f} mm is below {least:.3f} mm, the stock with its "
            "clearance; raise it"
        )
        raise ModelError(msg)
    most = float(own.z_travel_mm[:, 1].min())
    if travel_z_mm > most + _SLACK_MM:
        msg = (
            f"travel height {travel_z_mm:.3f} mm is above {most:.3f} mm, the highest a head in use "
            "gets to; lower it or use thinner stock"
        )
        raise ModelError(msg)
    low = bodies.entry[:, 2] < own.lift_z_mm - _SLACK_MM
    deep = bodies.exit[:, 2] < own.top_z_mm - _SLACK_MM
    for wrong, what in ((low, "begins below its lift height"), (deep, "ends inside the stock")):
        if wrong.any():
            k = int(bodies.cut[np.argmax(wrong)])
            msg = f"cut {k} ({order.operation[k]} of contour {order.contour[k]}) {what}; plan again"
            raise ModelError(msg)


def _check_groups(group: I64, number: I64) -> None:
    mixed = (np.diff(group) == 0) & (np.diff(number) != 0)
    if mixed.any():
        i = int(np.argmax(mixed))
        msg = (
            f"tool group {group[i]} holds cuts of stations {number[i]} and {number[i + 1]}; "
            "order the cuts with the same stations"
        )
        raise ModelError(msg)


def _named(book: Mapping[str, T], name: str, what: str) -> T:
    try:
        return book[name]
    except KeyError:
        msg = f"operation {name} has no {what}; give one for every operation that is cut"
        raise UnknownNameError(msg) from None
