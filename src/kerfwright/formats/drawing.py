"""From the plain answer of a reader to the record the stages work on, with its findings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from kerfwright.errors import Finding, Place, UnreadableError
from kerfwright.errors.messages import entry_of
from kerfwright.formats.frame import Arrays
from kerfwright.formats.unit_question import is_usual_size
from kerfwright.geometry.containment import containment_forest
from kerfwright.geometry.paths import PathSet
from kerfwright.model.drawing import ArtRef, Drawing, Stroke, UnitCandidate
from kerfwright.units import DRAWING_UNITS_MM

_MOST_MM: Final = 1e5
_COMMONEST_FIRST: Final = ("mm", "in", "cm", "m", "ft", "um")
_FOUR_DIGITS: Final = 1000.0


def drawing_of(
    header: Mapping[str, Any], arrays: Arrays, *, file: str, tolerance_mm: float
) -> Drawing:
    """Return the drawing that a reader's answer describes.

    Parameters
    ----------
    header : mapping
        Units, sources, layers, colours, notes; of a page also separations, steps, the printed
        art, and the code to use when it has no line; of an SVG drawing also the millimetres in the
        unit it was read in, and the codes that ask and tell about units.
    arrays : dict of str to ndarray
        Vertices, bulges, starts, closed, width_mm.
    file : str
        Name of the file, for the findings.
    tolerance_mm : float
        Tolerance the curves were fitted with; also how far a contour may reach out of the one
        it lies in [mm].
    """
    paths = _paths_of(arrays, file)
    unit = str(header["unit"])
    unit_mm = header.get("unit_mm") or DRAWING_UNITS_MM[unit]
    candidates = _candidates(paths, unit_mm, header["unit_evidence"])
    page = header.get("page")
    findings = [_finding(note, file, page) for note in header["notes"]]
    if not len(paths):
        findings.insert(0, _make(header.get("empty_code", "DXF-150"), file, page=page))
    findings = _unit_findings(header, candidates, file) + findings
    nothing = ("",) * len(paths)
    return Drawing(
        paths=paths,
        ids=tuple(f"c{k + 1}" for k in range(len(paths))),
        source=tuple(header["source"]),
        layer=tuple(header["layer"]),
        separation=tuple(header.get("separation", nothing)),
        step=tuple(header.get("step", nothing)),
        stroke=tuple(
            Stroke(colour=colour, width_mm=float(width))
            for colour, width in zip(header["colour"], arrays["width_mm"], strict=True)
        ),
        parent=containment_forest(paths, tolerance_mm=tolerance_mm),
        art=_art_of(header.get("art")),
        unit=unit,
        unit_is_certain=bool(header["unit_is_certain"]),
        unit_candidates=() if header["unit_is_certain"] else candidates,
        fit_tolerance_mm=tolerance_mm,
        findings=tuple(findings),
    )


def _paths_of(arrays: Arrays, file: str) -> PathSet:
    try:
        return PathSet(**{name: arrays[name] for name in ("points", "bulges", "starts", "closed")})
    except (KeyError, ValueError) as error:
        msg = f"{file}: the reader gave no sound paths ({error}); save the file again"
        raise UnreadableError(msg) from error


def _art_of(art: Mapping[str, Any] | None) -> ArtRef | None:
    if art is None:
        return None
    x0, y0, x1, y1 = art["box_mm"]
    return ArtRef(sha256=str(art["sha256"]), page=int(art["page"]), box_mm=(x0, y0, x1, y1))


def _candidates(
    paths: PathSet, unit_mm: float, evidence: Mapping[str, str]
) -> tuple[UnitCandidate, ...]:
    """Return every unit in which the drawing can be read, those with evidence first."""
    if not len(paths):
        return ()
    x0, y0, x1, y1 = paths.box_mm()
    reach = max(map(abs, (x0, y0, x1, y1)))
    found = []
    for word, mm in DRAWING_UNITS_MM.items():
        factor = mm / unit_mm
        if reach * factor <= _MOST_MM:
            width, height = (x1 - x0) * factor, (y1 - y0) * factor
            said = evidence.get(word, "")
            found.append(UnitCandidate(unit=word, width_mm=width, height_mm=height, evidence=said))
    return tuple(sorted(found, key=_likelihood))


def _likelihood(candidate: UnitCandidate) -> tuple[bool, bool, int]:
    """Return a key that puts the likeliest unit first."""
    larger_mm = max(candidate.width_mm, candidate.height_mm)
    usual = is_usual_size(larger_mm, "mm")
    return not candidate.evidence, not usual, _COMMONEST_FIRST.index(candidate.unit)


def _unit_findings(
    header: Mapping[str, Any], candidates: tuple[UnitCandidate, ...], file: str
) -> list[Finding]:
    asks, tells = header.get("unit_codes", ("DXF-101", "DXF-102"))
    if header["unit_contradicted"]:
        params = {"said": header["unit_contradicted"], "taken": header["unit"]}
        return [_make(tells, file, params=params)]
    if header["unit_is_certain"] or not candidates:
        return []
    sizes = ", ".join(
        f"{_rounded(c.width_mm)} x {_rounded(c.height_mm)} mm if in {c.unit}" for c in candidates
    )
    params = {"doubt": header["unit_doubt"], "sizes": sizes, "taken": header["unit"]}
    return [_make(asks, file, params=params)]


def _rounded(mm: float) -> str:
    return f"{mm:.0f}" if mm >= _FOUR_DIGITS else f"{mm:.4g}"


def _finding(note: Mapping[str, Any], file: str, page: int | None) -> Finding:
    xy = note["xy_mm"]
    return _make(
        note["code"],
        file,
        page=page,
        measured=note["measured"],
        limit=note["limit"],
        unit=note["unit"],
        xy_mm=None if xy is None else (float(xy[0]), float(xy[1])),
        params=note["params"],
    )


def _make(
    code: str,
    file: str,
    *,
    page: int | None = None,
    measured: float | None = None,
    limit: float | None = None,
    unit: str = "",
    xy_mm: tuple[float, float] | None = None,
    params: Mapping[str, str | float | int] | None = None,
) -> Finding:
    return Finding(
        code=code,
        severity=entry_of(code).severity,
        where=Place(stage="formats", file=file, page=page, xy_mm=xy_mm),
        measured=measured,
        limit=limit,
        unit=unit,
        params=dict(params or {}),
    )
