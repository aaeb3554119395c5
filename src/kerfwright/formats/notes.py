"""What reading has to say, gathered by code, so that a thousand texts are one finding."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

_MOST_NAMES: Final = 8


@dataclass(slots=True)
class Notes:
    """Counts by code and name while a page is read, and notes that stand for themselves."""

    counts: dict[str, Counter[str]] = field(default_factory=dict)
    ready: list[dict[str, object]] = field(default_factory=list)

    def count(self, code: str, name: str, number: int = 1) -> None:
        """Count something under a code."""
        self.counts.setdefault(code, Counter())[name] += number

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
        """Return all notes in the order of their codes."""
        for code, names in self.counts.items():
            if total := sum(names.values()):
                self.add(code, params={"count": total, "names": listed(names)})
        self.counts = {}
        return sorted(self.ready, key=lambda note: str(note["code"]))


def listed(names: Counter[str]) -> str:
    """Return the commonest names with their counts, as text."""
    shown = ", ".join(f"{name} ({n})" for name, n in names.most_common(_MOST_NAMES))
    more = len(names) - _MOST_NAMES
    return f"{shown} and {more} more" if more > 0 else shown
