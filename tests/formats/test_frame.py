"""What is packed comes out again; anything else is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from kerfwright.errors import UnreadableError
from kerfwright.formats.frame import pack, unpack

SHAPES = hnp.array_shapes(min_dims=1, max_dims=3, min_side=0, max_side=4)
ARRAYS = st.one_of(
    hnp.arrays(np.float64, SHAPES), hnp.arrays(np.int64, SHAPES), hnp.arrays(np.bool_, SHAPES)
)
HEADERS = st.dictionaries(st.text(), st.one_of(st.text(), st.integers(), st.booleans(), st.none()))


@given(HEADERS, st.dictionaries(st.text(), ARRAYS, max_size=4))
def test_unpack_gives_what_was_packed(header, arrays):
    got, back = unpack(b"".join(pack(header, arrays)))
    assert got == header
    assert back.keys() == arrays.keys()
    for name, array in arrays.items():
        assert back[name].dtype == array.dtype
        np.testing.assert_array_equal(back[name], array)


WHOLE = b"".join(pack({"a": 1}, {"x": np.arange(3.0), "y": np.ones((2, 2), bool)}))


@given(st.integers(0, len(WHOLE) - 1))
def test_a_cut_answer_is_refused(length):
    with pytest.raises(UnreadableError):
        unpack(WHOLE[:length])


@given(st.binary())
def test_a_longer_answer_is_refused(more):
    if more:
        with pytest.raises(UnreadableError):
            unpack(WHOLE + more)


@given(st.binary(max_size=200), st.booleans())
def test_other_bytes_are_refused(data, marked):
    with pytest.raises(UnreadableError):
        unpack(WHOLE[:8] + data if marked else data)


@pytest.mark.parametrize("change", [(b'"f"', b'"O"'), (b"[3]", b"[9]"), (b"[2, 2]", b"[2,-2]")])
def test_a_lying_list_of_arrays_is_refused(change):
    assert change[0] in WHOLE
    with pytest.raises(UnreadableError):
        unpack(WHOLE.replace(*change))
