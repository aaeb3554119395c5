"""Join open lines that meet end to end into contours, and say where that is not clear.

*End*: first or last vertex of an open path. *Joint*: exactly two ends of the same kind of line
within the tolerance. *Branch*: more than two; nothing is joined there, because which way a contour
goes on would be a guess. Lines are of the same kind when layer, colour, ink and step agree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from kerfwright.artwork.copies import copy_finding, earlier_copies
from kerfwright.errors import Finding, Place, Severity
from kerfwright.geometry.containment import containment_forest
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.model.drawing import Drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chains:
    """Members of every joined chain, one after the other."""

    member: I64
    turned: BOOL
    starts: I64
    is_ring: BOOL


def join_lines(drawing: Drawing, *, tolerance_mm: float) -> tuple[Drawing, tuple[Finding, ...]]:
    """Return the drawing with lines joined that meet within a tolerance.

    Where two ends lie apart, the later one moves onto the earlier; by how much at most is said.
    A joined contour keeps the id of its earliest line.

    Parameters
    ----------
    drawing : Drawing
        The drawing as read.
    tolerance_mm : float
        Ends closer than this are one point [mm].

    Returns
    -------
    drawing : Drawing
        Contours in the order of their earliest line.
    findings : tuple of Finding
        How many lines were joined and over what gap, and every branch.
    """
    copies = _copies(drawing, tolerance_mm)
    drawn_twice = [_said_of_copy(drawing, k, tolerance_mm) for k in np.flatnonzero(copies).tolist()]
    loose = np.flatnonzero(_is_loose(drawing.paths, tolerance_mm) & ~copies)
    if not loose.size:
        return drawing, ()
    ends, owner = _ends(drawing.paths, loose)
    spot = _spots(ends, _kinds(drawing)[owner], tolerance_mm)
    partner, branches = _partners(spot)
    chains = _chains(loose, partner)
    gap = _worst_gap(ends, partner)
    findings = [_branch_finding(drawing, ends[i], owner[i], n) for i, n in branches]
    is_made = len(chains.is_ring) < len(loose) or chains.is_ring.any()
    if is_made:
        findings.insert(0, _joined_finding(chains, gap, tolerance_mm))
    if not (is_made or drawn_twice):
        return drawing, tuple(findings)
    return _rebuild(drawing, chains, loose, copies), (*findings, *drawn_twice)


def _is_loose(paths: PathSet, tolerance_mm: float) -> BOOL:
    """Return which paths are open and longer than the tolerance; shorter ones join nothing."""
    loose: BOOL = ~paths.closed & (paths.lengths_mm() > tolerance_mm)
    return loose


def _copies(drawing: Drawing, tolerance_mm: float) -> BOOL:
    """Return which loose lines repeat an earlier one; a copy would make every joint a branch."""
    kind = np.where(_is_loose(drawing.paths, tolerance_mm), _kinds(drawing), -1)
    copies: BOOL = earlier_copies(drawing.paths, kind, tolerance_mm=tolerance_mm) >= 0
    return copies


def _said_of_copy(drawing: Drawing, k: int, tolerance_mm: float) -> Finding:
    return copy_finding(drawing, k, drawing.paths.points[drawing.paths.starts[k]], tolerance_mm)


def _ends(paths: PathSet, loose: I64) -> tuple[F64, I64]:
    """Return first and last vertex of each loose path, alternating, and the path of each."""
    rows = np.column_stack((paths.starts[loose], paths.starts[loose + 1] - 1)).ravel()
    return paths.points[rows], np.repeat(loose, 2)


def _kinds(drawing: Drawing) -> I64:
    """Return a number per path, equal where layer, colour, ink and step agree."""
    colours = [stroke.colour for stroke in drawing.stroke]
    keys = list(zip(drawing.layer, colours, drawing.separation, drawing.step, strict=True))
    number = {key: i for i, key in enumerate(dict.fromkeys(keys))}
    return np.array([number[key] for key in keys], np.int64)


def _spots(ends: F64, kind: I64, tolerance_mm: float) -> I64:
    """Return a number per end, equal for ends of one kind that lie within the tolerance.

    Two neighbours each are enough to tell a joint from a branch; looking at all pairs would take
    the square of the number of lines that leave one point.
    """
    levels = np.column_stack((ends, kind * (4.0 * tolerance_mm)))  # kinds never meet
    places, place = np.unique(levels, axis=0, return_inverse=True)
    count, reach = len(places), np.nextafter(tolerance_mm, np.inf)
    near = cKDTree(places).query(places, k=[2, 3], distance_upper_bound=reach)[1]
    one, two = np.repeat(np.arange(count), 2), near.ravel()
    one, two = one[two < count], two[two < count]
    links = coo_array((np.ones(len(one)), (one, two)), shape=(count, count))
    spot: I64 = connected_components(links, directed=False)[1].astype(np.int64)
    return spot[place]


def _partners(spot: I64) -> tuple[I64, list[tuple[int, int]]]:
    """Return the end each end is joined to (-1 for none), and branches as (an end, how many)."""
    order = np.argsort(spot, kind="stable")
    size = np.bincount(spot)
    first = np.concatenate(([0], np.cumsum(size)[:-1]))
    partner = np.full(len(spot), -1, np.int64)
    twos = first[size == 2]
    partner[order[twos]], partner[order[twos + 1]] = order[twos + 1], order[twos]
    crowded = np.flatnonzero(size > 2)
    return partner, [(int(order[first[s]]), int(size[s])) for s in crowded]


def _chains(loose: I64, partner: I64) -> _Chains:
    """Walk from end to end; chains in the order of their earliest line, rings start there."""
    seen = np.zeros(len(loose), bool)
    hop = partner.tolist()
    members: list[int] = []
    turned: list[bool] = []
    starts, rings = [0], []
    for begin in range(len(loose)):
        if seen[begin]:
            continue
        entry, is_ring = _first_end(begin, hop)
        at = entry
        while at >= 0 and not seen[at // 2]:
            seen[at // 2] = True
            members.append(int(loose[at // 2]))
            turned.append(at % 2 == 1)
            at = hop[at ^ 1]
        starts.append(len(members))
        rings.append(is_ring)
    return _Chains(
        member=np.array(members, np.int64),
        turned=np.array(turned, bool),
        starts=np.array(starts, np.int64),
        is_ring=np.array(rings, bool),
    )


def _first_end(line: int, hop: list[int]) -> tuple[int, bool]:
    """Return the end a chain begins at, walking back from a line; and whether it is a ring."""
    at = 2 * line
    while hop[at] >= 0:
        at = hop[at] ^ 1
        if at // 2 == line:
            return 2 * line, True
    return at, False


def _rebuild(drawing: Drawing, chains: _Chains, loose: I64, copies: BOOL) -> Drawing:
    old = drawing.paths
    rest = np.setdiff1d(np.flatnonzero(~copies), loose)
    earliest = np.minimum.reduceat(chains.member, chains.starts[:-1])
    merged = _merged(old.select(chains.member).reversed_where(chains.turned), chains)
    order = np.argsort(np.concatenate((rest, earliest)), kind="stable")
    paths = _stack(old.select(rest), merged).select(order)
    keep = np.concatenate((rest, earliest))[order].tolist()
    sizes = np.concatenate((np.ones(len(rest), np.int64), np.diff(chains.starts)))[order].tolist()
    more = [f" and {n - 1} more" if n > 1 else "" for n in sizes]
    return replace(
        drawing,
        paths=paths,
        ids=tuple(drawing.ids[k] for k in keep),
        source=tuple(drawing.source[k] + tail for k, tail in zip(keep, more, strict=True)),
        layer=tuple(drawing.layer[k] for k in keep),
        separation=tuple(drawing.separation[k] for k in keep),
        step=tuple(drawing.step[k] for k in keep),
        stroke=tuple(drawing.stroke[k] for k in keep),
        parent=containment_forest(paths, tolerance_mm=drawing.fit_tolerance_mm),
    )


def _stack(one: PathSet, two: PathSet) -> PathSet:
    return PathSet(
        points=np.concatenate((one.points, two.points)),
        bulges=np.concatenate((one.bulges, two.bulges)),
        starts=np.concatenate((one.starts, one.starts[-1] + two.starts[1:])),
        closed=np.concatenate((one.closed, two.closed)),
    )


def _merged(lines: PathSet, chains: _Chains) -> PathSet:
    """Make one path of each chain: at a joint the later vertex goes and hands its bulge back."""
    size = np.diff(chains.starts)
    chain_of = np.repeat(np.arange(len(size)), size)
    is_first = np.zeros(len(lines), bool)
    is_first[chains.starts[:-1]] = True
    bulges = lines.bulges.copy()
    later = np.flatnonzero(~is_first)
    bulges[lines.starts[later] - 1] = bulges[lines.starts[later]]
    drop = np.zeros(len(lines.points), bool)
    drop[lines.starts[later]] = True
    drop[lines.starts[chains.starts[1:][chains.is_ring]] - 1] = True
    kept = np.bincount(chain_of[lines.path_of_vertex[~drop]], minlength=len(size))
    return PathSet(
        points=lines.points[~drop],
        bulges=bulges[~drop],
        starts=np.concatenate(([0], np.cumsum(kept))),
        closed=chains.is_ring,
    )


def _worst_gap(ends: F64, partner: I64) -> float:
    joined = np.flatnonzero(partner >= 0)
    gaps = np.hypot(*(ends[joined] - ends[partner[joined]]).T)
    return float(gaps.max(initial=0.0))


def _joined_finding(chains: _Chains, gap_mm: float, tolerance_mm: float) -> Finding:
    size = np.diff(chains.starts)
    is_made = (size > 1) | chains.is_ring
    return Finding(
        code="ART-101",
        severity=Severity.NOTE,
        where=Place(stage="artwork"),
        measured=gap_mm,
        limit=tolerance_mm,
        unit="mm",
        params={"lines": int(size[is_made].sum()), "contours": int(is_made.sum())},
    )


def _branch_finding(drawing: Drawing, xy: F64, path: int, count: int) -> Finding:
    return Finding(
        code="ART-102",
        severity=Severity.WARN,
        where=Place(stage="artwork", contour=drawing.ids[path], xy_mm=(float(xy[0]), float(xy[1]))),
        measured=float(count),
        limit=2.0,
        params={"layer": drawing.layer[path], "count": count},
    )
