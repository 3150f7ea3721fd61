"""One case as DICOM objects: axial measurements, keratometry, the sheet as an encapsulated document, in a ZIP file.

The patient is the case's name and nothing else. The same case, as it stands, gives the same identities.
"""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast
from uuid import UUID, uuid5

from forestay.evidence import default_evidence
from forestay.exchange import dicom_terms as terms
from forestay.eye.records import CaseFile
from forestay.text import tr

NAMESPACE = UUID("e0b7a6a5-5d5b-4c55-8a0c-6f1d9a5d3b10")
WRITTEN_BY = "Forestay"
MEANING_LENGTH = 64
SEX = {"female": "F", "male": "M"}
PREFIX_OF_UUID = "2.25."
"""Root of identities that are made from a UUID (PS3.5 annex B.2)."""


@dataclass(frozen=True, slots=True)
class Going:
    """What goes out of one case: its name, its state, the times, the sheet."""

    case_id: str
    case: CaseFile
    head: int
    measured_at: datetime
    made_at: datetime
    version: str
    sheet: bytes | None = None
    deidentified: bool = False


def write_dicom(going: Going) -> bytes:
    """A ZIP file of the objects that this case can fill, with a list of what was left out and why."""
    made: dict[str, Any] = {}
    left_out: list[str] = []
    for name, build in (("axial.dcm", _axial), ("keratometry.dcm", _keratometry), ("sheet.dcm", _sheet)):
        found = build(going)
        if isinstance(found, str):
            left_out.append(f"{name}: {found}")
        else:
            made[name] = found
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in [*((n, _bytes(m)) for n, m in made.items()), ("contents.txt", _list(made, left_out))]:
            stamp = zipfile.ZipInfo(name, going.made_at.timetuple()[:6])
            archive.writestr(stamp, data, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()


def _list(made: dict[str, Any], left_out: list[str]) -> bytes:
    lines = [f"{name}: {data.SOPClassUID.name}" for name, data in made.items()]
    return ("\n".join([*lines, *(tr("Left out: {what}", what=what) for what in left_out)]) + "\n").encode()


def _bytes(made: Any) -> bytes:
    buffer = io.BytesIO()
    made.save_as(buffer, enforce_file_format=True)
    return buffer.getvalue()


def _item(**values: Any) -> Any:
    from pydicom import Dataset

    made = Dataset()
    for keyword, value in values.items():
        setattr(made, keyword, value)
    return made


def _coded(code: terms.Code, meaning: str) -> list[Any]:
    return [_item(CodeValue=code[1], CodingSchemeDesignator=code[0], CodeMeaning=meaning[:MEANING_LENGTH])]


def _uid(going: Going, what: str) -> str:
    return PREFIX_OF_UUID + str(uuid5(NAMESPACE, f"{going.case_id}/{going.head}/{going.version}/{what}").int)


def _object(going: Going, kind: str, modality: str, number: int, moment: datetime, **values: Any) -> Any:
    """An object with patient, study, series, equipment and what every class shares (PS3.3 annex A)."""
    from pydicom.dataset import FileMetaDataset
    from pydicom.uid import ExplicitVRLittleEndian

    date, time = moment.strftime("%Y%m%d"), moment.strftime("%H%M%S")
    made = _item(
        SpecificCharacterSet="ISO_IR 192",
        SOPClassUID=kind,
        SOPInstanceUID=_uid(going, kind),
        StudyInstanceUID=_uid(going, "study"),
        SeriesInstanceUID=_uid(going, f"series {modality}"),
        StudyDate=date,
        StudyTime=time,
        ContentDate=date,
        ContentTime=time,
        TimezoneOffsetFromUTC=moment.strftime("%z"),
        AccessionNumber="",
        StudyID="",
        ReferringPhysicianName="",
        PatientName="",
        PatientID=going.case_id,
        PatientBirthDate="",
        PatientSex=SEX.get(going.case.person.sex or "", ""),
        PatientAge=f"{int(going.case.person.age_years):03d}Y",
        **_deidentified(going),
        Modality=modality,
        SeriesNumber=number,
        InstanceNumber=1,
        Manufacturer=WRITTEN_BY,
        ManufacturerModelName=WRITTEN_BY,
        DeviceSerialNumber="0",
        SoftwareVersions=going.version,
        **values,
    )
    made.file_meta = FileMetaDataset()
    made.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    made.file_meta.MediaStorageSOPClassUID = kind
    made.file_meta.MediaStorageSOPInstanceUID = made.SOPInstanceUID
    return made


def _deidentified(going: Going) -> dict[str, Any]:
    """What PS3.15 annex E asks of an object that was made without a person, with the codes of PS3.16 CID 7050."""
    if not going.deidentified:
        return {}
    options = (
        ("113100", "Basic Application Confidentiality Profile"),
        ("113107", "Retain Longitudinal Temporal Information Modified Dates Option"),
        ("113108", "Retain Patient Characteristics Option"),
    )
    return {
        "PatientIdentityRemoved": "YES",
        "LongitudinalTemporalInformationModified": "MODIFIED",
        "DeidentificationMethod": "Written without a person; dates moved",
        "DeidentificationMethodCodeSequence": [_coded(("DCM", code), words)[0] for code, words in options],
    }


def _side(going: Going) -> tuple[str, str]:
    return ("R", "Right") if going.case.eye.side == "right" else ("L", "Left")


def _axial(going: Going) -> Any:
    biometry = going.case.biometry
    if biometry.axial_length_mm is None or biometry.axial_length_method is None:
        return tr("the axial length or its method is not known")
    optical = biometry.axial_length_method == "optical"
    letter, word = _side(going)
    selected = _item(
        OphthalmicAxialLength=biometry.axial_length_mm,
        OphthalmicAxialLengthSelectionMethodCodeSequence=_coded(("DCM", "121410"), "User chosen value"),
        SelectedSegmentalOphthalmicAxialLengthSequence=_segments(going),
    )
    vitreous = terms.VITRECTOMISED if going.case.signs.vitrectomy else terms.VITREOUS_ONLY
    eye = _item(
        LensStatusCodeSequence=_coded(terms.CRYSTALLINE, terms.LENS_STATUS[terms.CRYSTALLINE]),
        VitreousStatusCodeSequence=_coded(vitreous, terms.VITREOUS_STATUS[vitreous]),
        PupilDilated="",
    )
    setattr(eye, f"{'Optical' if optical else 'Ultrasound'}SelectedOphthalmicAxialLengthSequence", [selected])
    made = _object(
        going,
        terms.AXIAL,
        "OAM",
        1,
        going.measured_at,
        MeasurementLaterality=letter,
        OphthalmicAxialMeasurementsDeviceType="OPTICAL" if optical else "ULTRASOUND",
        AnteriorChamberDepthDefinitionCodeSequence=_coded(
            terms.DEPTH_FROM_FRONT, terms.DEPTH_DEFINITION[terms.DEPTH_FROM_FRONT]
        ),
    )
    if not optical:
        code = next(c for c, method in terms.ULTRASOUND_METHOD.items() if method == biometry.axial_length_method)
        made.OphthalmicUltrasoundMethodCodeSequence = _coded(code, biometry.axial_length_method)
    setattr(made, f"OphthalmicAxialMeasurements{word}EyeSequence", [eye])
    return made


def _segments(going: Going) -> list[Any]:
    biometry = going.case.biometry
    thickness = biometry.corneal_thickness_um
    lengths = (
        (terms.CORNEA, None if thickness is None else thickness / 1000),
        (terms.CHAMBER, biometry.chamber_depth_mm),
        (terms.LENS, biometry.lens_thickness_mm),
    )
    return [
        _item(
            OphthalmicAxialLengthMeasurementsSegmentNameCodeSequence=_coded(code, terms.SEGMENTS[code]),
            OphthalmicAxialLength=length,
        )
        for code, length in lengths
        if length is not None
    ]


def _keratometry(going: Going) -> Any:
    b = going.case.biometry
    if b.k1_d is None or b.k2_d is None or b.k1_axis_deg is None or b.k2_axis_deg is None:
        return tr("the corneal powers or their axes are not known")
    house = cast(float, default_evidence()["keratometry.index"].value)
    flat, steep = sorted(((b.k1_d, b.k1_axis_deg), (b.k2_d, b.k2_axis_deg)), key=lambda meridian: meridian[0])
    letter, word = _side(going)
    eye = _item()
    for name, (power, axis) in (("Flat", flat), ("Steep", steep)):
        meridian = _item(RadiusOfCurvature=(house - 1) * 1000 / power, KeratometricPower=power, KeratometricAxis=axis)
        setattr(eye, f"{name}KeratometricAxisSequence", [meridian])
    made = _object(going, terms.KERATOMETRY, "KER", 2, going.measured_at, MeasurementLaterality=letter)
    setattr(made, f"Keratometry{word}EyeSequence", [eye])
    return made


def _sheet(going: Going) -> Any:
    if going.sheet is None:
        return tr("the case has not enough for a plan")
    padded = going.sheet + b"\0" * (len(going.sheet) % 2)
    return _object(
        going,
        terms.ENCAPSULATED_PDF,
        "DOC",
        3,
        going.made_at,
        ConversionType="WSD",
        Laterality=_side(going)[0],
        BurnedInAnnotation="NO",
        DocumentTitle="Plan",
        ConceptNameCodeSequence=[],
        MIMETypeOfEncapsulatedDocument="application/pdf",
        AcquisitionDateTime="",
        EncapsulatedDocument=padded,
        EncapsulatedDocumentLength=len(going.sheet),
    )
