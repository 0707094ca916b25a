"""Films of air, wet surfaces and stagnant columns against books and computed values."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.humid_air import (
    latent_heat_j_kg,
    saturation_density_kg_m3,
    vapour_density_kg_m3,
    vapour_diffusivity_m2_s,
    wet_bulb_c,
)
from server.drying.face import open_surface
from server.drying.kernel import Solver
from server.drying.materials import CENTRE
from server.drying.pocket import PocketShape, stagnant_m2_s
from server.drying.transfer import (
    TransferRangeError,
    film,
    forced_nusselt,
    natural_nusselt,
    radiation_w_m2k,
    stefan_correction,
)
from tests.drying.columns import column, evenly_wet, surroundings


@pytest.mark.parametrize(
    ("speed", "layers_mm"),
    [(0.2, (2.44, 3.45, 4.88, 6.90)), (0.6, (1.41, 1.99, 2.82, 3.98)), (1.5, (0.89, 1.26, 1.78, 2.52))],
)
def test_the_layer_on_a_plate(speed: float, layers_mm: tuple[float, ...]) -> None:
    """Laminar plate in air at 20 °C, δ = L/(0.664 Re^½ Sc^⅓), for 25, 50, 100 and 200 mm (computed)."""
    found = [
        float(film(20.0, 0.0086, speed, length, 20.0, 0.0086).layer_m) * 1e3
        for length in (0.025, 0.05, 0.1, 0.2)
    ]
    assert found == pytest.approx(layers_mm, rel=0.005)


@pytest.mark.parametrize("speed", [0.0, 0.6])
def test_thin_air_carries_less_heat_and_more_vapour(speed: float) -> None:
    """Laminar flow and still air alike: Re and Gr^½ go with p, D and α with 1/p: h with p^½, h_m p^−½.

    From the definitions of the numbers; in still air but for the constant 0.68 and what vapour weighs.
    """
    low, high = (film(20.0, 0.006, speed, 0.1, 14.0, 0.012, pressure) for pressure in (101_325.0, 81_060.0))
    assert float(high.heat_w_m2k / low.heat_w_m2k) == pytest.approx(0.8**0.5, rel=0.03)
    assert float(high.mass_m_s / low.mass_m_s) == pytest.approx(0.8**-0.5, rel=0.03)
    assert float(high.vapour_diffusivity_m2_s / low.vapour_diffusivity_m2_s) == pytest.approx(1.25)


def test_a_plate_in_a_wind() -> None:
    """Incropera & DeWitt's mixed plate (from memory): at Re 1e6, Pr 0.7, Nu = (0.037·1e4.8 − 871)·0.888."""
    assert float(forced_nusselt(1e6, 0.7)) == pytest.approx((0.037 * 63095.7 - 871.0) * 0.8879, rel=1e-3)


def test_a_plate_in_still_air() -> None:
    """Churchill & Chu's laminar form (from memory): for air, Pr 0.71, Nu = 0.68 + 0.515 Ra^¼."""
    assert float(natural_nusselt(1e6, 0.71)) == pytest.approx(0.68 + 0.515 * 1e6**0.25, rel=0.005)


def test_radiation_to_the_room() -> None:
    """4 ε σ T³ with ε 0.9 at 21 °C: 5.2 W/m²K (computed)."""
    assert radiation_w_m2k(21.0) == pytest.approx(5.2, abs=0.02)


@pytest.mark.parametrize(("temp", "humidity", "wet"), [(20.7, 45, 13.19), (22, 50, 15.02), (25, 50, 17.46)])
def test_a_wet_surface_in_a_draught(temp: float, humidity: float, wet: float) -> None:
    """Convection alone, Lewis number to the ⅔ (computed): the solver's own balance finds it."""
    vapour = float(vapour_density_kg_m3(temp, humidity))
    medium = column(4, diffusivity_m2_s=1e-6, heat_j_m2k=500.0)
    solver, state = Solver(medium), evenly_wet(medium, 1.0, temp)
    for _ in range(6):
        found = film(temp, vapour, 3.0, 0.05, state.temp_c, saturation_density_kg_m3(state.temp_c))
        around = surroundings(
            float(found.mass_m_s[0]), float(found.heat_w_m2k[0]), temp, vapour, state.temp_c
        )
        state = solver.advance(state, around, 100.0)
    print(f"wet surface at {temp} °C {humidity} %: {state.temp_c[0]:.2f} of {wet} °C")
    assert state.temp_c[0] == pytest.approx(wet, abs=0.05)


def test_radiation_pulls_a_wet_surface_back() -> None:
    medium = column(4, diffusivity_m2_s=1e-6, heat_j_m2k=500.0)
    vapour = float(vapour_density_kg_m3(21.0, 50.0))
    found = film(21.0, vapour, 0.6, 0.025, np.array([15.0]), np.array([0.0128]))
    for_rates = open_surface(found, radiation_w_m2k(21.0))
    assert for_rates.radiation[0] == pytest.approx(5.2, abs=0.02)
    coldest = []
    for heat in (for_rates.convection[0], for_rates.convection[0] + for_rates.radiation[0]):
        solver, state = Solver(medium), evenly_wet(medium, 1.0, 21.0)
        around = surroundings(float(found.mass_m_s[0]), heat, 21.0, vapour, np.array([15.0]))
        coldest.append(float(solver.advance(state, around, 600.0).temp_c[0]))
    assert coldest[0] + 0.5 < coldest[1] < 21.0


class TestStefan:
    """A stagnant column: evaporation goes as one over the depth, and a little faster for its own drift."""

    def test_a_tube(self) -> None:
        """Geankoplis example 6.2-2 (book, inputs secondary): 293 K, 1 atm, 17.54 mmHg, D 0.250e-4 m²/s,
        0.1524 m: 1.593e-7 kmol/m²s. Bird, Stewart & Lightfoot give the same law (chapter from memory).
        """
        wet = 17.54 / 760.0
        concentration = 101.325 / (8.314462618 * 293.0)  # kmol/m³
        flux = 0.250e-4 / 0.1524 * concentration * wet * float(stefan_correction(wet, 0.0))
        print(f"Stefan tube {flux:.4e} of 1.593e-7 kmol/m²s")
        assert flux == pytest.approx(1.593e-7, rel=0.015)

    @pytest.mark.parametrize(("depth_mm", "floor_c", "rate"), [(20, 22.0, 49.10), (50, 22.0, 19.64)])
    def test_a_pocket_in_the_shop(self, depth_mm: float, floor_c: float, rate: float) -> None:
        """Room of 22 °C and 45 %RH, D by Massman (1998, from memory): g/m²h off the floor (computed)."""
        vapour = float(vapour_density_kg_m3(22.0, 45.0))
        wet = saturation_density_kg_m3(np.array([floor_c]))
        still = film(22.0, vapour, 1.0, 0.025, np.array([floor_c]), wet)
        open_mouth = still.times(np.array([1e9]))
        through = PocketShape(depth_mm * 1e-3, CENTRE).exposure((0.001,), open_mouth, 5.2)
        found = float(through.vapour[0, 0, 0] * (wet[0] - vapour)) * 3.6e6
        print(f"pocket {depth_mm} mm: {found:.2f} of {rate} g/m²h")
        assert found == pytest.approx(rate, rel=0.015)
        assert float(still.vapour_diffusivity_m2_s[0]) == pytest.approx(
            float(vapour_diffusivity_m2_s(22.0)), rel=1e-9
        )

    def test_a_floor_at_the_wet_bulb(self) -> None:
        """The same room, 20 mm, the floor at the wet bulb: 15.95 g/m²h by mole fractions (computed).

        The model drives vapour by densities, as its references for joints do: with so cold a floor that
        comes to 7.5 % more. The pocket's own floor never gets so cold.
        """
        vapour, floor = float(vapour_density_kg_m3(22.0, 45.0)), wet_bulb_c(np.array([22.0]), 45.0)
        wet = saturation_density_kg_m3(floor)
        still = film(22.0, vapour, 1.0, 0.025, floor, wet)
        found = float(stagnant_m2_s(still)[0] / 0.02 * (wet[0] - vapour)) * 3.6e6
        print(f"pocket floor at the wet bulb, {floor[0]:.2f} °C: {found:.2f} of 15.95 g/m²h")
        assert found == pytest.approx(1.075 * 15.95, rel=0.005)

    def test_the_floor_of_a_pocket_stays_near_the_room(self) -> None:
        """Little evaporates there, so little is cooled: the closed balance e L = (h + h_r) ΔT by hand."""
        vapour = float(vapour_density_kg_m3(22.0, 45.0))
        medium = column(4, diffusivity_m2_s=1e-6, heat_j_m2k=500.0)
        solver, state = Solver(medium), evenly_wet(medium, 1.0, 22.0)
        still = film(22.0, vapour, 0.6, 0.025, np.array([20.0]), saturation_density_kg_m3(np.array([20.0])))
        through = PocketShape(0.04, CENTRE).exposure((0.001,), still, 5.2)
        conductance = float((through.convection + through.radiation)[0])
        around = surroundings(float(through.vapour[0, 0, 0]), conductance, 22.0, vapour, np.array([20.0]))
        state = solver.advance(state, around, 3600.0)
        evaporating = float(solver.evaporation(state, around)[0, 0])
        cooling = evaporating * float(latent_heat_j_kg(20.0)) / conductance
        assert 22.0 - state.temp_c[0] == pytest.approx(cooling, rel=1e-3)
        assert 22.0 - state.temp_c[0] < 0.33 * (22.0 - float(wet_bulb_c(22.0, 45.0)))

    @given(st.floats(0.0, 0.2), st.floats(0.0, 0.2))
    def test_the_drift_always_helps(self, wet: float, air: float) -> None:
        assert 1.0 <= float(stefan_correction(wet, air)) < 1.3

    def test_a_pocket_without_depth_is_a_face(self) -> None:
        still = film(21.0, 0.009, 0.6, 0.025, np.array([18.0]), np.array([0.015]))
        flat, face = PocketShape(0.0, CENTRE).exposure((0.001,), still, 5.2), open_surface(still, 5.2)
        assert flat.vapour == pytest.approx(face.vapour)
        assert flat.judged_heat == pytest.approx(face.judged_heat)


class TestRange:
    """Outside a correlation's range: an error that names the thing, the value and the limits."""

    @pytest.mark.parametrize(
        ("temp", "speed", "length", "named"),
        [
            (70.0, 0.5, 0.05, ["air temperature", "70 °C", "-10 to 60"]),
            (float("nan"), 0.5, 0.05, ["air temperature", "nan"]),
            (20.0, -0.1, 0.05, ["air speed", "-0.1 m/s", "0 to 20"]),
            (20.0, 25.0, 0.05, ["air speed", "25 m/s"]),
            (20.0, 0.5, 0.0, ["length along the air", "0 m", "0.001 to 3"]),
        ],
    )
    def test_refused(self, temp: float, speed: float, length: float, named: list[str]) -> None:
        with pytest.raises(TransferRangeError) as refused:
            film(temp, 0.005, speed, length, 20.0, 0.01)
        for word in named:
            assert word in str(refused.value)

    @settings(max_examples=50)
    @given(st.floats(0.0, 19.0), st.floats(0.01, 1.0), st.floats(0.002, 2.0))
    def test_more_wind_lets_more_through(self, speed: float, more: float, length: float) -> None:
        slow, fast = (film(21.0, 0.009, v, length, 18.0, 0.0154) for v in (speed, speed + more))
        assert float(fast.mass_m_s) > float(slow.mass_m_s) > 0.0
        assert float(fast.heat_w_m2k) > float(slow.heat_w_m2k)
