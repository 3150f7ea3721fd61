"""Schematic eyes against published powers and an integration of the gradient by a general-purpose solver."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from forestay.calc.biometry import ROWS, schematic_eye
from forestay.evidence import default_evidence
from forestay.optics import schematic
from forestay.optics.schematic import Gradient, SchematicEye

EXPECTED = {
    # evidence on lens power 2.2: power, paraxial length; published powers 58.64, 60.49, 59.94, 60.4, and 60.35 (read)
    "gullstrand-exact": (58.636, 24.385),
    "gullstrand-emsley": (60.483, 23.896),
    "le-grand": (59.940, 24.197),
    "navarro": (60.416, 24.004),
    "liou-brennan": (60.343, 23.950),
}


def eye(name: str) -> SchematicEye:
    row = default_evidence()[ROWS[name]].value  # type: ignore[index]
    return schematic_eye(row)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", EXPECTED)
def test_power_and_length(name: str) -> None:
    found = schematic.cardinal(eye(name))
    power, length = EXPECTED[name]
    assert found.power_d == pytest.approx(power, abs=0.01)
    assert found.paraxial_length_mm == pytest.approx(length, abs=0.001)


def test_the_published_gradient_eye() -> None:
    # Liou and Brennan, J Opt Soc Am A 1997;14:1684, abstract (read): 60.35 D, 23.95 mm
    found = schematic.cardinal(eye("liou-brennan"))
    assert found.power_d == pytest.approx(60.35, abs=0.02)
    assert found.paraxial_length_mm == pytest.approx(23.95, abs=0.01)


BENNETT_RABBETTS = SchematicEye((7.8, 11.0, -6.47515), (1.336, 1.422, 1.336), (3.6, 3.7), corneal_surfaces=1)
ATCHISON = SchematicEye(
    (7.77, 6.40, 11.48, -5.90),
    (1.376, 1.3374, 1.336),
    (0.55, 3.15),
    corneal_surfaces=2,
    gradients=(
        Gradient(1.44, (1.371, 0.0652778, -0.0226659), -0.0020399),
        Gradient(2.16, (1.418, 0.0, -0.0100737), -0.0020399),
    ),
)


@pytest.mark.parametrize(
    ("other", "power", "length"),
    # evidence on lens power 2.2: published 60.00 D; the model of 2006 for a refraction of 0 is 23.58 mm long
    [(BENNETT_RABBETTS, 60.000, 24.086), (ATCHISON, 61.505, 23.572)],
    ids=["bennett-rabbetts", "atchison"],
)
def test_two_more_schematic_eyes(other: SchematicEye, power: float, length: float) -> None:
    found = schematic.cardinal(other)
    assert found.power_d == pytest.approx(power, abs=0.01)
    assert found.paraxial_length_mm == pytest.approx(length, abs=0.001)


@pytest.mark.parametrize(
    ("name", "cornea", "lens"), [("gullstrand-exact", 43.053, 19.111), ("le-grand", 42.356, 21.779)]
)
def test_cornea_and_lens(name: str, cornea: float, lens: float) -> None:
    # evidence on lens power 2.2
    found = schematic.cardinal(eye(name))
    assert found.corneal_power_d == pytest.approx(cornea, abs=0.001)
    assert found.lens_power_d == pytest.approx(lens, abs=0.001)


def test_the_stack_of_slabs_is_of_second_order_and_agrees_with_a_general_solver() -> None:
    part = Gradient(1.59, (1.368, 0.049057, -0.015427), -0.001978)

    def ray(z: float, state: np.ndarray) -> list[float]:
        y, u = state
        return [u / (1.368 + 0.049057 * z - 0.015427 * z * z), 2 * -0.001978 * y]

    columns = [
        solve_ivp(ray, (0, part.thickness_mm), start, rtol=1e-12, atol=1e-14).y[:, -1] for start in ([1, 0], [0, 1])
    ]
    exact = np.array(columns).T
    errors = [abs(schematic.gradient(part, steps=n) - exact).max() for n in (10, 20, 40)]
    assert np.log2(errors[0] / errors[1]) == pytest.approx(2, abs=0.05)
    assert np.log2(errors[1] / errors[2]) == pytest.approx(2, abs=0.05)
    assert abs(schematic.gradient(part) - exact).max() < 1e-7


@pytest.mark.parametrize("name", EXPECTED)
def test_a_passive_eye_keeps_the_invariant(name: str) -> None:
    # Lagrange invariant: the determinant of every paraxial matrix in (y, n u) is 1
    given = eye(name)
    whole = np.eye(2)
    index = 1.0
    for i in range(given.corneal_surfaces):
        whole = (
            schematic.surface(radius_mm=given.radii_mm[i], index_before=index, index_behind=given.indices[i]) @ whole
        )
        index = given.indices[i]
        whole = schematic.gap(thickness_mm=given.gaps_mm[i], index=index) @ whole
    for part in given.gradients:
        whole = schematic.gradient(part) @ whole
    assert np.linalg.det(whole) == pytest.approx(1, abs=1e-12)


def test_a_symmetric_lens_in_water() -> None:
    # evidence on lens power 8.3: index 1.47, thickness 0.8 mm, radius 12.145 mm: surface 11.033 D, whole 22 D
    front = schematic.surface(radius_mm=12.145, index_before=1.336, index_behind=1.47)
    back = schematic.surface(radius_mm=-12.145, index_before=1.47, index_behind=1.336)
    whole = back @ schematic.gap(thickness_mm=0.8, index=1.47) @ front
    assert -1000 * front[1, 0] == pytest.approx(11.033, abs=5e-4)
    assert -1000 * whole[1, 0] == pytest.approx(22.0, abs=1e-3)
