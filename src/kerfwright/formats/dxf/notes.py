"""What reading has to say, gathered by theme, so that a thousand texts are one finding.

A note is plain data that survives JSON: code, numbers, params. `drawing` makes findings of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from kerfwright.formats.notes import listed

CODE_OF_THEME: Final = {
    "text": "DXF-110",
    "note": "DXF-111",
    "fill": "DXF-112",
    "body": "DXF-113",
    "other": "DXF-114",
}


@dataclass(slots=True)
class Notes:
    """Counts by theme while a file is read."""

    left_out: dict[str, Counter[str]] = field(default_factory=dict)
    hidden: Counter[str] = field(default_factory=Counter)
    points_only: int = 0
    invisible: int = 0
    unusable: Counter[str] = field(default_factory=Counter)
    missing_blocks: Counter[str] = field(default_factory=Counter)
    outside_files: Counter[str] = field(default_factory=Counter)
    from_fit_points: int = 0
    ready: list[dict[str, object]] = field(default_factory=list)

    def leave_out(self, theme: str, kind: str, count: int = 1) -> None:
        """Count an entity that is no line."""
        self.left_out.setdefault(theme, Counter())[kind] += count

    def add(
        self,
        code: str,
        *,
        measured: float | None = None,
        limit: float | None = None,
        unit: str = "",
        xy_mm: tuple[float, float] | None = None,
        params: Mapping[str, str | float | int] | None = None,
    ) -> None:
        """Add a note that stands for itself."""
        self.ready.append(
            {
                "code": code,
                "measured": measured,
                "limit": limit,
                "unit": unit,
                "xy_mm": xy_mm,
                "params": dict(params or {}),
            }
        )

    def finish(self) -> list[dict[str, object]]:
        """Return all notes, the gathered ones first."""
        single, self.ready = self.ready, []
        for theme, code in CODE_OF_THEME.items():
            self._gathered(code, self.left_out.get(theme, Counter()))
        self._gathered("DXF-120", self.hidden)
        self._counted("DXF-122", self.points_only)
        self._counted("DXF-123", self.invisible)
        self._gathered("DXF-130", self.unusable)
        self._counted("DXF-133", self.from_fit_points)
        self._gathered("DXF-135", self.missing_blocks)
        self._gathered("DXF-136", self.outside_files)
        self.ready += single
        return self.ready

    def _gathered(self, code: str, names: Counter[str]) -> None:
        if total := sum(names.values()):
            self.add(code, params={"count": total, "names": listed(names)})

    def _counted(self, code: str, count: int) -> None:
        if count:
            self.add(code, params={"count": count})
