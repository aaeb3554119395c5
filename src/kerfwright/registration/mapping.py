"""Contours that follow the print, where a fitted sheet has them."""

from __future__ import annotations

from kerfwright.geometry import fit as arcs
from kerfwright.geometry.paths import PathSet
from kerfwright.model.fit import SheetFit


def map_paths(fit: SheetFit, paths: PathSet, tolerance_mm: float) -> PathSet:
    """Return paths of the nominal sheet on the table, arcs fitted once to the mapped source.

    Parameters
    ----------
    fit : SheetFit
        How the sheet lies and stretched; its mean map is followed.
    paths : PathSet
        K paths in the sheet frame [mm].
    tolerance_mm : float
        Greatest distance between a mapped curve and its arcs, both ways [mm].

    Returns
    -------
    PathSet
        The K paths in the table frame; arcs stay arcs where the map is a similarity.

    Raises
    ------
    GeometryError
        If `tolerance_mm` is not above 0 or below the rounding of the coordinates.
    OutOfResourcesError
        If more edges would be needed than are allowed.
    """
    return arcs.map_paths(paths, fit.mean_map, tolerance_mm=tolerance_mm).paths
