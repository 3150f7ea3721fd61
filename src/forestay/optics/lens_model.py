"""What every power formula is to the rest of the house: a model that places a thin lens in an eye."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass

from forestay.answer import Doubt
from forestay.optics.lens_constants import LensConstant
from forestay.optics.values import Number
from forestay.optics.vergence import ThinLensEye


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured of an eye: length [mm], mean corneal power [D, index 1.3375], chamber depth [mm] or None."""

    axial_length_mm: Number
    k_d: Number
    chamber_depth_mm: Number | None


class LensModel(ABC):
    """One formula with its coefficients."""

    __slots__ = ()

    @abstractmethod
    def eye(self, measured: Measured, constant: LensConstant, /) -> ThinLensEye:
        """Corneal power, optical length and lens distance; a constant of another kind is converted."""

    @abstractmethod
    def constant_of(self, measured: Measured, lens_distance_mm: Number, /) -> LensConstant:
        """The constant of this formula's own kind that gives ``lens_distance_mm`` [mm]: the inverse of :meth:`eye`."""

    def refusal(self, _measured: Measured, /) -> str | None:
        """Why this (single) eye cannot be calculated at all, as what would be allowed; None where it can."""
        return None

    def remarks(self, _measured: Measured, /) -> tuple[Doubt, ...]:
        """What must be known of this formula in this (single) eye: limits reached, clamps in force."""
        return ()
