"""Marks labelled: no wrong pose unflagged, however the sheet is thrown.

Sheets of 2000 x 1000 mm with 8 or 12 marks slid along the edge, 30 % missing and at least three
visible, any turn, growth sd 0.15 %, shear 0.1 %, bow sd 0.5 mm, noise 0.05 mm, 24 specks that are
none. Exact is when every visible mark gets its name and nothing else does.
"""

from __future__ import annotations

import numpy as np

from kerfwright.registration import match_marks

DEFAULT_SIZE = 4000
SMALL_SIZE = 60
SHEET = np.array((2000.0, 1000.0))
MOST_FLAGGED = 0.12
MOST_WRONG_NAMES = 0.006


def run(seed, size, progress):
    """Return shares of exact, flagged and wrong throws; an unflagged wrong pose is a failure."""
    counts = dict.fromkeys(("exact", "flagged", "dropped", "wrong_name", "wrong_pose"), 0)
    failures = []
    for case in range(size):
        found, nominal, truth, table = throw(np.random.default_rng((seed, case)))
        match = match_marks(found, nominal, tolerance_mm=4.0)
        kind = judge(match, nominal, truth, table)
        counts[kind] += 1
        if kind == "wrong_pose":
            failures.append({"case": case, "what": kind})
        if case % 20 == 19 or case + 1 == size:
            progress(case + 1, size)
    if counts["flagged"] > MOST_FLAGGED * size + 3:
        failures.append({"what": "flagged", "count": counts["flagged"]})
    if counts["wrong_name"] > MOST_WRONG_NAMES * size + 1:
        failures.append({"what": "wrong_name", "count": counts["wrong_name"]})
    return {**counts, "failures": failures}


def layout(rng, count):
    """Return marks along the edge, each slid by up to 40 mm so that no turn maps them onto each."""
    w, h = SHEET
    around = 2 * (w + h)
    s = (np.arange(count) / count * around + rng.uniform(-40, 40, count)) % around
    xy = np.zeros((count, 2))
    for k, t in enumerate(s):
        if t < w:
            xy[k] = t, 20
        elif t < w + h:
            xy[k] = w - 20, t - w
        elif t < 2 * w + h:
            xy[k] = 2 * w + h - t, h - 20
        else:
            xy[k] = 20, around - t
    return xy + rng.uniform(-3, 3, xy.shape)


def throw(rng, *, count=None, specks=24, mirrored=False, scale=1.0, turn=None):
    """Return marks seen, nominal marks, which nominal mark each one is (-1 none), and the map."""
    count = int(rng.choice((8, 12))) if count is None else count
    nominal = layout(rng, count)
    turn = rng.uniform(-np.pi, np.pi) if turn is None else turn
    c, s = np.cos(turn), np.sin(turn)
    linear = (
        scale
        * np.array(((c, -s), (s, c)))
        @ (np.eye(2) + np.diag(rng.normal(0, 0.0015, 2)) + [[0, rng.normal(0, 0.001)], [0, 0]])
    )
    if mirrored:
        linear = linear @ np.diag((-1.0, 1.0))
    shift = rng.uniform(0, 400, 2)
    bow = rng.normal(0, 0.5) * 4.0 * (nominal[:, 0] / SHEET[0] - 0.5) ** 2
    bent = nominal + np.column_stack((np.zeros(count), bow))
    visible = rng.random(count) > 0.3
    while visible.sum() < 3:
        visible[rng.integers(count)] = True
    seen = bent[visible] @ linear.T + shift + rng.normal(0, 0.05, (visible.sum(), 2))
    low, high = (nominal @ linear.T + shift).min(axis=0), (nominal @ linear.T + shift).max(axis=0)
    dirt = rng.uniform(low, high, (specks, 2))
    found = np.vstack((seen, dirt))
    truth = np.concatenate((np.flatnonzero(visible), np.full(specks, -1)))
    order = rng.permutation(len(found))
    return found[order], nominal, truth[order], np.column_stack((linear, shift))


def judge(match, nominal, truth, table):
    """Return what a match is: exact, flagged, dropped a mark, a wrong name, or a wrong pose."""
    if match.is_ambiguous:
        return "flagged"
    place = nominal @ match.table_from_sheet[:, :2].T + match.table_from_sheet[:, 2]
    right = nominal @ table[:, :2].T + table[:, 2]
    if np.hypot(*(place - right).T).max() > 20.0:
        return "wrong_pose"
    named = truth[match.pairs[:, 0]]
    if (named != match.pairs[:, 1]).any():
        return "wrong_name"
    return "exact" if len(named) == (truth >= 0).sum() else "dropped"
