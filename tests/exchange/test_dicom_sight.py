"""Refraction and acuity from DICOM: of a visit after the operation, of the eye before it, and nothing where there is no place."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import pytest
from pydicom.dataset import Dataset

from forestay.case.bodies import Done
from forestay.case.fold import fold
from forestay.errors import ForestayError
from forestay.services.cases import Who, import_case, record
from forestay.store.memory import MemoryFactStore
from tests.exchange.dicom_objects import item, keratometry, whole, written

BEST, UNCORRECTED, PRESCRIPTION = ("SCT", "419775003"), ("SCT", "420050001"), ("DCM", "111687")
CASE = b'[person]\nage_years = 74\n[eye]\nside = "left"\n'


def refraction(sphere: float = -0.25, cylinder: float | None = -1.0, axis: float = 90.0, **more: Any) -> Dataset:
    eye = item(SpherePower=sphere)
    if cylinder is not None:
        eye.CylinderSequence = [item(CylinderPower=cylinder, CylinderAxis=axis)]
    return whole("4", 7, MeasurementLaterality="L", SubjectiveRefractionLeftEyeSequence=[eye], **more)


def acuity(decimal: float = 0.5, kind: tuple[str, str] = BEST, distance: str = "DISTANCE", **more: Any) -> Dataset:
    eye = item(DecimalVisualAcuity=decimal, **more)
    return whole(
        "5",
        8,
        MeasurementLaterality="L",
        ViewingDistanceType=distance,
        VisualAcuityTypeCodeSequence=kind,
        VisualAcuityLeftEyeSequence=[eye],
    )


def kept(*, operated: bool) -> MemoryFactStore:
    store = MemoryFactStore()
    import_case(store, CASE, name="c.toml", case_id="S-1")
    if operated:
        moment = datetime(2026, 2, 1, 9, tzinfo=UTC)
        record(store, "S-1", {UUID(int=1): Done(step="tunnel", by="s1")}, who=Who("a", "d"), happened_at=moment)
    return store


def last(store: MemoryFactStore) -> dict[str, Any]:
    fact = store.facts("S-1")[-1]
    body: dict[str, Any] = json.loads(fact.body)
    return {"kind": fact.header.kind, **body}


def test_after_the_operation_both_belong_to_a_visit_on_its_day() -> None:
    """1 March is day 28 of 1 February. −0.25 −1.00 × 90 is +1.00 × 180 at −1.25, equivalent −0.75. 0.5 is logMAR 0.301 (G1: 6/12)."""
    store = kept(operated=True)
    import_case(store, written(refraction()), name="r.dcm", case_id="S-1")
    assert last(store) == {
        "kind": "seen",
        "day": 28,
        "refraction_d": -0.75,
        "cylinder_d": 1.0,
        "cylinder_axis_deg": 0.0,
    }
    import_case(store, written(acuity()), name="a.dcm", case_id="S-1")
    assert last(store) == {"kind": "seen", "day": 28, "acuity_logmar": 0.301, "acuity_type": "best-corrected"}
    assert import_case(store, written(acuity()), name="a.dcm", case_id="S-1").new == 0


def test_keratometry_after_the_operation_does_not_stand_beside_that_of_the_plan() -> None:
    store = kept(operated=True)
    import_case(store, written(keratometry()), name="k.dcm", case_id="S-1")
    assert last(store) == {
        "kind": "seen",
        "day": 28,
        "k1_d": 42.99,
        "k1_axis_deg": 5.0,
        "k2_d": 44.0,
        "k2_axis_deg": 95.0,
    }
    assert fold(store.facts("S-1")).case.biometry.k1_d is None


def test_before_the_operation_acuity_is_the_eyes_and_its_refraction_has_no_place() -> None:
    store = kept(operated=False)
    import_case(store, written(acuity(0.1)), name="a.dcm", case_id="S-1")
    assert fold(store.facts("S-1")).case.eye.visual_acuity_logmar == 1.0
    done = import_case(store, written(refraction()), name="r.dcm", case_id="S-1")
    assert done.new == 0
    assert "-0.75 D before the operation was not taken" in done.notes[0]


def test_the_fellow_eye_keeps_its_spherical_equivalent() -> None:
    store = kept(operated=False)
    both = refraction()
    both.MeasurementLaterality = "B"
    both.SubjectiveRefractionRightEyeSequence = [item(SpherePower=0.5)]
    import_case(store, written(both), name="r.dcm", case_id="S-1")
    assert fold(store.facts("S-1")).case.fellow.refraction_d == 0.5


@pytest.mark.parametrize("made", [acuity(kind=PRESCRIPTION), acuity(distance="NEAR")])
def test_another_kind_of_acuity_is_left_and_that_is_said(made: Dataset) -> None:
    store = kept(operated=True)
    done = import_case(store, written(made), name="a.dcm", case_id="S-1")
    assert done.new == 0
    assert "was not taken" in done.notes[0]


def test_odd_but_legal_objects_are_read() -> None:
    """No cylinder at all, a plus cylinder, letters beside the line, no distance said."""
    store = kept(operated=True)
    import_case(store, written(refraction(0.0, None)), name="r.dcm", case_id="S-1")
    assert last(store) == {"kind": "seen", "day": 28, "refraction_d": 0.0}
    store = kept(operated=True)
    import_case(store, written(refraction(-1.0, 0.5, 10.0)), name="r.dcm", case_id="S-1")
    assert (last(store)["refraction_d"], last(store)["cylinder_axis_deg"]) == (-0.75, 10.0)
    made = acuity(1.25, UNCORRECTED, VisualAcuityModifiers=-2)
    del made.ViewingDistanceType
    done = import_case(store, written(made), name="a.dcm", case_id="S-1")
    assert last(store)["acuity_logmar"] == -0.097
    assert "letters" in done.notes[0]


@pytest.mark.parametrize(
    ("made", "field"),
    [
        (refraction(-99.0), "SpherePower (0046,0146)"),
        (refraction(0.0, 30.0), "CylinderPower (0046,0147)"),
        (refraction(0.0, 1.0, 200.0), "CylinderAxis (0022,0009)"),
        (acuity(0.0), "DecimalVisualAcuity (0046,0137)"),
        (acuity(20.0), "DecimalVisualAcuity (0046,0137)"),
        (acuity(kind=("SCT", "1")), "VisualAcuityTypeCodeSequence (0046,0121)"),
        (acuity(distance="FAR"), "ViewingDistanceType (0046,0125)"),
    ],
)
def test_what_cannot_be_is_refused_by_its_tag(made: Dataset, field: str) -> None:
    store = kept(operated=True)
    before = len(store.facts("S-1"))
    with pytest.raises(ForestayError) as told:
        import_case(store, written(made), name="x.dcm", case_id="S-1")
    assert told.value.field == field
    assert len(store.facts("S-1")) == before
