"""What each kind of fact holds. One typed, closed record a kind; units are in the names."""

from __future__ import annotations

import base64
import binascii
import gzip
import re
import zlib
from collections.abc import Callable
from typing import Annotated, Any, ClassVar, Literal
from uuid import UUID

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from forestay.case.fields import check_values, is_field
from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.eye.quantity import allowed, bounds, within
from forestay.eye.records import Hour
from forestay.eye.situation import FINDINGS, Decisions
from forestay.eye.validation import validate
from forestay.record import Record
from forestay.text import tr

Kind = Literal["measured", "found", "decided", "done", "happened", "seen", "planned", "signed", "withdrawn"]
Event = Literal[
    "anterior-capsule-tear",
    "posterior-capsule-tear",
    "zonular-dialysis",
    "vitreous-in-chamber",
    "lens-matter-lost-posteriorly",
    "iris-prolapse",
    "iris-trauma",
    "pupil-constriction",
    "descemet-detachment",
    "tunnel-flap-torn",
    "chamber-unstable",
    "choroidal-haemorrhage",
    "bleeding",
    "device-lost",
    "technique-changed",
    "endophthalmitis",
    "toxic-reaction",
    "corneal-oedema",
    "macular-oedema",
    "retinal-detachment",
    "pressure-rise",
    "wound-leak",
    "lens-displaced",
    "other",
]
Acuity = Literal["uncorrected", "pinhole", "habitual", "best-corrected"]
UNITS: dict[str, str] = {
    "_per_mm2": "cells/mm2",
    "_mmhg": "mmHg",
    "_percent": "%",
    "_clock": "o'clock",
    "_count": "",
    "_deg": "degrees",
    "_mm": "mm",
    "_um": "micrometres",
    "_mn": "mN",
    "_ml": "ml",
    "_mg": "mg",
    "_d": "D",
    "_s": "s",
}
"""Endings that the name of a size may have, and how the unit is printed: no number is kept without its unit."""
PACKED, GZIP, LARGEST_PLAN = b"\x1f\x8b", 31, 50_000_000
"""How packed bytes begin, what unpacks them, and the most that a plan may unpack to."""
LARGEST_CHOICE = 2**53
"""Beyond this, whole numbers are not exact in JSON."""


def _uuid(value: Any) -> Any:
    try:
        return UUID(value) if isinstance(value, str) else value
    except ValueError:
        raise ValueError(tr("an identity as 32 hexadecimal digits (UUID)")) from None


Uuid = Annotated[UUID, BeforeValidator(_uuid)]


def _words(longest: int, *, lines: bool) -> Callable[[str], str]:
    def checked(value: str) -> str:
        control = any(ord(c) < ord(" ") and not (lines and c == "\n") for c in value)
        if not value.strip() or len(value) > longest or control:
            raise ValueError(tr("1 to {longest} characters of text", longest=longest))
        return value

    return checked


def _digest(value: str) -> str:
    if not re.fullmatch("[0-9a-f]{64}", value):
        raise ValueError(tr("64 hexadecimal digits"))
    return value


Name = Annotated[str, AfterValidator(_words(100, lines=False))]
Reason = Annotated[str, AfterValidator(_words(1000, lines=True))]
Digest = Annotated[str, AfterValidator(_digest)]
Sizes = dict[str, float]


class Body(Record):
    """Base of all bodies."""

    KIND: ClassVar[Kind]


class _Values(Body):
    values: dict[str, Any]

    @model_validator(mode="after")
    def _fields_of_the_case_file(self) -> _Values:
        check_values(self.values)
        return self


class Measured(_Values):
    """Numbers read from an instrument or counted, by path of the case file."""

    KIND = "measured"


class Found(_Values):
    """Signs and circumstances, by path of the case file."""

    KIND = "found"


class Decided(Body):
    """A choice, with its reason and what was turned down.

    ``subject`` is a decision that the plan takes (``technique``, ``capsulorhexis_mm``, ``pupil_hooks``, ``ring``,
    ``tunnel_clock``, ``tunnel_chord_mm``, ``tunnel_shape``, ``hook_reach_mm``, ``ring_gap_clock``, ``take_over``,
    ``hand_back``), a field of the case file whose value is settled by it, or any other matter in a few words. Each entry of ``turned_down`` says what and why not.
    """

    KIND = "decided"
    subject: Name
    choice: Any
    reason: Reason
    turned_down: tuple[Reason, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _choice_fits_subject(self) -> Decided:
        if self.subject in FINDINGS:
            raise InvalidInput(
                tr("{subject} is not decided but seen; record the finding.", subject=self.subject),
                field="subject",
                value=self.subject,
                allowed=FINDINGS[self.subject],
            )
        if is_field(self.subject):
            check_values({self.subject: self.choice})
        elif self.subject in Decisions.model_fields and self.choice is not None:
            validate(Decisions, {self.subject: self.choice})
        elif not _is_plain(self.choice):
            raise InvalidInput(
                tr(
                    "The decision on {subject} holds no choice; to leave it to the plan, take it back.",
                    subject=self.subject,
                ),
                field="choice",
                allowed=tr("a word, a number, true or false"),
            )
        return self


def _is_plain(choice: Any) -> bool:
    if isinstance(choice, str):
        return bool(choice.strip())
    return isinstance(choice, int | float) and abs(choice) < LARGEST_CHOICE


def _check_sizes(sizes: Sizes) -> None:
    for name, value in sizes.items():
        if not name.endswith(tuple(UNITS)):
            raise InvalidInput(
                tr("sizes.{name} does not end in a unit.", name=name[:80]),
                field=f"sizes.{name[:80]}",
                value=value,
                allowed=", ".join(UNITS),
            )
        if f"limit.{name}" in default_evidence():
            low, high = bounds(name)
            if not low <= value <= high:
                words = allowed(name)
                raise InvalidInput(
                    tr("sizes.{name} is {value:g}; allowed: {words}.", name=name, value=value, words=words),
                    field=f"sizes.{name}",
                    value=value,
                    allowed=words,
                )


class Done(Body):
    """A step carried out: by whom (a role or pseudonym), with which sizes and devices."""

    KIND = "done"
    step: Name
    by: Name
    sizes: Sizes = Field(default_factory=dict)
    devices: tuple[Name, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _sizes_have_units(self) -> Done:
        _check_sizes(self.sizes)
        return self


class Happened(Body):
    """An event or complication: which, at which step, where by clock hour, how large; ``note`` says what was seen."""

    KIND = "happened"
    event: Event
    step: Name | None = None
    clock_hours: tuple[Hour, ...] = Field(default=(), strict=False)
    sizes: Sizes = Field(default_factory=dict)
    note: Reason | None = None

    @model_validator(mode="after")
    def _sizes_have_units(self) -> Happened:
        _check_sizes(self.sizes)
        return self


class Seen(Body):
    """A visit after surgery. ``day`` counts from the operation; ``refraction_d`` is the spherical equivalent."""

    KIND = "seen"
    day: Annotated[int, Field(ge=0)]
    acuity_logmar: Annotated[float, within("visual_acuity_logmar")] | None = None
    acuity: Literal["CF", "HM", "PL", "NPL"] | None = None
    acuity_type: Acuity | None = None
    pressure_mmhg: Annotated[float, within("pressure_mmhg")] | None = None
    refraction_d: Annotated[float, within("refraction_d")] | None = None
    cylinder_d: Annotated[float, within("magnitude_d")] | None = None
    cylinder_axis_deg: Annotated[float, within("axis_deg")] | None = None
    k1_d: Annotated[float, within("k1_d")] | None = None
    k1_axis_deg: Annotated[float, within("k1_axis_deg")] | None = None
    k2_d: Annotated[float, within("k2_d")] | None = None
    k2_axis_deg: Annotated[float, within("k2_axis_deg")] | None = None
    corneal_thickness_um: Annotated[float, within("corneal_thickness_um")] | None = None
    endothelial_count_per_mm2: Annotated[float, within("endothelial_count_per_mm2")] | None = None

    @model_validator(mode="after")
    def _acuity_has_its_type(self) -> Seen:
        given = self.acuity_logmar is not None or self.acuity is not None
        if self.acuity_logmar is not None and self.acuity is not None:
            raise ValueError(tr("either acuity_logmar or acuity, not both"))
        if given and self.acuity_type is None:
            raise ValueError(tr("acuity with its acuity_type"))
        return self


class Planned(Body):
    """What the plan said then: its exact bytes, and what made it."""

    KIND = "planned"
    plan: str
    """The plan's bytes, base64; packed by gzip (RFC 1952) before that where they begin so, as JSON never does."""
    engine_version: Name
    evidence_digest: Digest
    practice_digest: Digest
    context_digest: Digest

    @model_validator(mode="after")
    def _plan_is_base64(self) -> Planned:
        try:
            _ = self.plan_bytes
        except (binascii.Error, ValueError, zlib.error):
            raise InvalidInput(
                tr("The plan's bytes cannot be read; they are written in base64."),
                field="plan",
                allowed=tr("base64 of the plan's bytes"),
            ) from None
        return self

    @property
    def plan_bytes(self) -> bytes:
        """The plan exactly as it was."""
        kept = base64.b64decode(self.plan, validate=True)
        if not kept.startswith(PACKED):
            return kept
        opened = zlib.decompressobj(GZIP)
        plan = opened.decompress(kept, LARGEST_PLAN)
        if not opened.eof or opened.unused_data:
            raise ValueError(tr("it is cut short, too large or goes on after its end"))
        return plan


def planned(
    plan: bytes, *, engine_version: str, evidence_digest: str, practice_digest: str, context_digest: str
) -> Planned:
    """The body that keeps ``plan`` byte for byte."""
    return Planned(
        plan=base64.b64encode(gzip.compress(plan, mtime=0)).decode(),
        engine_version=engine_version,
        evidence_digest=evidence_digest,
        practice_digest=practice_digest,
        context_digest=context_digest,
    )


class Signed(Body):
    """Somebody stands by the case as it was: the head of its chain at that moment."""

    KIND = "signed"
    head: Digest


class Withdrawn(Body):
    """Takes another fact back, with why. It can itself be taken back."""

    KIND = "withdrawn"
    fact: Uuid
    why: Reason


BODIES: dict[Kind, type[Body]] = {
    body.KIND: body for body in (Measured, Found, Decided, Done, Happened, Seen, Planned, Signed, Withdrawn)
}
