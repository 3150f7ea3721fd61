"""A whole nucleus pushed up flat: forces, drag of the zonule, balance, refinement, and the weakest zonule."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics import flap
from forestay.mechanics.flap import FlapConstants, Prolapse, prolapse

CAPSULE = FlapConstants(0.8, 3.98, 14.0, 1.5, 10.0)
RUBBER = FlapConstants(0.8, 0.0, 14.0, 1.5, 10.0)


@cache
def pushed(ratio: float, zonule: float, thick: float = 4.0, skin: FlapConstants = CAPSULE, **more: Any) -> Prolapse:
    """A nucleus 8 mm wide through an opening 8 / ratio."""
    return prolapse(
        nucleus_diameter_mm=8.0,
        nucleus_thickness_mm=thick,
        capsulorhexis_mm=8.0 / ratio,
        zonule_mn_per_mm=zonule,
        constants=skin,
        **{"rings": 16, "steps": 40, **more},
    )


def test_the_constants_are_those_of_the_evidence() -> None:
    assert default_evidence().reader().constants(FlapConstants) == CAPSULE


@pytest.mark.parametrize(
    ("ratio", "rubber", "capsule", "stretch"),
    [  # the project's earlier, independent program: D 8, T 4, zonule 84.8 mN/mm; peak push in mN, drag in mm
        (1.2, 3.0, 3.2, 0.15),
        (1.3, 6.9, 7.9, 0.24),
        (1.4, 12.0, 15.1, 0.35),
        (1.5, 17.9, 25.5, 0.51),
        (1.6, 24.4, 40.1, 0.71),
    ],
)
def test_the_push_of_an_independent_program(ratio: float, rubber: float, capsule: float, stretch: float) -> None:
    found = pushed(ratio, 84.8)
    assert found.peak_force_mn == pytest.approx(capsule, rel=0.06)
    assert found.zonule_stretch_mm == pytest.approx(stretch, abs=0.06)
    assert pushed(ratio, 84.8, skin=RUBBER).peak_force_mn == pytest.approx(rubber, rel=0.08)


def test_thick_nuclei_are_easier() -> None:
    """The same program: 10.9, 9.3, 8.1 mN for 3.5, 4.5, 5.5 mm through 6 mm."""
    forces = [pushed(8 / 6, 84.8, thick).peak_force_mn for thick in (3.5, 4.5, 5.5)]
    np.testing.assert_allclose(forces, [10.9, 9.3, 8.1], rtol=0.05)


def test_the_capsule_sets_the_force_and_the_zonule_pays() -> None:
    """The same program: from 84.8 to 20 mN/mm the push goes 9.8 to 10.5 mN, the drag 0.27 to 0.80 mm."""
    sound, weak = pushed(8 / 6, 84.8), pushed(8 / 6, 20.0)
    assert weak.peak_force_mn == pytest.approx(sound.peak_force_mn, rel=0.1)
    assert weak.peak_force_mn == pytest.approx(10.5, rel=0.06)
    assert weak.zonule_stretch_mm == pytest.approx(0.80, abs=0.06)
    assert weak.zonule_stretch_mm > 2 * sound.zonule_stretch_mm


@pytest.mark.parametrize("zonule", [10.6, 5.0, 2.5])
def test_the_weakest_zonule_comes_to_rest_at_every_height(zonule: float) -> None:
    found = pushed(8 / 6, zonule)
    assert found.passed
    assert found.unsolved == 0
    assert found.zonule_stretch_mm > pushed(8 / 6, 20.0).zonule_stretch_mm
    assert np.abs(found.force_mn - found.zonule_mn).max() < 2e-3


@pytest.mark.parametrize(("ratio", "zonule"), [(1.1, 84.8), (1.4, 84.8), (1.3, 20.0), (1.5, 10.6)])
def test_the_push_is_what_the_zonule_holds(ratio: float, zonule: float) -> None:
    found = pushed(ratio, zonule)
    assert found.passed
    assert found.unsolved == 0
    assert np.abs(found.force_mn - found.zonule_mn).max() < 1e-3


def test_the_push_is_the_slope_of_the_energy() -> None:
    """At rest the upward push is minus the change of energy with the height of the nucleus, by differences."""
    skin = flap.Skin(np.linspace(3.0, 5.0, 25), 0.014, CAPSULE.law)
    push = flap.Push(skin, 4.0, 2.0, 40.0, 6.5)
    flat = np.stack([skin.rest_mm, np.zeros(25)], axis=1)
    energies = []
    place = flat
    for height in (-0.901, -0.9, -0.899):
        place, solved, _, _ = flap.settle(push, place if height > -0.901 else flat, height, 0.0)
        assert solved
        energies.append(push.energy(place, height))
        if height == -0.9:
            force = push.push_mn(place, height)
    assert force == pytest.approx((energies[2] - energies[0]) / 0.002, rel=1e-3)


def test_stiffness_of_the_whole_by_differences() -> None:
    skin = flap.Skin(np.linspace(3.0, 5.0, 7), 0.014, CAPSULE.law)
    push = flap.Push(skin, 4.0, 2.0, 40.0, 6.5)
    place = np.stack([np.linspace(3.3, 5.1, 7), np.linspace(0.9, 0.1, 7)], axis=1)
    place += 0.03 * np.random.default_rng(5).standard_normal((7, 2))
    height, step = 0.0, 1e-6
    _, gradient, matrix = push.equations(place, height)
    assert push.push_mn(place, height) > 0
    for unknown in range(14):
        shift = np.zeros(14)
        shift[unknown] = step
        higher, lower = place + shift.reshape(7, 2), place - shift.reshape(7, 2)
        slope = (push.energy(higher, height) - push.energy(lower, height)) / (2 * step)
        assert gradient.ravel()[unknown] == pytest.approx(slope, rel=1e-5, abs=1e-4)
        bend = (push.equations(higher, height)[1] - push.equations(lower, height)[1]).ravel() / (2 * step)
        np.testing.assert_allclose(matrix[unknown], bend, rtol=1e-4, atol=1e-2)


def test_finer_rings_bring_the_push_closer_with_order_near_two() -> None:
    forces = [pushed(8 / 6, 84.8, rings=n).peak_force_mn for n in (6, 12, 24)]
    coarse, fine = forces[1] - forces[0], forces[2] - forces[1]
    assert coarse / fine > 2.5
    assert abs(fine) < 0.02 * forces[2]


def test_shorter_steps_and_a_stiffer_nucleus_change_little(monkeypatch: pytest.MonkeyPatch) -> None:
    base = pushed(8 / 6, 84.8)
    assert pushed(8 / 6, 84.8, steps=80).peak_force_mn == pytest.approx(base.peak_force_mn, rel=5e-3)
    monkeypatch.setattr(flap, "CONTACT_LIMIT_MN_PER_MM", 4 * flap.CONTACT_LIMIT_MN_PER_MM)
    harder = pushed.__wrapped__(8 / 6, 84.8)
    assert harder.peak_force_mn == pytest.approx(base.peak_force_mn, rel=5e-3)


def test_twice_the_capsule_on_twice_the_zonule_needs_twice_the_push() -> None:
    double = FlapConstants(0.8, 3.98, 28.0, 1.5, 10.0)
    assert pushed(1.3, 40.0, skin=double, rings=12).peak_force_mn == pytest.approx(
        2 * pushed(1.3, 20.0, rings=12).peak_force_mn, rel=5e-3
    )


def test_pushes_drawn_at_random_all_come_to_rest() -> None:
    source = np.random.default_rng(2)
    for _ in range(4):
        wide = source.uniform(6.5, 9.5)
        found = prolapse(
            nucleus_diameter_mm=wide,
            nucleus_thickness_mm=wide * source.uniform(0.35, 0.65),
            capsulorhexis_mm=wide / source.uniform(1.05, 1.6),
            zonule_mn_per_mm=float(np.exp(source.uniform(np.log(2.3), np.log(150)))),
            constants=CAPSULE,
            rings=12,
        )
        assert found.passed
        assert found.unsolved == 0
        assert np.abs(found.force_mn - found.zonule_mn).max() < 2e-3


@pytest.mark.parametrize(
    ("field", "bad"),
    [("capsulorhexis_mm", 8.0), ("capsulorhexis_mm", 0.0), ("zonule_mn_per_mm", 0.0), ("nucleus_thickness_mm", -1.0)],
)
def test_what_cannot_be_pushed_is_refused_by_name(field: str, bad: float) -> None:
    keys: dict[str, Any] = {
        "nucleus_diameter_mm": 8.0,
        "nucleus_thickness_mm": 4.0,
        "capsulorhexis_mm": 6.0,
        "zonule_mn_per_mm": 20.0,
    }
    with pytest.raises(InvalidInput) as told:
        prolapse(**{**keys, field: bad}, constants=CAPSULE)
    assert told.value.field == field
