"""The error of a refraction, propagated: against the budget worked out in the evidence (5.1), and its derivatives (3.4)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from forestay.optics import error, formulas
from forestay.optics.error import ErrorConstants, Spreads
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.vergence import VergenceConstants

LENGTHS = (21.0, 23.5, 26.0)
CHAMBER_DEPTH = {21.0: 2.8, 23.5: 3.1, 26.0: 3.4, 30.0: 3.6}
BUDGET = {
    # standard deviations of length, K and lens distance -> SD of the refraction at the three lengths (evidence 5.1)
    (0.03, 0.20, 0.27): (0.65, 0.48, 0.38),
    (0.10, 0.25, 0.30): (0.76, 0.56, 0.44),
    (0.20, 0.25, 0.30): (0.90, 0.67, 0.55),
    (0.10, 0.25, 0.45): (1.02, 0.71, 0.51),
}


def asked(model: LensModel, optics: VergenceConstants, length: float) -> dict[str, Any]:
    known: dict[str, Any] = {
        "model": model,
        "axial_length_mm": length,
        "k_d": 44.0,
        "chamber_depth_mm": CHAMBER_DEPTH[length],
        "constant": AConstant(118.4),
        "vergence_constants": optics,
    }
    return {**known, "power_d": formulas.power_d(target_d=0.0, **known), "lens_shift_mm": 0.0}


@pytest.mark.parametrize("parts", BUDGET)
@pytest.mark.parametrize("at", range(3))
def test_the_error_budget(
    models: dict[str, LensModel], optics: VergenceConstants, parts: tuple[float, float, float], at: int
) -> None:
    # lens power 0.4 / sqrt 3 (0.3 / sqrt 3 at 26 mm), refraction 0.25 D, SRK/T, K 44, as there
    power = (0.3 if LENGTHS[at] == 26.0 else 0.4) / 3**0.5
    sd = error.refraction_sd_d(**asked(models["SRK/T"], optics, LENGTHS[at]), spreads=Spreads(*parts, power, 0.25))
    # printed to 0.01, and worked there from slopes rounded to 0.01, which moves the result by up to 0.0015
    assert sd == pytest.approx(BUDGET[parts][at], abs=0.0065)


@pytest.mark.parametrize("name", ["SRK/T", "Holladay 1", "Hoffer Q", "Haigis"])
@pytest.mark.parametrize(
    ("length", "by_length", "by_k", "by_distance", "by_power"),
    [
        # ranges over the four formulas, K 44 (evidence 3.4)
        (21.0, (2.75, 3.40), (0.72, 0.98), (2.04, 2.23), (0.72, 0.74)),
        (23.5, (2.10, 2.62), (0.72, 0.98), (1.29, 1.35), (0.69, 0.70)),
        (26.0, (1.90, 2.12), (0.77, 0.98), (0.70, 0.75), (0.65, 0.68)),
        (30.0, (1.45, 1.50), (0.94, 1.00), (0.05, 0.11), (0.60, 0.65)),
    ],
)
def test_one_source_of_error_at_a_time(
    *,
    models: dict[str, LensModel],
    optics: VergenceConstants,
    name: str,
    length: float,
    by_length: tuple[float, float],
    by_k: tuple[float, float],
    by_distance: tuple[float, float],
    by_power: tuple[float, float],
) -> None:
    for at, (low, high) in enumerate((by_length, by_k, by_distance, by_power)):
        only = [0.0] * 5
        only[at] = 1.0
        slope = float(error.refraction_sd_d(**asked(models[name], optics, length), spreads=Spreads(*only)))
        # printed to 0.01, and from finite steps: a step of 0.5 D moves the slope by up to 0.003
        assert low - 0.008 <= slope <= high + 0.008


@pytest.mark.parametrize("name", formulas.FORMULAS)
@pytest.mark.parametrize("length", [*LENGTHS, 30.0])
def test_slopes_by_power_and_distance_are_those_of_the_closed_form(
    models: dict[str, LensModel], optics: VergenceConstants, name: str, length: float
) -> None:
    # by hand, with q = 1336 / (Lo - d) - P and s = n + d q / 1000 at emmetropia:
    # dR/dP = -(n / s)^2,  dR/dd = n (n 1336 / (Lo - d)^2 - q^2 / 1000) / s^2
    told = asked(models[name], optics, length)
    eye = models[name].eye(Measured(length, 44.0, CHAMBER_DEPTH[length]), AConstant(118.4))
    n, d, rest = 1.336, eye.lens_distance_mm, eye.optical_length_mm - eye.lens_distance_mm
    q = 1336 / rest - told["power_d"]
    s = n + d * q / 1000
    by_power = error.refraction_sd_d(**told, spreads=Spreads(0, 0, 0, 1, 0))
    by_distance = error.refraction_sd_d(**told, spreads=Spreads(0, 0, 1, 0, 0))
    assert by_power == pytest.approx((n / s) ** 2, rel=1e-6)
    assert by_distance == pytest.approx(abs(n * (n * 1336 / rest**2 - q * q / 1000) / s**2), rel=1e-6)


def test_no_spread_leaves_no_error(models: dict[str, LensModel], optics: VergenceConstants) -> None:
    assert error.refraction_sd_d(**asked(models["T2"], optics, 23.5), spreads=Spreads(0, 0, 0, 0, 0)) == 0


def test_draws_agree_with_the_propagation(models: dict[str, LensModel], optics: VergenceConstants) -> None:
    z = np.random.default_rng(11).standard_normal((4, 40_000))
    told = asked(models["SRK/T"], optics, 23.5)
    drawn = formulas.refraction_d(
        **{
            **told,
            "axial_length_mm": 23.5 + 0.05 * z[0],
            "k_d": 44.0 + 0.1 * z[1],
            "lens_shift_mm": 0.1 * z[2],
            "power_d": told["power_d"] + 0.1 * z[3],
        }
    )
    sd = error.refraction_sd_d(**told, spreads=Spreads(0.05, 0.1, 0.1, 0.1, 0.0))
    assert np.std(drawn) == pytest.approx(float(sd), rel=0.015)  # sampling error of an SD from 40,000 draws: 0.35 %


@pytest.mark.parametrize(
    ("power", "tolerance"), [(0.0, 0.3), (15.0, 0.3), (15.5, 0.4), (25.0, 0.4), (30.0, 0.5), (30.5, 1.0), (-5.0, 0.3)]
)
def test_tolerance_of_the_label(read: Callable[[type[Any]], Any], power: float, tolerance: float) -> None:
    # ISO 11979-2 as quoted in the evidence (section 7), as an even spread
    spread = error.power_sd_d(power_d=power, constants=read(ErrorConstants))
    assert spread == pytest.approx(tolerance / 3**0.5, abs=5e-5)


def test_spreads_by_method_and_position(read: Callable[[type[Any]], Any]) -> None:
    def found(method: Any, *, weak: bool = False, extra: float = 0.0) -> Spreads:
        return error.spreads(method=method, power_d=20.0, weak_zonule=weak, position_spread_mm=extra, read=read)

    optical, immersion, contact = map(found, ("optical", "ultrasound-immersion", "ultrasound-contact"))
    assert optical.length_mm < immersion.length_mm < contact.length_mm == 0.26  # read, 92 eyes
    assert found("optical", weak=True).distance_mm == 0.45
    assert found("optical", extra=0.36).distance_mm == pytest.approx(np.hypot(0.27, 0.36))


def test_at_the_end_of_a_formulas_range_the_slope_is_taken_from_inside(read: Callable[[type[Any]], Any]) -> None:
    """SRK/T answers up to 36 mm (its length term turns there): one SD at 36 mm continues that just below."""
    model, optics = formulas.model("SRK/T", read), read(VergenceConstants)
    spreads = Spreads(0.1, 0.25, 0.3, 0.23, 0.25)

    def sd(length: float) -> float:
        return float(
            error.refraction_sd_d(
                model=model,
                axial_length_mm=length,
                k_d=42.0,
                chamber_depth_mm=None,
                constant=AConstant(118.4),
                power_d=-5.0,
                lens_shift_mm=0.0,
                spreads=spreads,
                vergence_constants=optics,
            )
        )

    assert sd(36.0) == pytest.approx(sd(35.99), rel=2e-3)
    assert np.isnan(sd(36.5))


def test_the_parts_make_up_the_whole(models: dict[str, LensModel], optics: VergenceConstants) -> None:
    told = asked(models["SRK/T"], optics, 23.5)
    found = error.budget(**told, spreads=Spreads(0.1, 0.25, 0.3, 0.23, 0.25))
    assert sum(float(p) ** 2 for p in found.parts_d.values()) == pytest.approx(float(found.sd_d) ** 2, rel=1e-12)
    assert sum(float(found.share(p)) for p in found.parts_d) == pytest.approx(1.0, abs=1e-12)
    for part, only in {
        "length": Spreads(0, 0.25, 0.3, 0.23, 0.25),
        "lens place": Spreads(0.1, 0.25, 0, 0.23, 0.25),
    }.items():
        assert found.without(part) == pytest.approx(float(error.refraction_sd_d(**told, spreads=only)), rel=1e-9)
    # evidence 3.4: a longer eye is more myopic, a lens farther back more hyperopic
    assert found.slopes["length"] < 0 < found.slopes["lens place"]


def test_what_measuring_again_makes_of_the_spreads(read: Callable[[type[Any]], Any]) -> None:
    now = error.spreads(method="ultrasound-contact", power_d=20.0, weak_zonule=False, position_spread_mm=0.0, read=read)
    told = error.remeasured(now, method="ultrasound-contact", read=read)
    # evidence 5.1: length 0.10 by immersion, 0.03 by light; K 0.20 beside 0.25
    assert told["length-by-immersion"].length_mm == 0.10
    assert told["length-by-light"].length_mm == 0.03
    assert told["cornea-again"].k_d == 0.20
    assert error.remeasured(now, method="optical", read=read) == {}
    assert "length-by-immersion" not in error.remeasured(now, method="ultrasound-immersion", read=read)
