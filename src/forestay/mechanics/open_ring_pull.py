"""Pulling on a bag in which an open ring already lies.

The ring is let go first and comes to rest; then the instrument pulls. Every point of the ring keeps the place where it
stuck to the capsule, so the order counts, as it does in the eye. One rest serves all pulls on the same bag.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from forestay.mechanics.bag_model import Bag, Load
from forestay.mechanics.open_ring_bag import (
    SYMMETRIC_ROUNDING_MM,
    Setting,
    Settled,
    answer_of,
    bag_chain,
    even,
    peak_of,
    settle,
)
from forestay.mechanics.open_ring_model import OpenRingState, Peak, Piece
from forestay.mechanics.open_ring_solver import JointState, Problem, solve_on
from forestay.mechanics.open_ring_tie import let_go, tied

ANSWER_STATIONS = 48
"""Of the equator, for an answer that follows a hand: within 3 % of the peaks at 72 (a test holds it)."""
RESTS = ("held", "slid")
"""States of a ring in a bag that have numbers."""


@dataclass(frozen=True)
class RingedBag:
    """A bag at rest with one open ring in it, worked out in that of its two mirror images which comes first."""

    rest: Settled
    piece: Piece
    setting: Setting
    turned: bool
    """Whether it was worked out in the other image."""
    own_image: bool
    """Whether bag and ring are their own mirror image."""

    @property
    def alone(self) -> OpenRingState:
        """Rest without a pull."""
        return self._asked(self._evened(self.rest.answer), turned=self.turned)

    def under(self, load: Load) -> OpenRingState:
        """Rest under ``load``, which comes after the ring has come to rest.

        Mirrored bag, ring and load give the mirrored answer to the last bit. Where no rest is found from there, the
        ring is laid anew with the load on it; where there is none either, the state says so.
        """
        pull, turned = self._worked(load)
        found = self._found(pull)
        its_own = self.own_image and pull.key() == pull.mirrored().key()
        return self._asked(self._evened(found) if its_own else found, turned=turned)

    def peak_under(self, load: Load) -> Peak:
        """What :meth:`under` asks of fibres and hours, without the rest of the answer."""
        pull, _ = self._worked(load)
        solved = self._solved(pull)
        if solved is not None:
            bag, problem, found = solved
            return peak_of(bag, (self.piece,), self.setting, problem, found)
        found_anew = self._found_anew(pull)
        return Peak(found_anew.state, found_anew.bag.peak_stretch_mm, max(found_anew.bag.load_mn))

    def _worked(self, load: Load) -> tuple[Load, bool]:
        """The load in the image that is worked out, and whether it is the other one."""
        pull, turned = load.rounded(), self.turned
        if turned or (self.own_image and pull.mirrored().key() < pull.key()):
            return pull.mirrored(), True
        return pull, turned

    def _solved(self, pull: Load) -> tuple[Bag, Problem, JointState] | None:
        """Rest under a load that comes after the ring was let go; None where there is none from there."""
        before, problem = self.rest.found, self.rest.problem
        if before is None or problem is None or not before.bag.converged:
            return None
        bag = replace(self.rest.bag, load=pull)
        loaded = replace(problem, chain=bag_chain(bag, self.setting)[0])
        found = solve_on(loaded, before=before)
        return (bag, loaded, found) if found.bag.converged else None

    def _found(self, pull: Load) -> OpenRingState:
        """The answer under a load, in the image that was worked out."""
        solved = self._solved(pull)
        if solved is None:
            return self._found_anew(pull)
        bag, problem, found = solved
        answer = answer_of(bag, (self.piece,), self.setting, problem, found)
        return replace(answer, smoothed=self.rest.answer.smoothed)

    def _found_anew(self, pull: Load) -> OpenRingState:
        """The answer with the ring laid under the load; that without a load where nothing holds the bag."""
        if self.rest.found is None:
            return self.rest.answer
        return settle(replace(self.rest.bag, load=pull), (self.piece,), self.setting).answer

    def _evened(self, found: OpenRingState) -> OpenRingState:
        small = abs(found.bag.x_mm) <= SYMMETRIC_ROUNDING_MM
        return replace(found, bag=even(found.bag)) if self.own_image and small else found

    @staticmethod
    def _asked(found: OpenRingState, *, turned: bool) -> OpenRingState:
        return found.mirrored() if turned else found


@lru_cache(maxsize=128)
def ringed(*, bag: Bag, piece: Piece, setting: Setting, tie: bool = False) -> RingedBag:
    """Let an open ring go in a bag and keep what is needed to pull on it.

    Parameters: ``bag`` (its own ``ring``, ``rim`` and ``load`` are not used); ``piece``, one ring with at most one
    suture; ``setting``; ``tie``: its suture is then drawn until the bag is centred, and knotted. Range as
    :func:`forestay.mechanics.open_ring_bag.rest`. Whoever asks about the same ring in the same bag again is given the rest
    that was found.
    """
    if len(piece.sutured_clocks) > 1:
        raise ValueError("a ring that is pulled on has at most one suture")
    given, laid = replace(bag, ring=None, rim=None, load=None).rounded(), piece.rounded()
    other, other_laid = given.mirrored(), laid.mirrored()
    key, other_key = (given.key(), laid.key()), (other.key(), other_laid.key())
    turned = other_key < key
    if turned:
        given, laid = other, other_laid
    rest = None
    if laid.sutured_clocks and not laid.drawn_mm:  # a suture that hangs slack leaves the ring's rest as it is
        bare = ringed(bag=given, piece=replace(laid, sutured_clocks=()), setting=setting).rest
        rest = let_go(bare, laid, setting) if bare.answer.state in RESTS else None
    rest = rest or settle(given, (laid,), setting)
    if tie:
        rest = tied(rest, setting)
    return RingedBag(rest, rest.pieces[0], setting, turned, key == other_key)
