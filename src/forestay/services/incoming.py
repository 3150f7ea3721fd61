"""A file that somebody hands in at the page: measurements and case files, never records with others' decisions in them."""

from __future__ import annotations

from forestay.errors import InvalidInput
from forestay.exchange.dicom_file import looks_like_dicom
from forestay.exchange.fhir_in import is_own, looks_like_fhir, read_bundle
from forestay.exchange.jsonlines import Imported
from forestay.services.cases import import_case
from forestay.store.interface import FactStore
from forestay.text import tr


def import_measured(
    store: FactStore, data: bytes, *, name: str, case_id: str | None, side: str | None, by: str
) -> Imported:
    """Keep DICOM objects, a FHIR bundle of another system, or a case file. Exported records are refused."""
    text = "" if looks_like_dicom(data) else data.decode("utf-8-sig", errors="replace")
    record = text.lstrip().startswith("{") and not looks_like_fhir(text)
    if record or (text and looks_like_fhir(text) and is_own(read_bundle(data, name))):
        raise InvalidInput(
            tr("This file is an exported record with decisions and signatures; bring it back with forestay import."),
            field="file",
            allowed=tr("DICOM measurements, FHIR observations, a case file or a table"),
        )
    return import_case(store, data, name=name, case_id=case_id, side=side, author=by)
