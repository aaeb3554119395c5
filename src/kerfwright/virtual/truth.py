"""How one printed sheet really lies; the job never sees it, only pictures of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi

import numpy as np
from numpy.typing import ArrayLike

from kerfwright.errors import ModelError
from kerfwright.geometry._checks import points_of
from kerfwright.geometry.record import F64, Record, frozen_array, require
from kerfwright.virtual.printing import (
    Box,
    Curl,
    Printer,
    Throw,
    page_from_sheet,
    page_size,
    stock_from_page,
)
from kerfwright.virtual.scene import Blemishes, Optics, Patch, Surface

FIRST_HARMONIC, LAST_HARMONIC = 2, 24
_DOTS, _RAG, _DIRT = range(3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Truth(Record):
    """One sheet, printed and thrown. Made by `print_and_throw`; never hand it to a stage.

    Parameters
    ----------
    marks_xy_mm : ndarray of shape (N, 2), float
        Nominal centres, sheet frame [mm].
    diameter_mm : float
        Nominal diameter [mm].
    sheet_box_mm : tuple of float
        x0, y0, x1, y1 of the nominal sheet [mm].
    printer, throw, curl, blemishes, surface, optics, patches, seed
        As given.
    marks_table_mm : ndarray of shape (N, 2), float
        True centres, placement of each dot included, whether printed or missing [mm].
    dot_shift_mm : ndarray of shape (N, 2), float
        Placement error of each dot, on the stock [mm].
    rag_mm : ndarray of shape (N, 23, 2), float
        Cosine and sine parts of each dot's outline, harmonics 2 to 24 [mm].
    dirt : ndarray of shape (D, 4), float
        Specks on the stock: x, y, radius, reflectance [mm, 1].
    """

    marks_xy_mm: F64
    diameter_mm: float
    sheet_box_mm: Box
    printer: Printer = field(default_factory=Printer)
    throw: Throw = field(default_factory=Throw)
    curl: Curl | None = None
    blemishes: Blemishes = field(default_factory=Blemishes)
    surface: Surface = field(default_factory=Surface)
    optics: Optics = field(default_factory=Optics)
    patches: tuple[Patch, ...] = ()
    seed: int = 0
    marks_table_mm: F64
    dot_shift_mm: F64
    rag_mm: F64
    dirt: F64

    def __post_init__(self) -> None:
        frozen_array(self, "marks_xy_mm", dtype=np.float64, shape=(None, 2))
        n = len(self.marks_xy_mm)
        for name in ("marks_table_mm", "dot_shift_mm"):
            frozen_array(self, name, dtype=np.float64, shape=(n, 2))
        harmonics = LAST_HARMONIC - FIRST_HARMONIC + 1
        frozen_array(self, "rag_mm", dtype=np.float64, shape=(n, harmonics, 2))
        frozen_array(self, "dirt", dtype=np.float64, shape=(None, 4))

    @property
    def stock_size_mm(self) -> tuple[float, float]:
        """Width and height of the stock [mm]."""
        return page_size(self.sheet_box_mm, self.printer)

    def stock_from_sheet(self, xy_mm: ArrayLike) -> F64:
        """Return where N points of the nominal sheet were printed on the stock [mm]."""
        similarity = page_from_sheet(self.sheet_box_mm, self.printer)
        page = points_of(xy_mm) @ similarity[:, :2].T + similarity[:, 2]
        return stock_from_page(page, self.printer, self.stock_size_mm)

    def table_from_sheet(self, xy_mm: ArrayLike) -> F64:
        """Return where N points of the nominal sheet truly lie, shape (N, 2) [mm].

        Raises
        ------
        GeometryError
            If `xy_mm` is not of shape (N, 2) or (2,), or a number is not finite.
        """
        return self.throw.table_from_stock(self.stock_from_sheet(xy_mm))

    def stock_outline_table_mm(self) -> F64:
        """Return the corners of the stock, counter-clockwise from its lower left, (4, 2) [mm]."""
        w, h = self.stock_size_mm
        return self.throw.table_from_stock(np.array(((0.0, 0.0), (w, 0.0), (w, h), (0.0, h))))


def print_and_throw(
    marks_xy_mm: ArrayLike,
    diameter_mm: float,
    *,
    sheet_box_mm: Box,
    printer: Printer | None = None,
    throw: Throw | None = None,
    curl: Curl | None = None,
    blemishes: Blemishes | None = None,
    surface: Surface | None = None,
    optics: Optics | None = None,
    patches: tuple[Patch, ...] = (),
    seed: int = 0,
) -> Truth:
    """Print a sheet with its marks and throw it on the table.

    Parameters
    ----------
    marks_xy_mm : array_like of shape (N, 2)
        Nominal centres of the marks, sheet frame [mm].
    diameter_mm : float
        Their diameter [mm].
    sheet_box_mm : tuple of float
        x0, y0, x1, y1 of the nominal sheet [mm].
    printer, throw, curl, blemishes, surface, optics
        What happens to it and what looks at it; by default a true printer, the origin, flat,
        spotless, white board and a usual camera.
    patches : tuple of Patch
        Printed pictures; inks of several multiply, marks lie over all.
    seed : int
        Draws dot placement, ragged edges, dirt, and later the noise of the pictures.

    Returns
    -------
    Truth
        The sheet as it really lies.

    Raises
    ------
    ModelError
        If the diameter or the sheet is empty, or a blemish names a mark that is not there.
    """
    marks = points_of(marks_xy_mm) if np.size(marks_xy_mm) else np.zeros((0, 2))
    x0, y0, x1, y1 = sheet_box_mm
    require(x0 < x1 and y0 < y1, f"sheet_box_mm {sheet_box_mm} is empty")
    require(0.0 < diameter_mm < 1e3, f"diameter_mm is {diameter_mm}, must be above 0")
    require(seed >= 0, f"seed is {seed}, must be 0 or more")
    printer, throw = printer or Printer(), throw or Throw()
    blemishes = blemishes or Blemishes()
    _check_names(blemishes, len(marks))
    size = page_size(sheet_box_mm, printer)
    similarity = page_from_sheet(sheet_box_mm, printer)
    page = marks @ similarity[:, :2].T + similarity[:, 2]
    shift = _rng(seed, _DOTS).normal(size=marks.shape) * printer.dot_sd_mm
    stock = stock_from_page(page, printer, size) + shift
    return Truth(
        marks_xy_mm=marks,
        diameter_mm=diameter_mm,
        sheet_box_mm=sheet_box_mm,
        printer=printer,
        throw=throw,
        curl=curl,
        blemishes=blemishes,
        surface=surface or Surface(),
        optics=optics or Optics(),
        patches=patches,
        seed=seed,
        marks_table_mm=throw.table_from_stock(stock),
        dot_shift_mm=shift,
        rag_mm=_rags(len(marks), printer.edge_rag_mm, _rng(seed, _RAG)),
        dirt=_dirt(blemishes.dirt_count, stock, diameter_mm, size, _rng(seed, _DIRT)),
    )


def _rng(seed: int, stream: int) -> np.random.Generator:
    return np.random.default_rng((seed, stream))


def _check_names(blemishes: Blemishes, count: int) -> None:
    named = (*blemishes.missing, *blemishes.covered[:, 0], *blemishes.half_cut[:, 0])
    wrong = [i for i in named if not 0 <= i < count]
    if wrong:
        raise ModelError(f"blemishes name mark {int(wrong[0])}; the sheet has {count}")


def _rags(count: int, rms_mm: float, rng: np.random.Generator) -> F64:
    """Draw outlines of even power and random phase whose root mean square is `rms_mm`."""
    harmonics = LAST_HARMONIC - FIRST_HARMONIC + 1
    phase = rng.uniform(0.0, 2.0 * pi, size=(count, harmonics))
    amplitude = rms_mm * np.sqrt(2.0 / harmonics)
    rags: F64 = amplitude * np.stack((np.cos(phase), np.sin(phase)), axis=-1)
    return rags


def _dirt(
    count: int, marks: F64, diameter: float, size: tuple[float, float], rng: np.random.Generator
) -> F64:
    """Draw specks of 0.05 to 0.6 mm radius, dark and bright."""
    xy = rng.uniform(size=(count, 2)) * size
    if len(marks):
        near = np.arange(count) % 2 == 0
        away = rng.uniform(0.0, 3.0 * diameter, size=count)
        angle = rng.uniform(0.0, 2.0 * pi, size=count)
        ring = away[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))
        xy = np.where(near[:, None], marks[rng.integers(len(marks), size=count)] + ring, xy)
    radius = np.clip(rng.lognormal(np.log(0.15), 0.6, size=count), 0.05, 0.6)
    return np.column_stack((xy, radius, rng.uniform(0.05, 0.95, size=count)))
