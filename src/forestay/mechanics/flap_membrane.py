"""The front capsule as a thin rubber-like skin that wrinkles: its energy, forces and stiffness, axis of symmetry kept.

A circle of rest radius rho is carried to radius r and height z. Stretch along the meridian l1 = |dx| / d rho, round the
opening l2 = r / rho. An incompressible skin that cannot be pressed (a tension field): where the width across a pull is
free to shrink below its natural width, the skin wrinkles and carries that pull alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.geometry import Floats

EXPONENT_LIMIT = 60.0
"""Exponent at which the stiffening is cut off, far beyond any tear, so that a wild trial step stays a number."""
SMALLEST_STRETCH = 1e-6
"""Stretch below which a trial step is read as this one."""
AROUND, UP = 0, 1
"""Columns of a position: radius, height."""


@dataclass(frozen=True)
class CapsuleLaw:
    """Material of the skin: ``shear_modulus_mpa`` mu [MPa] at rest; ``stiffening`` b [-], 0 for a neo-Hookean skin.

    Energy per volume: w = (mu / b) (exp(b w0 / mu) - 1), w0 the neo-Hookean energy of the wrinkling skin.
    """

    shear_modulus_mpa: float
    stiffening: float


@dataclass(frozen=True)
class Response:
    """Energy per volume [MPa] at the stretches l1, l2, with its first and second derivatives."""

    energy: Floats
    first: Floats
    second: Floats
    first_first: Floats
    first_second: Floats
    second_second: Floats


def respond(*, meridian: Floats, hoop: Floats, law: CapsuleLaw) -> Response:
    """Energy of the wrinkling skin at meridian and hoop stretch, with derivatives.

    Taut both ways: w0 = (mu/2)(l1^2 + l2^2 + (l1 l2)^-2 - 3). Where l1 <= l2^(-1/2) and l2 > 1 the skin pulls round
    the opening alone: w0 = (mu/2)(l2^2 + 2/l2 - 3); likewise along the meridian alone; slack where neither is above 1.

    Parameters: ``meridian`` l1, ``hoop`` l2 [-], arrays; ``law``. Result: :class:`Response` [MPa]. Any real stretch.

    >>> out = respond(meridian=np.array([0.5]), hoop=np.array([1.5]), law=CapsuleLaw(1.0, 0.0))
    >>> out.first.item(), round(out.second.item(), 4)
    (0.0, 1.0556)

    Reference: Pipkin AC, The relaxed energy density for isotropic elastic membranes, IMA J Appl Math 1986;36:85.
    """
    mu = law.shear_modulus_mpa
    one, two = np.maximum(meridian, SMALLEST_STRETCH), np.maximum(hoop, SMALLEST_STRETCH)
    along, round_it = (one > 1) & (two <= one**-0.5), (two > 1) & (one <= two**-0.5)
    taut = ~along & ~round_it & ((one > 1) | (two > 1))
    one_t, two_t = np.where(taut, one, 1.0), np.where(taut, two, 1.0)
    one_a, two_r = np.where(along, one, 1.0), np.where(round_it, two, 1.0)
    shrink = 1 / (one_t * two_t) ** 2
    energy = one_t**2 + two_t**2 + shrink + _single(one_a) + _single(two_r) - 3
    first = (one_t - shrink / one_t) + (one_a - 1 / one_a**2)
    second = (two_t - shrink / two_t) + (two_r - 1 / two_r**2)
    ff = taut * (1 + 3 * shrink / one_t**2) + along * (1 + 2 / one_a**3)
    ss = taut * (1 + 3 * shrink / two_t**2) + round_it * (1 + 2 / two_r**3)
    fs = taut * 2 * shrink / (one_t * two_t)
    return _stiffen(Response(mu / 2 * energy, mu * first, mu * second, mu * ff, mu * fs, mu * ss), law)


def _single(stretch: Floats) -> Floats:
    return stretch**2 + 2 / stretch - 3


def _stiffen(base: Response, law: CapsuleLaw) -> Response:
    if law.stiffening == 0:
        return base
    rate = law.stiffening / law.shear_modulus_mpa
    factor = np.exp(np.minimum(rate * base.energy, EXPONENT_LIMIT))
    return Response(
        (factor - 1) / rate,
        factor * base.first,
        factor * base.second,
        factor * (base.first_first + rate * base.first**2),
        factor * (base.first_second + rate * base.first * base.second),
        factor * (base.second_second + rate * base.second**2),
    )


@dataclass(frozen=True)
class Skin:
    """A flat ring of skin at rest, cut into rings: ``rest_mm`` (n + 1,) radii, increasing."""

    rest_mm: Floats
    thickness_mm: float
    law: CapsuleLaw

    @property
    def volume(self) -> Floats:
        """Volume of each ring [mm3]."""
        return np.pi * np.diff(self.rest_mm**2) * self.thickness_mm


def assemble(skin: Skin, position: Floats) -> tuple[float, Floats, Floats]:
    """Energy [mN mm], its gradient (n + 1, 2) [mN] and stiffness (2n + 2, 2n + 2) [mN/mm] at ``position`` (n + 1, 2).

    Each ring has one point, at its middle, where both stretches are taken; error falls with the square of the width.
    """
    energy, pulls, parts = ring_terms(skin, position)
    nodes = len(position)
    gradient = np.zeros((nodes, 2))
    gradient[:-1] += pulls[:, :2]
    gradient[1:] += pulls[:, 2:]
    flat = np.bincount(_places(nodes), weights=parts.ravel(), minlength=4 * nodes * nodes)
    return energy, gradient, np.asarray(flat, dtype=np.float64).reshape(2 * nodes, 2 * nodes)


def energy_of(skin: Skin, position: Floats) -> float:
    """Energy alone [mN mm]."""
    meridian, hoop = stretches(skin, position)
    out = respond(meridian=meridian, hoop=hoop, law=skin.law)
    return float(1000 * (skin.volume @ out.energy))


def stretches(skin: Skin, position: Floats) -> tuple[Floats, Floats]:
    """Stretch of each ring along the meridian and round the opening [-]."""
    step = np.diff(position, axis=0)
    length = np.hypot(step[:, AROUND], step[:, UP])
    middle = position[:-1, AROUND] + position[1:, AROUND]
    return length / np.diff(skin.rest_mm), middle / (skin.rest_mm[:-1] + skin.rest_mm[1:])


def ring_terms(skin: Skin, position: Floats) -> tuple[float, Floats, Floats]:
    """Energy, gradient (n, 4) and stiffness (n, 4, 4) of the rings, unknowns (r, z) inside then (r, z) outside."""
    step = np.diff(position, axis=0)
    length = np.maximum(np.hypot(step[:, AROUND], step[:, UP]), SMALLEST_STRETCH)
    width = np.diff(skin.rest_mm)
    meridian, hoop = stretches(skin, position)
    out = respond(meridian=meridian, hoop=hoop, law=skin.law)
    weight = 1000 * skin.volume
    along = step / length[:, None]
    rise = np.concatenate([-along, along], axis=1) / width[:, None]
    swell = np.zeros_like(rise)
    swell[:, 0] = swell[:, 2] = 1 / (skin.rest_mm[:-1] + skin.rest_mm[1:])
    pulls = weight[:, None] * (out.first[:, None] * rise + out.second[:, None] * swell)
    across = np.stack([-along[:, UP], along[:, AROUND]], axis=1)
    turn = np.concatenate([-across, across], axis=1)
    geometric = out.first / (length * width)
    cross = rise[:, :, None] * swell[:, None, :]
    parts = (
        out.first_first[:, None, None] * rise[:, :, None] * rise[:, None, :]
        + out.second_second[:, None, None] * swell[:, :, None] * swell[:, None, :]
        + out.first_second[:, None, None] * (cross + np.swapaxes(cross, 1, 2))
        + geometric[:, None, None] * turn[:, :, None] * turn[:, None, :]
    )
    return float(weight @ out.energy), pulls, weight[:, None, None] * parts


@cache
def _places(nodes: int) -> NDArray[np.intp]:
    """Place of each entry of the rings' stiffness in the whole matrix, flattened."""
    own = 2 * np.arange(nodes - 1)[:, None] + np.arange(4)[None, :]
    return np.asarray(own[:, :, None] * (2 * nodes) + own[:, None, :], dtype=np.intp).ravel()
