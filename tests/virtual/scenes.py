"""Sheets, cameras and an independent centroid for the tests of this folder."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.virtual import Optics, Printer, Surface, Throw, print_and_throw

SHEET = (0.0, 0.0, 300.0, 200.0)
MARKS = np.array(
    [[20.0, 15.0], [150.0, 12.0], [280.0, 22.0], [18.0, 185.0], [170.0, 188.0], [283.0, 180.0],
     [90.0, 100.0]]
)  # fmt: skip
EVEN = Surface(white=0.8, ink=0.0, bed=0.8, grain=0.0)  # whole codes of 255 where gamma is 1
STILL = Optics(
    size_px=(160, 140), light_fall=0.0, noise=(0.0, 0.0), gamma=1.0, position_sd_mm=0.0
)  # fmt: skip
BENT = Printer(
    growth_x=0.0008,
    growth_y=-0.0003,
    skew_rad=0.0012,
    bow_per_mm=2e-6,
    steps=((60.0, 0.05, 0.08), (140.0, 0.0, -0.12)),
    wrinkle=(200.0, 90.0, 0.3, 80.0),
    edge_rag_mm=0.0,
)
TRUE = Printer(edge_rag_mm=0.0)
THROWN = Throw(x_mm=31.7, y_mm=-12.3, turn_rad=0.059)


def sheet(**changes):
    """Print the usual sheet, clean and even unless told otherwise."""
    usual = {"printer": TRUE, "throw": THROWN, "surface": EVEN, "optics": STILL}
    return print_and_throw(MARKS, 6.0, sheet_box_mm=SHEET, **(usual | changes))


def camera(**changes):
    """Return the usual still camera with changes."""
    return replace(STILL, **changes)


def light_of(image, optics):
    """Return linear light of a picture, full scale 1."""
    return (np.asarray(image, float) / 255.0) ** optics.gamma


def centroid_px(image, optics, surface):
    """Return the centre of darkness of a picture that shows one dot and nothing else, and area."""
    light = light_of(image, optics)
    rim = np.concatenate((light[0], light[-1], light[:, 0], light[:, -1]))
    white = np.median(rim)  # as coded, not as asked for
    dark = (white - light) / (white - surface.ink)
    rows, columns = np.indices(dark.shape)
    return np.array([(dark * columns).sum(), (dark * rows).sum()]) / dark.sum(), dark.sum()
