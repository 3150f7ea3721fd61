"""Measurements that come by themselves: over the network, and in a watched folder. Nothing half kept, the sender told."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pynetdicom import AE

from forestay.case.fold import fold
from forestay.errors import ForestayError, InvalidInput
from forestay.exchange.dicom_receive import Receiver
from forestay.services.arrivals import take, told_take
from forestay.services.cases import import_case
from forestay.services.watching import Watch
from forestay.store.interface import Identity, StoreUnavailable
from forestay.store.memory import MemoryFactStore
from tests.exchange.dicom_objects import axial, axial_eye, keratometry, written

AXIAL, KERATOMETRY = "1.2.840.10008.5.1.4.1.1.78.7", "1.2.840.10008.5.1.4.1.1.78.3"
CT, VERIFICATION = "1.2.840.10008.5.1.4.1.1.2", "1.2.840.10008.1.1"
CASE = b'[person]\nage_years = 74\n[eye]\nside = "%s"\n'


def both_eyes(number: str = "77", **more: Any) -> bytes:
    """Both eyes of the person with this number."""
    made = axial(laterality="B", OphthalmicAxialMeasurementsRightEyeSequence=axial_eye(24.0), **more)
    made.PatientID = number
    made.PatientAge = "074Y"
    return written(made)


def filled() -> MemoryFactStore:
    """Right and left eye of one person, and another person."""
    store = MemoryFactStore()
    for name, side, number in (("A-R", b"right", "77"), ("A-L", b"left", "77"), ("B-L", b"left", "78")):
        import_case(store, CASE % side, name="c.toml", case_id=name)
        store.identify(name, Identity("somebody", None, number), by="x")
    return store


def lengths(store: MemoryFactStore) -> list[tuple[float | None, float | None]]:
    cases = [fold(store.facts(name)).case for name in ("A-R", "A-L", "B-L")]
    return [(case.biometry.axial_length_mm, case.fellow.axial_length_mm) for case in cases]


@pytest.fixture
def told() -> list[str]:
    return []


@pytest.fixture
def ready(told: list[str]) -> Iterator[tuple[MemoryFactStore, int]]:
    store = filled()
    receiver = Receiver(
        lambda data, name: told_take(store, data, name), told.append, title="HERE", callers=["BIOMETER"]
    )
    port = receiver.start("127.0.0.1", 0)
    yield store, port
    receiver.stop()


def sent(
    port: int,
    data: bytes | None,
    *,
    kinds: tuple[str, ...] = (AXIAL, KERATOMETRY),
    caller: str = "BIOMETER",
    called: str = "HERE",
) -> int | None:
    """The status of a C-STORE (or C-ECHO without data); None where the association was refused."""
    from io import BytesIO

    from pydicom import dcmread

    entity = AE(ae_title=caller)
    entity.acse_timeout = entity.dimse_timeout = entity.network_timeout = 10
    for kind in kinds:
        entity.add_requested_context(kind)
    association = entity.associate("127.0.0.1", port, ae_title=called)
    if not association.is_established:
        return None
    try:
        status = association.send_c_echo() if data is None else association.send_c_store(dcmread(BytesIO(data)))
        return int(status.Status)
    finally:
        association.release()


def test_an_object_that_is_sent_reaches_every_case_of_the_person(
    ready: tuple[MemoryFactStore, int], told: list[str]
) -> None:
    """Status 0000 success (PS3.4 table B.2-1)."""
    store, port = ready
    assert sent(port, both_eyes()) == 0x0000
    assert lengths(store) == [(24.0, 23.45), (23.45, 24.0), (None, None)]
    before = [len(store.facts(case)) for case in store.cases()]
    assert sent(port, both_eyes()) == 0x0000
    assert [len(store.facts(case)) for case in store.cases()] == before
    assert "A-R" in told[0]
    assert sent(port, None, kinds=(VERIFICATION,)) == 0x0000


def test_what_is_not_understood_is_answered_so_and_not_kept(
    ready: tuple[MemoryFactStore, int], told: list[str]
) -> None:
    """Status Cxxx cannot understand (PS3.4 table B.2-1)."""
    store, port = ready
    wrong = axial(OphthalmicAxialMeasurementsLeftEyeSequence=axial_eye(2.345))
    wrong.PatientID = "78"
    assert sent(port, written(wrong)) == 0xC000
    assert sent(port, both_eyes("79")) == 0xC000
    assert "OphthalmicAxialLength (0022,1019)" in told[0]
    assert lengths(store) == [(None, None)] * 3


def test_associations_that_are_not_understood_are_refused(ready: tuple[MemoryFactStore, int]) -> None:
    """A class that is not read, a wrong title, an unknown caller (PS3.8 section 9.3.4)."""
    store, port = ready
    assert sent(port, both_eyes(), kinds=(CT,)) is None
    assert sent(port, both_eyes(), called="THERE") is None
    assert sent(port, both_eyes(), caller="STRANGER") is None
    assert sent(port, both_eyes()) == 0x0000
    assert lengths(store)[0] == (24.0, 23.45)


def test_trouble_of_the_record_is_told_as_such(told: list[str]) -> None:
    """Status A7xx out of resources, also where the program itself fails: the sender keeps the object."""

    def broken(_: bytes, name: str) -> str:
        raise StoreUnavailable("later") if "FIRST" in name else RuntimeError("x")

    receiver = Receiver(broken, told.append, title="HERE")
    port = receiver.start("127.0.0.1", 0)
    try:
        assert sent(port, both_eyes(), caller="FIRST") == 0xA700
        assert sent(port, both_eyes(), caller="SECOND") == 0xA700
    finally:
        receiver.stop()
    assert told == ["Refused: later", "Refused: RuntimeError"]


@pytest.mark.parametrize("title", ["", "A" * 17, "Ä", "A\\B"])
def test_a_title_that_cannot_be_is_refused(title: str) -> None:
    with pytest.raises(InvalidInput):
        Receiver(lambda *_: "", lambda _: None, title=title)


def test_one_eye_that_cannot_take_it_keeps_the_other_out_too() -> None:
    store = filled()
    with pytest.raises(ForestayError):
        take(store, both_eyes(PatientSex="F").replace(b"074Y", b"024Y"), "x")
    assert lengths(store) == [(None, None)] * 3


def test_the_name_of_a_case_is_a_number_too_and_the_other_eye_is_refused() -> None:
    store = filled()
    made = keratometry(laterality="L")
    made.PatientID = "B-L"
    assert take(store, written(made), "x")[0].case == "B-L"
    made = keratometry(laterality="R")
    made.PatientID = "B-L"
    with pytest.raises(InvalidInput, match="other eye"):
        take(store, written(made), "x")
    made.PatientID = ""
    with pytest.raises(InvalidInput, match="no number"):
        take(store, written(made), "x")


def test_a_watched_folder_takes_files_at_rest_and_moves_them_aside(tmp_path: Path, told: list[str]) -> None:
    store = filled()
    (tmp_path / "a.dcm").write_bytes(both_eyes())
    (tmp_path / "b.dcm").write_bytes(both_eyes("79"))
    (tmp_path / "c.txt").write_text("no object")
    (tmp_path / ".hidden").write_text("left")
    watch = Watch(store, tmp_path, told.append)
    assert watch.look() == 0
    (tmp_path / "a.dcm").write_bytes(both_eyes()[:-30])
    assert watch.look() == 2
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == [".hidden", "a.dcm"]
    (tmp_path / "a.dcm").write_bytes(both_eyes())
    assert watch.look(at_once=True) == 1
    assert (tmp_path / "done" / "a.dcm").read_bytes() == both_eyes()
    assert "no case" in (tmp_path / "refused" / "b.dcm.reason.txt").read_text()
    assert (tmp_path / "refused" / "c.txt").is_file()
    assert lengths(store)[1] == (23.45, 24.0)
    (tmp_path / "a.dcm").write_bytes(both_eyes())
    watch.look(at_once=True)
    assert sorted(p.name for p in (tmp_path / "done").iterdir()) == ["a-1.dcm", "a.dcm"]


def test_a_file_waits_while_the_record_does_not_answer(
    tmp_path: Path, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def down(*_: Any) -> None:
        raise StoreUnavailable("later")

    monkeypatch.setattr("forestay.services.watching.take", down)
    (tmp_path / "a.dcm").write_bytes(both_eyes())
    assert Watch(filled(), tmp_path, told.append).look(at_once=True) == 0
    assert (tmp_path / "a.dcm").is_file()
    assert told == ["a.dcm waits: later"]
    with pytest.raises(ForestayError):
        Watch(filled(), tmp_path / "none", told.append).look()
