"""The front door: load and hold of every part of one sheet, from the motion that cuts it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import UnknownNameError
from kerfwright.geometry.plane_map import PlaneMap
from kerfwright.geometry.record import F64, require
from kerfwright.holddown.bodies import lay_parts, map_of, sheet_shape
from kerfwright.holddown.chips import unsaid_turns
from kerfwright.holddown.faults import find_faults
from kerfwright.holddown.figures import LOW, TYPICAL, gather_figures
from kerfwright.holddown.freeing import find_freeing
from kerfwright.holddown.loads import find_touches, use_of_hold
from kerfwright.holddown.pieces import cut_pieces, kinds_of
from kerfwright.holddown.pressure import open_bed_m2, open_kerfs, pump_of, zone_vacuum_pa
from kerfwright.holddown.reporting import OneEnd, Work, make_report
from kerfwright.holddown.whole_sheet import sheet_faults
from kerfwright.model.hold import HoldReport
from kerfwright.model.material import Material
from kerfwright.model.motion import TimedMotion, ToolMotion
from kerfwright.model.part import Part
from kerfwright.model.sheet import Layout
from kerfwright.model.table import Table, Zone
from kerfwright.model.tooling import Tool


def check(
    layout: Layout,
    motion: ToolMotion,
    table: Table,
    *,
    parts: Sequence[Part],
    material: Material,
    table_from_sheet: ArrayLike | PlaneMap,
    thickness_mm: float,
    tools: Mapping[int, Tool],
    zones_on: Sequence[int],
    timed: TimedMotion | None = None,
    sheet: int = 0,
    bottom_z_mm: float = 0.0,
    open_share: float = 1.0,
    altitude_m: float = 0.0,
    margin_least: float = 1.0,
    margin_wanted: float = 1.5,
    web_mm: float = 5.0,
    near_mm: float = 0.5,
    chord_mm: float = 0.05,
    through_mm: float = 1e-6,
) -> HoldReport:
    """Return load, hold and margin of every part of one sheet at its worst moment.

    Until the web that is left of its outline is `web_mm` long a part is held by the sheet. From
    then on each touch of the tool counts: the force along the cut, the upward pull of a blade that
    is drawn up or oscillates or of a cutter, their moment and their pull at the edge, against the
    vacuum below the part at that moment, with all kerfs cut so far open. A cutter's force is its
    area of chip times what the material asks per area, in whatever direction is worst; a creasing
    wheel drags lightly and does not lift. A part that keeps tabs or a skin is never freed: the
    sheet must stay then, and is weighed itself. What holds is weighed by the exact
    friction limit of the part's outline, and against tipping.

    Parameters
    ----------
    layout : Layout
        Where parts lie on sheets.
    motion : ToolMotion
        Motion of one sheet in the table frame, without head offsets.
    table : Table
        Zones, pump, leaks, stations.
    parts : sequence of Part
        Parts of the job.
    material : Material
        ``friction_on_mat, density_kg_m3``; with a blade ``cutting_resistance_n_mm, lift_share,
        kerf_gap_mm``; with a cutter ``specific_cutting_force_n_mm2``; with a creasing wheel
        ``crease_drag_n``. What is missing is assumed unfavourably and said.
    table_from_sheet : array_like of shape (2, 3), or PlaneMap
        How the sheet lies, nominal or fitted [1, mm].
    thickness_mm : float
        Of the stock [mm].
    tools : mapping of int to Tool
        Tool by station number: blades, cutters, wheels; a pen loads nothing.
    zones_on : sequence of int
        Numbers of the zones that are on.
    timed : TimedMotion, optional
        Times of the motion; without it the report holds none.
    sheet : int
        Index of the sheet in the layout.
    bottom_z_mm : float
        Height of the stock's bottom face above the bed [mm].
    open_share : float
        Share of the bed beside the sheet that is left uncovered, 0 to 1.
    altitude_m : float
        Height of the shop above sea level [m].
    margin_least, margin_wanted : float
        Below the first a part is held back, below the second it is warned of.
    web_mm : float
        Length of web that is not trusted to hold a part [mm].
    near_mm : float
        Distance within which a cut belongs to an outline or touches a part [mm].
    chord_mm : float
        Greatest distance between an arc of an outline and its chords [mm].
    through_mm : float
        How far above the bottom face a tip may be and still cut through [mm].

    Returns
    -------
    HoldReport
        One row per placement on the sheet.

    Raises
    ------
    ModelError
        If a number is out of range, arrays do not belong together, or the motion is in another
        frame.
    UnknownNameError
        If a zone, a station or the tool of a station in use is not known.

    Notes
    -----
    Left out: sideways wedging of the blade, the tail's sweep in blocks that turn C alone, the
    downward push of a plunge and of a slanted edge, parts that bend, and the hold of the rest of
    the sheet. Uniform vacuum over a zone; a cut twice opens its kerf twice.
    """
    require(thickness_mm > 0.0, f"thickness_mm is {thickness_mm}, must be above 0")
    require(0.0 <= open_share <= 1.0, f"open_share is {open_share}, must be from 0 to 1")
    least = 0.0 < margin_least <= margin_wanted
    require(least, f"margins {margin_least} and {margin_wanted} must be above 0 and rise")
    for name, value in (("web_mm", web_mm), ("near_mm", near_mm), ("chord_mm", chord_mm)):
        require(np.isfinite(value) and value > 0.0, f"{name} is {value}, must be above 0")
    require(0 <= sheet < len(layout.sheets), f"the layout has no sheet {sheet}")
    require(timed is None or len(timed.block_s) == len(motion), "timed is of another motion")
    zones = _zones(table, zones_on)
    lies = map_of(table_from_sheet)
    placements = np.flatnonzero(layout.sheet == sheet).astype(np.int64)
    bodies = lay_parts(parts, layout, placements, zones, table_from_sheet=lies, chord_mm=chord_mm)
    pieces = cut_pieces(
        motion,
        table,
        tools=tools,
        bottom_z_mm=bottom_z_mm,
        top_z_mm=bottom_z_mm + thickness_mm,
        through_mm=through_mm,
    )
    freeing = find_freeing(bodies, pieces, web_mm=web_mm, near_mm=near_mm)
    touches = find_touches(bodies, pieces, freeing, web_mm=web_mm, near_mm=near_mm)
    on_table = sheet_shape(layout.sheets[sheet], lies, chord_mm)
    work = Work(
        layout=layout,
        parts=parts,
        placements=placements,
        zones=zones,
        motion=motion,
        timed=timed,
        bodies=bodies,
        pieces=pieces,
        freeing=freeing,
        touches=touches,
        figures=gather_figures(material, table, kinds_of(pieces)),
    )
    open_m2 = open_bed_m2(zones, on_table, open_share)
    low, typical = (
        _at_one_end(work, table, end, open_m2, thickness_mm, altitude_m) for end in (LOW, TYPICAL)
    )
    report = make_report(work, low, typical)
    findings = (
        *work.figures.findings,
        *unsaid_turns(motion, tools),
        *find_faults(
            work, report, least=margin_least, wanted=margin_wanted, closed_pa=low.closed_pa
        ),
        *sheet_faults(
            work,
            (low, typical),
            on_table,
            thickness_mm=thickness_mm,
            least=margin_least,
            wanted=margin_wanted,
        ),
    )
    return replace(report, findings=findings)


def _zones(table: Table, numbers: Sequence[int]) -> tuple[Zone, ...]:
    known = {zone.number: zone for zone in table.zones}
    missing = [n for n in numbers if n not in known]
    if missing:
        msg = f"table {table.id} has no vacuum zone {missing[0]}; it has {sorted(known)}"
        raise UnknownNameError(msg)
    require(len(set(numbers)) == len(numbers), f"vacuum zones {tuple(numbers)} name one twice")
    return tuple(known[n] for n in numbers)


def _at_one_end(
    work: Work, table: Table, end: int, open_m2: F64, thickness_mm: float, altitude_m: float
) -> OneEnd:
    """Return vacuum and use of hold with every range at one end."""
    last = len(work.pieces)
    # a piece's own kerf is open while it is cut
    moment = np.concatenate(([0], np.minimum(work.touches.piece + 1, last), [last]))
    different, row = np.unique(moment, return_inverse=True)
    pump = pump_of(work.figures, table, end, altitude_m)
    vacuum = zone_vacuum_pa(
        pump,
        work.figures,
        table.bed_surface_mm,
        end=end,
        open_m2=open_m2,
        kerfs=open_kerfs(work.pieces, work.zones).at(different),
    )[row]
    uses = use_of_hold(
        work.bodies,
        work.touches,
        vacuum[1:-1],
        work.figures,
        end=end,
        thickness_mm=thickness_mm,
    )
    return OneEnd(vacuum_pa=vacuum, uses=uses, closed_pa=pump.closed_pa)
