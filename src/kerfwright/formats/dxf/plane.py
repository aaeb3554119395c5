"""From three dimensions to two: lines and arcs exact, other curves fitted.

A drawing for a flat table lies in planes z = constant. What does not is either seen from above
(lines that rise) or left out (figures in tilted planes, whose shape from above is not theirs).
Arcs stay arcs where the map that placed them is a similarity; otherwise they are ellipses.
"""

from __future__ import annotations

import numpy as np

from kerfwright.formats.dxf.curves import Fitted, Fitter
from kerfwright.formats.dxf.flat_chains import (
    FlatChains,
    add_oval_chain,
    add_plain,
    ask_oval_chain,
)
from kerfwright.formats.dxf.flat_conics import FlatConics, add_arcs
from kerfwright.formats.dxf.notes import Notes
from kerfwright.formats.dxf.pile import Flat, Pile, heights
from kerfwright.formats.dxf.shapes import F64, Shapes


def flatten(
    shapes: Shapes, *, tolerance_mm: float, most_points: int, file: str, notes: Notes
) -> Flat:
    """Return shapes in millimetres as plane paths of lines and arcs.

    Raises
    ------
    OutOfResourcesError
        If more vertices come out than the limit allows.
    """
    pile = Pile(most_points, file)
    fitter = Fitter(tolerance_mm, most_points, file)
    chains = FlatChains.of(shapes.chains, tolerance_mm)
    conics = FlatConics.of(shapes.conics, tolerance_mm)
    ovals = {k: ask_oval_chain(chains, k, fitter) for k in np.flatnonzero(chains.oval).tolist()}
    ellipses = {
        k: fitter.ellipse(
            conics.u[k], conics.v[k], conics.start[k], conics.sweep[k], closed=bool(conics.full[k])
        )
        for k in np.flatnonzero(conics.oval).tolist()
    }
    splines = [(s, fitter.spline(s)) for s in shapes.splines]
    fitter.run()
    add_plain(pile, chains, np.flatnonzero(chains.plain))
    for k, tickets in ovals.items():
        add_oval_chain(pile, chains, k, tickets, fitter)
    add_arcs(pile, conics)
    for k, ticket in ellipses.items():
        _add_fitted(pile, int(conics.path[k]), fitter.get(ticket), conics.centre[k])
    for s, ticket in splines:
        _add_fitted(pile, s.path, fitter.get(ticket), s.control[0, :2])
    _note_losses(chains, conics, notes)
    _note_heights(shapes, tolerance_mm, notes)
    fitter.note(notes)
    return pile.finish()


def _note_losses(chains: FlatChains, conics: FlatConics, notes: Notes) -> None:
    if tilted := int(chains.tilted.sum() + conics.tilted.sum()):
        notes.add("DXF-131", params={"count": tilted})
    if thin := int(conics.thin.sum()):
        notes.unusable["ellipse of no width"] += thin


def _add_fitted(pile: Pile, path: int, fitted: Fitted | None, origin: F64) -> None:
    if fitted is not None:
        pile.add_one(path, fitted.points + origin, fitted.bulges, closed=fitted.closed)


def _note_heights(shapes: Shapes, tolerance_mm: float, notes: Notes) -> None:
    """Say how many lines rise, and by how much."""
    chains = shapes.chains
    free = heights(chains.points[:, 2], chains.starts)[~chains.planar]
    splines = np.array([np.ptp(s.control[:, 2]) for s in shapes.splines])
    rises = np.concatenate((free, splines))
    rises = rises[rises > tolerance_mm]
    if rises.size:
        notes.add(
            "DXF-132", measured=float(rises.max()), unit="mm", params={"count": int(rises.size)}
        )
