"""What is done along a line: process, head, tool, depth, tolerance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite, require_word
from kerfwright.model.routing import Routing

_WORDS: Mapping[str, tuple[str, ...]] = {
    "side": ("on", "inside", "outside"),
    "depth_from": ("top", "bottom"),
    "fidelity": ("print", "size"),
    "quality": ("fine", "standard", "fast"),
}

_MOST_PASSES = 1000


class Process(StrEnum):
    """Processes; words of ISO 19593-1 in lower case where it has them, else the trade's."""

    CUTTING = "cutting"
    PARTIAL_CUTTING = "partial_cutting"
    CREASING = "creasing"
    DRAWING = "drawing"
    ROUTING = "routing"


class HeadKind(StrEnum):
    """What a head is."""

    CAMERA = "camera"
    TANGENTIAL_KNIFE = "tangential_knife"
    OSCILLATING_KNIFE = "oscillating_knife"
    CREASING_WHEEL = "creasing_wheel"
    PEN = "pen"
    ROUTER_SPINDLE = "router_spindle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What a contour may deviate by.

    Parameters
    ----------
    print_mm : float
        Greatest distance between the cut and the printed line [mm].
    size_mm : float
        Greatest distance between the cut and its drawn shape, moved as one piece [mm].
    """

    print_mm: float
    size_mm: float

    def __post_init__(self) -> None:
        require_finite(self)
        for name in ("print_mm", "size_mm"):
            value = getattr(self, name)
            require(value > 0.0, f"Tolerance.{name} is {value}, must be above 0")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Operation(Record):
    """What is done along lines.

    Parameters
    ----------
    id : str
        Name inside the job.
    process : Process
        cutting (through), partial_cutting (kiss from the top, score from the bed), creasing,
        drawing (a pen line) or routing (through, or down to a skin).
    head_kind : HeadKind
        Kind of head that does it.
    tool_id, card_id : str
        Tool and setting card by id.
    side : {'on', 'inside', 'outside'}
        Where the tool runs; knife, wheel and pen run on the line.
    depth_mm : float
        From the top: how deep the tip goes below the top face. From the bottom: height of the
        tip above the bottom face, negative below it, into the mat [mm].
    depth_from : {'top', 'bottom'}
        Face the depth counts from.
    passes : int
        Number of passes, 1 to 1000, each deeper by the same share.
    tolerance_mm : Tolerance
        To the print and in size [mm].
    fidelity : {'print', 'size'}
        Whether the line follows the print or keeps its size.
    quality : {'fine', 'standard', 'fast'}
        Which feed of the setting card is used.
    feed_mm_s : float or None
        Feed in the cut; None takes the setting card's [mm/s].
    routing : Routing or None
        What a routed operation says beyond this; None for all others.
    setup : int
        Set-up of the job it belongs to, counted from 1: sheets are laid once per set-up.

    Raises
    ------
    ModelError
        If a value is out of range, a partial cut from the bottom has no skin left, or routing
        comes without its own figures or they come with another process.
    """

    id: str
    process: Process
    head_kind: HeadKind
    tool_id: str
    card_id: str
    side: Literal["on", "inside", "outside"] = "on"
    depth_mm: float
    depth_from: Literal["top", "bottom"]
    passes: int = 1
    tolerance_mm: Tolerance
    fidelity: Literal["print", "size"] = "size"
    quality: Literal["fine", "standard", "fast"] = "standard"
    feed_mm_s: float | None = None
    routing: Routing | None = None
    setup: int = 1

    def __post_init__(self) -> None:
        require_finite(self)
        for name, words in _WORDS.items():
            require_word(f"operation {self.id}: {name}", getattr(self, name), words)
        require(
            1 <= self.passes <= _MOST_PASSES,
            f"operation {self.id} has {self.passes} passes, must be from 1 to {_MOST_PASSES}",
        )
        require(
            self.feed_mm_s is None or self.feed_mm_s > 0.0,
            f"operation {self.id} has feed {self.feed_mm_s} mm/s, must be above 0",
        )
        require(
            self.depth_from == "bottom" or self.depth_mm > 0.0,
            f"operation {self.id} goes {self.depth_mm} mm below the top, must be above 0",
        )
        skin_left = self.process is not Process.PARTIAL_CUTTING or self.depth_from == "top"
        require(
            skin_left or self.depth_mm > 0.0,
            f"operation {self.id} leaves a skin of {self.depth_mm} mm, must be above 0",
        )
        require(
            self.process is not Process.CUTTING or self.depth_from == "bottom",
            f"operation {self.id} cuts through with its depth from the {self.depth_from}, must "
            "count it from the bottom",
        )
        self._check_process()

    def _check_process(self) -> None:
        routes = self.process is Process.ROUTING
        require(
            routes == (self.routing is not None),
            f"operation {self.id}: the process {self.process.value} "
            + ("needs routing figures" if routes else "has no routing figures"),
        )
        presses = self.process in {Process.CREASING, Process.DRAWING}
        require(
            not presses or self.depth_from == "top",
            f"operation {self.id} counts its depth from the {self.depth_from}, must count it from "
            "the top, which is what it presses on",
        )
        require(self.setup >= 1, f"operation {self.id}: set-up {self.setup}, they begin with 1")

    @property
    def bounds_part(self) -> bool:
        """Whether what it goes all round is a piece of its own, freed at once or held by a skin."""
        routed = self.process is Process.ROUTING and self.depth_from == "bottom"
        return routed or self.process is Process.CUTTING

    @property
    def goes_through(self) -> bool:
        """Whether a piece is free once this has gone all round it: cut or routed to the bed."""
        return self.process is Process.CUTTING or (self.bounds_part and self.depth_mm <= 0.0)

    def tip_z_mm(self, thickness_mm: float) -> float:
        """Return the height of the tip above the sheet's bottom face at full depth [mm]."""
        return self.depth_mm if self.depth_from == "bottom" else thickness_mm - self.depth_mm
