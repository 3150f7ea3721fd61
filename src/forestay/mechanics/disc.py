"""The bag with the lens inside: a rigid disc that hangs on tension-only fibres.

Unknowns are the disc's shift and its turn about its own axis. The energy

    E = sum k_i/2 <|p_i - c_i| - L>+^2 - F x - M turn,    p_i = shift + R (cos(a_i + turn), sin(a_i + turn))

is minimised by damped Newton steps with exact first and second derivatives, all draws at once. Fibres are exact
springs: their direction follows the disc (no small-motion simplification).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.errors import InvalidInput
from forestay.mechanics import fast
from forestay.mechanics.fibres import AT_EQUATOR, Sheet, fibre_order, outward_of
from forestay.mechanics.zonule import HOUR_COUNT, Floats, Hold, ZonuleParameters, directions
from forestay.text import tr

MAX_ITERATIONS = 300  # Newton steps at most
RESIDUAL = 1e-9  # largest unbalanced force, as a share of the healthy zonule's whole resting tension
STEP_CAP_MM = 0.5  # longest step of shift and rim
CHUNK = 1024  # draws worked on together, so that the arrays stay in the processor's cache
SHIFT_START, SHIFT_UP, SHIFT_DOWN, SHIFT_LEAST = 1e-3, 4.0, 0.2, 1e-7  # damping of a Newton step
ENERGY_ROUNDING = 1e-14  # a rise of the energy below this share is rounding
ARMIJO = 1e-4  # share of the promised fall of the energy that a step must bring
HOLD_FIELDS = ("stiffness_mn_per_mm", "length_mm", "overpull_mm")
UNKNOWNS = 3  # shift right, shift up, radius times turn


@dataclass(frozen=True)
class DiscState:
    """Where the disc comes to rest. Arrays have the shape of the draws; the two by clock hour 12 rows (12, 1 .. 11).

    ``x_mm`` (to the examiner's right), ``y_mm`` (up), ``rotation_rad`` (counter-clockwise); ``stretch_mm`` mean stretch
    of the fibres of each clock hour (0 where slack; where an hour has no fibres, that of a fibre which would be there);
    ``tension_mn`` pull of each clock hour, ``hold_tension_mn`` of each instrument; ``state`` is ``held``;
    ``unsupported`` (no fibre, or those left all but slack) or ``overloaded`` (the turning moment is more than the fibres
    bear: no rest exists, see :mod:`forestay.mechanics.disc_limit`); ``iterations`` until rest.
    """

    x_mm: Floats
    y_mm: Floats
    rotation_rad: Floats
    stretch_mm: Floats
    tension_mn: Floats
    hold_tension_mn: Floats
    state: NDArray[np.str_] | str
    iterations: NDArray[np.int64]
    converged: NDArray[np.bool_]

    @property
    def displacement_mm(self) -> Floats:
        """Distance of the disc's centre from its resting place [mm]."""
        return np.hypot(self.x_mm, self.y_mm)


def equilibrium(
    *,
    support: ArrayLike,
    load_x_mn: ArrayLike,
    load_y_mn: ArrayLike,
    torque_mn_mm: ArrayLike,
    parameters: ZonuleParameters,
    fibres_per_hour: int = 1,
    holds: Sequence[Hold] = (),
    sheets: Sequence[Sheet] = (),
    bed_mn_per_mm: float = 0.0,
) -> DiscState:
    """Rest position of a rigid disc on the zonule under a load.

    Parameters: ``support`` (12,) or (12, n), share of healthy support by clock hour 12, 1 .. 11 [0-1]; ``load_x_mn``,
    ``load_y_mn`` [mN] to the examiner's right and up; ``torque_mn_mm`` [mN mm] counter-clockwise; ``parameters``, the
    springs; ``fibres_per_hour``, into how many equal fibres each clock hour is split; ``holds``, instruments;
    ``sheets`` of fibres (none: all at the equator); ``bed_mn_per_mm`` [mN/mm], vitreous that draws the whole rim back.
    Loads and parameters are numbers or arrays (n,). Result: :class:`DiscState`, draws on the last axis.

    Valid while the disc stays inside the ciliary ring (displacement below the fibre length); beyond, the numbers are
    those of the springs alone and the caller must say so. Never raises for a support that fails: see ``state``, which
    speaks of the disc under this load (a slack support that a pull has tightened counts as held: ask without load too).
    Mirrored input gives the mirrored answer to the last bit (without ``holds``).

    >>> springs = ZonuleParameters(5.0, 1.5, 0.2, 10.6, 0.1)
    >>> three_lost = [0.0, 0.0] + [1.0] * 9 + [0.0]
    >>> rest = equilibrium(support=three_lost, load_x_mn=0, load_y_mn=0, torque_mn_mm=0, parameters=springs)
    >>> round(float(rest.y_mm) / 0.2, 3), round(float(rest.tension_mn[2] / springs.resting_load_mn), 3), rest.state
    (-0.653, 1.347, 'held')
    """
    loads = tuple(np.asarray(v, dtype=np.float64) for v in (load_x_mn, load_y_mn, torque_mn_mm))
    compiled = fast.part("fast_disc")
    if compiled is not None and fibres_per_hour == 1 and not sheets and not bed_mn_per_mm:
        share = _checked_support(support)
        quick: DiscState = compiled.equilibrium(share, _shape(share, loads, parameters), loads, parameters, holds)
        return quick
    problem = problem_of(
        support,
        loads,
        parameters,
        fibres_per_hour=fibres_per_hour,
        holds=holds,
        sheets=sheets or AT_EQUATOR,
        bed_mn_per_mm=bed_mn_per_mm,
    )
    found = [problem.part(slice(start, start + CHUNK)).solve() for start in range(0, problem.draws, CHUNK)]
    unknowns = np.concatenate([part[0] for part in found], axis=-1)
    iterations = np.concatenate([part[1] for part in found])
    converged = np.concatenate([part[2] for part in found])
    return problem.state(unknowns, iterations, converged)


@dataclass(frozen=True)
class Problem:
    """All draws as arrays: fibres in rows, draws in columns. Fibres are ordered right half, left half (its mirror
    images in the same order), then those on the 12-6 line and the holds: sums over mirror pairs are then exact.
    ``resting_mn`` is what each would pull at rest in the middle; a hold counts as one healthy clock hour."""

    shape: tuple[int, ...]
    pairs: int
    fibres: int
    hour: NDArray[np.int64]
    out_x: Floats
    out_y: Floats
    stiffness: Floats
    resting_mn: Floats
    free_length: Floats
    anchor: Floats
    radius: Floats
    load: Floats
    unit_mn: Floats
    prestretch: Floats
    slack_share: float
    inset: Floats
    height: Floats
    bed: float

    @property
    def draws(self) -> int:
        return int(self.load.shape[-1])

    @property
    def attached(self) -> Floats | float:
        """Distance of the attachments from the middle, as a share of the radius (1: at the equator)."""
        return 1 - self.inset / self.radius if self.inset.any() else 1.0

    def part(self, columns: slice | NDArray[np.bool_]) -> Problem:
        changed = {
            name: getattr(self, name)[..., columns]
            for name in ("stiffness", "resting_mn", "free_length", "anchor", "radius", "load", "unit_mn", "prestretch")
        }
        return Problem(**{**self.__dict__, **changed})

    def total(self, terms: Floats) -> Floats:
        """Sum over fibres; mirror pairs first, so that the order cannot tell left from right."""
        pairs = self.pairs
        paired: Floats = (terms[:pairs] + terms[pairs : 2 * pairs]).sum(axis=0)
        return np.asarray(paired + terms[2 * pairs :].sum(axis=0), dtype=np.float64)

    def vectors(self, unknowns: Floats) -> tuple[Floats, ...]:
        """Outward unit vector of each attachment, its distance from the middle as a share of the radius, and fibre
        length and direction."""
        turn = unknowns[2] / self.radius
        cos_turn, sin_turn = np.cos(turn), np.sin(turn)
        normal_x = self.out_x * cos_turn - self.out_y * sin_turn
        normal_y = self.out_y * cos_turn + self.out_x * sin_turn
        normal_x, normal_y = normal_x * self.attached, normal_y * self.attached
        along_x = normal_x * self.radius + unknowns[0] - self.out_x * self.anchor
        along_y = normal_y * self.radius + unknowns[1] - self.out_y * self.anchor
        length = np.sqrt(along_x * along_x + along_y * along_y + self.height * self.height)
        length = np.where(length > 0, length, np.finfo(float).tiny)
        return normal_x, normal_y, along_x / length, along_y / length, length

    def evaluate(self, unknowns: Floats) -> tuple[Floats, Floats, Floats]:
        """Energy, gradient (3, n) and Hessian (6, n): xx, xy, yy, xr, yr, rr with r = radius times turn."""
        normal_x, normal_y, unit_x, unit_y, length = self.vectors(unknowns)
        stretch = np.maximum(length - self.free_length, 0.0)
        tension = self.stiffness * stretch
        energy = self.total(tension * stretch) * 0.5 - (self.load * unknowns).sum(axis=0)
        across = unit_y * normal_x - unit_x * normal_y  # fibre direction along the rim, times the attachment's share
        gradient = np.stack([self.total(tension * unit_x), self.total(tension * unit_y), self.total(tension * across)])
        sideways = tension / length
        excess = np.where(stretch > 0, self.stiffness, 0.0) - sideways
        turned = excess * across
        base = self.total(sideways)
        hessian = np.stack(
            [
                base + self.total(excess * unit_x * unit_x),
                self.total(excess * unit_x * unit_y),
                base + self.total(excess * unit_y * unit_y),
                self.total(turned * unit_x - sideways * normal_y),
                self.total(turned * unit_y + sideways * normal_x),
                self.total(sideways * np.square(self.attached))
                + self.total(turned * across - tension * (unit_x * normal_x + unit_y * normal_y) / self.radius),
            ]
        )
        if self.bed:
            turn = unknowns[2] / self.radius
            energy = energy + self.bed * (
                0.5 * (unknowns[0] ** 2 + unknowns[1] ** 2) + self.radius**2 * (1 - np.cos(turn))
            )
            gradient = gradient + self.bed * np.stack([unknowns[0], unknowns[1], self.radius * np.sin(turn)])
            hessian[0] += self.bed
            hessian[2] += self.bed
            hessian[5] += self.bed * np.cos(turn)
        return energy, gradient - self.load, hessian

    def solve(self) -> tuple[Floats, NDArray[np.int64], NDArray[np.bool_]]:
        """Newton steps, each draw on its own; a shift where the Hessian is not positive or the energy does not fall."""
        unknowns = np.zeros((UNKNOWNS, self.draws))
        iterations = np.zeros(self.draws, dtype=np.int64)
        converged = np.zeros(self.draws, dtype=bool)
        left = np.arange(self.draws)
        part = self
        at = unknowns.copy()
        shift = np.zeros(self.draws)
        energy, gradient, hessian = part.evaluate(at)
        for _ in range(MAX_ITERATIONS):
            done = np.abs(gradient).max(axis=0) <= RESIDUAL * part.unit_mn
            if done.any():
                unknowns[:, left[done]] = at[:, done]
                converged[left[done]] = True
                keep = ~done
                left, part, at, shift = left[keep], part.part(keep), at[:, keep], shift[keep]
                energy, gradient, hessian = energy[keep], gradient[:, keep], hessian[:, keep]
            if not left.size:
                break
            iterations[left] += 1
            step, positive = _newton_step(hessian, gradient, shift * part.unit_mn / part.prestretch)
            size = np.sqrt((step * step).sum(axis=0))
            step = step * np.minimum(1.0, STEP_CAP_MM / np.maximum(size, np.finfo(float).tiny))
            trial = at + step
            trial_energy, trial_gradient, trial_hessian = part.evaluate(trial)
            slope = (gradient * step).sum(axis=0)
            rounding = ENERGY_ROUNDING * (np.abs(energy) + part.unit_mn * part.prestretch)
            accept = positive & (trial_energy <= energy + ARMIJO * slope + rounding)
            at = np.where(accept, trial, at)
            energy = np.where(accept, trial_energy, energy)
            gradient = np.where(accept, trial_gradient, gradient)
            hessian = np.where(accept, trial_hessian, hessian)
            shift = np.where(accept, shift * SHIFT_DOWN, np.maximum(shift * SHIFT_UP, SHIFT_START))
            shift = np.where(shift < SHIFT_LEAST, 0.0, shift)
        unknowns[:, left] = at
        return unknowns, iterations, converged

    def state(self, unknowns: Floats, iterations: NDArray[np.int64], converged: NDArray[np.bool_]) -> DiscState:
        """Shift, turn, stretch and pull by clock hour, and whether anything holds the disc."""
        length = self.vectors(unknowns)[4]
        stretch = np.maximum(length - self.free_length, 0.0)
        tension = self.stiffness * stretch
        zonule, hold = slice(0, self.fibres), slice(self.fibres, None)
        per_hour = self.fibres // HOUR_COUNT  # of all sheets together
        order = np.argsort(self.hour[zonule], kind="stable").reshape(HOUR_COUNT, per_hour)
        hour_stretch = np.sort(stretch[zonule][order], axis=1).sum(axis=1) / per_hour  # sorted: mirror images add alike
        hour_tension = np.sort(tension[zonule][order], axis=1).sum(axis=1)
        at_rest = self.total(self.resting_mn)
        held = converged & (at_rest > 0) & (self.total(tension) >= self.slack_share * at_rest)

        def shaped(values: Any) -> Any:
            return values.reshape(values.shape[:-1] + self.shape)

        words = shaped(state_words(held, ~converged & (at_rest > 0) & (self.load[2] != 0)))
        return DiscState(
            x_mm=shaped(unknowns[0]),
            y_mm=shaped(unknowns[1]),
            rotation_rad=shaped(unknowns[2] / self.radius),
            stretch_mm=shaped(hour_stretch),
            tension_mn=shaped(hour_tension),
            hold_tension_mn=shaped(tension[hold]),
            state=str(words) if not self.shape else words,
            iterations=shaped(iterations),
            converged=shaped(converged),
        )


def state_words(held: NDArray[np.bool_], beyond: NDArray[np.bool_]) -> NDArray[np.str_]:
    """State of each draw. ``beyond``: supported and turned, but without rest. Forces alone have no limit in this model."""
    return np.asarray(np.where(held, "held", np.where(beyond, "overloaded", "unsupported")))


def _newton_step(hessian: Floats, gradient: Floats, shift: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Solve the shifted 3 x 3 systems by elimination; second result: where the matrix is positive definite."""
    xx, xy, yy, xr, yr, rr = hessian
    xx, yy, rr = xx + shift, yy + shift, rr + shift
    tiny = np.finfo(float).tiny
    first = np.where(xx > tiny, xx, 1.0)
    ratio_y, ratio_r = xy / first, xr / first
    yy_left, yr_left, rr_left = yy - ratio_y * xy, yr - ratio_y * xr, rr - ratio_r * xr
    second = np.where(yy_left > tiny, yy_left, 1.0)
    ratio = yr_left / second
    last = rr_left - ratio * yr_left
    third = np.where(last > tiny, last, 1.0)
    positive = (xx > tiny) & (yy_left > tiny) & (last > tiny)
    right_x, right_y, right_r = -gradient
    right_y = right_y - ratio_y * right_x
    right_r = right_r - ratio_r * right_x - ratio * right_y
    step_r = right_r / third
    step_y = right_y / second - ratio * step_r
    step_x = right_x / first - ratio_y * step_y - ratio_r * step_r
    return np.where(positive, np.stack([step_x, step_y, step_r]), 0.0), positive


def problem_of(
    support: ArrayLike,
    loads: tuple[Floats, ...],
    parameters: ZonuleParameters,
    *,
    fibres_per_hour: int,
    holds: Sequence[Hold],
    sheets: Sequence[Sheet],
    bed_mn_per_mm: float,
) -> Problem:
    """The discs of all draws, ready to be solved; inputs as :func:`equilibrium`, ``bed_mn_per_mm``: vitreous [mN/mm]."""
    share = _checked_support(support)
    springs = [np.asarray(v, dtype=np.float64) for v in _springs(parameters)]
    shape = _shape(share, loads, parameters)

    def flat(values: Floats) -> Floats:
        return np.broadcast_to(values, shape).reshape(-1).astype(np.float64)

    share = np.broadcast_to(share if share.ndim > 1 else share[:, None], (HOUR_COUNT, *(shape or (1,))))
    radius, fibre, prestretch, total = (flat(v) for v in springs)
    force_x, force_y, torque = (flat(v) for v in loads)
    hour, clock, pairs, sheet = fibre_order(fibres_per_hour, len(sheets))
    fibres = len(hour)
    share_of = np.array([s.share for s in sheets])[sheet] * len(sheets)
    stiffness = share[hour] * total / fibres * share_of[:, None]
    hour_mn = np.broadcast_to(total * prestretch / HOUR_COUNT, (len(holds), radius.size))
    fibre_x, fibre_y = outward_of(clock, pairs)
    hold_x, hold_y = directions(np.array([h.clock for h in holds], dtype=np.float64))
    out_x, out_y = np.concatenate([fibre_x, hold_x]), np.concatenate([fibre_y, hold_y])
    extra = np.empty((len(HOLD_FIELDS), len(holds), radius.size))
    for row, hold in enumerate(holds):
        extra[:, row] = np.array([[getattr(hold, name)] for name in HOLD_FIELDS])
    inset = np.concatenate([np.array([s.inset_mm for s in sheets])[sheet], np.zeros(len(holds))])[:, None]
    height = np.concatenate([np.array([s.height_mm for s in sheets])[sheet], np.zeros(len(holds))])[:, None]
    lengths = np.concatenate([np.broadcast_to(fibre, (fibres, radius.size)), extra[1]])
    stretches = np.concatenate([np.broadcast_to(prestretch, (fibres, radius.size)), extra[2]])
    return Problem(
        shape=shape,
        pairs=pairs,
        fibres=fibres,
        hour=np.concatenate([hour, np.full(len(holds), -1)]),
        out_x=out_x[:, None],
        out_y=out_y[:, None],
        stiffness=np.concatenate([stiffness, extra[0]]),
        resting_mn=np.concatenate([stiffness * prestretch, hour_mn]),
        free_length=_rest_length(lengths, inset, height) - stretches,
        anchor=radius + lengths,
        radius=radius,
        load=np.stack([force_x, force_y, torque / radius]),
        unit_mn=total * prestretch,
        prestretch=prestretch,
        slack_share=parameters.slack_share,
        inset=inset,
        height=height,
        bed=bed_mn_per_mm,
    )


def _springs(parameters: ZonuleParameters) -> tuple[ArrayLike, ...]:
    """Radius, fibre length, pre-stretch and stiffness of the draws."""
    given = parameters
    return given.bag_radius_mm, given.fibre_length_mm, given.prestretch_mm, given.total_stiffness_mn_per_mm


def _shape(support: ArrayLike, loads: tuple[Floats, ...], parameters: ZonuleParameters) -> tuple[int, ...]:
    """Shape of the draws: none, or one axis."""
    shape = np.broadcast_shapes(np.shape(support)[1:], *(np.shape(v) for v in (*loads, *_springs(parameters))))
    if len(shape) > 1:
        raise InvalidInput(tr("draws lie on one axis, the last"), field="support", allowed="(12,) or (12, n)")
    return shape


def _rest_length(lengths: Floats, inset: Floats, height: Floats) -> Floats:
    """Length at rest of fibres whose attachment lies inside and beside the equator."""
    if not inset.any() and not height.any():
        return lengths
    return np.asarray(np.hypot(lengths + inset, height), dtype=np.float64)


def _checked_support(support: ArrayLike) -> Floats:
    share = np.asarray(support, dtype=np.float64)
    if share.shape[:1] != (HOUR_COUNT,) or share.ndim > 2 or not bool(np.all((share >= 0) & (share <= 1))):
        raise InvalidInput(
            tr(
                "support has the shape {shape}; allowed: 12 rows (clock hours 12, 1 .. 11) of numbers 0 to 1",
                shape=share.shape,
            ),
            field="support",
            allowed=tr("12 rows of numbers from 0 to 1"),
        )
    return share
