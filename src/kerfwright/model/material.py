"""Materials and setting cards: what is cut, and how it was cut well before."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kerfwright.errors import UnknownNameError
from kerfwright.geometry.record import Record, require
from kerfwright.model._checks import require_finite
from kerfwright.model.operation import HeadKind, Process


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A figure with its spread and where it comes from.

    Parameters
    ----------
    low, high : float
        Range in which the figure lies, in `unit`.
    unit : str
        Unit.
    source : str
        Published source, or ``common practice, no source``.
    date : str
        Day it was written down, ISO 8601.
    """

    low: float
    high: float
    unit: str
    source: str
    date: str

    def __post_init__(self) -> None:
        require_finite(self)
        require(self.low <= self.high, f"range {self.low} to {self.high} {self.unit} is empty")
        require(self.source, "a range needs its source, or the words that there is none")


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A value of a setting card and the range it was chosen from.

    Parameters
    ----------
    value : float
        Value used, in the range's unit.
    range : Range
        Where it may lie.
    """

    value: float
    range: Range

    def __post_init__(self) -> None:
        require_finite(self)
        require(
            self.range.low <= self.value <= self.range.high,
            f"{self.value} {self.range.unit} is outside {self.range.low} to {self.range.high}",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Material(Record):
    """One material of the shop's book.

    Parameters
    ----------
    id, name : str
        Name in the book and for people.
    kind : str
        Trade word: pvc_foam, foam_board, film_on_liner, corrugated.
    thickness_mm : Range
        Thickness as delivered [mm].
    ranges : mapping of str to Range
        Other figures by name; ``curl_mm`` is how far a corner or freed part may rise.
    """

    id: str
    name: str
    kind: str
    thickness_mm: Range
    ranges: Mapping[str, Range]

    def __post_init__(self) -> None:
        low = self.thickness_mm.low
        require(low > 0.0, f"material {self.id}: thickness from {low} mm, must be above 0")

    def figure(self, name: str) -> Range:
        """Return a figure by name.

        Raises
        ------
        UnknownNameError
            If the material has none of that name.
        """
        try:
            return self.ranges[name]
        except KeyError:
            msg = f"material {self.id} has no figure {name}; add it to the material book"
            raise UnknownNameError(msg) from None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SettingCard(Record):
    """How one process is done in one material with one tool.

    Parameters
    ----------
    id : str
        Name in the book.
    material_id : str
        Material.
    thickness_mm : Range
        Thicknesses it holds for [mm].
    process : Process
        Process.
    head_kind : HeadKind
        Head.
    tool_id : str
        Tool.
    values : mapping of str to Setting
        ``feed_mm_s``, ``feed_fine_mm_s``, ``feed_fast_mm_s``, ``plunge_mm_s``,
        ``lift_angle_rad``, ``mat_mm`` (how far the tip goes into the mat on a through cut),
        ``lift_mm`` (height over the top face when it lifts inside a contour),
        ``side_offset_mm``, ``stroke_hz`` where they apply; of a wheel ``lead_in_mm``,
        ``lead_out_mm`` and ``depth_share`` of the caliper; of a cutter ``spindle_hz``,
        ``chip_load_mm`` and ``max_step_mm``, the greatest depth per pass.
    proven_on, by : str
        Day it was proven, ISO 8601, and by whom; empty while it is only a starting value.
    """

    id: str
    material_id: str
    thickness_mm: Range
    process: Process
    head_kind: HeadKind
    tool_id: str
    values: Mapping[str, Setting]
    proven_on: str = ""
    by: str = ""

    def value(self, name: str) -> float:
        """Return a value by name.

        Raises
        ------
        UnknownNameError
            If the card has none of that name.
        """
        try:
            return self.values[name].value
        except KeyError:
            msg = f"setting card {self.id} has no value {name}; add it to the card"
            raise UnknownNameError(msg) from None
