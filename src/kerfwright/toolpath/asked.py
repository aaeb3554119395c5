"""What an order asks of one operation, and in which order its passes stand."""

from __future__ import annotations

import numpy as np

from kerfwright.errors import UnknownNameError, UsageError
from kerfwright.geometry.record import F64, I64
from kerfwright.model.cut import CutOrder
from kerfwright.model.operation import Operation
from kerfwright.toolpath.cuts import ENTRY, PASS, PATH, SENSE


def pass_pairs(contours: int, passes: int) -> I64:
    """Return that each pass comes before the next, cuts counted contour by contour."""
    cut = np.arange(contours * passes).reshape(contours, passes)
    return np.column_stack((cut[:, :-1].ravel(), cut[:, 1:].ravel()))


def cuts_asked(
    operation: Operation, order: CutOrder, contours: tuple[str, ...], *, passes: int
) -> tuple[F64, I64]:
    """Return the cuts of this operation, and their places in the order.

    `passes` is how many cuts a contour is done in.
    """
    places = np.array([i for i, o in enumerate(order.operation) if o == operation.id], np.int64)
    index = {name: k for k, name in enumerate(contours)}
    names = [order.contour[i] for i in places]
    unknown = next((n for n in names if n not in index), None)
    if unknown is not None:
        msg = f"the order cuts contour {unknown}, which operation {operation.id} does not have"
        raise UnknownNameError(msg)
    pass_no = order.pass_no[places]
    if len(pass_no) and not 0 <= pass_no.min() <= pass_no.max() < passes:
        msg = (
            f"the order asks for pass {pass_no.max()} of operation {operation.id}, which has "
            f"{passes}, counted from 0"
        )
        raise UsageError(msg)
    cuts = np.zeros((len(places), ENTRY + 1))
    cuts[:, PATH] = [index[n] for n in names]
    cuts[:, PASS] = pass_no
    cuts[:, SENSE] = np.where(order.reversed[places], -1.0, 1.0)
    cuts[:, ENTRY] = order.entry_s[places]
    return cuts, places
