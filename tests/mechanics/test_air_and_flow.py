"""Air, leaks, pumps and the zone network against standards and worked figures."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from kerfwright.errors import ModelError
from kerfwright.mechanics import (
    PumpCurve,
    ZoneLeaks,
    air_density_kg_m3,
    air_pressure_pa,
    crack_kg_s,
    orifice_kg_s,
    plenum_pressure_pa,
    porous_m3_s,
    zone_drops_pa,
)
from kerfwright.mechanics.air import SEA_LEVEL_PA

HOLE_M2 = pi * 1.5e-3**2
TABLE_5_HPA = {0: 1013.25, 300: 977.727, 500: 954.612, 1000: 898.763, 1300: 866.548}


@pytest.mark.reference("ISO 2533, table 5, by geometrical altitude")
def test_standard_pressures():
    found = air_pressure_pa(list(TABLE_5_HPA)) / 100.0
    assert found == pytest.approx(list(TABLE_5_HPA.values()), abs=1e-3)


def test_height_is_geometrical_not_geopotential():
    assert air_pressure_pa(1000.0) / 100.0 != pytest.approx(898.746, abs=5e-3)


def test_heights_without_a_standard_are_refused():
    with pytest.raises(ModelError, match="11000"):
        air_pressure_pa([0.0, 12_000.0])


@pytest.mark.reference("density of the standard atmosphere 1.225 kg/m3 in ISO 2533, from memory")
def test_density_at_sea_level():
    assert air_density_kg_m3(SEA_LEVEL_PA, 288.15) == pytest.approx(1.225, abs=5e-5)


@pytest.mark.reference("isentropic flow worked by hand: 0.0404149 Cd A p0 / sqrt(T0) when choked")
def test_a_choked_hole_of_3_mm():
    choked = orifice_kg_s(HOLE_M2, outside_pa=SEA_LEVEL_PA, inside_pa=[0.0, 30e3, 53e3])
    assert choked == pytest.approx(1.0482e-3, rel=3e-5)
    by_hand = 0.0404149 * 0.62 * HOLE_M2 * SEA_LEVEL_PA / np.sqrt(293.15)
    assert choked[0] == pytest.approx(by_hand, rel=1e-5)
    free_m3_h = choked[0] / air_density_kg_m3(SEA_LEVEL_PA) * 3600.0
    assert free_m3_h == pytest.approx(3.134, abs=1e-3)


def test_a_small_drop_flows_as_if_incompressible():
    drop, density = 50.0, air_density_kg_m3(SEA_LEVEL_PA)
    found = orifice_kg_s(HOLE_M2, outside_pa=SEA_LEVEL_PA, inside_pa=SEA_LEVEL_PA - drop)
    assert found == pytest.approx(0.62 * HOLE_M2 * np.sqrt(2.0 * density * drop), rel=1e-3)


def test_flow_never_falls_with_the_drop():
    inside = np.linspace(0.0, SEA_LEVEL_PA, 500)
    flow = orifice_kg_s(HOLE_M2, outside_pa=SEA_LEVEL_PA, inside_pa=inside)
    assert (np.diff(flow) <= 1e-18).all()
    assert flow[-1] == 0.0


def test_a_crack_is_known_by_its_flow_at_one_kilopascal():
    flow = crack_kg_s(36.0, drop_pa=[1000.0, 2000.0], density_kg_m3=1.2)
    assert flow[0] == pytest.approx(0.012)
    assert flow[1] / flow[0] == pytest.approx(2.0**0.65)


@pytest.mark.reference("Darcy's law for a gas worked by hand, viscosity 1.82e-5 Pa s")
@pytest.mark.parametrize(("mm", "low", "high"), [(18.0, 15.7, 259.0), (12.0, 23.6, 389.0)])
def test_fibre_board_lets_air_through(mm, low, high):
    ends = [
        porous_m3_s(k, 1.0, mm / 1000.0, outside_pa=SEA_LEVEL_PA, inside_pa=SEA_LEVEL_PA - 5e4)
        for k in (0.38e-13, 6.26e-13)
    ]
    assert np.array(ends) * 3600.0 == pytest.approx([low, high], rel=5e-3)


@pytest.mark.reference("mass balance worked by hand: 100 m3/h at the inlet, holes of 3 mm")
@pytest.mark.parametrize(("holes", "kpa"), [(10, 69.57), (40, 13.28), (80, 3.65)])
def test_vacuum_falls_off_a_cliff_as_holes_open(holes, kpa):
    pump = PumpCurve(
        kind="displacement", closed_pa=SEA_LEVEL_PA, flow_m3_h=100.0, outside_pa=SEA_LEVEL_PA
    )
    drop, left = plenum_pressure_pa(pump, lambda p: leaks(np.full(holes, HOLE_M2), p))
    assert drop / 1000.0 == pytest.approx(kpa, abs=5e-3)
    assert abs(left) <= 1e-10


def leaks(areas, inside_pa):
    return orifice_kg_s(areas, outside_pa=SEA_LEVEL_PA, inside_pa=inside_pa)


def test_ten_thousand_leaks_balance():
    areas = np.random.default_rng(3).uniform(0.0, 2e-7, 10_000)
    pump = PumpCurve(kind="blower", closed_pa=25e3, flow_m3_h=500.0, outside_pa=SEA_LEVEL_PA)
    drop, left = plenum_pressure_pa(pump, lambda p: leaks(areas, p))
    assert 0.0 < drop < 25e3
    assert abs(left) <= 1e-10


def test_a_closed_bed_reaches_the_closed_vacuum():
    pump = PumpCurve(kind="displacement", closed_pa=80e3, flow_m3_h=63.0, outside_pa=SEA_LEVEL_PA)
    drop, left = plenum_pressure_pa(pump, lambda p: leaks(np.zeros(1), p))
    assert drop == 80e3
    assert left > 0.0, "the relief valve is open"


@pytest.mark.parametrize(
    ("change", "word"),
    [({"kind": "fan"}, "kind"), ({"flow_m3_h": 0.0}, "flow"), ({"closed_pa": 2e5}, "closed")],
)
def test_a_pump_that_cannot_be_is_refused(change, word):
    right = {"kind": "blower", "closed_pa": 2e4, "flow_m3_h": 1.0, "outside_pa": SEA_LEVEL_PA}
    with pytest.raises(ModelError, match=word):
        PumpCurve(**(right | change))


@st.composite
def networks(draw):
    zones = draw(st.integers(1, 4))
    amounts = st.lists(st.floats(0.0, 300.0), min_size=zones, max_size=zones).map(np.array)
    kind = draw(st.sampled_from(("blower", "displacement")))
    pump = PumpCurve(
        kind=kind,
        closed_pa=draw(st.floats(5e3, 9e4)),
        flow_m3_h=draw(st.floats(10.0, 800.0)),
        outside_pa=SEA_LEVEL_PA,
    )
    kerf = draw(amounts) * 20.0
    valve, steady = draw(amounts) + 1.0, draw(amounts)
    return pump, ZoneLeaks(
        valve_m3_h=valve,
        steady_m3_h=steady,
        kerf_mm2=np.stack((0.0 * kerf, kerf, 2.0 * kerf)),
        kerf_mat_m3_h=np.stack((0.0 * kerf, kerf, 2.0 * kerf)) * draw(st.floats(0.0, 1.0)),
    )


@given(networks())
def test_zones_balance_and_lose_vacuum_as_kerfs_open(network):
    pump, given_leaks = network
    drop, left = zone_drops_pa(pump, given_leaks)
    assert ((drop >= 0.0) & (drop <= pump.closed_pa)).all()
    closed = left > 1e-10
    assert (np.abs(left[~closed]) <= 1e-10).all()
    assert (np.diff(drop, axis=0) <= 1e-6 * pump.closed_pa).all()


@given(networks())
def test_zones_agree_with_root_finding_of_a_library(network):
    pump, given_leaks = network
    drop, _ = zone_drops_pa(pump, given_leaks)
    for t in range(3):
        assert drop[t] == pytest.approx(by_library(pump, given_leaks, t), rel=1e-6, abs=1e-3)


def by_library(pump, given_leaks, t):
    """The same network by Brent's method of SciPy, flows written out anew."""
    free = pump.density_kg_m3 / 3600.0

    def row(area_mm2, mat, drop):
        if area_mm2 == 0.0 or mat == 0.0 or drop == 0.0:
            return 0.0
        slit = 0.62 * area_mm2 * 1e-6 * np.sqrt(2.0 * pump.density_kg_m3)
        over = lambda x: slit * np.sqrt(drop - x) - mat * free * (x / 1000.0) ** 0.65  # noqa: E731
        x = brentq(over, 0.0, drop, xtol=1e-12)
        return mat * free * (x / 1000.0) ** 0.65

    def zone(z, plenum):
        def inward(d):
            steady = given_leaks.steady_m3_h[z] * free * (d / 1000.0) ** 0.65
            return steady + row(given_leaks.kerf_mm2[t, z], given_leaks.kerf_mat_m3_h[t, z], d)

        def balance(d):
            return given_leaks.valve_m3_h[z] * free * ((plenum - d) / 1000.0) ** 0.65 - inward(d)

        if plenum == 0.0 or balance(plenum) == 0.0:
            return plenum, 0.0
        d = brentq(balance, 0.0, plenum, xtol=1e-10)
        return d, inward(d)

    def whole(plenum):
        zones = [zone(z, plenum) for z in range(len(given_leaks.valve_m3_h))]
        return pump.mass_kg_s(plenum) - sum(flow for _, flow in zones)

    plenum = pump.closed_pa
    if whole(plenum) < 0.0:
        plenum = brentq(whole, 0.0, pump.closed_pa, xtol=1e-9)
    return [zone(z, plenum)[0] for z in range(len(given_leaks.valve_m3_h))]
