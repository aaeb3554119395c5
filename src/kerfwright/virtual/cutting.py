"""What a tool really cuts when it follows a motion, with the errors of a real machine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kerfwright.errors import ModelError, UnknownNameError
from kerfwright.geometry.paths import PathSet
from kerfwright.geometry.record import F64, I64, Record, frozen_array, require
from kerfwright.model.motion import ToolMotion
from kerfwright.model.tooling import Blade, Cutter, Tool, Wheel
from kerfwright.virtual._following import Errors, Follower, Pair, Piece
from kerfwright.virtual._strokes import sample_blocks, split_strokes
from kerfwright.virtual.printing import at_most


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutTrace(Record):
    """What was cut: traces of the tool in planes of the stock.

    Of a blade both ends and the middle of its chord; of a cutter the way of its axis, of a wheel
    that of its lowest point.

    Parameters
    ----------
    pieces : PathSet
        P open polylines, table frame; chords of the standing blade among them [mm].
    face : ndarray of shape (P,), int
        `Face` of each.
    tool : ndarray of shape (P,), int
        Station number that cut it.
    cut : ndarray of shape (P,), int
        Index of the cut in the order, -1 where the motion does not say.
    stroke : ndarray of shape (P,), int
        Number of the stroke: from entering the stock to leaving it.
    depth_mm : ndarray of shape (P,), float
        Greatest depth of the stroke below the top face [mm].
    half_mm : ndarray of shape (P,), float
        How far to both sides of it a cutter sweeps, at its deepest; 0 for other tools [mm].
    """

    pieces: PathSet
    face: I64
    tool: I64
    cut: I64
    stroke: I64
    depth_mm: F64
    half_mm: F64

    def __post_init__(self) -> None:
        count = len(self.pieces)
        for name in ("face", "tool", "cut", "stroke"):
            frozen_array(self, name, dtype=np.int64, shape=(count,))
        for name in ("depth_mm", "half_mm"):
            frozen_array(self, name, dtype=np.float64, shape=(count,))

    def select(self, mask: object) -> CutTrace:
        """Return the pieces of a mask or of indices (P,)."""
        rows = np.arange(len(self.pieces))[np.asarray(mask)]
        names = ("face", "tool", "cut", "stroke", "depth_mm", "half_mm")
        columns = {n: getattr(self, n)[rows] for n in names}
        return CutTrace(pieces=self.pieces.select(rows), **columns)


def cut_virtually(
    motion: ToolMotion,
    tools: Mapping[int, Tool],
    *,
    thickness_mm: float,
    bottom_z_mm: float = 0.0,
    head_error_mm: Mapping[int, Pair] | None = None,
    c_error_rad: Mapping[int, float] | None = None,
    blade_bend_mm: Mapping[int, float] | None = None,
    eccentric_mm: Mapping[int, Pair] | None = None,
    repeat_sd_mm: float = 0.0,
    slip: tuple[int, float, float] | None = None,
    chord_tolerance_mm: float = 1e-4,
    seed: int = 0,
) -> CutTrace:
    """Follow a motion with its tools and keep what they cut.

    Parameters
    ----------
    motion : ToolMotion
        In the table frame, positions of the tool's axis: head offsets are not in the numbers.
    tools : mapping of int to Tool
        Tool of each station that works.
    thickness_mm, bottom_z_mm : float
        The stock, and its bottom face over the bed [mm].
    head_error_mm : mapping of int to tuple of float, optional
        By station: how far the head truly is from where the job believes it, x and y [mm].
    c_error_rad : mapping of int to float, optional
        By station: error of the blade's zero direction, counter-clockwise [rad].
    blade_bend_mm : mapping of int to float, optional
        By station: how far the blade is bent to its left at the bottom face; the bend grows
        evenly from the top face down [mm].
    eccentric_mm : mapping of int to tuple of float, optional
        By station: shift of the blade in its own frame, ahead and to the left; turns with C. A
        cutter that runs out by as much sweeps wider [mm].
    repeat_sd_mm : float
        Standard deviation of the place of each stroke, per axis [mm].
    slip : tuple, optional
        From which cut on the sheet lies elsewhere than before, and by how much in x and y; cuts
        are then given as they lie on the sheet [1, mm, mm].
    chord_tolerance_mm : float
        Greatest distance of a trace from the curve the tool runs along [mm].
    seed : int
        Draws the place of each stroke.

    Returns
    -------
    CutTrace
        Pieces at the bottom, at the top, and at the tip of strokes that end inside the stock.

    Raises
    ------
    ModelError
        If the motion stands in another frame or holds head offsets, the stock has no thickness,
        or an error is not finite.
    UnknownNameError
        If a station works whose tool was not given.
    """
    require(0.0 < thickness_mm < 1e4, f"thickness_mm is {thickness_mm}, must be above 0")
    require(chord_tolerance_mm > 0.0, f"chord_tolerance_mm is {chord_tolerance_mm}, must be > 0")
    if motion.frame != "table" or motion.offsets_in != "control":
        msg = f"the motion stands in the {motion.frame} frame, offsets in the {motion.offsets_in}"
        raise ModelError(f"{msg}; take the offsets out of the numbers first")
    top = bottom_z_mm + thickness_mm
    errors = Errors(
        head=_finite("head_error_mm", head_error_mm),
        turn=_finite("c_error_rad", c_error_rad),
        bend=_finite("blade_bend_mm", blade_bend_mm),
        eccentric=_finite("eccentric_mm", eccentric_mm),
        repeat=repeat_sd_mm,
        slip=slip,
    )
    at_most("cut", "repeat_sd_mm", repeat_sd_mm, 10.0)
    faces = (bottom_z_mm, top)
    found: list[Piece] = []
    samples = sample_blocks(motion, faces, chord_tolerance_mm, _reach(tools))
    rng = np.random.default_rng(seed)
    for number, stroke in enumerate(split_strokes(samples, top)):
        if stroke.tool not in tools:
            known = ", ".join(map(str, sorted(tools))) or "none"
            raise UnknownNameError(f"station {stroke.tool} cuts; tools were given for {known}")
        follower = Follower(tools[stroke.tool], errors, stroke, faces, rng.normal(size=2))
        found += follower.pieces(number)
    return _trace(found)


def _finite(name: str, given: Mapping[int, object] | None) -> dict[int, F64]:
    """Return numbers per station as arrays; refuse what is not finite."""
    numbers = {k: np.atleast_1d(np.asarray(v, dtype=np.float64)) for k, v in (given or {}).items()}
    for tool, value in numbers.items():
        require(np.isfinite(value).all(), f"{name} of station {tool} is {value}; must be finite")
    return numbers


def _reach(tools: Mapping[int, Tool]) -> float:
    """Return how far from its axis any tool can be [mm]."""
    return max((_size(tool) for tool in tools.values()), default=1.0)


def _size(tool: Tool) -> float:
    if isinstance(tool, Blade):
        return abs(tool.reference_mm) + tool.width_mm
    if isinstance(tool, Cutter):
        return tool.radius_mm
    return abs(tool.reference_mm) + 1.0 if isinstance(tool, Wheel) else 1.0


def _trace(found: list[Piece]) -> CutTrace:
    points = np.concatenate([p.points for p in found]) if found else np.zeros((0, 2))
    pieces = PathSet(
        points=points,
        bulges=np.zeros(len(points)),
        starts=np.cumsum([0, *(len(p.points) for p in found)]),
        closed=np.zeros(len(found), bool),
    )
    return CutTrace(
        pieces=pieces,
        face=np.array([p.face for p in found], dtype=np.int64),
        tool=np.array([p.stroke.tool for p in found], dtype=np.int64),
        cut=np.array([p.stroke.cut for p in found], dtype=np.int64),
        stroke=np.array([p.number for p in found], dtype=np.int64),
        depth_mm=np.array([p.depth for p in found], dtype=np.float64),
        half_mm=np.array([p.half for p in found], dtype=np.float64),
    )
