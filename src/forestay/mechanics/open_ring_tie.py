"""Drawing the sutures of an open ring or of its pieces tight: from where the ring came to rest to the knot.

Order counts, as in the eye: the ring is let go, then its sutures are drawn together by the same length until the bag lies
in the middle along them. Friction holds what it can meanwhile.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from forestay.mechanics.open_ring_bag import Setting, Settled, answer_of, sutures_of
from forestay.mechanics.open_ring_joint import Joint
from forestay.mechanics.open_ring_model import Piece
from forestay.mechanics.open_ring_solver import JointState, Pin, Problem, solve_on
from forestay.mechanics.tie import along, drawn
from forestay.mechanics.zonule import Floats


@dataclass
class _Drawing:
    """Rests along the way; each begins from the nearest that was drawn less."""

    rest: Settled
    problem: Problem
    setting: Setting
    towards: Floats
    found: dict[float, JointState]

    def shift_mm(self, draw: float) -> float | None:
        """Where the bag's centre lies along the sutures."""
        if draw not in self.found:
            before = self.found[max(known for known in self.found if known <= draw)]
            rest = solve_on(self.at(draw), before=before)
            if not rest.bag.converged:
                return None
            self.found[draw] = rest
        return float(self.found[draw].bag.centre_mm @ self.towards)

    def pieces(self, draw: float) -> tuple[Piece, ...]:
        """The pieces with their sutures drawn so far."""
        return tuple(replace(piece, drawn_mm=draw if piece.sutured_clocks else 0.0) for piece in self.rest.pieces)

    def at(self, draw: float) -> Problem:
        """The problem with those sutures."""
        return replace(self.problem, pins=sutures_of(self.rest.bag, self.pieces(draw), self.setting))


def tied(rest: Settled, setting: Setting) -> Settled:
    """The same bag with the sutures of its pieces tied.

    Parameters: ``rest`` of the bag with its pieces let go, their sutures just tight; ``setting``. Result: the rest with
    the knot, which its answer tells; as it was where nothing rests, or where the sutures pull against one another and so
    are only tied tight. The longest draw is the fibres' length: an eyelet is not drawn through the wall.
    """
    towards = along([clock for piece in rest.pieces for clock in piece.sutured_clocks])
    if rest.problem is None or rest.found is None or not rest.found.bag.converged or towards is None:
        return rest
    slack = min(_slack_mm(pin, rest.found) for pin in rest.problem.pins)
    start = max(slack, 0.0)
    drawing = _Drawing(rest, rest.problem, setting, towards, {start: rest.found})
    knot = drawn(shift_mm=drawing.shift_mm, from_mm=start, limit_mm=float(rest.bag.springs.fibre_length_mm))
    problem, found, pieces = drawing.at(knot.drawn_mm), drawing.found[knot.drawn_mm], drawing.pieces(knot.drawn_mm)
    answer = answer_of(rest.bag, pieces, setting, problem, found)
    return Settled(rest.bag, pieces, replace(answer, smoothed=rest.answer.smoothed, knot=knot), problem, found)


def let_go(rest: Settled, piece: Piece, setting: Setting) -> Settled | None:
    """The rest of a ring without sutures as that of ``piece``, the same ring with its sutures hanging slack; None where
    they would pull already."""
    if rest.problem is None or rest.found is None:
        return None
    pins = sutures_of(rest.bag, (piece,), setting)
    if min(_slack_mm(pin, rest.found) for pin in pins) < 0:
        return None
    problem = replace(rest.problem, pins=pins)
    found = replace(rest.found, joint=Joint(problem))
    answer = replace(answer_of(rest.bag, (piece,), setting, problem, found), smoothed=rest.answer.smoothed)
    return Settled(rest.bag, (piece,), answer, problem, found)


def _slack_mm(pin: Pin, found: JointState) -> float:
    """How far a suture can be drawn before it pulls [mm]; negative where it pulls."""
    reach = pin.anchor_mm - found.points_mm[pin.arc][:, pin.point]
    return pin.free_length_mm - float(np.hypot(*reach))
