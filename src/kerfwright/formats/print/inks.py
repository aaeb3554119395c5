"""Which colours are inks to be left out of the print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import pikepdf

from kerfwright.formats.print.names import name_text

_DEEPEST: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """A colour space as far as leaving out inks is concerned.

    Parameters
    ----------
    inks : tuple of str
        Colorants of a Separation or DeviceN space; empty for any other.
    name : str
        Name among the resources; "" when it has none.
    """

    inks: tuple[str, ...] = ()
    name: str = ""

    def dropped(self, tints: list[float], drop: frozenset[str]) -> str:
        """Return the ink for which paint of these tints is left out; "" when it is printed.

        Paint of several inks is left out when every ink that has a tint above 0 is to go; a
        colour that was not set has full tints.
        """
        if not self.inks:
            return ""
        full = tints if len(tints) == len(self.inks) else [1.0] * len(self.inks)
        seen = [
            ink for ink, tint in zip(self.inks, full, strict=True) if tint > 0.0 and ink != "None"
        ]
        return seen[0] if seen and all(ink in drop for ink in seen) else ""


def space_of(value: Any, depth: int = 0) -> Space:  # noqa: ANN401 - whatever a file holds there
    """Return the colorants of a colour space, through Indexed and Pattern to their base."""
    if depth > _DEEPEST or not isinstance(value, pikepdf.Array) or len(value) < 2:
        return Space()
    kind = name_text(value[0])
    if kind == "Separation":
        return Space(inks=(name_text(value[1]),))
    if kind == "DeviceN" and isinstance(value[1], pikepdf.Array):
        return Space(inks=tuple(name_text(ink) for ink in value[1]))
    if kind in {"Indexed", "Pattern"}:
        return space_of(value[1], depth + 1)
    return Space()


def without_inks(value: Any) -> Any:  # noqa: ANN401
    """Return a space of as many numbers that names no ink, for colours nothing is painted with.

    Printing software lists every ink the resources name; one that is left out must not be there.
    """
    device = {1: pikepdf.Name.DeviceGray, 3: pikepdf.Name.DeviceRGB, 4: pikepdf.Name.DeviceCMYK}
    return device.get(len(space_of(value).inks), value)
