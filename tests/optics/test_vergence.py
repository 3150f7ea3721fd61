"""The thin-lens core: vertex, aphakia, back-calculated lens distance, limits."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from forestay.optics import vergence
from forestay.optics.vergence import ThinLensEye, VergenceConstants


@pytest.mark.parametrize(
    ("spectacle", "cornea"),
    [(-10, -8.9286), (-5, -4.7170), (-2, -1.9531), (3, 3.1120), (10, 11.3636), (12, 14.0187)],
)
def test_vertex_of_12_mm(optics: VergenceConstants, spectacle: float, cornea: float) -> None:
    # evidence on lens power 8.3; F / (1 - 0.012 F)
    assert vergence.at_cornea_d(spectacle_d=spectacle, constants=optics) == pytest.approx(cornea, abs=5e-5)
    assert vergence.at_spectacle_d(corneal_d=spectacle / (1 - 0.012 * spectacle), constants=optics) == pytest.approx(
        spectacle, abs=1e-12
    )


def test_an_eye_without_a_lens(optics: VergenceConstants) -> None:
    # evidence on lens power 8.3: cornea 4/3 on K 44, optical length 23.7 mm: +11.18 D
    cornea = (4 / 3 - 1) / (1.3375 - 1) * 44
    for distance in (3.0, 5.2):  # where no lens is does not matter
        eye = ThinLensEye(cornea, 23.7, distance)
        assert vergence.refraction_d(eye=eye, power_d=0.0, constants=optics) == pytest.approx(11.18, abs=0.005)


def test_no_spectacle_corrects_a_far_point_inside_the_vertex_distance(optics: VergenceConstants) -> None:
    assert np.isnan(vergence.at_spectacle_d(corneal_d=-90.0, constants=optics))
    assert np.isfinite(vergence.at_spectacle_d(corneal_d=np.array([-90.0, -80.0]), constants=optics)).tolist() == [
        False,
        True,
    ]


@settings(deadline=None, derandomize=True)
@given(distance=st.floats(2.5, 8.5), power=st.floats(1.0, 35.0), length=st.floats(20.0, 30.0))
def test_back_calculated_distance_is_the_root_that_scipy_finds(
    optics: VergenceConstants, distance: float, power: float, length: float
) -> None:
    cornea = 43.4

    def refraction(d: float) -> float:
        return float(vergence.refraction_d(eye=ThinLensEye(cornea, length, d), power_d=power, constants=optics))

    achieved = refraction(distance)
    found = vergence.lens_distance_mm(
        corneal_power_d=cornea, optical_length_mm=length, power_d=power, refraction_d=achieved, constants=optics
    )
    # the search may meet a second root; it must find ours where forward() is monotone
    if (refraction(2.0) - achieved) * (refraction(9.0) - achieved) < 0:
        root = brentq(lambda d: refraction(d) - achieved, 2.0, 9.0, xtol=1e-12)
        assert found == pytest.approx(root, abs=1e-6)
    assert refraction(float(found)) == pytest.approx(achieved, abs=1e-7)


def test_back_calculation_gives_nothing_where_nothing_explains_the_refraction(optics: VergenceConstants) -> None:
    told: dict[str, Any] = {"corneal_power_d": 43.4, "optical_length_mm": 23.5, "constants": optics}
    assert np.isnan(vergence.lens_distance_mm(power_d=0.0, refraction_d=1.0, **told))
    assert np.isnan(vergence.lens_distance_mm(power_d=-10.0, refraction_d=3.0, **told))
    assert np.isfinite(vergence.lens_distance_mm(power_d=np.array([0.0, 20.0]), refraction_d=0.0, **told)).tolist() == [
        False,
        True,
    ]


def test_the_optical_length_is_the_one_in_which_the_power_fits(optics: VergenceConstants) -> None:
    eye = ThinLensEye(43.4, 24.1, 5.3)
    power = vergence.power_d(eye=eye, target_d=-1.25, constants=optics)
    assert vergence.optical_length_mm(
        corneal_power_d=43.4, lens_distance_mm=5.3, power_d=power, target_d=-1.25, constants=optics
    ) == pytest.approx(24.1, abs=1e-12)
