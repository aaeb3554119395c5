"""In which unit is a drawing? The file is asked, and not trusted.

Headers are wrong more often than right: programs write their default, and drawings are copied
between templates. A unit is taken as certain only if a person gave it, or the header names one,
says nothing that contradicts it, and the drawing then has a size a cutting table meets.
Otherwise every unit is a candidate, and somebody must choose.

The sizes a table meets, 2 mm to 20 m, are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Final

from kerfwright.errors import UsageError
from kerfwright.units import DRAWING_UNITS_MM

# Codes of $INSUNITS (DXF reference) that a drawing for cutting may be in.
UNIT_OF_CODE: Final = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 13: "um"}
OTHER_CODES: Final = {
    3: "miles", 7: "kilometres", 8: "microinches", 9: "mils", 10: "yards", 11: "angstroms",
    12: "nanometres", 14: "decimetres", 15: "decametres", 16: "hectometres", 17: "gigametres",
    18: "astronomical units", 19: "light years", 20: "parsecs", 21: "survey feet",
    22: "survey inches", 23: "survey yards", 24: "survey miles",
}  # fmt: skip
_IMPERIAL: Final = ("in", "ft")
_FEET_AND_INCHES: Final = (3, 4)  # $LUNITS: engineering and architectural show feet and inches
_LEAST_MM, _MOST_MM = 2.0, 20_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderUnits:
    """What the header says; None where it says nothing.

    Parameters
    ----------
    insunits, measurement, lunits : int or None
        $INSUNITS; $MEASUREMENT, 0 imperial, 1 metric; $LUNITS, how lengths are shown.
    """

    insunits: int | None = None
    measurement: int | None = None
    lunits: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitAnswer:
    """The unit a drawing is read in, and how sure that is.

    Parameters
    ----------
    unit : str
        Word of `DRAWING_UNITS_MM`.
    is_certain : bool
        Whether nobody needs to be asked.
    evidence : mapping of str to str
        What speaks for or against a unit, by unit.
    doubt : str
        Why it is not certain; empty when it is.
    contradicted : str
        Unit of the header if a person gave another one; empty otherwise.
    """

    unit: str
    is_certain: bool
    evidence: Mapping[str, str]
    doubt: str = ""
    contradicted: str = ""


def answer_units(
    header: HeaderUnits,
    *,
    size: float,
    reach: float,
    units: str | None,
    limit_mm: float,
    scale: float = 1.0,
) -> UnitAnswer:
    """Answer the unit question of one drawing.

    Parameters
    ----------
    header : HeaderUnits
        What the file says.
    size : float
        Larger of width and height, in drawing units.
    reach : float
        Largest absolute coordinate, in drawing units.
    units : str or None
        What a person says.
    limit_mm : float
        Largest coordinate that is read [mm].
    scale : float
        Factor by which the drawing is enlarged once it is read.

    Raises
    ------
    UsageError
        If `units` is no word of the table.
    """
    named = UNIT_OF_CODE.get(header.insunits or 0, "")
    evidence = {named: f"the header says {named}"} if named else {}
    if units is not None:
        check_units_word(units)
        other = named if named != units else ""
        return UnitAnswer(unit=units, is_certain=True, evidence=evidence, contradicted=other)
    doubt = _doubt(header, named, size * scale)
    best = named if named and is_usual_size(size * scale, named) else "mm"
    if doubt and reach * scale * DRAWING_UNITS_MM[best] > limit_mm:
        fits = [u for u, mm in DRAWING_UNITS_MM.items() if reach * scale * mm <= limit_mm]
        best = max(fits, key=DRAWING_UNITS_MM.__getitem__, default=best)
    return UnitAnswer(unit=best, is_certain=not doubt, evidence=evidence, doubt=doubt)


def check_units_word(units: str) -> None:
    """Refuse a word that is no unit of length for drawings."""
    if units not in DRAWING_UNITS_MM:
        msg = f"{units!r} is no unit of drawings; give one of {', '.join(DRAWING_UNITS_MM)}"
        raise UsageError(msg)


def _doubt(header: HeaderUnits, named: str, size: float) -> str:
    """Return why the header cannot be trusted, or nothing."""
    if header.insunits in OTHER_CODES:
        return f"the header says {OTHER_CODES[header.insunits]}"
    if not named:
        return "the header names no unit"
    imperial = named in _IMPERIAL
    if header.measurement is not None and (header.measurement == 0) != imperial:
        system = "imperial" if header.measurement == 0 else "metric"
        return f"the header says {named} and {system} at once"
    if header.lunits in _FEET_AND_INCHES and not imperial:
        return f"the header says {named} and shows feet and inches"
    if not is_usual_size(size, named):
        mm = size * DRAWING_UNITS_MM[named]
        return f"the header says {named}, which would make the drawing {mm:.6g} mm large"
    return ""


def is_usual_size(size: float, unit: str) -> bool:
    """Return whether a drawing of a size in a unit is one that a cutting table meets."""
    mm = size * DRAWING_UNITS_MM[unit]
    return isfinite(mm) and _LEAST_MM <= mm <= _MOST_MM
