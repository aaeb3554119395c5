"""What is cut to full depth more often than planned."""

from __future__ import annotations

import numpy as np

from kerfwright.verify.case import Case
from kerfwright.verify.columns import BHALF, BHEEL, BLEAD, BTRAIL, F64, I64
from kerfwright.verify.covering import DEEP, Stretches
from kerfwright.verify.spans import Merged, covered, merge_by_stroke, repeats


def repeated_mm(case: Case, stretches: Stretches) -> F64:
    """Return the longest stretch of each contour cut again at full depth, 0 for none [mm].

    Strokes that meet overlap a little, and so does a closed cut at its end; what they have in
    common counts when it is more than half of the shorter stroke and more than the blade's chord.
    A stroke is as long as on the contour it follows farthest: where another contour only touches
    that one, it is no short stroke of its own. Passes count as planned, and contours on top of
    one another may each be cut.
    """
    own = case.assignment.shared[stretches.entry]
    deep = (stretches.flags & DEEP) > 0
    row, stroke = case.views.row[own[deep]], case.slices.stroke[case.views.slice[own[deep]]]
    sharing = case.assignment.sharing[stretches.entry[deep]]
    shape = case.wanted.shape
    ends = _leeway(case, own[deep])
    merged = merge_by_stroke(
        row, stroke, stretches.low[deep] - ends, stretches.high[deep] + ends,
        length=shape.length, closed=shape.closed,
    )  # fmt: skip
    chord = np.zeros(case.rows)
    np.maximum.at(chord, row, _chords(case, own[deep]) + 4.0 * ends)
    whole = _whole_lengths(case, merged)
    suspects = _suspects(case, merged, chord, whole)
    return np.maximum(
        _between_strokes(case, suspects, chord, row * _strokes(case) + stroke, sharing, whole),
        _within_strokes(case, merged, stretches, chord),
    )


def _leeway(case: Case, views: I64) -> F64:
    """Return by how much the ends of slices count as farther [mm].

    Slices of wheels and pens have no chord that overlaps the next one: they only meet, and at
    corners less than that. What is not yet a gap must not part them.
    """
    station = case.station_of(case.views.slice[views])
    bare = case.moves.rolls[station] | case.moves.draws[station]
    return np.where(bare, case.tolerances.uncut_mm / 2.0, 0.0)


def _strokes(case: Case) -> int:
    return int(case.slices.stroke.max(initial=0)) + 1


def _chords(case: Case, views: I64) -> F64:
    """Return the chord at the reference plane of each slice at its deepest [mm]."""
    own = case.views.slice[views]
    blade = case.moves.blades[case.slices.blade[own]]
    height = np.maximum(case.wanted.reference_z[case.views.row[views]] - case.tips[own], 0.0)
    slope = blade[:, BTRAIL] + blade[:, BLEAD]
    chord: F64 = 2.0 * blade[:, BHALF] + np.minimum(height, blade[:, BHEEL]) * slope
    return chord


def _whole_lengths(case: Case, merged: Merged) -> F64:
    """Return how much of the contour it follows farthest each stroke covers [mm]."""
    keys, index = np.unique(merged.row * _strokes(case) + merged.stroke, return_inverse=True)
    whole = np.zeros(_strokes(case))
    by_row = np.bincount(index, weights=merged.high - merged.low, minlength=len(keys))
    np.maximum.at(whole, keys % _strokes(case), by_row)
    return whole


def _suspects(case: Case, merged: Merged, chord: F64, whole: F64) -> Merged:
    """Return the stretches of contours that have enough in common for a repeat at all."""
    shape = case.wanted.shape
    union, _ = covered(
        merged.row, merged.low, merged.high, length=shape.length, closed=shape.closed
    )
    size = merged.high - merged.low
    total = np.bincount(merged.row, weights=size, minlength=case.rows)
    least = np.full(case.rows, np.inf)
    np.minimum.at(least, merged.row, whole[merged.stroke])
    suspect = total - union > np.maximum(chord, least / 2.0) * (1.0 - 1e-9)
    keep = suspect[merged.row]
    return Merged(merged.row[keep], merged.stroke[keep], merged.low[keep], merged.high[keep])


def _between_strokes(
    case: Case, merged: Merged, chord: F64, key: I64, sharing: I64, whole: F64
) -> F64:
    shape = case.wanted.shape
    most = _most_sharing(key, sharing, merged.row * _strokes(case) + merged.stroke)
    allowed = most * case.wanted.passes_at_depth[merged.row]
    return repeats(
        merged, whole=whole[merged.stroke], allowed=allowed, chord=chord,
        length=shape.length, closed=shape.closed,
    )  # fmt: skip


def _most_sharing(key: I64, sharing: I64, wanted: I64) -> I64:
    """Return the greatest number of contours on top of one another under each key."""
    keys, index = np.unique(key, return_inverse=True)
    most = np.ones(len(keys) + 1, np.int64)
    np.maximum.at(most, index, sharing)
    return most[np.searchsorted(keys, wanted)]


def _within_strokes(case: Case, merged: Merged, stretches: Stretches, chord: F64) -> F64:
    """Return how far single strokes go over the same stretch again [mm]."""
    shared, strokes = case.assignment.shared, _strokes(case)
    row, own = case.views.row[shared], case.views.slice[shared]
    gone = np.where(np.isfinite(stretches.advance), np.abs(stretches.advance), 0.0)
    gone *= case.tips[own] <= case.wanted.deep_z[row]
    # A wheel is not as deep all over a slope; without a chord, it covers where it goes.
    deep = (stretches.flags & DEEP) > 0
    size = (stretches.high - stretches.low)[deep]
    covered_mm = np.bincount(stretches.entry[deep], weights=size, minlength=len(shared))
    gone = np.where(case.moves.rolls[case.station_of(own)], covered_mm, gone)
    keys, index = np.unique(row * strokes + case.slices.stroke[own], return_inverse=True)
    way = np.bincount(index, weights=gone, minlength=len(keys))
    place = np.searchsorted(keys, merged.row * strokes + merged.stroke)
    covers = np.bincount(place, weights=merged.high - merged.low, minlength=len(keys))
    k = keys // strokes
    again = way - covers
    twice = again > np.maximum(covers / 2.0, chord[k])
    out = np.zeros(case.rows)
    np.maximum.at(out, k[twice], again[twice])
    return out
