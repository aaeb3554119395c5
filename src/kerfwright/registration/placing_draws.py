"""One draw of marks: far apart, slid a little, each with a neighbour the camera surely finds."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64

SLIDE_MM = (15.0, 40.0)
_NEAR_ALIKE = 0.5

SeesFrom = Callable[[F64], BOOL]


def far_apart(
    spots: F64, count: int, rng: np.random.Generator, *, apart_mm: float, corners_first: bool
) -> I64:
    """Return spots, each as far as can be from those before it, then slid by 15 to 40 mm.

    The first is the one furthest to the lower left: near the operator. With `corners_first` the
    other corners of the free places follow: what lies outside the marks is known worst. Fewer
    are returned where no further spot keeps `apart_mm` from the others.
    """
    chosen: list[int] = []
    gap = np.full(len(spots), np.inf)
    ideals = _corners(spots) if corners_first else _corners(spots)[:1]
    for k in range(count):
        ideal = int(ideals[k]) if k < len(ideals) else int(np.argmax(gap))
        if gap[ideal] < apart_mm:
            ideal = int(np.argmax(gap))
        if gap[ideal] < apart_mm:
            break
        pick = _slid(spots, ideal, gap, rng, apart_mm)
        chosen.append(pick)
        gap = np.minimum(gap, np.hypot(*(spots - spots[pick]).T))
    return np.array(chosen, np.int64)


def _corners(spots: F64) -> I64:
    """Return the spots furthest to the lower left, upper right, upper left and lower right."""
    ways = np.array(((-1.0, -1.0), (1.0, 1.0), (-1.0, 1.0), (1.0, -1.0)))
    return np.asarray(np.argmax(spots @ ways.T, axis=0))


def _slid(spots: F64, ideal: int, gap: F64, rng: np.random.Generator, apart_mm: float) -> int:
    """Return a spot 15 to 40 mm from another one, or that one where there is none."""
    away = np.hypot(*(spots - spots[ideal]).T)
    ring = np.flatnonzero((away >= SLIDE_MM[0]) & (away <= SLIDE_MM[1]) & (gap >= apart_mm))
    return int(rng.choice(ring)) if ring.size else ideal


def draw(
    spots: F64,
    count: int,
    sees: SeesFrom,
    rng: np.random.Generator,
    *,
    apart_mm: float,
    corners_first: bool,
) -> I64:
    """Return up to `count` spots for marks, each with a neighbour in view where one can be had.

    As many as possible stand far apart; the rest are neighbours of those that would have none.
    """
    far = far_apart(spots, count, rng, apart_mm=apart_mm, corners_first=corners_first)
    least = min((count + 1) // 2, len(far))
    many = next(
        (m for m in range(len(far), least, -1) if m + _alone(spots[far[:m]], sees) <= count), least
    )
    chosen = _with_neighbours(spots, far[:many], sees, rng, apart_mm=apart_mm)
    return _filled(spots, chosen[:count], count, sees, rng, apart_mm=apart_mm)


def _alone(xy: F64, sees: SeesFrom) -> int:
    return int(np.count_nonzero(lonely(xy, sees)))


def lonely(xy: F64, sees: SeesFrom) -> BOOL:
    """Return which marks have no neighbour in view, shape (N,)."""
    n = len(xy)
    away = (xy[None] - xy[:, None]).reshape(-1, 2)
    seen = sees(away).reshape(n, n) & ~np.eye(n, dtype=bool)
    return np.asarray(~seen.any(axis=1))


def _with_neighbours(
    spots: F64, chosen: I64, sees: SeesFrom, rng: np.random.Generator, *, apart_mm: float
) -> I64:
    """Return the spots with one more beside each that has no neighbour in view."""
    out = chosen.tolist()
    for spot in chosen.tolist():
        others = np.array([o for o in out if o != spot], np.int64)
        if others.size and sees(spots[others] - spots[spot]).any():
            continue
        beside = _beside(spots, spot, out, sees, rng, apart_mm)
        out += [] if beside is None else [beside]
    return np.array(out, np.int64)


def _filled(
    spots: F64,
    chosen: I64,
    count: int,
    sees: SeesFrom,
    rng: np.random.Generator,
    *,
    apart_mm: float,
) -> I64:
    """Return the spots with more in view of some of them, up to a count."""
    out = chosen.tolist()
    for spot in rng.permutation(chosen).tolist() * 2:
        if len(out) >= count:
            break
        beside = _beside(spots, spot, out, sees, rng, apart_mm)
        out += [] if beside is None else [beside]
    return np.array(out, np.int64)


def _beside(
    spots: F64,
    spot: int,
    taken: list[int],
    sees: SeesFrom,
    rng: np.random.Generator,
    apart_mm: float,
) -> int | None:
    """Return a spot in view of another one, not much nearer to the rest than can be."""
    seen = np.flatnonzero(sees(spots - spots[spot]))
    gaps = np.hypot(*(spots[seen][:, None] - spots[taken][None]).transpose(2, 0, 1)).min(axis=1)
    best = float(gaps.max(initial=0.0))
    if best < apart_mm:
        return None
    return int(rng.choice(seen[gaps >= max(apart_mm, _NEAR_ALIKE * best)]))
