"""What goes out as DICOM comes back the same, by the reader here, by a plain walk over the bytes, and by another case."""

from __future__ import annotations

import io
import struct
import zipfile
from typing import Any

import pytest
from pydicom import dcmread

from forestay.demo import NAMES, demo_bytes
from forestay.exchange.dicom_in import read_dicom, values_for
from forestay.exchange.dicom_walk import check_whole
from forestay.services.cases import export_case, import_case, situation
from forestay.store.memory import MemoryFactStore
from tests.case.strategies import NOON

EXPLICIT = "1.2.840.10008.1.2.1"
KEYS = (
    "axial_length_mm",
    "axial_length_method",
    "chamber_depth_mm",
    "lens_thickness_mm",
    "corneal_thickness_um",
    "k1_d",
    "k1_axis_deg",
    "k2_d",
    "k2_axis_deg",
)


def unzipped(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture(scope="module")
def exported() -> tuple[MemoryFactStore, bytes]:
    store = MemoryFactStore()
    import_case(store, demo_bytes("long-vitrectomised-only-eye"), case_id="M-1", happened_at=NOON)
    return store, export_case(store, "M-1", "dicom")


def test_the_values_come_back_to_the_same_case_and_to_a_new_one(exported: tuple[MemoryFactStore, bytes]) -> None:
    store, data = exported
    there = MemoryFactStore()
    import_case(there, data, case_id="M-2")
    back, own = situation(there, "M-2").case, situation(store, "M-1").case
    for key in KEYS:
        assert getattr(back.biometry, key) == getattr(own.biometry, key), key
    assert (back.eye.side, back.person.age_years, back.person.sex) == ("right", 67, "male")
    assert back.signs.vitrectomy is True
    import_case(store, data, case_id="M-1")
    assert situation(store, "M-1").case == own
    assert situation(store, "M-1").disagreements == ()


@pytest.mark.parametrize("name", NAMES)
def test_every_invented_case_comes_back_to_its_stated_precision(name: str) -> None:
    from forestay.exchange.dicom_out import Going, write_dicom

    store = MemoryFactStore()
    import_case(store, demo_bytes(name), case_id="M-1")
    case = situation(store, "M-1").case
    data = write_dicom(Going("M-1", case, 1, NOON, NOON, "0"))
    back: dict[str, Any] = {}
    for reading in read_dicom(data):
        assert reading.measured_at == NOON
        back |= values_for(reading, case.eye.side)[0]
    steeper_first = (case.biometry.k1_d or 0) > (case.biometry.k2_d or 0)
    for key in KEYS:
        twin = key.replace("k1", "k#").replace("k2", "k1").replace("k#", "k2") if steeper_first else key
        assert back.get(f"biometry.{twin}") == getattr(case.biometry, key), key


def test_two_readers_see_the_same_and_nobody_is_named(exported: tuple[MemoryFactStore, bytes]) -> None:
    inside = unzipped(exported[1])
    assert sorted(inside) == ["axial.dcm", "contents.txt", "keratometry.dcm", "sheet.dcm"]
    axial = dcmread(io.BytesIO(inside["axial.dcm"]))
    assert (axial.Modality, axial.MeasurementLaterality, axial.PatientID) == ("OAM", "R", "M-1")
    assert (str(axial.PatientName), axial.PatientBirthDate) == ("", "")
    for name in ("axial.dcm", "keratometry.dcm", "sheet.dcm"):
        check_whole(inside[name], EXPLICIT)
    # by hand, PS3.5 7.1.2: tag (0022,1019), FL, four bytes, little endian; the first is the selected length 28.84 mm
    at = inside["axial.dcm"].index(b"\x22\x00\x19\x10FL\x04\x00")
    assert struct.unpack_from("<f", inside["axial.dcm"], at + 8)[0] == pytest.approx(28.84, abs=1e-5)
    # (0046,0076), FD, eight bytes: steep (0046,0074) stands before flat (0046,0080), so the first is 44.25 D
    at = inside["keratometry.dcm"].index(b"\x46\x00\x76\x00FD\x08\x00")
    assert struct.unpack_from("<d", inside["keratometry.dcm"], at + 8)[0] == 44.25


def test_the_sheet_goes_along_whole(exported: tuple[MemoryFactStore, bytes]) -> None:
    sheet = dcmread(io.BytesIO(unzipped(exported[1])["sheet.dcm"]))
    pdf = sheet.EncapsulatedDocument[: sheet.EncapsulatedDocumentLength]
    assert (sheet.MIMETypeOfEncapsulatedDocument, pdf[:5], pdf.rstrip()[-5:]) == ("application/pdf", b"%PDF-", b"%%EOF")


def test_a_repeat_gives_the_same_objects_and_a_lack_is_listed() -> None:
    store = MemoryFactStore()
    import_case(store, b"[person]\nage_years = 70\n[eye]\nside = 'left'\n", case_id="M-3", happened_at=NOON)
    first = unzipped(export_case(store, "M-3", "dicom"))
    assert first == unzipped(export_case(store, "M-3", "dicom"))
    assert "axial.dcm" not in first
    assert b"axial.dcm: the axial length or its method is not known" in first["contents.txt"]
