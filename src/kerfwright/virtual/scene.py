"""What spoils a picture and what takes it: blemishes, surface, camera, printed art."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.record import F64, Record, frozen_array, require
from kerfwright.virtual.printing import at_most

U8 = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blemishes(Record):
    """What is wrong with the marks and the light of one sheet.

    Parameters
    ----------
    missing : tuple of int
        Indices of marks that were not printed.
    covered : ndarray of shape (C, 3), float
        Index of a mark, share of its area under a strip of tape, direction the strip comes from
        in the sheet frame [1, 1, rad].
    half_cut : ndarray of shape (H, 3), float
        The same for marks of which a piece was cut off; the bed shows there.
    dirt_count : int
        Specks on the whole sheet; half of them fall within three diameters of a mark.
    glare : float
        Peak of a soft streak of glare in each picture, as a share of full scale [1].
    """

    missing: tuple[int, ...] = ()
    covered: F64 = field(default_factory=lambda: np.zeros((0, 3)))
    half_cut: F64 = field(default_factory=lambda: np.zeros((0, 3)))
    dirt_count: int = 0
    glare: float = 0.0

    def __post_init__(self) -> None:
        for name in ("covered", "half_cut"):
            given = getattr(self, name)
            object.__setattr__(self, name, given if len(given) else np.zeros((0, 3)))
            frozen_array(self, name, dtype=np.float64, shape=(None, 3))
            rows = getattr(self, name)
            share = (rows[:, 1] > 0.0) & (rows[:, 1] < 1.0)
            require(share.all(), f"Blemishes.{name}: a share must lie between 0 and 1")
            marks = rows[:, 0]
            whole = (marks == np.floor(marks)) & (marks >= 0.0)
            require(whole.all(), f"Blemishes.{name} names marks by whole numbers from 0")
        require(
            0 <= self.dirt_count <= 1_000_000,
            f"Blemishes.dirt_count is {self.dirt_count}, must be from 0 to 1000000",
        )
        at_most("Blemishes", "glare", self.glare, 4.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface(Record):
    """How much light things give back, and the grain of the bare stock.

    Parameters
    ----------
    white, ink, bed, tape : float
        Reflectance of bare stock, of a mark, of the bed and of a strip of tape [1].
    grain : float
        Standard deviation of the stock's reflectance, as a share of it [1].
    grain_mm : float
        Size of a grain [mm].
    stretch : float
        How many times longer than wide a grain is, along the page's x: brushed metal, flutes [1].
    """

    white: float = 0.85
    ink: float = 0.05
    bed: float = 0.25
    tape: float = 0.65
    grain: float = 0.01
    grain_mm: float = 0.3
    stretch: float = 1.0

    def __post_init__(self) -> None:
        for name in ("white", "ink", "bed", "tape"):
            at_most("Surface", name, getattr(self, name), 1.0)
        at_most("Surface", "grain", self.grain, 0.3)
        for name in ("grain_mm", "stretch"):
            value = getattr(self, name)
            require(0.0 < value < 1e4, f"Surface.{name} is {value}, must be above 0")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Optics(Record):
    """A camera on the gantry that looks straight down.

    Parameters
    ----------
    px_per_mm : float
        Scale at the sheet's face, in the middle of the picture [px/mm].
    size_px : tuple of int
        Width and height of the picture [px].
    working_distance_mm : float
        From the entrance pupil to the sheet's face [mm].
    blur_px : float
        Standard deviation of the Gaussian blur, before pixels gather the light [px].
    defocus_px : float
        Radius of the disc of confusion, before pixels gather the light [px].
    lens_k1 : float
        Share by which a point of the picture's corner lies too far out; grows with the square of
        the distance from the middle, negative for barrels [1].
    turn_rad : float
        Turn of the picture's x axis from the table's x axis; known to the job [rad].
    light_fall : float
        Share of light lost at the darkest corner, half of it by a slope, half by the lens [1].
    hot_spot : float
        Extra light at a spot off the middle, as a share [1].
    noise : tuple of float
        Shot noise at full scale and read noise, as shares of full scale [1].
    gamma : float
        Code = 255 * light^(1 / gamma).
    position_sd_mm : float
        Repeatability of the gantry, per axis [mm].
    offset_error_mm : tuple of float
        How far the optical axis truly is from where the job believes it, x and y [mm].
    """

    px_per_mm: float = 10.0
    size_px: tuple[int, int] = (1600, 1200)
    working_distance_mm: float = 200.0
    blur_px: float = 1.2
    defocus_px: float = 0.0
    lens_k1: float = 0.0
    turn_rad: float = 0.0
    light_fall: float = 0.2
    hot_spot: float = 0.0
    noise: tuple[float, float] = (0.012, 0.004)
    gamma: float = 2.2
    position_sd_mm: float = 0.01
    offset_error_mm: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        require(
            0.1 <= self.px_per_mm <= 1000.0,
            f"Optics.px_per_mm is {self.px_per_mm}, must be from 0.1 to 1000",
        )
        w, h = self.size_px
        pixels = f"Optics.size_px is {w} x {h}, must be 8 to 20000 each and 64 million at most"
        require(8 <= w <= 20000 and 8 <= h <= 20000 and w * h <= 64_000_000, pixels)
        for name in ("working_distance_mm", "gamma"):
            value = getattr(self, name)
            require(0.0 < value < 1e5, f"Optics.{name} is {value}, must be above 0")
        limits = {"blur_px": 20.0, "defocus_px": 20.0, "light_fall": 0.95, "hot_spot": 4.0}
        for name, limit in (limits | {"position_sd_mm": 10.0}).items():
            at_most("Optics", name, getattr(self, name), limit)
        at_most("Optics", "lens_k1", abs(self.lens_k1), 0.2)
        at_most("Optics", "turn_rad", abs(self.turn_rad), 7.0)
        for value in self.noise:
            at_most("Optics", "noise", value, 0.5)
        for value in self.offset_error_mm:
            at_most("Optics", "offset_error_mm", abs(value), 1000.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch(Record):
    """A grey picture printed on the sheet: art, or a QR symbol.

    Parameters
    ----------
    xy0_mm : tuple of float
        Lower left corner, sheet frame [mm].
    px_per_mm : float
        Its resolution [px/mm].
    grey : ndarray of shape (H, W), uint8
        Grey as shown on a screen (gamma 2.2), row 0 on top; 255 leaves the stock bare.
    """

    xy0_mm: tuple[float, float]
    px_per_mm: float
    grey: U8

    def __post_init__(self) -> None:
        frozen_array(self, "grey", dtype=np.uint8, shape=(None, None))
        require(self.grey.size > 0, "Patch.grey holds no pixel")
        require(0.0 < self.px_per_mm < 1e4, f"Patch.px_per_mm is {self.px_per_mm}, must be above 0")
        for value in self.xy0_mm:
            at_most("Patch", "xy0_mm", abs(value), 1e5)
