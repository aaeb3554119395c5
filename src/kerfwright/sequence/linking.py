"""Motions of the operations and the order -> the motion of the whole sheet.

Between two cuts the tip goes up to the travel height, over with x, y and C together, and down to
where the next cut begins. C of a cut is shifted by whole turns: to the one nearest to where C
stands, among those that keep the whole cut inside the head's limits. Where that is not the
nearest of all, C is rewound in a block of its own before the way over. Tools are changed at the
travel height; a head that is left turns to its rest first, since it may not stand there when it
comes back.

Vacuum zones are opened before the first block and never changed, so that the sheet lies as it was
photographed; closing them is left to the operator, who sees when parts and sheet are safe to lift.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from kerfwright.errors import Finding, ModelError, Place, Severity, UnknownNameError
from kerfwright.geometry.record import F64
from kerfwright.model.cut import CutOrder, CutSetup
from kerfwright.model.motion import ToolMotion
from kerfwright.model.table import Table
from kerfwright.sequence.joining import join
from kerfwright.sequence.limits import TURN_RAD, cannot_cut, whole_turns
from kerfwright.sequence.stations import Stations, check_heights, stations_of
from kerfwright.sequence.strokes import Bodies, gather_bodies
from kerfwright.sequence.ways import plan_ways


def link(
    motions: Sequence[ToolMotion],
    order: CutOrder,
    table: Table,
    *,
    stations: Mapping[str, int],
    setups: Mapping[str, CutSetup],
    travel_z_mm: float,
    zones: tuple[int, ...],
) -> ToolMotion:
    """Return the motion of the whole sheet, in the order given.

    Parameters
    ----------
    motions : sequence of ToolMotion
        One per operation, table frame. Each block names its cut in `order`; each cut begins with
        a rapid of role LINK that sets the tip above its entry and ends lifted.
    order : CutOrder
        Order of the cuts. Cuts without motion are left out: they are held back.
    table : Table
        Table with heads and stations.
    stations : mapping of str to int
        Station by operation id.
    setups : mapping of str to CutSetup
        Numbers by operation id.
    travel_z_mm : float
        Height of the tip above the bed on the ways between cuts [mm].
    zones : tuple of int
        Vacuum zones to open.

    Returns
    -------
    ToolMotion
        Starts and ends lifted at the corner of the bed where sheets are laid. Blocks between cuts
        carry cut -1; the rapid down to a cut belongs to the cut. Findings of the motions and its
        own; a cut a head cannot do is left out and holds its part.

    Raises
    ------
    ModelError
        If a block belongs to no cut of the order, a cut was planned twice or begins or ends where
        it must not, or the travel height does not clear the stock or is out of a head's travel.
    UnknownNameError
        If a zone, a station or an operation's entry is missing.
    """
    _check_zones(zones, table)
    bodies = gather_bodies(motions, order)
    own = stations_of(bodies, order, table, stations=stations, setups=setups)
    out, findings = cannot_cut(bodies, own, order)
    findings = [*(f for m in motions for f in m.findings), *findings]
    if out.any():
        bodies = bodies.select(~out)
        own = stations_of(bodies, order, table, stations=stations, setups=setups)
    if not len(bodies):
        return _nothing(table, travel_z_mm, (*findings, _nothing_left(len(order.contour))))
    check_heights(bodies, own, order, travel_z_mm=travel_z_mm, clearance_mm=table.clearance_mm)
    bodies = _unwound(bodies, own)
    park = _park(bodies, own, table, travel_z_mm)
    ways = plan_ways(bodies, own, park, travel_z_mm)
    return join(bodies, own, ways, zones, tuple(findings))


def _unwound(bodies: Bodies, own: Stations) -> Bodies:
    """Return the bodies with C shifted by whole turns so that it goes on from cut to cut."""
    least, most = (bound.tolist() for bound in whole_turns(bodies, own))
    entry, leave = bodies.entry[:, 3].tolist(), bodies.exit[:, 3].tolist()
    head, rest = own.head.tolist(), own.rest_rad(np.zeros(len(bodies))).tolist()
    endless = np.isinf(own.c_limits_rad[:, 0]).tolist()
    shift, at, last = [], 0.0, -1
    for i in range(len(entry)):
        if head[i] != last:
            at = round(at / TURN_RAD) * TURN_RAD if endless[i] else rest[i]
        turns = min(max(round((at - entry[i]) / TURN_RAD), least[i]), most[i])
        shift.append(turns * TURN_RAD)
        at, last = leave[i] + shift[i], head[i]
    return bodies.turned_by(np.array(shift))


def _park(bodies: Bodies, own: Stations, table: Table, travel_z_mm: float) -> F64:
    """Return where all begins and ends, shape (2, 4): at the load side, lifted, C at rest.

    That is the corner of the bed nearest to where sheets are laid, or as near as the head gets.
    """
    x0, y0, x1, y1 = table.bed
    x = x0 if table.load_pose.x_mm - x0 <= x1 - table.load_pose.x_mm else x1
    y = y0 if table.load_pose.y_mm - y0 <= y1 - table.load_pose.y_mm else y1
    z = min(max(travel_z_mm, table.travel_z_mm), float(own.z_travel_mm[:, 1].min()))
    reach = own.reach_mm[[0, -1]]
    park = np.tile((x, y, z, 0.0), (2, 1))
    park[:, :2] = np.clip(park[:, :2], reach[:, :2], reach[:, 2:])
    park[0, 3] = own.rest_rad(np.zeros(len(bodies)))[0]
    park[1, 3] = own.rest_rad(bodies.exit[:, 3])[-1]
    return park


def _nothing(table: Table, travel_z_mm: float, findings: tuple[Finding, ...]) -> ToolMotion:
    none, flat = np.zeros(0, np.int64), np.zeros(0)
    return ToolMotion(
        start=np.array((*table.bed[:2], max(travel_z_mm, table.travel_z_mm), 0.0)),
        kind=none,
        end=np.zeros((0, 4)),
        centre=np.zeros((0, 2)),
        sweep_rad=flat,
        feed=flat,
        feed_kind=none,
        dwell_s=flat,
        role=none,
        cut=none,
        tool=none,
        findings=findings,
    )


def _nothing_left(ordered: int) -> Finding:
    return Finding(
        code="SEQ-140",
        severity=Severity.BLOCKS,
        where=Place(stage="sequence", frame="table"),
        params={"ordered": ordered},
    )


def _check_zones(zones: tuple[int, ...], table: Table) -> None:
    known = {z.number for z in table.zones}
    missing = [z for z in zones if z not in known]
    if missing:
        msg = f"table {table.id} has no vacuum zone {missing[0]}; it has {sorted(known)}"
        raise UnknownNameError(msg)
    if len(set(zones)) != len(zones):
        msg = f"vacuum zones {zones} name one twice"
        raise ModelError(msg)
