"""A case file becomes facts, grouped as a surgeon would say them: who, which eye, its length, its cornea, its lens."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

from forestay.case.bodies import Found, Measured
from forestay.case.fact import Fact, new_fact
from forestay.case.fields import SECTIONS
from forestay.eye.records import CaseFile

NAMESPACE = UUID("5f0d6a0e-6f0b-4d1c-9a63-0f6f3c1b7a52")
"""Identities of facts from a case file are made from this, the case and the group: the same file gives the same ids."""

DEVICE = "case-file"


def _keys(section: str, *names: str) -> tuple[str, ...]:
    return tuple(f"{section}.{name}" for name in names)


def _all(section: str) -> tuple[str, ...]:
    return _keys(section, *SECTIONS[section].model_fields)


GROUPS: tuple[tuple[str, type[Measured] | type[Found], tuple[str, ...]], ...] = (
    ("who", Found, _all("person")),
    (
        "eye",
        Found,
        _keys(
            "eye",
            "side",
            "only_eye",
            "visual_acuity_logmar",
            "visual_acuity",
            "light_projection",
            "relative_afferent_defect",
        ),
    ),
    ("pressure", Measured, _keys("eye", "pressure_mmhg")),
    (
        "length",
        Measured,
        _keys(
            "biometry",
            "axial_length_mm",
            "axial_length_method",
            "second_length_mm",
            "second_length_method",
            "old_refraction_d",
            "posterior_segment_scan",
        ),
    ),
    ("keratometry", Measured, _keys("biometry", "k1_d", "k1_axis_deg", "k2_d", "k2_axis_deg", "white_to_white_mm")),
    ("depth", Measured, _keys("biometry", "chamber_depth_mm", "lens_thickness_mm")),
    (
        "cornea",
        Measured,
        (
            *_keys("biometry", "endothelial_count_per_mm2", "corneal_thickness_um"),
            *_keys("signs", "guttae", "corneal_opacity"),
        ),
    ),
    ("fellow", Measured, _all("fellow")),
    ("lens", Found, _all("lens")),
    (
        "zonule",
        Found,
        _keys(
            "signs",
            "pseudoexfoliation",
            "phacodonesis",
            "subluxated",
            "iridodonesis",
            "iris_lens_gap",
            "dialysis_clock_hours",
            "trauma",
        ),
    ),
    ("pupil", Found, _keys("signs", "pupil_dilated_mm", "synechiae", "alpha_blocker")),
    (
        "other signs",
        Found,
        _keys("signs", "vitrectomy", "glaucoma", "filtering_bleb", "retinopathy", "fundus_view", "external_infection"),
    ),
    ("at surgery", Found, _all("surgery")),
    ("theatre", Found, _all("theatre")),
    ("target", Found, _all("target")),
)
"""Name of the group, kind of fact, fields in it. Every field of the case file is in exactly one group."""


def facts_from_case(
    case: CaseFile,
    *,
    case_id: str = "case",
    author: str = DEVICE,
    device: str = DEVICE,
    happened_at: datetime | None = None,
    apart: timedelta = timedelta(0),
) -> list[Fact]:
    """The facts that the case file states, at most one a group; a group of which nothing is known gives none.

    A case file has no times of its own: all facts take the one time given (now, where none is), or lie ``apart`` from
    one another where an invented case is to read like a consultation.
    """
    moment = happened_at or datetime.now(UTC).astimezone()
    known = case.model_dump(mode="json", exclude_none=True)
    facts: list[Fact] = []
    for name, kind, paths in GROUPS:
        values = {path: value for path in paths if (value := _value(known, path)) is not None}
        if values:
            facts.append(
                new_fact(
                    kind(values=values),
                    case=case_id,
                    author=author,
                    device=device,
                    device_sequence=len(facts) + 1,
                    happened_at=moment + apart * len(facts),
                    id=uuid5(NAMESPACE, f"{case_id}/{name}"),
                )
            )
    return facts


def _value(known: dict[str, dict[str, object]], path: str) -> object:
    section, _, key = path.partition(".")
    return known[section].get(key)
