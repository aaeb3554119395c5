"""What a printer does to a page, and how the printed sheet is thrown on the table.

Three frames follow one another. *sheet*: the nominal print. *page*: the print as the printer
takes it, scaled, mirrored and turned by quarters about the middle of the sheet's box, lower left
at 0. *stock*: the printed piece, lower left at 0; printed things lie in it as the printer put
them, its own edge is exact. The throw takes the stock to the table.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi
from typing import Literal

import numpy as np

from kerfwright.errors import ModelError
from kerfwright.geometry.record import F64, Record, frozen_array, require

Box = tuple[float, float, float, float]
Corner = Literal["lower left", "lower right", "upper right", "upper left"]

CORNERS: tuple[Corner, ...] = ("lower left", "lower right", "upper right", "upper left")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Printer(Record):
    """How a printer departs from the page it was given.

    The feed runs along the page's y. All terms add up, each a function of the place on the page:
    ``x' = (1 + growth_x) x + tan(skew) y - bow (x - W/2) (y - H/2) + steps + wrinkle`` and
    ``y' = (1 + growth_y) y + bow (x - W/2)^2 / 2 + steps + wrinkle`` on a page of W x H.

    Parameters
    ----------
    growth_x, growth_y : float
        Growth across and along the feed, as a share [1].
    skew_rad : float
        Lean of printed columns towards +x [rad].
    bow_per_mm : float
        Curvature of printed rows, about the middle of the page [1/mm].
    steps : ndarray of shape (S, 3), float
        Feed steps: place y on the page, jump in x and in y of all that lies beyond [mm].
    blend_mm : float
        Width over which a step is blended by a cubic, centred on its place [mm].
    wrinkle : ndarray of shape (4,) or None
        Place x, y on the page, shift along the feed there, width over which it decays as a
        Gaussian of sd = width / 4 [mm].
    scale : float
        Size of the print as a share of what was asked for, 0.97 where a driver "fits to page" [1].
    mirrored : bool
        Whether left and right are exchanged.
    turned_quarters : int
        Quarter turns of the page, counter-clockwise.
    edge_rag_mm : float
        Root mean square of the ragged edge of a dot, in harmonics 2 to 24 of its outline [mm].
    dot_sd_mm : float
        Standard deviation of the place of each dot, per axis [mm].
    """

    growth_x: float = 0.0
    growth_y: float = 0.0
    skew_rad: float = 0.0
    bow_per_mm: float = 0.0
    steps: F64 = field(default_factory=lambda: np.zeros((0, 3)))
    blend_mm: float = 1.0
    wrinkle: F64 | None = None
    scale: float = 1.0
    mirrored: bool = False
    turned_quarters: int = 0
    edge_rag_mm: float = 0.006
    dot_sd_mm: float = 0.0

    def __post_init__(self) -> None:
        steps = self.steps if len(self.steps) else np.zeros((0, 3))
        object.__setattr__(self, "steps", steps)
        frozen_array(self, "steps", dtype=np.float64, shape=(None, 3))
        for name in ("growth_x", "growth_y"):
            at_most("Printer", name, abs(getattr(self, name)), 0.1)
        at_most("Printer", "skew_rad", abs(self.skew_rad), 0.1)
        at_most("Printer", "bow_per_mm", abs(self.bow_per_mm), 1e-4)
        at_most("Printer", "edge_rag_mm", self.edge_rag_mm, 0.5)
        at_most("Printer", "dot_sd_mm", self.dot_sd_mm, 1.0)
        require(0.1 <= self.scale <= 10.0, f"Printer.scale is {self.scale}, must be 0.1 to 10")
        require(self.blend_mm > 0.0, f"Printer.blend_mm is {self.blend_mm}, must be above 0")
        self._check_steps()
        if self.wrinkle is not None:
            self._check_wrinkle()

    def _check_steps(self) -> None:
        """Refuse steps that would fold the map: a cubic blend is 1.5 times as steep as its mean."""
        for y, dx, dy in self.steps:
            size = max(abs(dx), abs(dy))
            if not size <= self.blend_mm / 2.0:
                msg = f"a feed step of {size} mm at y = {y} would fold within {self.blend_mm} mm"
                raise ModelError(f"Printer.steps: {msg}; widen blend_mm to {2.0 * size} mm")
        gaps = np.diff(np.sort(self.steps[:, 0]))
        apart = f"Printer.steps must lie {self.blend_mm} mm apart or more"
        require((gaps >= self.blend_mm).all(), apart)

    def _check_wrinkle(self) -> None:
        frozen_array(self, "wrinkle", dtype=np.float64, shape=(4,))
        _, _, size, width = np.asarray(self.wrinkle).tolist()
        steep = f"Printer.wrinkle shifts {size} mm over {width} mm, at most a fifth may be"
        require(width > 0.0 and abs(size) <= width / 5.0, steep)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Throw(Record):
    """How the stock lies on the table.

    Parameters
    ----------
    x_mm, y_mm : float
        Lower left corner of the stock, table frame [mm].
    turn_rad : float
        Turn about that corner [rad].
    """

    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_rad: float = 0.0

    def __post_init__(self) -> None:
        for name in ("x_mm", "y_mm"):
            at_most("Throw", name, abs(getattr(self, name)), 1e5)
        at_most("Throw", "turn_rad", abs(self.turn_rad), 2.0 * pi)

    def turning(self) -> F64:
        """Return the turn as a matrix, shape (2, 2)."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        return np.array(((c, -s), (s, c)))

    def table_from_stock(self, xy_mm: F64) -> F64:
        """Return points of the stock on the table, shape (N, 2) [mm]."""
        lying: F64 = xy_mm @ self.turning().T + (self.x_mm, self.y_mm)
        return lying


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curl(Record):
    """A corner of the stock that stands up; the camera then sees it displaced.

    Parameters
    ----------
    height_mm : float
        Height of the corner itself over the flat sheet [mm].
    corner : {'lower left', 'lower right', 'upper right', 'upper left'}
        Which corner, of the stock.
    reach_mm : float
        Distance from the corner at which the sheet lies flat; it rises as the square [mm].
    """

    height_mm: float
    corner: Corner
    reach_mm: float = 300.0

    def __post_init__(self) -> None:
        known = f"Curl.corner is {self.corner!r}, must be one of {', '.join(CORNERS)}"
        require(self.corner in CORNERS, known)
        require(self.reach_mm > 0.0, f"Curl.reach_mm is {self.reach_mm}, must be above 0")
        at_most("Curl", "height_mm", self.height_mm, self.reach_mm / 2.0)

    def place(self, size_mm: tuple[float, float]) -> tuple[float, float]:
        """Return the corner of a stock of the given width and height [mm]."""
        i = CORNERS.index(self.corner)
        return size_mm[0] * float(i in (1, 2)), size_mm[1] * float(i >= 2)

    def heights(self, xy_mm: F64, size_mm: tuple[float, float]) -> F64:
        """Return the height over the flat sheet at N places of the stock, shape (N,) [mm]."""
        away = np.hypot(*(xy_mm - self.place(size_mm)).T)
        return np.asarray(self.height_mm * np.clip(1.0 - away / self.reach_mm, 0.0, 1.0) ** 2)


def page_size(box_mm: Box, printer: Printer) -> tuple[float, float]:
    """Return width and height of the page, and so of the stock [mm]."""
    w, h = box_mm[2] - box_mm[0], box_mm[3] - box_mm[1]
    return (h, w) if printer.turned_quarters % 2 else (w, h)


def page_from_sheet(box_mm: Box, printer: Printer) -> F64:
    """Return the similarity from the sheet to the page, shape (2, 3)."""
    middle = np.array((box_mm[0] + box_mm[2], box_mm[1] + box_mm[3])) / 2.0
    turn = np.linalg.matrix_power(np.array(((0, -1), (1, 0))), printer.turned_quarters % 4)
    linear = printer.scale * turn @ np.diag((-1.0 if printer.mirrored else 1.0, 1.0))
    shift = np.array(page_size(box_mm, printer)) / 2.0 - linear @ middle
    return np.column_stack((linear, shift))


def stock_from_page(xy_mm: F64, printer: Printer, size_mm: tuple[float, float]) -> F64:
    """Return where the printer puts N points of the page, shape (N, 2) [mm]."""
    x, y = xy_mm.T
    u, v = x - size_mm[0] / 2.0, y - size_mm[1] / 2.0
    out = np.column_stack(
        (
            (1.0 + printer.growth_x) * x
            + np.tan(printer.skew_rad) * y
            - printer.bow_per_mm * u * v,
            (1.0 + printer.growth_y) * y + printer.bow_per_mm * u * u / 2.0,
        )
    )
    for place, dx, dy in printer.steps:
        t = np.clip((y - place) / printer.blend_mm + 0.5, 0.0, 1.0)
        out += (t * t * (3.0 - 2.0 * t))[:, None] * (dx, dy)
    if printer.wrinkle is not None:
        px, py, size, width = printer.wrinkle
        out[:, 1] += size * np.exp(-((x - px) ** 2 + (y - py) ** 2) * 8.0 / width**2)
    return out


def at_most(record: str, name: str, value: float, limit: float) -> None:
    """Refuse a number of a record that is not from 0 to a limit; NaN is refused too."""
    require(0.0 <= value <= limit, f"{record}.{name} is {value}, its size must be 0 to {limit:g}")
