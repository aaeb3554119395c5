"""Which boxes overlap which, as long as there are not too many."""

from __future__ import annotations

import numpy as np
import shapely

from kerfwright.geometry.record import F64, I64

_PER_BOX = 32
_AT_ONCE = 512


def box_overlaps(some: F64, others: F64) -> tuple[I64, I64] | None:
    """Return the pairs of overlapping or touching boxes, by index into both sets.

    Parameters
    ----------
    some, others : ndarray of shape (A, 4) and (B, 4)
        Boxes x0, y0, x1, y1 [mm].

    Returns
    -------
    tuple of ndarray or None
        None when there are more pairs than a few dozen per box, which would cost more than the
        number of boxes warrants.
    """
    tree = shapely.STRtree(shapely.box(*others.T))
    limit, found = _PER_BOX * (len(some) + len(others)), 0
    pairs = [np.zeros((2, 0), np.int64)]
    for start in range(0, len(some), _AT_ONCE):
        pair = tree.query(shapely.box(*some[start : start + _AT_ONCE].T))
        pair[0] += start
        found += pair.shape[1]
        if found > limit:
            return None
        pairs.append(pair)
    both = np.concatenate(pairs, axis=1)
    order = np.lexsort((both[1], both[0]))
    return both[0][order], both[1][order]
