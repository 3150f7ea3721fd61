"""Which kind of lens may lie where, and why another must not.

The table of kinds and places is evidence (common practice of the trade); the reasons are words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias, get_args

from forestay.optics.positions import Position
from forestay.text import tr

LensKind: TypeAlias = Literal[
    "one-piece-soft", "three-piece", "one-piece-rigid", "iris-claw", "angle-supported", "scleral-haptic"
]
LENS_KINDS: tuple[LensKind, ...] = get_args(LensKind)


@dataclass(frozen=True, slots=True)
class KindPlaces:
    """The positions in which each kind may lie."""

    PREFIX: ClassVar[str] = "lens_kind"
    places: Mapping[str, tuple[str, ...]]


def kinds_for(position: Position, *, places: KindPlaces) -> tuple[LensKind, ...]:
    """The kinds that may lie in ``position``; none without a lens."""
    return tuple(kind for kind in LENS_KINDS if position in places.places[kind])


def kind_words(kind: LensKind) -> str:
    """A kind in the words of the trade."""
    return {
        "one-piece-soft": tr("one-piece soft lens"),
        "three-piece": tr("three-piece lens"),
        "one-piece-rigid": tr("one-piece rigid lens"),
        "iris-claw": tr("iris-claw lens"),
        "angle-supported": tr("angle-supported lens"),
        "scleral-haptic": tr("lens with scleral haptics"),
    }[kind]


def why_not(kind: LensKind, position: Position) -> str:
    """Why ``kind`` must not lie in ``position``; asked only where it may not."""
    by_kind = {
        "one-piece-soft": tr("its soft haptics hold neither suture nor flange"),
        "iris-claw": tr("it holds on iris tissue only"),
        "angle-supported": tr("its footplates are made for the angle"),
        "scleral-haptic": tr("its haptics are made to be anchored in the sclera"),
    }
    if kind == "one-piece-soft" and position in ("sulcus", "optic-capture"):
        return tr("its thick soft haptics chafe the iris: pigment, pressure, bleeding")
    if kind in by_kind:
        return by_kind[kind]
    if position == "anterior-chamber":
        return tr("it is too long and vaulted the wrong way for the angle")
    return tr("it has no claws")
