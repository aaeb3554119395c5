"""Contours where one physical sheet has them: mapped with the print, or moved as one piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from kerfwright import registration
from kerfwright.geometry.paths import join_sets
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import F64, I64
from kerfwright.job.lay import placed_outlines
from kerfwright.job.results import PlacedContours
from kerfwright.model.fit import SheetFit
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout
from kerfwright.model.verdict import PlacedLines


def rigid_of(parts: Sequence[Part], laid: Layout, fit: SheetFit) -> F64:
    """Return the motion of each placement as one piece, (P, 2, 3) [1, mm]."""
    if not len(laid.part):
        return np.zeros((0, 2, 3))
    return registration.rigid_maps(fit, placed_outlines(parts, laid))


def place_on_bed(
    nominal: PlacedContours, fit: SheetFit, rigid: F64, *, tolerance_mm: float
) -> PlacedContours:
    """Return every contour in the table frame of a sheet that was looked at.

    Parameters
    ----------
    nominal : PlacedContours
        Contours on the nominal sheet.
    fit : SheetFit
        How the sheet lies and stretched.
    rigid : ndarray of shape (P, 2, 3), float
        Motion of each placement as one piece [1, mm].
    tolerance_mm : float
        Greatest distance between a mapped curve and its arcs [mm].

    Returns
    -------
    PlacedContours
        Contours that follow the print are mapped, others are moved with their part.
    """
    keeps = np.array([o.fidelity == "size" for o in nominal.operations], bool)[nominal.operation]
    follow, stay = np.flatnonzero(~keeps), np.flatnonzero(keeps)
    used, which = np.unique(nominal.placement[stay], return_inverse=True)
    maps = (fit.mean_map, *(PlaneMap(affine=rigid[p]) for p in used.tolist()))
    index: I64 = np.zeros(len(nominal.contours), np.int64)
    index[stay] = which + 1
    sets = []
    if follow.size:
        lines = nominal.on_sheet.select(follow)
        sets.append(registration.map_paths(fit, lines, tolerance_mm=tolerance_mm))
    sets += [
        nominal.on_sheet.select(np.array([row])).transformed(maps[index[row]].affine)
        for row in stay.tolist()
    ]
    back = np.argsort(np.concatenate((follow, stay)), kind="stable")
    on_table = join_sets(sets).select(back) if sets else nominal.on_table
    return replace(
        nominal,
        on_table=on_table,
        table_from_sheet=PlaneMap(affine=fit.mean_map.affine),
        maps=maps,
        map=index,
    )


def lines_for_verdict(nominal: PlacedContours, rigid: F64) -> PlacedLines:
    """Return contours with what each may deviate by."""
    operations = [nominal.operations[o] for o in nominal.operation.tolist()]
    return PlacedLines(
        contours=nominal.contours,
        paths=nominal.on_sheet,
        fidelity=tuple(o.fidelity for o in operations),
        print_mm=np.array([o.tolerance_mm.print_mm for o in operations]),
        size_mm=np.array([o.tolerance_mm.size_mm for o in operations]),
        head=tuple(o.head_kind.value for o in operations),
        part=nominal.placement,
        rigid=rigid,
    )
