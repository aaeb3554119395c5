"""Forces of knives against published ratios."""

from __future__ import annotations

from math import pi, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.errors import ModelError
from kerfwright.mechanics import push_cut_ratio, resistance_n, slice_push_n, stroke_slice_ratio


@pytest.mark.reference(
    "Atkins, Interface Focus 6 (2016) 20160019, eqs 1.2-1.4, as quoted elsewhere"
)
def test_slicing_lowers_the_push():
    across, along, total = slice_push_n(2.0, 3.0, [0.0, 0.5, 1.0, 2.0, 4.0])
    assert across / 6.0 == pytest.approx([1.0, 0.8, 0.5, 0.2, 0.05882], abs=1e-5)
    assert along / 6.0 == pytest.approx([0.0, 0.4, 0.5, 0.4, 0.23529], abs=1e-5)
    assert total / 6.0 == pytest.approx([1.0, 0.89443, 0.70711, 0.44721, 0.24254], abs=1e-5)


@given(st.floats(0.0, 50.0))
def test_forces_of_slicing_add_up_and_never_pass_the_push(xi):
    across, along, total = slice_push_n(1.5, 4.0, xi)
    assert np.hypot(across, along) == pytest.approx(float(total))
    assert total <= resistance_n(1.5, 4.0) * (1.0 + 1e-12)


@pytest.mark.reference("Williams and Patel, Interface Focus 6 (2016) 20150108, eq 2.6, as quoted")
def test_a_wedge_with_friction():
    beta = radians(20.0)
    assert push_cut_ratio(radians(30.0), beta) == pytest.approx(1.80661, abs=1e-5)
    least = push_cut_ratio(radians(70.0), beta)
    assert least == pytest.approx(1.51980, abs=1e-5)
    assert least == pytest.approx(1.0 / (1.0 - sin(beta)))
    assert all(push_cut_ratio(t, beta) >= least for t in np.linspace(0.1, 1.7, 60))


def test_oscillation_slices():
    assert stroke_slice_ratio(1.0, 200.0, 300.0) == pytest.approx(1.333, abs=1e-3)


def test_wrong_arguments_are_refused():
    with pytest.raises(ModelError, match="resistance"):
        resistance_n(-1.0, 3.0)
    with pytest.raises(ModelError, match="depth"):
        resistance_n(1.0, [1.0, -3.0])
    with pytest.raises(ModelError, match="out of range"):
        push_cut_ratio(0.0, 0.1)
    with pytest.raises(ModelError, match="jams"):
        push_cut_ratio(0.05, 0.99 * pi - 0.05)
    with pytest.raises(ModelError, match="feed"):
        stroke_slice_ratio(1.0, 200.0, 0.0)
