"""Verdicts: no part that missed was called will_cut; few good ones held back.

Parts of several kinds lie anywhere on a print with growth, skew and bow. Each is cut along the
fitted map or, when it keeps its size, as one piece; head and gantry add what the budget says. What
was cut is compared with what was printed by nearest distances of dense points, both ways, which
shares no code with the verdict. Of parts within tolerance / 1.5 at most 10 % may be held back.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from kerfwright import registration
from kerfwright.geometry.paths import join_sets, make_circle, make_path
from kerfwright.model.verdict import ErrorBudget, PlacedLines, VerdictState
from studies._printed_sheets import BOWS, DOMAIN, HEIGHT, WIDTH, draw_print, marks_around

DEFAULT_SIZE = 50
SMALL_SIZE = 4
PARTS = 24
NOISE_MM = 0.02
HEAD = "tangential_knife"
BUDGET = ErrorBudget(
    head_cov_mm2=np.array(((9e-4, 2e-4), (2e-4, 6e-4))),
    repeat_sd_mm=0.02,
    motion_sd_mm={HEAD: 0.02},
    other=(("feed step", 0.03),),
)
STEP_MM = 0.5


def run(seed, size, progress):
    """Judge and cut `size` sheets; return counts and every part that was called wrong."""
    failures, said, good, held, worst = [], 0, 0, 0, 0.0
    for k in range(size):
        rng = np.random.default_rng((seed, k))
        lines, verdicts, missed_by = _sheet(rng, BOWS[k % len(BOWS)])
        for v, off, limit in zip(verdicts, missed_by, lines.print_mm, strict=True):
            is_cut = v.state is VerdictState.WILL_CUT
            said += is_cut
            worst = max(worst, off / limit if is_cut else 0.0)
            if is_cut and off > limit:
                failures.append(
                    {"sheet": k, "part": v.contour, "off_mm": off, "p": v.p_in_tolerance}
                )
            if off <= limit / 1.5:
                good += 1
                held += not is_cut
        progress(k + 1, size)
    if held > 0.1 * good:
        failures.append({"held_back": held, "of": good})
    return {
        "will_cut": said, "within_two_thirds": good, "held_back": held,
        "worst_share_of_limit_when_cut": worst, "failures": failures,
    }  # fmt: skip


def _sheet(rng, bow):
    truth, marks = draw_print(rng, bow), marks_around(10, rng)
    seen = truth(marks) + rng.normal(0.0, NOISE_MM, marks.shape)
    cov = np.tile(np.eye(2) * 1e-6, (len(marks), 1, 1))
    fit = registration.fit_sheet(marks, seen, measured_cov=cov, domain=DOMAIN)
    paths = join_sets([_part(rng) for _ in range(PARTS)])
    keeps = rng.random(PARTS) < 0.25
    lines = PlacedLines(
        contours=tuple(f"c{k}" for k in range(PARTS)),
        paths=paths,
        fidelity=tuple("size" if k else "print" for k in keeps),
        print_mm=rng.choice((0.5, 0.25), PARTS),
        size_mm=np.full(PARTS, 0.5),
        head=(HEAD,) * PARTS,
        part=np.arange(PARTS),
        rigid=registration.rigid_maps(fit, paths),
    )
    verdicts = registration.verdict(fit, BUDGET, lines)
    head = rng.multivariate_normal(np.zeros(2), BUDGET.head_cov_mm2)
    off = [_cut(rng, k, lines, fit, truth, head) for k in range(PARTS)]
    return lines, verdicts, off


def _part(rng):
    """Return a circle or a rectangle with one bent side, 60 to 520 mm wide."""
    w, h = rng.uniform(60.0, 520.0, 2)
    x, y = rng.uniform(30.0, WIDTH - 30.0 - w), rng.uniform(30.0, HEIGHT - 30.0 - h)
    if rng.random() < 0.3:
        return make_circle((x + w / 2.0, y + h / 2.0), min(w, h) / 2.0)
    corners = [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
    return make_path(corners, [0.0, 0.0, -0.1, 0.0], closed=True)


def _cut(rng, k, lines, fit, truth, head):
    """Return the greatest distance between the line cut and the line printed, both ways [mm]."""
    nominal = lines.paths.select([k])
    if lines.fidelity[k] == "size":
        cut = nominal.transformed(lines.rigid[k])
    else:
        cut = registration.map_paths(fit, nominal, 0.002)
    own = rng.normal(0.0, np.sqrt(0.02**2 + 0.02**2 + 0.03**2), 2)
    a, b = _dense(cut) + head + own, truth(_dense(nominal))
    return max(_farthest(a, b), _farthest(b, a))


def _farthest(points, ring):
    """Return the greatest distance from points to a closed chain, by its two nearest chords."""
    near = cKDTree(ring).query(points)[1]
    best = np.full(len(points), np.inf)
    for other in (near - 1, (near + 1) % len(ring)):
        begin, way = ring[near], ring[other] - ring[near]
        t = ((points - begin) * way).sum(axis=1) / np.maximum((way**2).sum(axis=1), 1e-30)
        foot = begin + np.clip(t, 0.0, 1.0)[:, None] * way
        best = np.minimum(best, np.hypot(*(points - foot).T))
    return float(best.max())


def _dense(path):
    """Return places of one closed path, at most `STEP_MM` apart along it, by its bulges."""
    start, bulge = path.points, path.bulges
    chord = np.roll(start, -1, axis=0) - start
    count = int(np.ceil(1.6 * np.hypot(*chord.T).max() / STEP_MM))
    turn = 4.0 * np.arctan(bulge)[:, None]
    t = np.linspace(0.0, 1.0, count, endpoint=False)
    safe = np.where(turn == 0.0, 1.0, turn)
    ratio = np.where(turn == 0.0, t, np.sin(turn * t / 2.0) / np.sin(safe / 2.0))
    # from the start, the chord shortened and turned to where the arc has come
    way = (chord @ (1.0, 1j))[:, None] * ratio * np.exp(0.5j * turn * (t - 1.0))
    z = (start @ (1.0, 1j))[:, None] + way
    return np.column_stack((z.real.ravel(), z.imag.ravel()))
