"""A lens constant between that of the box and that of one's own eyes, by how many own eyes there are.

    w = n t^2 / (n t^2 + s^2),   A = A_box + w (A_own - A_box)

``t`` is how far surgeons' mean errors lie apart with one lens and method [D], ``s`` the spread of single own eyes [D].
``A_own`` is the mean of the constants that explain each own eye, so it does not depend on what was predicted for them,
and using the drawn constant in a plan does not feed back into it. Inputs: A constants 100 to 130, one length method, one
formula, one lens. Reference: normal-normal shrinkage, Efron and Morris, J Am Stat Assoc 1975;70:311.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from forestay.errors import InvalidInput
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class BetweenSurgeons:
    """How far surgeons' mean refraction errors lie apart with one lens and one method [D, one SD]."""

    PREFIX: ClassVar[str] = "own_constant"
    between_surgeons_d: float


@dataclass(frozen=True, slots=True)
class DrawnConstant:
    """The constant to plan with, and the weight of the own eyes in it, 0 to 1."""

    a: float
    weight: float


def drawn(*, box_a: float, own_a: float, n: int, sd_d: float, constants: BetweenSurgeons) -> DrawnConstant:
    """The box's constant drawn towards that of ``n`` own eyes whose errors spread by ``sd_d`` [D].

    >>> found = drawn(box_a=118.0, own_a=119.0, n=9, sd_d=0.45, constants=BetweenSurgeons(0.15))
    >>> round(found.a, 6), round(found.weight, 6)
    (118.5, 0.5)
    """
    if n < 0 or sd_d <= 0:
        field, value = ("n", n) if n < 0 else ("sd_d", sd_d)
        allowed = tr("0 or more") if n < 0 else tr("above 0")
        raise InvalidInput(
            tr("{field} is {value:g}; allowed: {allowed}.", field=field, value=value, allowed=allowed),
            field=field,
            value=value,
            allowed=allowed,
        )
    apart = constants.between_surgeons_d * constants.between_surgeons_d
    weight = n * apart / (n * apart + sd_d * sd_d)
    return DrawnConstant(box_a + weight * (own_a - box_a), weight)
