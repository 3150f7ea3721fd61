"""Exact rays against a general-purpose optics package in the same run: ``python -m benchmarks.rays``.

The reference is optiland, with the same eye built in it, its rays made ready before the clock starts, and its numpy
backend. Both trace the same rays to the same plane; the largest difference stands beside each ratio. Ours is timed as a
process has it at once (numpy), and as a server has it (compiled, the extra ``fast``). Then how cost grows with rays, with
eyes at once, and what a whole refraction costs.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from benchmarks.measure import seconds
from forestay.calc.biometry import ROWS, schematic_eye
from forestay.evidence import default_evidence
from forestay.optics import ray_fast, ray_trace, ray_wave, schematic
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.ray_surface import Train, schematic_train, tip
from forestay.optics.ray_trace import Rays, directed
from forestay.optics.thick_eye import Place, ThickEyeConstants, cornea, refraction
from forestay.optics.thick_lens import LensShapeConstants
from forestay.optics.thick_power import Make, Site, Subject
from forestay.optics.vergence import VergenceConstants

RETINA_MM = 24.0
READ = default_evidence().reader().constants


def eye(name: Any) -> Train:
    """A schematic eye of the evidence."""
    return schematic_train(schematic_eye(default_evidence()[ROWS[name]].value))  # type: ignore[arg-type]


def beam(count: int) -> Rays:
    """Rays spread over a pupil of 5 mm."""
    turn = np.arange(count) * 2.4
    radius = 2.5 * np.sqrt((np.arange(count) + 0.5) / count)
    return directed(at_mm=(radius * np.cos(turn), radius * np.sin(turn), -1.0), slope_x=0.0, slope_y=0.0)


def reference(train: Train) -> tuple[Callable[[Rays], Any], Callable[[Any], np.ndarray]]:
    """Optiland's rays of ours, and its trace to the retina."""
    from tests.optics import reference_rays

    made = reference_rays.optic(train, image_mm=RETINA_MM)

    def go(rays: Any) -> np.ndarray:
        made.surfaces.trace(rays)
        return np.array([rays.x, rays.y])

    return reference_rays.real_rays, go


def against_reference(name: str, train: Train) -> None:
    """Time for each ray, ours by numpy and compiled against the reference, as the number of rays grows."""
    ready, go = reference(train)
    print(name)
    for count in (20, 200, 2_000, 20_000):
        rays = beam(count)
        times = 30 if count <= 2_000 else 5
        theirs = min(seconds(partial(go, ready(rays)), 1) for _ in range(times))
        seen = go(ready(rays))

        def ours(rays: Rays = rays) -> np.ndarray:
            return np.array(ray_trace.trace(train, rays).on_plane(depth_mm=RETINA_MM))

        ray_fast.stop()
        plain, apart = seconds(ours, 3 * times), np.abs(ours() - seen).max()
        ray_fast.start()
        quick, apart_quick = seconds(ours, 3 * times), np.abs(ours() - seen).max()
        ray_fast.stop()
        print(
            f"  {count:6,} rays: reference {1e6 * theirs:8.0f} us, numpy {1e6 * plain:7.0f} us ({theirs / plain:5.1f} x), "
            f"compiled {1e6 * quick:6.0f} us ({theirs / quick:5.0f} x, {1e9 * quick / count:5.0f} ns a ray); "
            f"largest difference {max(apart, apart_quick):.0e} mm"
        )


def through_gradients() -> None:
    """The gradient lens: cost and error against the number of steps; the reference is our own at many steps."""
    train, rays = eye("liou-brennan"), beam(200)
    exact = ray_trace.trace(train, rays, gradient_steps=512).along
    print("gradient lens, 200 rays")
    for steps in (2, 4, 8, 16, 24):
        error = np.abs(ray_trace.trace(train, rays, gradient_steps=steps).along - exact).max()
        took = seconds(lambda n=steps: ray_trace.trace(train, rays, gradient_steps=n), 10)
        print(f"  {steps:3} steps: {1e3 * took:6.2f} ms, largest error of a direction {error:.0e}")


def refractions() -> None:
    """A whole refraction through a displaced lens: one eye, and many at once."""
    eyes = READ(ThickEyeConstants)
    place = Place(0.5, 270.0, 0.0, 6.0, 270.0)

    def subject(k_d: Any) -> Subject:
        front = cornea(
            k_mean_d=k_d,
            astigmatism=DoubleAngle(-1.0, 0.0),
            keratometric_index=1.3375,
            thickness_mm=0.54,
            constants=eyes,
        )
        make = Make(1.47, 0.0, 0.0, 0.0, 0.9, READ(LensShapeConstants))
        return Subject(front, 23.5, 3.0, make, Site(4.3, "front"), eyes, READ(VergenceConstants))

    one = subject(44.0).with_lens(power_d=21.0, place=place)
    print(f"refraction of one eye, {len(ray_wave.pupil_grid()[0])} rays")
    for use in (False, True):
        ray_fast.start() if use else ray_fast.stop()
        took = seconds(lambda: refraction(one, constants=READ(VergenceConstants)), 30)
        print(f"  {'compiled' if use else 'numpy':8}: {1e3 * took:6.2f} ms")
    ray_fast.stop()
    for count in (10, 100, 1_000):
        k = np.linspace(40.0, 48.0, count)
        many = subject(k).with_lens(power_d=21.0, place=place)
        took = seconds(lambda e=many: refraction(e, constants=READ(VergenceConstants)), 3)
        print(f"  {count:5,} eyes at once, numpy: {1e3 * took:7.1f} ms, {1e6 * took / count:6.0f} us an eye")


def main() -> None:
    """Print the figures."""
    warnings.simplefilter("ignore")  # the reference's own
    navarro = eye("navarro")
    against_reference("four conic surfaces on the axis", navarro)
    lens = frozenset(s.name for s in navarro.surfaces[-2:])
    moved = navarro.moved(
        lens, shift_mm=(0.4, -0.25, 0.3), turn=tip(tilt_deg=8.0, toward_deg=205.0), about_mm=(0.0, 0.0, 5.6)
    )
    against_reference("the same with the lens displaced and tilted", moved)
    through_gradients()
    refractions()
    length = schematic.cardinal(schematic_eye(default_evidence()[ROWS["navarro"]].value)).paraxial_length_mm  # type: ignore[arg-type]
    print(f"paraxial length of the eye traced {length:.4f} mm")


if __name__ == "__main__":
    main()
