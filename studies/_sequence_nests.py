"""Sheets of small closed contours with many entries, and the same with one entry each."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kerfwright.geometry.paths import PathSet
from kerfwright.model.cut import CutChoices
from studies._sequence_jobs import OrderJob, make_operation, make_table

CORNERS = 16


def length_table():
    """Return a table on which time is length: one speed all ways, no ramps to speak of."""
    table = make_table()
    axes = replace(
        table.axes,
        speed=np.array((1000.0, 1000.0, 1e6, 1e6)),
        acceleration=np.array((1e12, 1e12, 1e15, 1e15)),
        jump=np.array((8.0, 8.0, 5.0, 0.3)),
        rapid_mm_s=1000.0,
    )
    return replace(table, axes=axes)


def random_nest(rng, n, *, holes=False):
    """Return n contours of `CORNERS` corners on a jittered grid, each with all corners as entries.

    With `holes` every other contour is a hole in the one before it.
    """
    cells = -(-n // 2) if holes else n
    side = int(np.ceil(np.sqrt(cells)))
    pitch = 1400.0 / side
    cell = np.arange(n) // 2 if holes else np.arange(n)
    jitter = rng.uniform(-0.08, 0.08, (cells, 2))[cell]
    centre = (np.column_stack((cell % side, cell // side)) + 0.5 + jitter) * pitch + 30.0
    size = pitch * rng.uniform(0.2, 0.4, cells)[cell]
    if holes:
        size = np.where(np.arange(n) % 2 == 1, size * rng.uniform(0.2, 0.6, n), size)
    angle = rng.uniform(0.0, 2 * np.pi, n)[:, None] + np.arange(CORNERS) * 2 * np.pi / CORNERS
    stretch = rng.uniform(0.7, 1.0, n)[:, None]
    ring = np.stack((np.cos(angle), stretch * np.sin(angle)), axis=2)
    return nest_job(centre[:, None] + size[:, None, None] * ring)


def nest_job(rings):
    """Return the job of closed polygons (n, E, 2): every corner an entry, both ways round."""
    n, corners = rings.shape[:2]
    back = np.arange(2 * corners) % 2 == 1
    corner = np.arange(2 * corners) // 2
    ahead = np.roll(rings, -1, axis=1) - rings
    on, off = np.arctan2(ahead[..., 1], ahead[..., 0]), np.roll(ahead, 1, axis=1)
    came = np.arctan2(off[..., 1], off[..., 0])
    c_in = np.where(back, came[:, corner] + np.pi, on[:, corner])
    c_out = np.where(back, on[:, corner] + np.pi, came[:, corner])
    xy = rings[:, corner]
    operation = make_operation("cut", through=True, station=1)
    names = tuple(f"c{k}" for k in range(n))
    choices = CutChoices(
        contours=names,
        operation="cut",
        contour=np.repeat(np.arange(n), 2 * corners),
        pass_no=np.zeros(2 * corners * n, np.int64),
        entry_s=np.tile(corner / corners, n),
        reversed=np.tile(back, n),
        xyc_in=np.concatenate((xy, c_in[..., None]), axis=2).reshape(-1, 3),
        xyc_out=np.concatenate((xy, c_out[..., None]), axis=2).reshape(-1, 3),
        time_s=np.full(2 * corners * n, 0.5),
    )
    paths = PathSet(
        points=rings.reshape(-1, 2),
        bulges=np.zeros(n * corners),
        starts=np.arange(n + 1) * corners,
        closed=np.ones(n, bool),
    )
    return OrderJob(
        paths=paths,
        contours=names,
        operations=(operation,),
        operation=np.zeros(n, np.int64),
        choices=(choices,),
    )


def entries_of(job, found):
    """Return entries and exits in the order found, both (N, 3), for jobs of one operation."""
    choice = job.choices[0]
    rows = {
        (choice.contours[c], p, s, r): i
        for i, (c, p, s, r) in enumerate(
            zip(
                choice.contour.tolist(),
                choice.pass_no.tolist(),
                choice.entry_s.tolist(),
                choice.reversed.tolist(),
                strict=True,
            )
        )
    }
    picked = [
        rows[key]
        for key in zip(
            found.contour,
            found.pass_no.tolist(),
            found.entry_s.tolist(),
            found.reversed.tolist(),
            strict=True,
        )
    ]
    return choice.xyc_in[picked], choice.xyc_out[picked]


def air_mm(job, found):
    """Return the length of all ways between cuts [mm]."""
    begin, end = entries_of(job, found)
    return float(np.hypot(*(begin[1:, :2] - end[:-1, :2]).T).sum())


def drawn_starts(job):
    """Return the job with the drawn start of each contour as its only entry, and without C."""
    choice = job.choices[0]
    first = np.unique(choice.contour, return_index=True)[1]
    place = choice.xyc_in[first] * (1.0, 1.0, 0.0)
    return replace(job, choices=(_single(choice, first, place),))


def points_job(xy):
    """Return a job of tiny triangles, each with one entry, at the points (n, 2) [mm]."""
    corners = np.array([(0.0, 0.0), (1e-3, 0.0), (0.0, 1e-3)])
    job = nest_job(xy[:, None] + corners)
    return drawn_starts(job)


def _single(choice, rows, place):
    columns = ("contour", "pass_no", "entry_s", "reversed", "time_s")
    picked = {name: getattr(choice, name)[rows] for name in columns}
    return replace(choice, **picked, xyc_in=place, xyc_out=place)
