"""The shape of a thick lens from what is known of it: power, index, shape factor, centre thickness.

With the curvatures c1, c2 [1/mm, positive where the centre lies behind], a = n_lens - n and D = c1 - c2, the Coddington
shape factor X = (c1 + c2) / (c1 - c2) gives c1 = (X + 1) D / 2 and c2 = (X - 1) D / 2, and the power in situ

    P / 1000 = a D + k D^2,   k = t a^2 (X^2 - 1) / (4 n_lens)

has the closed solution D = 2 p / (a + sqrt(a^2 + 4 k p)), p = P / 1000, which holds for powers of either sign and for
none. X = 0 is equally convex, X = 1 flat behind, X = -1 flat in front; reversing a lens changes the sign of X.

Principal planes, from the front and the back vertex:  h = n t F2 / (n_lens P),  h' = -n t F1 / (n_lens P).

References: paraxial optics of a thick lens in a medium, e.g. Bennett and Rabbetts, Clinical Visual Optics; Coddington's
shape factor, e.g. Hecht, Optics, ch. 6.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.optics.values import Number, choose


@dataclass(frozen=True, slots=True)
class LensShapeConstants:
    """Optic of a lens of which only the power is known: diameter and edge [mm]."""

    PREFIX: ClassVar[str] = "lens_shape"
    optic_diameter_mm: float
    edge_mm: float


@dataclass(frozen=True, slots=True)
class ThickLens:
    """A lens: curvatures of front and back [1/mm], asphericities Q, index, centre thickness [mm]."""

    front_per_mm: Number
    back_per_mm: Number
    front_asphericity: Number
    back_asphericity: Number
    index: float
    thickness_mm: Number

    def reversed(self) -> ThickLens:
        """The same lens put in back to front."""
        return ThickLens(
            -self.back_per_mm,
            -self.front_per_mm,
            self.back_asphericity,
            self.front_asphericity,
            self.index,
            self.thickness_mm,
        )

    def power_d(self, *, humour_index: float) -> Number:
        """Power in a medium [D]."""
        one, two = self._surfaces_d(humour_index)
        return one + two - self.thickness_mm / (1000 * self.index) * one * two

    def principal_planes_mm(self, *, humour_index: float) -> tuple[Number, Number]:
        """Front principal plane behind the front vertex, back principal plane behind the back vertex [mm].

        In a lens without power they are where those of the weakest lens of this shape would be.
        """
        one, two = self._surfaces_d(humour_index)
        power = self.power_d(humour_index=humour_index)
        scale = humour_index * self.thickness_mm / self.index
        some = np.not_equal(power, 0)
        safe = choose(some, power, 1.0)
        return scale * choose(some, two / safe, 0.5), -scale * choose(some, one / safe, 0.5)

    def _surfaces_d(self, humour_index: float) -> tuple[Number, Number]:
        step = 1000 * (self.index - humour_index)
        return step * self.front_per_mm, -step * self.back_per_mm


def shaped(
    *,
    power_d: Number,
    index: float,
    humour_index: float,
    shape_factor: Number,
    thickness_mm: Number,
    front_asphericity: Number = 0.0,
    back_asphericity: Number = 0.0,
) -> ThickLens:
    """The lens of that power [D], index, Coddington shape factor and centre thickness [mm].

    NaN where no such lens exists (a shape factor beyond 1 in a strong negative lens that is too thick).

    >>> lens = shaped(power_d=22.0, index=1.47, humour_index=1.336, shape_factor=0.0, thickness_mm=0.8)
    >>> round(float(1 / lens.front_per_mm), 3)
    12.145
    """
    a, p = index - humour_index, np.asarray(power_d) / 1000
    k = thickness_mm * a * a * (np.asarray(shape_factor) ** 2 - 1) / (4 * index)
    inside = a * a + 4 * k * p
    steep = 2 * p / (a + np.sqrt(np.where(inside >= 0, inside, np.nan)))
    front, back = 0.5 * (shape_factor + 1) * steep, 0.5 * (shape_factor - 1) * steep
    return ThickLens(
        front_per_mm=front[()],
        back_per_mm=back[()],
        front_asphericity=front_asphericity,
        back_asphericity=back_asphericity,
        index=index,
        thickness_mm=thickness_mm,
    )


def usual_thickness_mm(
    *, power_d: Number, index: float, humour_index: float, shape_factor: Number, constants: LensShapeConstants
) -> Number:
    """Centre thickness [mm] that leaves the usual edge at the rim of the usual optic, by thin-lens curvatures.

    A lens of negative power is as thick in its centre as the edge of a positive one.

    >>> constants = LensShapeConstants(optic_diameter_mm=6.0, edge_mm=0.25)
    >>> round(float(usual_thickness_mm(power_d=22.0, index=1.47, humour_index=1.336, shape_factor=0.0,
    ...                                constants=constants)), 4)
    1.0004
    """
    lens = shaped(
        power_d=np.maximum(power_d, 0),
        index=index,
        humour_index=humour_index,
        shape_factor=shape_factor,
        thickness_mm=0.0,
    )
    return constants.edge_mm - edge_mm(lens, optic_diameter_mm=constants.optic_diameter_mm)


def edge_mm(lens: ThickLens, *, optic_diameter_mm: float) -> Number:
    """Thickness [mm] of a lens at the rim of its optic; negative where its surfaces meet before. A surface that ends
    inside the optic counts as far as it goes.

    >>> lens = shaped(power_d=22.0, index=1.47, humour_index=1.336, shape_factor=0.0, thickness_mm=1.0)
    >>> round(float(edge_mm(lens, optic_diameter_mm=6.0)), 3)
    0.247
    """
    square = (0.5 * optic_diameter_mm) ** 2

    def sag(curvature: Number, asphericity: Number) -> Number:
        inside = np.maximum(1 - (1 + asphericity) * curvature * curvature * square, 0)
        return curvature * square / (1 + np.sqrt(inside))

    front = sag(lens.front_per_mm, lens.front_asphericity)
    return lens.thickness_mm - front + sag(lens.back_per_mm, lens.back_asphericity)
