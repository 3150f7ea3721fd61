"""Invented DICOM objects of measurement, put together element by element as PS3.3 C.8.25.8, C.8.25.14 and C.8.25.16 say."""

from __future__ import annotations

import io
from typing import Any

from pydicom import Dataset
from pydicom.dataset import FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import ExplicitVRLittleEndian

CLASS = "1.2.840.10008.5.1.4.1.1.78."


def item(**values: Any) -> Dataset:
    """One item; lists become sequences, pairs become coded entries."""
    made = Dataset()
    for keyword, value in values.items():
        setattr(made, keyword, _element(value))
    return made


def _element(value: Any) -> Any:
    if isinstance(value, tuple):
        return Sequence([item(CodingSchemeDesignator=value[0], CodeValue=value[1], CodeMeaning="code")])
    if isinstance(value, Dataset):
        return Sequence([value])
    return Sequence(value) if isinstance(value, list) else value


def whole(kind: str, number: int = 1, **values: Any) -> Dataset:
    """An object with what every class needs."""
    usual: dict[str, Any] = {
        "SOPClassUID": CLASS + kind,
        "SOPInstanceUID": f"2.25.{number}",
        "ContentDate": "20260301",
        "ContentTime": "091200",
        "TimezoneOffsetFromUTC": "+0100",
        "PatientName": "Nobody^Invented",
        "PatientID": "X-1",
        "PatientAge": "074Y",
        "PatientSex": "F",
    }
    made = item(**{**usual, **values})
    made.file_meta = FileMetaDataset()
    made.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    made.file_meta.MediaStorageSOPClassUID = made.SOPClassUID
    made.file_meta.MediaStorageSOPInstanceUID = made.SOPInstanceUID
    return made


def written(made: Dataset) -> bytes:
    """The object as the bytes of a file."""
    buffer = io.BytesIO()
    made.save_as(buffer, enforce_file_format=True)
    return buffer.getvalue()


def segment(code: tuple[str, str], length: float) -> Dataset:
    return item(OphthalmicAxialLengthMeasurementsSegmentNameCodeSequence=code, OphthalmicAxialLength=length)


def axial_eye(length: float = 23.45, *, optical: bool = False, **more: Any) -> Dataset:
    """One eye: the selected length, chamber 2.90 and lens 4.80 mm."""
    selected = item(
        OphthalmicAxialLength=length,
        SelectedSegmentalOphthalmicAxialLengthSequence=[
            segment(("SCT", "31636006"), 2.90),
            segment(("DCM", "111778"), 4.80),
        ],
    )
    name = "Optical" if optical else "Ultrasound"
    return item(
        **{
            "LensStatusCodeSequence": ("SCT", "247049005"),
            "VitreousStatusCodeSequence": ("SCT", "372242005"),
            f"{name}SelectedOphthalmicAxialLengthSequence": selected,
            **more,
        }
    )


def axial(*, number: int = 1, laterality: str = "L", **more: Any) -> Dataset:
    """An immersion measurement of the left eye unless said otherwise."""
    values: dict[str, Any] = {
        "MeasurementLaterality": laterality,
        "OphthalmicAxialMeasurementsDeviceType": "ULTRASOUND",
        "OphthalmicUltrasoundMethodCodeSequence": ("DCM", "111751"),
        "AnteriorChamberDepthDefinitionCodeSequence": ("DCM", "111776"),
        **more,
    }
    if "L" in laterality or laterality == "B":
        values.setdefault("OphthalmicAxialMeasurementsLeftEyeSequence", axial_eye())
    return whole("7", number, **values)


def meridian(radius: float, power: float, axis: float) -> Dataset:
    return item(RadiusOfCurvature=radius, KeratometricPower=power, KeratometricAxis=axis)


def cornea(flat: Dataset | None = None, steep: Dataset | None = None) -> Dataset:
    return item(
        FlatKeratometricAxisSequence=flat or meridian(7.85, 42.99, 5),
        SteepKeratometricAxisSequence=steep or meridian(7.67, 44.00, 95),
    )


def keratometry(eye: Dataset | None = None, *, number: int = 2, laterality: str = "L", **more: Any) -> Dataset:
    if laterality != "R":
        more["KeratometryLeftEyeSequence"] = eye or cornea()
    if laterality != "L":
        more["KeratometryRightEyeSequence"] = eye or cornea()
    return whole("3", number, MeasurementLaterality=laterality, **more)
