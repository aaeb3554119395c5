"""Names that are looked up in records, and figures derived from them."""

from __future__ import annotations

import pytest

from kerfwright.errors import KerfwrightError, UnknownNameError
from kerfwright.model.operation import HeadKind
from model.samples import CARD, KISS, KNIFE, MATERIAL, MOTION, STATION, TABLE, THROUGH, TOLERANCES


def test_heads_and_stations_are_found():
    assert TABLE.head("straight") is KNIFE
    assert TABLE.station(1) is STATION
    assert TABLE.station_for(HeadKind.TANGENTIAL_KNIFE, "steep") is STATION


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: TABLE.head("laser"), ("pier", "laser", "eye, straight")),
        (lambda: TABLE.station(9), ("pier", "9")),
        (
            lambda: TABLE.station_for(HeadKind.OSCILLATING_KNIFE, "steep"),
            ("pier", "steep", "oscillating_knife", "mount it"),
        ),
        (
            lambda: TABLE.station_for(HeadKind.TANGENTIAL_KNIFE, "blunt"),
            ("pier", "blunt", "tangential_knife"),
        ),
        (lambda: MATERIAL.figure("weight"), ("board-3", "weight", "material book")),
        (lambda: CARD.value("colour"), ("board-3-through", "colour", "add it")),
    ],
)
def test_an_unknown_name_is_refused_and_named(ask, words):
    with pytest.raises(UnknownNameError) as caught:
        ask()
    sentence = str(caught.value)
    assert [w for w in words if w not in sentence] == []
    assert "\n" not in sentence
    assert isinstance(caught.value, KerfwrightError)
    assert isinstance(caught.value, LookupError)


def test_figures_and_values_are_found():
    assert MATERIAL.figure("curl_mm") is MATERIAL.ranges["curl_mm"]
    assert CARD.value("feed_mm_s") == CARD.values["feed_mm_s"].value


def test_depth_counts_from_the_face_it_names():
    assert THROUGH.tip_z_mm(3.0) == -0.3
    assert KISS.tip_z_mm(0.24) == pytest.approx(0.10)
    assert KISS.tip_z_mm(0.30) == pytest.approx(0.16)


def test_the_sum_of_tolerances_is_what_the_design_states():
    assert TOLERANCES.sum_mm == pytest.approx(0.001 + 0.002 + 0.001 + 0.0001)


def test_blocks_begin_where_the_one_before_ended():
    begins = MOTION.begins()
    assert len(MOTION) == len(begins) == 5
    assert begins[0].tolist() == MOTION.start.tolist()
    assert begins[1:].tolist() == MOTION.end[:-1].tolist()
