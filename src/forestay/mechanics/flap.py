"""How hard a whole nucleus, pushed up flat, drives the opening, and how far it drags the zonule.

The front capsule is a flat ring of wrinkling skin from the opening's rim to the bag's equator; the equator hangs on the
zonule; the nucleus is a rigid, frictionless ellipsoid that rises under the opening. Everything has the axis of symmetry:
the worst case, lying flat and in the middle. At each height of the nucleus the energy is brought to its minimum by
Newton steps with a shift that acts as damping, so that the rim may slip over the widest place and a slack zonule may
take up, without loss of the solution.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.mechanics.flap_membrane import AROUND, UP, CapsuleLaw, Skin, assemble, energy_of
from forestay.mechanics.geometry import Floats, require, require_positive
from forestay.text import tr

RING_NODES = 24
"""Rings that the front capsule is cut into."""
PUSH_STEPS = 60
"""Heights of the nucleus in one thickness of it."""
NEWTON_ITERATIONS = 1500
"""Newton steps at most for one height."""
RESIDUAL_MN = 1e-5
"""Unbalanced force at a node at which a height counts as solved [mN]."""
CONTACT_LIMIT_MN_PER_MM = 20000.0
"""Stiffness of the nucleus's surface against one ring [mN/mm]: stiff enough to be rigid."""
FIRST_SHIFT, SHIFT_GROWTH, SHIFT_DECAY = 1e-6, 4.0, 0.25
"""Damping added to the stiffness where it is not positive: its first size [mN/mm], growth and decay."""
SHIFT_LIMIT = 1e9
"""Damping at which the search gives up [mN/mm]."""
ARMIJO = 1e-4
"""Share of the promised fall of energy that a step must bring."""
STEP_LIMIT_MM = 0.25
"""Longest move of a node in one step [mm]."""
HALVING_STEPS = 30
"""Halvings of one step at most."""
HEIGHT_LIMIT_SHARE = 6
"""Heights tried at most, in thicknesses of the nucleus at the shortest step."""
ROUNDING = 1e-12
"""Relative rounding of the energy, below which a fall cannot be told from none."""
FREE_FORCE_TOLERANCE = 1e-3
"""Share of the peak force below which a nucleus that is through counts as free."""


@dataclass(frozen=True)
class FlapConstants:
    """The front capsule as skin, from the evidence: ``shear_modulus_mpa`` [MPa], ``stiffening`` [-], ``thickness_um``
    [um], ``zonule_length_mm`` [mm] from the equator to the ciliary ring, ``bag_diameter_mm`` [mm]."""

    PREFIX: ClassVar[str] = "flap"
    shear_modulus_mpa: float
    stiffening: float
    thickness_um: float
    zonule_length_mm: float
    bag_diameter_mm: float

    @property
    def law(self) -> CapsuleLaw:
        """The material alone."""
        return CapsuleLaw(self.shear_modulus_mpa, self.stiffening)


@dataclass(frozen=True)
class Prolapse:
    """One whole push. Arrays by height of the nucleus.

    ``passed``: whether the rim slipped over the widest place; ``peak_force_mn`` upward push needed [mN];
    ``zonule_stretch_mm`` longest stretch of the zonule beyond rest [mm]; ``rim_stretch`` largest stretch of the rim;
    ``lift_mm`` highest equator [mm]; ``height_mm``, ``force_mn``, ``zonule_mn`` along the way, ``zonule_mn`` being
    the upward part of the zonule's pull, equal to the push; ``unsolved``: heights that did not come to rest.
    """

    passed: bool
    peak_force_mn: float
    zonule_stretch_mm: float
    rim_stretch: float
    lift_mm: float
    height_mm: Floats
    force_mn: Floats
    zonule_mn: Floats
    unsolved: int
    iterations: int


@dataclass(frozen=True)
class Push:
    """The parts of one push: the skin, the nucleus's half-axes [mm], the zonule's pull [mN/mm] and its ring [mm]."""

    skin: Skin
    half_width_mm: float
    half_height_mm: float
    zonule_mn_per_mm: float
    ring_radius_mm: float

    @property
    def zonule_length_mm(self) -> float:
        """Length of the zonule at rest [mm]."""
        return float(self.ring_radius_mm - self.skin.rest_mm[-1])

    def energy(self, position: Floats, height_mm: float) -> float:
        """Energy of skin, zonule and contact [mN mm]."""
        stretch = max(self._zonule(position)[0], 0.0)
        depth = np.minimum(self._contact(position, height_mm)[0], 0.0)
        spring = self.zonule_mn_per_mm * stretch**2 + self._contact_stiffness * float(depth @ depth)
        return energy_of(self.skin, position) + spring / 2

    @property
    def _contact_stiffness(self) -> float:
        return CONTACT_LIMIT_MN_PER_MM * self.half_height_mm**2

    def _zonule(self, position: Floats) -> tuple[float, float, Floats]:
        """Stretch, length and direction (from equator outwards)."""
        span = np.array([self.ring_radius_mm - position[-1, AROUND], -position[-1, UP]])
        length = max(float(np.hypot(*span)), ROUNDING)
        return length - self.zonule_length_mm, length, span / length

    def _contact(self, position: Floats, height_mm: float) -> tuple[Floats, Floats]:
        """Depth measure (negative inside the nucleus) and its gradient for each node."""
        axes = np.array([self.half_width_mm, self.half_height_mm])
        away = (position - np.array([0.0, height_mm])) / axes
        level = np.maximum(np.hypot(away[:, AROUND], away[:, UP]), ROUNDING)
        return level - 1, away / (axes * level[:, None])

    def equations(self, position: Floats, height_mm: float) -> tuple[float, Floats, Floats]:
        """Energy, gradient (n + 1, 2) and stiffness of the whole."""
        energy, gradient, matrix = assemble(self.skin, position)
        stretch, length, outward = self._zonule(position)
        if stretch > 0:
            pull = self.zonule_mn_per_mm * stretch
            energy += pull * stretch / 2
            gradient[-1] -= pull * outward
            along = np.outer(outward, outward)
            matrix[-2:, -2:] += self.zonule_mn_per_mm * along + pull / length * (np.eye(2) - along)
        depth, normal = self._contact(position, height_mm)
        for node in np.flatnonzero(depth < 0):
            push, here = self._contact_stiffness * float(depth[node]), normal[node]
            energy += push * float(depth[node]) / 2
            gradient[node] += push * here
            inverse = np.diag(1 / np.array([self.half_width_mm, self.half_height_mm]) ** 2)
            bend = (inverse - np.outer(here, here)) / (1 + depth[node])
            place = slice(2 * node, 2 * node + 2)
            matrix[place, place] += self._contact_stiffness * np.outer(here, here) + push * bend
        return energy, gradient, matrix

    def push_mn(self, position: Floats, height_mm: float) -> float:
        """Upward push of the nucleus on the skin [mN]."""
        depth, normal = self._contact(position, height_mm)
        return float(self._contact_stiffness * (np.maximum(-depth, 0) @ normal[:, UP]))

    def zonule_state(self, position: Floats) -> tuple[float, float]:
        """Stretch of the zonule [mm], 0 when slack, and the downward part of its pull [mN]."""
        stretch, _, outward = self._zonule(position)
        stretch = max(stretch, 0.0)
        return stretch, float(-self.zonule_mn_per_mm * stretch * outward[UP])


def settle(push: Push, position: Floats, height_mm: float, shift: float) -> tuple[Floats, bool, int, float]:
    """The rest nearest below ``position`` for one height: position, whether solved, Newton steps, last damping."""
    energy, gradient, matrix = push.equations(position, height_mm)
    for iteration in range(NEWTON_ITERATIONS):
        if float(np.abs(gradient).max()) < RESIDUAL_MN:
            return position, True, iteration, shift
        step = _downhill(matrix, gradient, shift)
        while step is None and shift < SHIFT_LIMIT:
            shift = max(shift * SHIFT_GROWTH, FIRST_SHIFT)
            step = _downhill(matrix, gradient, shift)
        if step is None:
            return position, False, iteration, FIRST_SHIFT
        step *= min(1.0, STEP_LIMIT_MM / max(float(np.abs(step).max()), ROUNDING))
        slope, share = float((step * gradient).sum()), 1.0
        for _ in range(HALVING_STEPS):
            trial = position + share * step
            if push.energy(trial, height_mm) <= energy + ARMIJO * share * slope + ROUNDING * abs(energy):
                break
            share *= 0.5
        shift = shift * SHIFT_DECAY if share == 1 else max(shift, FIRST_SHIFT) * SHIFT_GROWTH
        position = trial
        energy, gradient, matrix = push.equations(position, height_mm)
    return position, False, NEWTON_ITERATIONS, shift


def _downhill(matrix: Floats, gradient: Floats, shift: float) -> Floats | None:
    shifted = matrix + (shift + FIRST_SHIFT) * np.eye(len(matrix))
    try:
        np.linalg.cholesky(shifted)
    except np.linalg.LinAlgError:
        return None
    return np.asarray(np.linalg.solve(shifted, -gradient.ravel()), dtype=np.float64).reshape(gradient.shape)


def prolapse(
    *,
    nucleus_diameter_mm: float,
    nucleus_thickness_mm: float,
    capsulorhexis_mm: float,
    zonule_mn_per_mm: float,
    constants: FlapConstants,
    rings: int = RING_NODES,
    steps: int = PUSH_STEPS,
) -> Prolapse:
    """Push a nucleus up through the opening, lying flat, until the rim slips over its widest place.

    Parameters: ``nucleus_diameter_mm`` D, ``nucleus_thickness_mm`` T, ``capsulorhexis_mm`` d [mm], above 0, d below
    D and below the bag; ``zonule_mn_per_mm`` stiffness of the whole zonule, above 0 [mN/mm]; ``constants``; ``rings``
    and ``steps`` of the numerical method. Result: :class:`Prolapse`. An opening as wide as the nucleus needs no push
    and is refused here (see :func:`forestay.mechanics.flap_table.prolapse_estimate`).

    The tissue is uncertain several-fold: for comparing openings and supports within one eye, never as a tear load.
    """
    require_positive(
        nucleus_diameter_mm=nucleus_diameter_mm,
        nucleus_thickness_mm=nucleus_thickness_mm,
        capsulorhexis_mm=capsulorhexis_mm,
        zonule_mn_per_mm=zonule_mn_per_mm,
    )
    widest = min(nucleus_diameter_mm, constants.bag_diameter_mm)
    require(
        holds=capsulorhexis_mm < widest,
        field="capsulorhexis_mm",
        value=capsulorhexis_mm,
        allowed=tr("less than {widest:g} mm, the nucleus or the bag", widest=widest),
    )
    rim, equator = capsulorhexis_mm / 2, constants.bag_diameter_mm / 2
    skin = Skin(np.linspace(rim, equator, rings + 1), constants.thickness_um / 1000, constants.law)
    ciliary = equator + constants.zonule_length_mm
    push = Push(skin, nucleus_diameter_mm / 2, nucleus_thickness_mm / 2, zonule_mn_per_mm, ciliary)
    return _raise_nucleus(push, nucleus_thickness_mm / steps, HEIGHT_LIMIT_SHARE * steps)


def _raise_nucleus(push: Push, stride_mm: float, heights: int) -> Prolapse:
    """Height by height; the bag of a weak zonule rises with the nucleus, so its steps may be as much longer."""
    rim = float(push.skin.rest_mm[0])
    height = -push.half_height_mm * float(np.sqrt(max(1 - (rim / push.half_width_mm) ** 2, 0)))
    position = np.stack([push.skin.rest_mm, np.zeros_like(push.skin.rest_mm)], axis=1)
    rows: list[tuple[float, ...]] = []
    unsolved, iterations, shift, peak, stretch, passed = 0, 0, 0.0, 0.0, 0.0, False
    while len(rows) < heights and not passed:
        height += stride_mm * (1 + stretch)
        position, solved, count, shift = settle(push, position, height, shift)
        unsolved, iterations = unsolved + (not solved), iterations + count
        force, (stretch, hold) = push.push_mn(position, height), push.zonule_state(position)
        rows.append((height, force, hold, stretch, position[0, AROUND] / rim, position[-1, UP]))
        peak = max(peak, force)
        passed = bool(position[0, UP] < height and force <= FREE_FORCE_TOLERANCE * peak)
    way = np.array(rows).T
    highest = way.max(axis=1)
    return Prolapse(
        passed=passed,
        peak_force_mn=float(highest[1]),
        zonule_stretch_mm=float(highest[3]),
        rim_stretch=float(highest[4]),
        lift_mm=float(highest[5]),
        height_mm=way[0],
        force_mn=way[1],
        zonule_mn=way[2],
        unsolved=unsolved,
        iterations=iterations,
    )
