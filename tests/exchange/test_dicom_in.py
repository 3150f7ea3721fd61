"""What instruments send, read strictly. Check values: 337.5 / radius (index 1.3375); 32-bit numbers to 0.01 mm."""

from __future__ import annotations

import io
import zipfile
from contextlib import suppress
from datetime import datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydicom import Dataset

from forestay.errors import ConflictingFact, ForestayError, InvalidInput, MissingInput, UnreadableFile
from forestay.exchange.dicom_in import read_dicom, values_for
from forestay.services.cases import import_case, situation
from forestay.store.memory import MemoryFactStore
from tests.exchange.dicom_objects import axial, axial_eye, cornea, item, keratometry, meridian, segment, whole, written

CASE = b"[person]\nage_years = 74\n[eye]\nside = 'left'\n"


def values(made: Dataset, side: str = "left") -> dict[str, Any]:
    (reading,) = read_dicom(written(made), "x.dcm")
    measured, found, _ = values_for(reading, side)
    return measured | found


def notes(made: Dataset) -> str:
    (reading,) = read_dicom(written(made), "x.dcm")
    return " ".join(values_for(reading, "left")[2])


def test_axial_measurements_are_read_to_a_hundredth() -> None:
    # FL keeps 23.45 as 23.450000762939453
    assert values(axial()) == {
        "biometry.axial_length_method": "ultrasound-immersion",
        "biometry.axial_length_mm": 23.45,
        "biometry.lens_thickness_mm": 4.8,
        "biometry.chamber_depth_mm": 2.9,
    }
    (reading,) = read_dicom(written(axial()))
    assert reading.measured_at == datetime.fromisoformat("2026-03-01T09:12:00+01:00")
    assert (reading.age_years, reading.sex) == (74.0, "female")


def test_both_eyes_give_the_eye_asked_for_and_its_fellow() -> None:
    both = axial(
        laterality="B",
        OphthalmicAxialMeasurementsRightEyeSequence=axial_eye(24.1, LensStatusCodeSequence=("SCT", "309523001")),
    )
    left = values(both)
    assert left["biometry.axial_length_mm"] == 23.45
    assert (left["fellow.axial_length_mm"], left["fellow.operated"]) == (24.1, True)
    assert "fellow.chamber_depth_mm" not in left, "in front of an implant it is another depth"
    with pytest.raises(InvalidInput, match=r"LensStatusCodeSequence \(0022,1024\) in the right eye is pseudophakia"):
        values(both, "right")


@pytest.mark.parametrize(
    ("definition", "cornea_mm", "depth", "said"),
    [
        (("DCM", "111776"), 0.55, 2.9, ""),
        (("DCM", "111777"), 0.55, 3.45, "its thickness was added"),
        (("DCM", "111777"), None, None, "not taken"),
        (None, None, None, "does not say from which surface"),
    ],
)
def test_the_depth_is_taken_only_where_its_beginning_is_known(
    definition: tuple[str, str] | None, cornea_mm: float | None, depth: float | None, said: str
) -> None:
    made = axial()
    selected = made.OphthalmicAxialMeasurementsLeftEyeSequence[0].UltrasoundSelectedOphthalmicAxialLengthSequence[0]
    if cornea_mm is not None:
        selected.SelectedSegmentalOphthalmicAxialLengthSequence.append(segment(("SCT", "28726007"), cornea_mm))
    del made.AnteriorChamberDepthDefinitionCodeSequence
    if definition is not None:
        made.AnteriorChamberDepthDefinitionCodeSequence = item(
            AnteriorChamberDepthDefinitionCodeSequence=definition
        ).AnteriorChamberDepthDefinitionCodeSequence
    assert values(made).get("biometry.chamber_depth_mm") == depth
    assert said in notes(made)
    assert values(made).get("biometry.corneal_thickness_um") == (550 if cornea_mm else None)


def test_without_a_selected_length_the_mean_of_the_unchanged_is_taken_and_said() -> None:
    lengths = [
        item(
            OphthalmicAxialLengthMeasurementsType="TOTAL LENGTH",
            OphthalmicAxialLengthMeasurementsTotalLengthSequence=item(
                OphthalmicAxialLength=length, OphthalmicAxialLengthMeasurementModified=changed
            ),
        )
        for length, changed in ((23.40, "NO"), (23.50, "NO"), (27.0, "YES"))
    ]
    eye = item(
        LensStatusCodeSequence=("SCT", "247049005"),
        VitreousStatusCodeSequence=("SCT", "232077005"),
        OphthalmicAxialLengthMeasurementsSequence=lengths,
    )
    made = axial(OphthalmicAxialMeasurementsLeftEyeSequence=eye)
    read = values(made)
    assert (read["biometry.axial_length_mm"], read["signs.vitrectomy"]) == (23.45, True)
    assert "mean of 2 measurements was taken, 1 changed by hand" in notes(made)


def test_keratometry_is_taken_for_the_house_index() -> None:
    # 337.5 / 7.85 = 42.9936, 337.5 / 7.67 = 44.0026 D
    read = values(keratometry())
    assert read == {
        "biometry.k1_d": 42.99,
        "biometry.k1_axis_deg": 5.0,
        "biometry.k2_d": 44.0,
        "biometry.k2_axis_deg": 95.0,
    }
    # the same radii by an instrument of index 1.332: 332 / 7.85 = 42.2930, 332 / 7.67 = 43.2855
    other = keratometry(cornea(meridian(7.85, 42.293, 5), meridian(7.67, 43.2855, 95)))
    assert values(other) == read
    assert "index 1.3320" in notes(other)


def lens_calculation(**more: Any) -> Dataset:
    eye = item(
        **{
            "TargetRefraction": -0.5,
            "RefractiveProcedureOccurred": "YES",
            "LensThicknessSequence": item(LensThickness=4.6),
            "AnteriorChamberDepthSequence": item(AnteriorChamberDepth=3.1),
            "OphthalmicAxialLengthSequence": item(OphthalmicAxialLength=23.61),
            "FlatKeratometricAxisSequence": meridian(7.85, 42.99, 5),
            "SteepKeratometricAxisSequence": meridian(7.67, 44.00, 95),
            "KeratometerIndex": 1.3375,
            **more,
        }
    )
    return whole("8", 3, IntraocularLensCalculationsLeftEyeSequence=eye)


def test_a_lens_calculation_gives_its_inputs_and_its_target() -> None:
    read = values(lens_calculation())
    assert (read["biometry.axial_length_mm"], read["biometry.lens_thickness_mm"]) == (23.61, 4.6)
    assert (read["biometry.k2_d"], read["target.refraction_d"]) == (44.0, -0.5)
    assert "biometry.chamber_depth_mm" not in read
    assert "refractive surgery" in notes(lens_calculation())


WRONG: list[tuple[str, Dataset, str]] = [
    (
        "cm",
        axial(OphthalmicAxialMeasurementsLeftEyeSequence=axial_eye(2.345)),
        r"\(0022,1019\) in the left eye is 2.345",
    ),
    ("um", axial(OphthalmicAxialMeasurementsLeftEyeSequence=axial_eye(23450)), "allowed: 14 to 40 mm"),
    ("nan", axial(OphthalmicAxialMeasurementsLeftEyeSequence=axial_eye(float("nan"))), "nan; allowed: one number"),
    ("laterality", axial(MeasurementLaterality="R"), r"MeasurementLaterality \(0024,0113\)"),
    ("device", axial(OphthalmicAxialMeasurementsDeviceType="SONAR"), "SONAR; allowed: ULTRASOUND, OPTICAL"),
    (
        "other device",
        axial(OphthalmicAxialMeasurementsDeviceType="OPTICAL"),
        "kind of device whose length was selected",
    ),
    ("method", axial(OphthalmicUltrasoundMethodCodeSequence=("DCM", "1")), r"allowed: 111750 DCM \(ultrasound-contact"),
    (
        "oil",
        axial(OphthalmicAxialMeasurementsLeftEyeSequence=axial_eye(VitreousStatusCodeSequence=("SCT", "247095003"))),
        "silicone oil",
    ),
    (
        "lens",
        axial(OphthalmicAxialMeasurementsLeftEyeSequence=axial_eye(LensStatusCodeSequence=("SCT", "24010005"))),
        "aphakia; allowed: crystalline lens",
    ),
    ("no eye", whole("7", OphthalmicAxialMeasurementsDeviceType="OPTICAL"), "neither eye"),
    ("radius and power exchanged", keratometry(cornea(meridian(42.99, 7.85, 5))), "KeratometricPower"),
    ("radius in m", keratometry(cornea(meridian(0.00785, 42.99, 5))), r"RadiusOfCurvature \(0046,0075\)"),
    ("two corneas", keratometry(cornea(meridian(7.2, 42.99, 5))), "not of one cornea"),
    ("axes", keratometry(cornea(meridian(7.85, 42.99, 60))), "90 degrees apart"),
    ("flat and steep", keratometry(cornea(meridian(7.5, 45.0, 5))), "not steeper than 44 D"),
    ("date", axial(ContentDate=""), r"ContentDate \(0008,0023\)"),
    ("class", whole("2"), "SOPClassUID"),
]


@pytest.mark.parametrize(("made", "told"), [w[1:] for w in WRONG], ids=[w[0] for w in WRONG])
def test_what_cannot_be_is_refused_by_tag_value_and_allowed(made: Dataset, told: str) -> None:
    store = MemoryFactStore()
    import_case(store, CASE, case_id="M-1")
    before = store.links("M-1")
    with pytest.raises(ForestayError, match=told) as caught:
        import_case(store, written(made), name="x.dcm", case_id="M-1")
    assert caught.value.field
    assert caught.value.allowed
    assert store.links("M-1") == before


@pytest.mark.parametrize("missing", ["LensStatusCodeSequence", "VitreousStatusCodeSequence"])
def test_what_the_standard_makes_compulsory_is_asked_for(missing: str) -> None:
    made = axial()
    delattr(made.OphthalmicAxialMeasurementsLeftEyeSequence[0], missing)
    with pytest.raises(MissingInput, match=missing):
        values(made)


def test_the_wrong_eye_is_refused() -> None:
    with pytest.raises(InvalidInput, match="left eye only; the case is about the right eye"):
        values(axial(), "right")


def zipped(*objects: Dataset) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for number, made in enumerate(objects):
            archive.writestr(f"{number}.dcm", written(made))
    return buffer.getvalue()


def test_objects_open_a_case_once_and_name_nobody() -> None:
    store = MemoryFactStore()
    data = zipped(axial(), keratometry())
    assert import_case(store, data, name="M-9.zip").new == 3
    assert import_case(store, data, name="M-9.zip").new == 0
    case = situation(store, "M-9").case
    assert (case.person.age_years, case.eye.side, case.biometry.k1_d) == (74, "left", 42.99)
    assert situation(store, "M-9").disagreements == ()
    assert b"Nobody" not in b"".join(fact.body for fact in store.facts("M-9"))


def test_two_eyes_need_a_choice() -> None:
    both = written(keratometry(laterality="B"))
    with pytest.raises(MissingInput, match="both eyes"):
        import_case(MemoryFactStore(), both, name="k.dcm")
    store = MemoryFactStore()
    import_case(store, both, name="k.dcm", side="right")
    assert situation(store, "k").case.fellow.k2_d == 44.0
    with pytest.raises(InvalidInput, match="about the right eye, not the left"):
        import_case(store, both, name="k.dcm", side="left")


def test_what_differs_from_what_is_kept_is_a_disagreement() -> None:
    store = MemoryFactStore()
    import_case(store, CASE + b"[biometry]\naxial_length_mm = 24.45\nlens_thickness_mm = 4.8\n", case_id="M-1")
    import_case(store, written(axial()), case_id="M-1")
    (told,) = situation(store, "M-1").disagreements
    assert (told.field, told.values) == ("biometry.axial_length_mm", ("24.45 mm", "23.45 mm"))


@pytest.mark.parametrize(
    ("person", "told"),
    [(b"age_years = 70", "age_years is 74, the case says 70"), (b"age_years = 74\nsex = 'male'", "sex is female")],
)
def test_an_object_of_another_person_is_refused(person: bytes, told: str) -> None:
    store = MemoryFactStore()
    import_case(store, CASE.replace(b"age_years = 74", person), case_id="M-1")
    before = store.links("M-1")
    with pytest.raises(InvalidInput, match=told):
        import_case(store, written(axial()), case_id="M-1")
    assert store.links("M-1") == before


def test_one_bad_object_keeps_all_out_and_two_patients_do_not_mix() -> None:
    store = MemoryFactStore()
    with pytest.raises(InvalidInput):
        import_case(store, zipped(axial(), keratometry(cornea(meridian(7.2, 42.99, 5)))), name="a.zip")
    other = keratometry()
    other.PatientID = "X-2"
    with pytest.raises(InvalidInput, match="more than one patient"):
        import_case(store, zipped(axial(), other), name="a.zip")
    assert store.cases() == []


def test_the_same_object_with_other_content_is_refused() -> None:
    store = MemoryFactStore()
    import_case(store, written(axial()), name="a.dcm")
    with pytest.raises(ConflictingFact):
        import_case(store, written(axial(OphthalmicAxialMeasurementsLeftEyeSequence=axial_eye(23.6))), name="a.dcm")


SOUND = [written(axial()), written(keratometry()), written(lens_calculation()), zipped(axial(), keratometry())]


@given(
    data=st.sampled_from(SOUND),
    changes=st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 255)), max_size=6),
    end=st.one_of(st.none(), st.integers(0, 5000)),
)
@settings(max_examples=400)
def test_damaged_bytes_are_one_error_and_nothing_is_kept(
    data: bytes, changes: list[tuple[int, int]], end: int | None
) -> None:
    damaged = bytearray(data)
    for place, value in changes:
        damaged[place % len(damaged)] = value
    store = MemoryFactStore()
    with suppress(ForestayError):
        kept = import_case(store, bytes(damaged[:end]), name="x.dcm")
        assert kept.facts == len(store.facts("x"))
        return
    assert store.cases() == []


@pytest.mark.parametrize("data", SOUND[:3])
def test_an_object_cut_anywhere_is_never_read_as_one_that_says_less(data: bytes) -> None:
    whole_one = read_dicom(data, "x.dcm")
    for end in range(132, len(data), 7):
        try:
            read = read_dicom(data[:end], "x.dcm")
        except ForestayError:
            continue
        assert read == whole_one, "only what stands behind the last value that is read may be missing"


def test_a_cut_object_is_said_to_be_damaged() -> None:
    with pytest.raises(UnreadableFile, match="damaged"):
        read_dicom(SOUND[0][:-100], "x.dcm")


@pytest.mark.parametrize("syntax", ["1.2.840.10008.1.2", "1.2.840.10008.1.2.2"])
def test_every_plain_syntax_is_read_alike(syntax: str) -> None:
    made = axial()
    made.file_meta.TransferSyntaxUID = syntax
    made.OphthalmicAxialMeasurementsLeftEyeSequence.is_undefined_length = True
    made.OphthalmicAxialMeasurementsLeftEyeSequence[0].is_undefined_length_sequence_item = True
    assert read_dicom(written(made)) == read_dicom(SOUND[0])


@pytest.mark.parametrize(("age", "years"), [("074Y", 74), ("898M", 74), ("999W", 19)])
def test_an_age_in_months_or_weeks_is_legal_and_read(age: str, years: float) -> None:
    """PS3.5 table 6.2-1: an age string is three digits and D, W, M or Y."""
    from forestay.exchange.dicom_in import read_dicom

    assert read_dicom(written(axial(PatientAge=age)))[0].age_years == years


def test_what_the_library_says_of_an_odd_object_reaches_no_log(caplog: pytest.LogCaptureFixture) -> None:
    odd = written(axial()).replace(b"2.25.1", b"2.25.x")  # of which the library warns, with the value
    with suppress(ForestayError):
        read_dicom(odd, "x")
    assert caplog.text == ""
