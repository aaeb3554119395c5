"""Where a cut may begin."""

from __future__ import annotations

import numpy as np

from kerfwright.geometry.record import BOOL, F64, I64
from kerfwright.kernels import inner, kernel
from kerfwright.toolpath.cuts import ENTRY, PASS, PATH, SENSE
from kerfwright.toolpath.sections import BEGIN, LOOP
from kerfwright.toolpath.shapes import LENGTH, SWEEP, Contour, S, total_of

_MOST_CORNERS = 24
"""Most entries per contour: more of them cost the order more time than they save in travel."""
_LOOP_PLACES = 6


@kernel
def all_cuts(
    edges: F64,
    first: I64,
    closed: BOOL,
    sections: F64,
    begun: I64,
    allowed: BOOL,
    passes: int,
    straight: float,
) -> F64:
    """Return every way to do every cut, the ways of one cut together, as rows of `cuts`.

    `allowed` (K, 2) says whether a contour may be cut along and against its drawn direction;
    `straight` is the length of line that makes a good entry into a loop.
    """
    places = np.zeros((len(allowed), _MOST_CORNERS))
    counts = np.zeros(len(allowed), np.int64)
    total = 0
    for k in range(len(allowed)):
        contour = Contour(edges[first[k] : first[k + 1]], closed[k])
        if len(contour.edge):
            own = sections[begun[k] : begun[k + 1]]
            counts[k] = _places(places[k], contour, own, straight)
        total += counts[k] * (int(allowed[k, 0]) + int(allowed[k, 1])) * passes
    rows = np.zeros((total, ENTRY + 1))
    n = 0
    for k in range(len(allowed)):
        for p in range(passes):
            for way in range(2):
                for j in range(counts[k] if allowed[k, way] else 0):
                    rows[n, PATH], rows[n, PASS], rows[n, SENSE] = k, p, 1 - 2 * way
                    rows[n, ENTRY] = places[k, j] if closed[k] else way
                    n += 1
    return rows


@inner
def _places(out: F64, contour: Contour, sections: F64, straight: float) -> int:
    """Fill in the entries of a contour as fractions of its length; return how many."""
    if not contour.closed:
        return 1
    if sections[0, LOOP]:
        return _loop_places(out, contour.edge, straight)
    n = min(len(sections), _MOST_CORNERS)
    for j in range(n):
        out[j] = sections[j * len(sections) // n, BEGIN] / total_of(contour.edge)
    return n


@inner
def _loop_places(out: F64, edge: F64, straight: float) -> int:
    """Prefer the middle of straight stretches, the longest in each sixth of the loop."""
    longest = np.zeros(_LOOP_PLACES)
    for k in range(len(edge)):
        place = (edge[k, S] + edge[k, LENGTH] / 2.0) / total_of(edge)
        j = min(int(place * _LOOP_PLACES), _LOOP_PLACES - 1)
        if edge[k, SWEEP] == 0.0 and edge[k, LENGTH] > max(longest[j], straight):
            longest[j], out[j] = edge[k, LENGTH], place
    n = 0
    for j in range(_LOOP_PLACES):
        if longest[j] > 0.0:
            out[n], n = out[j], n + 1
    if n > 0:
        return n
    for j in range(_LOOP_PLACES):
        out[j] = j / _LOOP_PLACES
    return _LOOP_PLACES
