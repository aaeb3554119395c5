"""Order and link together, timed by the time law: the bound holds for what the machine will do."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.model.motion import FeedKind, Kind, Role
from kerfwright.motion import time_motion
from kerfwright.sequence import link, order
from studies._sequence_jobs import make_table, random_job
from tests.sequence.moves import LIFT, SETUPS, motion_of


def straight_body(xyc_in, xyc_out):
    """Return blocks from an entry to an exit, straight."""
    (x, y, c), (u, v, w) = xyc_in, xyc_out
    still = np.allclose((x, y), (u, v))
    feed = (10.0, FeedKind.ROTARY) if still else (300.0, FeedKind.PATH)
    return [
        (Kind.RAPID, (x, y, LIFT, c), None, 0.0, 0.0, FeedKind.NONE, 0.0, Role.LINK),
        (Kind.LINE, (x, y, -0.3, c), None, 0.0, 50.0, FeedKind.PATH, 0.0, Role.PLUNGE),
        (Kind.LINE, (u, v, -0.3, w), None, 0.0, *feed, 0.0, Role.CUT),
        (Kind.LINE, (u, v, LIFT, w), None, 0.0, 50.0, FeedKind.PATH, 0.0, Role.LIFT),
    ]


def motion_in_order(job, found, table):
    poses = {
        (c.contours[c.contour[i]], c.operation, c.entry_s[i], bool(c.reversed[i])): (
            c.xyc_in[i],
            c.xyc_out[i],
        )
        for c in job.choices
        for i in range(len(c.contour))
    }
    ways = zip(found.contour, found.operation, found.entry_s, found.reversed.tolist(), strict=True)
    bodies = {k: straight_body(*poses[key]) for k, key in enumerate(ways)}
    stations = {o.id: table.station_for(o.head_kind, o.tool_id).number for o in job.operations}
    return link(
        [motion_of(bodies)],
        found,
        table,
        stations=stations,
        setups={o.id: SETUPS["cut"] for o in job.operations},
        travel_z_mm=25.0,
        zones=(1,),
    )


@pytest.mark.parametrize("seed", range(8))
def test_travel_as_timed_is_above_the_bound(seed):
    table = make_table(c_limits_rad=None)
    job = random_job(np.random.default_rng(seed), n_cells=4)
    found = order(job.choices, **job.arguments(), table=table, travel_z_mm=25.0, seed=seed)
    motion = motion_in_order(job, found, table)
    sideways = (np.abs(motion.end - motion.begins())[:, [0, 1, 3]] > 1e-9).any(axis=1)
    cuts = np.flatnonzero(motion.cut >= 0)
    travel = (motion.cut < 0) & sideways
    travel[: cuts[0]] = travel[cuts[-1] :] = False
    timed_s = time_motion(motion, table.axes).block_s[travel].sum()
    assert 0.0 < found.lower_bound_s <= timed_s
