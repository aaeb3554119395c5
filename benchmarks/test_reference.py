"""The reference that all ratios refer to: one fixed amount of array work."""

from __future__ import annotations

import numpy as np


def test_reference(benchmark):
    values = np.random.default_rng(0).random(1_000_000)
    result = benchmark(np.sort, values)
    assert (np.diff(result) >= 0).all()
