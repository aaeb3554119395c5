"""Random contours on which check and brute force once differed; each was seen red."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.verify import check_program
from studies.verify_brute import AGREE_MM, COMPARED, random_case
from tests.verify import brute
from tests.verify.bench import TABLE, TIGHT

CASES = {
    182: "the blade is tangent to the contour only in a kink of 3e-5 rad between two arcs",
    1937: "the same, another contour",
    1269: "a blade turned by 6 degrees keeps a corner on its chord but for rounding",
    1549: "overcut by a blade whose deviation is worse elsewhere",
}


@pytest.mark.parametrize("case", CASES)
def test_check_and_brute_force_agree(case):
    wanted, motion, _ = random_case(np.random.default_rng([3, case]))
    fast = check_program(motion, wanted, TABLE, TIGHT)
    slow = brute.check(motion, wanted, TABLE, TIGHT)
    np.testing.assert_allclose(fast.worst_mm, slow.worst, atol=AGREE_MM)
    np.testing.assert_allclose(fast.overcut_part_mm, slow.over_part, atol=0.01)
    told = {(f.code, wanted.contours.index(f.where.contour)) for f in fast.findings
            if f.code in COMPARED}  # fmt: skip
    assert told == slow.codes
