"""The solver against closed forms: constant rate, a slab behind a film, and the balance of water and heat."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.humid_air import latent_heat_j_kg, saturation_density_kg_m3
from server.drying.kernel import Solver
from server.drying.medium import Medium, Surroundings, Wetness
from tests.drying.columns import column, evenly_wet, surroundings, water


class TestConstantRate:
    """While the surface is wet, the rate is the air's."""

    def test_an_insulated_pan(self) -> None:
        """Geankoplis, Transport Processes and Separation Process Principles, example 9.6-3 (book; inputs
        secondary): air at 65.6 °C and 0.010 kg/kg along a pan at 6.1 m/s. The book reads the wet bulb,
        28.9 °C, off the chart; here the surface must find it by itself.
        """
        flow = 1.0373 * 6.1 * 3600.0  # kg/m²h
        heat = 0.0204 * flow**0.8
        assert heat == pytest.approx(62.47, rel=1e-3)
        humid_heat = 1005.0 + 1880.0 * 0.010
        pressure = 101325.0 * 0.010 / (0.010 + 0.62198)
        air_vapour = pressure / (461.52 * (65.6 + 273.15))
        # Lewis's relation in the book's humidities, turned into vapour densities at the wet bulb.
        wet_ratio, wet_c = 0.0255, 28.9
        saturated = float(saturation_density_kg_m3(wet_c))
        transfer = heat / humid_heat * (wet_ratio - 0.010) / (saturated - air_vapour)
        medium = column(4, thickness_m=0.02, diffusivity_m2_s=1e-6, heat_j_m2k=1e3)
        solver, state = Solver(medium), evenly_wet(medium, 1.0, 40.0)
        for _ in range(10):
            around = surroundings(transfer, heat, 65.6, air_vapour, state.temp_c)
            before, state = state, solver.advance(state, around, 60.0)
        rate = float((state.evaporated - before.evaporated)[0]) * 60.0
        print(f"pan: {rate:.4f} kg/m²h of 3.392, {state.temp_c[0]:.2f} °C of 28.9")
        assert rate == pytest.approx(3.392, rel=0.005)
        assert state.temp_c[0] == pytest.approx(28.9, abs=0.1)
        assert rate * 0.457**2 == pytest.approx(0.7085, rel=0.005)

    def test_a_tray_of_wet_solids(self) -> None:
        """Coulson & Richardson vol. 2, example 16.4 (secondary): 100 kg from 30 to 15.5 % water,
        0.0007 kg/m²s over 0.03 m² for each kg dry: 11 673 s.
        """
        area = 0.03 * 70.0
        left = 70.0 * 0.155 / 0.845
        start, end = 30.0 / area, left / area
        medium = column(8, thickness_m=0.05, pores_kg_m3=start / 0.05, diffusivity_m2_s=1e-6)
        transfer = 0.0007 / float(saturation_density_kg_m3(20.0))
        solver, state = Solver(medium), evenly_wet(medium, 1.0, 20.0)
        around = surroundings(transfer, 10.0, 20.0, 0.0, state.temp_c, latent=0.0)
        seconds, step = 0.0, 50.0
        while water(medium, state) > end:
            before, state = water(medium, state), solver.advance(state, around, step)
            seconds += step
        seconds -= step * (end - water(medium, state)) / (before - water(medium, state))
        print(f"tray: {seconds:.0f} s of 11673")
        assert seconds == pytest.approx(11673.0, rel=0.01)


@pytest.mark.parametrize(
    ("biot", "at_02", "at_10"),
    [(0.5, 0.914623, 0.649760), (2.0, 0.766282, 0.302159), (10.0, 0.583262, 0.113496)],
)
def test_a_slab_behind_a_film(biot: float, at_02: float, at_10: float) -> None:
    """Crank, The Mathematics of Diffusion, 2nd ed., surface evaporation, one side sealed (section from
    memory; series computed): fraction left at Fourier number 0.2 and 1. D constant, activity = saturation.
    """
    thickness, pores, diffusivity = 1e-3, 350.0, 1e-9
    medium = column(40, thickness, pores, diffusivity, exponent=0.0, sorption=(1.0, 1.0))
    saturated = float(saturation_density_kg_m3(20.0))
    transfer = biot * diffusivity / thickness * pores / saturated
    solver, state = Solver(medium, tolerance=0.01), evenly_wet(medium, 0.999, 20.0)
    around = surroundings(transfer, 0.0, 20.0, 0.0, state.temp_c, latent=0.0)
    start, fourier = water(medium, state), thickness**2 / diffusivity
    at = []
    for until, since in ((0.2, 0.0), (1.0, 0.2)):
        state = solver.advance(state, around, (until - since) * fourier)
        at.append(water(medium, state) / start)
    print(f"slab Bi {biot}: {at[0]:.6f} of {at_02}, {at[1]:.6f} of {at_10}")
    assert at == pytest.approx([at_02, at_10], abs=1e-3)


def sealed(medium: Medium) -> Surroundings:
    return surroundings(0.0, 0.0, 20.0, 0.0, np.array([20.0]), latent=0.0)


class TestBalance:
    """Water in = water left + water evaporated, whatever the step."""

    @settings(max_examples=20, deadline=None)
    @given(
        st.lists(st.floats(0.0, 1.2), min_size=6, max_size=6),
        st.floats(1e-11, 1e-7),
        st.floats(0.0, 6.0),
        st.floats(1.0, 1e5),
    )
    def test_a_sealed_column_keeps_its_water(
        self, wetness: list[float], diffusivity: float, exponent: float, seconds: float
    ) -> None:
        medium = column(6, diffusivity_m2_s=diffusivity, exponent=exponent)
        even = evenly_wet(medium, 0.5, 20.0)
        state = Wetness(np.array([wetness]), even.surface, even.temp_c, even.evaporated, even.step_s)
        before = water(medium, state)
        solver = Solver(medium)
        state = solver.advance(solver.settle(state, sealed(medium)), sealed(medium), seconds)
        assert water(medium, state) == pytest.approx(before, rel=1e-10, abs=1e-13)
        assert abs(state.evaporated[0]) < 1e-12
        assert state.temp_c[0] == 20.0

    def test_a_sealed_column_evens_out(self) -> None:
        medium = column(6)
        even = evenly_wet(medium, 0.5, 20.0)
        uneven = np.array([[0.9, 0.8, 0.3, 0.2, 0.1, 0.0]])
        state = Wetness(uneven, even.surface, even.temp_c, even.evaporated, 0.5)
        solver = Solver(medium)
        state = solver.advance(state, sealed(medium), 86400.0)
        assert np.ptp(state.saturation) < 1e-6

    @settings(max_examples=20, deadline=None)
    @given(
        st.floats(1e-11, 1e-7),
        st.floats(0.0, 6.0),
        st.floats(1e-4, 0.2),
        st.floats(0.0, 0.9),
        st.floats(0.0, 1.2),
        st.floats(10.0, 1e5),
    )
    def test_an_open_column_loses_what_evaporates(
        self,
        diffusivity: float,
        exponent: float,
        transfer: float,
        humidity: float,
        wet: float,
        seconds: float,
    ) -> None:
        medium = column(5, diffusivity_m2_s=diffusivity, exponent=exponent)
        solver, state = Solver(medium), evenly_wet(medium, wet, 20.0)
        before = water(medium, state)
        vapour = humidity * float(saturation_density_kg_m3(20.0))
        around = surroundings(transfer, 1100.0 * transfer, 20.0, vapour, state.temp_c)
        state = solver.advance(state, around, seconds)
        scale = max(before, abs(float(state.evaporated[0])), 1e-3)
        assert abs(water(medium, state) + float(state.evaporated[0]) - before) < 1e-6 * scale
        assert (state.saturation > -0.01).all()

    def test_heat_lost_by_the_wall_and_taken_from_the_air_is_what_evaporated(self) -> None:
        """First law, an hour with no radiation: L·E = h ∫(T_air − T)dt + C ΔT (computed by small steps)."""
        medium = column(4)
        solver, state = Solver(medium), evenly_wet(medium, 1.0, 21.0)
        around = surroundings(0.01, 11.0, 21.0, 0.009, np.array([17.0]))
        taken, step = 0.0, 2.0
        for _ in range(1800):
            before, state = state, solver.advance(state, around, step)
            taken += 11.0 * step * (21.0 - 0.5 * float((before.temp_c + state.temp_c)[0]))
        wall = 2e4 * (21.0 - float(state.temp_c[0]))
        spent = float(state.evaporated[0]) * float(latent_heat_j_kg(17.0))
        assert spent == pytest.approx(taken + wall, rel=1e-4)


def test_dry_damp_and_driest_air_are_followed_to_equilibrium() -> None:
    """Left alone, every cell comes to the inverse of the sorption curve: S = 0.1 (1 − (1 − RH)^⅓)."""
    for humidity in (0.0, 0.3, 0.8):
        for start in (1.0, 0.05, 0.0):
            medium = column(4)
            solver, state = Solver(medium), evenly_wet(medium, start, 20.0)
            vapour = humidity * float(saturation_density_kg_m3(20.0))
            for _ in range(40):
                state = solver.advance(state, surroundings(0.02, 20.0, 20.0, vapour, state.temp_c), 3600.0)
            expected = 0.1 * (1.0 - (1.0 - humidity) ** (1.0 / 3.0))
            assert state.saturation == pytest.approx(np.full((1, 4), expected), abs=1e-4)
            assert state.temp_c[0] == pytest.approx(20.0, abs=0.01)
