"""The table: bed, axes, heads, vacuum, and what its control expects.

Axes are always in the order x, y, z, c. Lengths in mm, turns in rad.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from kerfwright.errors import UnknownNameError
from kerfwright.geometry.record import F64, Record, frozen_array, require
from kerfwright.model._checks import require_finite, require_rows, require_word
from kerfwright.model.material import Range
from kerfwright.model.operation import HeadKind

Box = tuple[float, float, float, float]
_SURFACES = ("mat", "spoilboard", "underlay")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Limits(Record):
    """What the drives may do, per axis x, y, z, c.

    Parameters
    ----------
    speed : ndarray of shape (4,), float
        Greatest speed [mm/s, rad/s].
    acceleration : ndarray of shape (4,), float
        Greatest acceleration [mm/s2, rad/s2].
    jump : ndarray of shape (4,), float
        Greatest sudden change of speed at a joint between blocks [mm/s, rad/s].
    rapid_mm_s : float
        Greatest speed along the path of a rapid [mm/s].
    block_time_s : float
        Least time the control needs for a block [s].
    """

    speed: F64
    acceleration: F64
    jump: F64
    rapid_mm_s: float
    block_time_s: float = 0.0

    def __post_init__(self) -> None:
        for name in ("speed", "acceleration", "jump"):
            frozen_array(self, name, dtype=np.float64, shape=(4,))
        require_finite(self)
        require_rows(self, "speed", self.speed > 0.0, "above 0")
        require_rows(self, "acceleration", self.acceleration > 0.0, "above 0")
        require_rows(self, "jump", self.jump >= 0.0, "0 or more")
        rapid, block = self.rapid_mm_s, self.block_time_s
        require(rapid > 0.0, f"Limits.rapid_mm_s is {rapid}, must be above 0")
        require(block >= 0.0, f"Limits.block_time_s is {block}, must not be below 0")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Head(Record):
    """What is mounted on the gantry.

    Parameters
    ----------
    id : str
        Name on this table.
    kind : HeadKind
        What it is.
    offset_mm : ndarray of shape (3,), float
        Added to where the tool's axis shall be in the table frame, gives where the machine frame
        has to be sent; z is the length correction [mm].
    offset_cov_mm2 : ndarray of shape (3, 3), float
        Covariance of the offset as calibrated [mm2].
    c_zero_rad : float
        Measured rest of the C zero, added like the offset [rad].
    c_limits_rad : tuple of float or None
        Lowest and highest C; None for an axis that turns without end [rad].
    mass_kg : float
        Mass [kg].
    depth_kind : {'foot', 'bed', 'pressure'}
        Foot riding on the top face, height from the bed, or pressure.
    tools : tuple of str
        Ids of the tools that may be in it; empty for a camera.
    reach : tuple of float
        x0, y0, x1, y1 the tool's axis can get to in the table frame [mm].
    z_travel_mm : tuple of float
        Lowest and highest tip height it can get to [mm].
    """

    id: str
    kind: HeadKind
    offset_mm: F64
    offset_cov_mm2: F64
    c_zero_rad: float
    c_limits_rad: tuple[float, float] | None
    mass_kg: float
    depth_kind: str
    tools: tuple[str, ...]
    reach: Box
    z_travel_mm: tuple[float, float]

    def __post_init__(self) -> None:
        frozen_array(self, "offset_mm", dtype=np.float64, shape=(3,))
        frozen_array(self, "offset_cov_mm2", dtype=np.float64, shape=(3, 3))
        require_finite(self)
        self._check_covariance()
        require_word(f"head {self.id}: depth_kind", self.depth_kind, ("foot", "bed", "pressure"))
        require(_is_box(self.reach), f"head {self.id}: reach {self.reach} is empty")
        mass, travel, turn = self.mass_kg, self.z_travel_mm, self.c_limits_rad
        require(mass > 0.0, f"head {self.id}: mass is {mass} kg, must be above 0")
        require(travel[0] < travel[1], f"head {self.id}: z_travel_mm {travel} is empty")
        require(turn is None or turn[0] < turn[1], f"head {self.id}: c_limits_rad {turn} is empty")

    def _check_covariance(self) -> None:
        cov = self.offset_cov_mm2
        require((cov == cov.T).all(), f"head {self.id}: offset_cov_mm2 must be symmetric")
        least, most = np.linalg.eigvalsh(cov)[[0, -1]].tolist()
        # Rounding may leave a covariance of less than full rank a little below 0.
        require(
            least >= -1e-12 * most,
            f"head {self.id}: offset_cov_mm2 has the variance {least} mm2, must not be below 0",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A tool as the program calls it.

    Parameters
    ----------
    number : int
        Number in the program, from 1.
    head_id, tool_id : str
        Head that holds it and the tool.
    """

    number: int
    head_id: str
    tool_id: str

    def __post_init__(self) -> None:
        require(self.number >= 1, f"station {self.number}: numbers begin with 1")


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A part of the bed with its own vacuum valve.

    Parameters
    ----------
    number : int
        Number in the program, from 1.
    box_mm : tuple of float
        x0, y0, x1, y1 in the table frame [mm].
    """

    number: int
    box_mm: Box

    def __post_init__(self) -> None:
        require_finite(self)
        require(self.number >= 1, f"zone {self.number}: numbers begin with 1")
        require(_is_box(self.box_mm), f"zone {self.number}: {self.box_mm} is empty")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """The vacuum source.

    Parameters
    ----------
    id : str
        Name in the book.
    kind : {'blower', 'displacement'}
        High flow at low vacuum, or the other way round.
    vacuum_kpa : Range
        Vacuum at the closed bed [kPa].
    flow_m3_h : Range
        Free flow [m3/h].
    """

    id: str
    kind: str
    vacuum_kpa: Range
    flow_m3_h: Range

    def __post_init__(self) -> None:
        require_word(f"pump {self.id}: kind", self.kind, ("blower", "displacement"))


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadPose:
    """Where a sheet's lower left corner is laid and how it is turned.

    Parameters
    ----------
    x_mm, y_mm : float
        Corner in the table frame [mm].
    turn_rad : float
        Turn, counter-clockwise [rad].
    """

    x_mm: float
    y_mm: float
    turn_rad: float = 0.0

    def __post_init__(self) -> None:
        require_finite(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """One dated measurement of the table.

    Parameters
    ----------
    name : str
        What was measured.
    value : float
        Result, in `unit`.
    unit, date, by : str
        Unit, day (ISO 8601) and who did it.
    """

    name: str
    value: float
    unit: str
    date: str
    by: str

    def __post_init__(self) -> None:
        require_finite(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table(Record):
    """A cutting table.

    Parameters
    ----------
    id, name : str
        Name in the book and for people.
    bed : tuple of float
        x0, y0, x1, y1 of the bed in the table frame [mm].
    bed_surface : {'mat', 'spoilboard', 'underlay'}
        What the sheet lies on.
    bed_surface_mm : float
        Its thickness: how deep a tip may go below z = 0 at the very most [mm].
    axes : Limits
        What the drives may do.
    gantry_kg : float
        Moving mass without heads [kg].
    heads : tuple of Head
        Heads mounted.
    stations : tuple of Station
        Tools the program can call.
    zones : tuple of Zone
        Vacuum zones.
    pump : Pump
        Vacuum source.
    control : str
        Id of the dialect its control reads.
    load_pose : LoadPose
        Where sheets are laid.
    z_reference : {'bed', 'top'}
        Face the control's Z zero is set on.
    travel_z_mm : float
        Height of the tip above the bed when heads travel over an empty bed [mm].
    clearance_mm : float
        Least gap between tip and whatever may rise below it [mm].
    calibration : tuple of Calibration
        Measurements.
    vacuum : mapping of str to Range
        Leaks as free air at a drop of 1 kPa: ``mat_flow_m3_h_m2`` through open bed,
        ``zone_leak_m3_h`` of a zone itself, ``valve_flow_m3_h`` through an open valve.
    other_surfaces : mapping of str to float
        What may be laid on the bed for a set-up instead of `bed_surface`, and how thick it is;
        z = 0 is then its face. Besides a mat and a spoilboard an underlay, which bears knives
        and cutters [mm].
    """

    id: str
    name: str
    bed: Box
    bed_surface: str
    bed_surface_mm: float
    axes: Limits
    gantry_kg: float
    heads: tuple[Head, ...]
    stations: tuple[Station, ...]
    zones: tuple[Zone, ...]
    pump: Pump
    control: str
    load_pose: LoadPose
    z_reference: str
    travel_z_mm: float
    clearance_mm: float
    calibration: tuple[Calibration, ...] = ()
    vacuum: Mapping[str, Range] = field(default_factory=dict)
    other_surfaces: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        require_finite(self)
        require(_is_box(self.bed), f"table {self.id}: bed {self.bed} is empty")
        require_word(f"table {self.id}: bed_surface", self.bed_surface, _SURFACES)
        for surface, thick in self.other_surfaces.items():
            require_word(f"table {self.id}: other_surfaces", surface, _SURFACES)
            require(thick > 0.0, f"table {self.id}: {surface} is {thick} mm thick, must be above 0")
        require_word(f"table {self.id}: z_reference", self.z_reference, ("bed", "top"))
        for name in ("bed_surface_mm", "gantry_kg", "travel_z_mm", "clearance_mm"):
            value = getattr(self, name)
            require(value > 0.0, f"table {self.id}: {name} is {value}, must be above 0")
        self._check_stations()

    def _check_stations(self) -> None:
        for what, ids in (
            ("station number", [str(s.number) for s in self.stations]),
            ("zone number", [str(z.number) for z in self.zones]),
            ("head id", [h.id for h in self.heads]),
        ):
            for i in ids:
                require(ids.count(i) == 1, f"table {self.id}: {what} {i} stands more than once")
        tools = {h.id: h.tools for h in self.heads}
        for s in self.stations:
            require(
                s.tool_id in tools.get(s.head_id, ()),
                f"table {self.id}: station {s.number} names tool {s.tool_id} in head {s.head_id}, "
                "which no head holds",
            )

    def laid_with(self, surface: str) -> Table:
        """Return the table with a surface on its bed.

        Raises
        ------
        UnknownNameError
            If the table has no such surface.
        """
        if surface == self.bed_surface:
            return self
        if surface not in self.other_surfaces:
            known = ", ".join((self.bed_surface, *self.other_surfaces))
            msg = f"table {self.id} has no {surface} for its bed; it has {known}"
            raise UnknownNameError(msg)
        thick = self.other_surfaces[surface]
        return replace(self, bed_surface=surface, bed_surface_mm=thick)

    def head(self, head_id: str) -> Head:
        """Return a head by id.

        Raises
        ------
        UnknownNameError
            If the table has no such head.
        """
        for head in self.heads:
            if head.id == head_id:
                return head
        msg = f"table {self.id} has no head {head_id}; it has {', '.join(h.id for h in self.heads)}"
        raise UnknownNameError(msg)

    def station(self, number: int) -> Station:
        """Return a station by its number in the program.

        Raises
        ------
        UnknownNameError
            If the table has no such station.
        """
        for station in self.stations:
            if station.number == number:
                return station
        msg = f"table {self.id} has no station {number}"
        raise UnknownNameError(msg)

    def station_for(self, kind: HeadKind, tool_id: str) -> Station:
        """Return the first station with a tool in a head of a kind.

        Raises
        ------
        UnknownNameError
            If no head of that kind holds the tool.
        """
        kinds = {h.id: h.kind for h in self.heads}
        for station in self.stations:
            if station.tool_id == tool_id and kinds[station.head_id] is kind:
                return station
        msg = f"table {self.id} holds no tool {tool_id} in a {kind.value} head; mount it or re-plan"
        raise UnknownNameError(msg)


def _is_box(box: Box) -> bool:
    return box[0] < box[2] and box[1] < box[3]
