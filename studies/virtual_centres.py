"""Rendered dots against their true places, by an independent centroid; and growths fitted back.

Clean scenes with growths, mirror, turn, blur and defocus drawn at random. Each centroid
must lie within 0.002 px of the true map; growths fitted to the centroids of one sheet by least
squares must come back within 3e-6.
"""

from __future__ import annotations

import numpy as np

from kerfwright.virtual import Optics, Printer, Surface, Throw, photograph, print_and_throw

DEFAULT_SIZE = 300  # sheets of six marks
SMALL_SIZE = 8
MOST_PX, MOST_GROWTH = 2e-3, 3e-6
EVEN = Surface(white=0.8, ink=0.0, bed=0.8, grain=0.0)
BOX = (0.0, 0.0, 1000.0, 700.0)


def run(seed, size, progress):
    """Return the greatest and the root mean square error, and what failed."""
    failures, errors, growths = [], [], []
    for case in range(size):
        rng = np.random.default_rng((seed, case))
        truth = _draw(rng, case)
        off, places = _look(truth, rng)
        grown = _growths(truth, places)
        errors.append(off)
        growths.append(grown)
        if np.abs(off).max() > MOST_PX or np.abs(grown).max() > MOST_GROWTH:
            failures.append({"seed": seed, "case": case, "px": float(np.abs(off).max())})
        progress(case + 1, size)
    every = np.concatenate(errors)
    return {
        "worst_px": float(np.abs(every).max()),
        "rms_px": float(np.sqrt((every**2).mean())),
        "worst_growth": float(np.abs(growths).max()),
        "failures": failures,
    }


def _draw(rng, case):
    marks = rng.uniform(0.05, 0.95, size=(6, 2)) * (1000.0, 700.0)
    printer = Printer(
        growth_x=rng.normal() * 1e-3,
        growth_y=rng.normal() * 1e-3,
        edge_rag_mm=0.0,
        mirrored=bool(case % 2),
    )
    optics = Optics(
        px_per_mm=rng.uniform(8.0, 15.0),
        size_px=(170, 160),
        blur_px=rng.uniform(0.7, 2.2),
        defocus_px=rng.uniform(0.0, 2.0),
        turn_rad=rng.uniform(-3.0, 3.0),
        light_fall=0.0,
        noise=(0.0, 0.0),
        gamma=1.0,
        position_sd_mm=0.0,
    )
    throw = Throw(x_mm=rng.uniform(0, 99), y_mm=rng.uniform(0, 99), turn_rad=rng.normal() * 0.05)
    return print_and_throw(
        marks, 6.0, sheet_box_mm=BOX, printer=printer, throw=throw, surface=EVEN, optics=optics
    )


def _look(truth, rng):
    """Return errors [px] and places on the table by centroids of darkness."""
    off, places = [], []
    wanted = truth.table_from_sheet(truth.marks_xy_mm)
    alone = np.linalg.norm(wanted[:, None] - wanted[None], axis=2) + 99.0 * np.eye(len(wanted))
    for mark in range(len(wanted)):
        image, photo = photograph(truth, wanted[mark] + rng.uniform(-0.5, 0.5, 2), shot=mark)
        dark = np.median(image).astype(float) - image
        rows, columns = np.indices(dark.shape)
        seen = np.array([(dark * columns).sum(), (dark * rows).sum()]) / dark.sum()
        if alone[mark].min() < 25.0:  # its neighbour would be in the picture
            seen = photo.image_from_table(wanted[mark][None])[0]
        off.append(seen - photo.image_from_table(wanted[mark][None])[0])
        places.append(photo.table_from_image(seen[None])[0])
    return np.array(off), np.array(places)


def _growths(truth, places):
    """Return errors of both growths by an affine fit to the places, mirror undone."""
    nominal = truth.marks_xy_mm
    columns = np.column_stack((np.ones(len(nominal)), nominal))
    affine = np.linalg.lstsq(columns, places, rcond=None)[0][1:]
    grown = np.hypot(*affine.T) - 1.0
    return grown - (truth.printer.growth_x, truth.printer.growth_y)
