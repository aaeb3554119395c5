"""Curves that are no arcs: gathered, fitted together by geometry, handed back one by one.

Copies of a block that differ only by a shift share one fit: every curve is fitted about an origin
of its own. The fitting is loaded when a drawing has a curve, since most have none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from kerfwright.errors import GeometryError, OutOfResourcesError
from kerfwright.formats.dxf.notes import Notes
from kerfwright.formats.dxf.shapes import F64, Spline
from kerfwright.formats.dxf.splines import NO_LENGTH_MM, tidy_spans

if TYPE_CHECKING:
    from kerfwright.geometry.curves import Curve
    from kerfwright.geometry.fit import FittedPath

_ROUND_MM: Final = 1e-9  # copies whose shapes differ by less share one fit
_CLOSED: Final = 1e-6  # ends of a closed spline meet within this share of its size


@dataclass(frozen=True, slots=True)
class Fitted:
    """Vertices and bulges of one fitted curve; a closed one does not repeat its first vertex."""

    points: F64
    bulges: F64
    closed: bool


@dataclass(slots=True)
class Fitter:
    """Collects curves (`ellipse`, `spline`), fits them (`run`), gives them back (`get`)."""

    tolerance_mm: float
    most_points: int
    file: str
    number: dict[bytes, int] = field(default_factory=dict)
    curves: list[Curve | str] = field(default_factory=list)
    asked: int = 0
    worst_mm: float = 0.0
    done: list[Fitted | str] = field(default_factory=list)

    def ellipse(self, u: F64, v: F64, start: float, sweep: float, *, closed: bool) -> int:
        """Ask for ``u cos t + v sin t`` from one parameter on; return a ticket."""

        def evaluate(t: F64) -> tuple[F64, F64]:
            cos, sin = np.cos(t)[:, None], np.sin(t)[:, None]
            return u * cos + v * sin, v * cos - u * sin

        def make() -> Curve:
            if sweep * max(np.abs(u).max(), np.abs(v).max()) < NO_LENGTH_MM:
                raise GeometryError("a piece of an ellipse without length")
            from kerfwright.geometry.curves import Curve

            breaks = np.array([start, start + sweep])
            return Curve(evaluate=evaluate, breaks=breaks, closed=closed)

        return self._ask(np.concatenate((u, v, (start, sweep))).tobytes(), make)

    def spline(self, s: Spline) -> int:
        """Ask for a spline about its first control point; return a ticket."""
        control = s.control[:, :2] - s.control[0, :2]

        def make() -> Curve:
            from kerfwright.geometry.curves import Curve, bspline_curve

            knotted = bspline_curve(control, s.knots, degree=s.degree, weights=s.weights)
            ends = knotted.evaluate(knotted.breaks[[0, -1]])[0]
            meet = np.ptp(ends, axis=0).max() <= _CLOSED * np.ptp(control, axis=0).max()
            evaluate, breaks = tidy_spans(knotted.evaluate, control, s.knots, s.degree)
            return Curve(evaluate=evaluate, breaks=breaks, closed=bool(s.closed and meet))

        about = bytes((s.degree, s.closed))
        rounded = np.round(control / _ROUND_MM).tobytes()
        return self._ask(about + rounded + s.knots.tobytes() + s.weights.tobytes(), make)

    def _ask(self, key: bytes, make: Callable[[], Curve]) -> int:
        self.asked += 1
        if key not in self.number:
            self.number[key] = len(self.curves)
            try:
                self.curves.append(make())
            except GeometryError as error:
                self.curves.append(error.message)
        return self.number[key]

    def run(self) -> None:
        """Fit all curves that were asked for; those that cannot be fitted keep the reason."""
        sound = [c for c in self.curves if not isinstance(c, str)]
        if not sound:
            self.done = [c for c in self.curves if isinstance(c, str)]
            return
        from kerfwright.geometry.fit import fit_curves

        limits = {"tolerance_mm": self.tolerance_mm, "max_arcs": self.most_points}
        try:
            fitted = iter(self._fit_all(fit_curves, sound, limits))
            self.done = [c if isinstance(c, str) else next(fitted) for c in self.curves]
        except OutOfResourcesError as error:
            msg = f"{self.file}: {error.message}; a larger tolerance needs fewer arcs"
            raise OutOfResourcesError(msg) from error

    def _fit_all(
        self, fit: Callable[..., FittedPath], curves: list[Curve], limits: dict[str, float]
    ) -> list[Fitted | str]:
        """Fit all curves together; one by one where one of them cannot be fitted."""
        try:
            return self._taken(fit(curves, **limits))
        except GeometryError:
            return [self._fit_one(fit, c, limits) for c in curves]

    def _fit_one(
        self, fit: Callable[..., FittedPath], curve: Curve, limits: dict[str, float]
    ) -> Fitted | str:
        try:
            return self._taken(fit([curve], **limits))[0]
        except GeometryError as error:
            return error.message

    def _taken(self, fitted: FittedPath) -> list[Fitted | str]:
        self.worst_mm = max(self.worst_mm, fitted.hausdorff_mm)
        p = fitted.paths
        spans = [slice(a, b) for a, b in zip(p.starts[:-1], p.starts[1:], strict=True)]
        return [
            Fitted(p.points[rows], p.bulges[rows], bool(closed))
            for rows, closed in zip(spans, p.closed, strict=True)
        ]

    def get(self, ticket: int) -> Fitted | None:
        """Return a fitted curve about its own origin, None if it could not be fitted."""
        found = self.done[ticket]
        return None if isinstance(found, str) else found

    def note(self, notes: Notes) -> None:
        """Say how many curves were fitted, how well, and which could not be."""
        failed = [reason for reason in self.done if isinstance(reason, str)]
        for reason in failed:
            notes.unusable[f"curve: {reason}"] += 1
        if self.asked > len(failed):
            notes.add(
                "DXF-105",
                measured=self.worst_mm,
                limit=self.tolerance_mm,
                unit="mm",
                params={"count": self.asked - len(failed)},
            )
