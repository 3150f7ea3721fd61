"""Files with damage of many kinds: each is one clear error or a whole import, never a traceback, never half of something.

The suite runs 2,000. ``FORESTAY_MUTATED=100000 .venv/bin/python -m pytest tests/exchange/test_mutated.py -s`` runs as many as wanted
and prints what they came to.
"""

from __future__ import annotations

import os
import random
import time
from collections import Counter
from collections.abc import Callable

from forestay.case.fold import fold
from forestay.errors import ForestayError
from forestay.exchange.jsonlines import export_facts
from forestay.exchange.table_mapping import read_mapping
from forestay.services.arrivals import take
from forestay.services.cases import export_case, import_case
from forestay.services.practice_out import export_practice, import_practice
from forestay.services.tables import import_table
from forestay.store.memory import MemoryFactStore
from tests.exchange.dicom_objects import axial, keratometry, written
from tests.exchange.fhir_bundles import foreign, observation, whole_case
from tests.exchange.table_examples import MAPPING, as_csv, as_excel, as_parquet
from tests.exchange.test_dicom_sight import acuity, refraction

COUNT = int(os.environ.get("FORESTAY_MUTATED", "2000"))
SEED = 20260301
LONGEST_S = 20.0
CASE = b'[person]\nage_years = 74\nsex = "female"\n[eye]\nside = "left"\n[biometry]\naxial_length_mm = 23.4\n'
READ = read_mapping(MAPPING.encode(), "map.toml")
WHOLE = whole_case()
Put = Callable[[MemoryFactStore, bytes], object]


def _measured(store: MemoryFactStore, data: bytes) -> object:
    return import_case(store, data, name="x", case_id="K-1", side="left")


def _opened(store: MemoryFactStore, data: bytes) -> object:
    return import_case(store, data, name="x", case_id="K-2")


def _table(store: MemoryFactStore, data: bytes) -> object:
    return import_table(store, data, "x", READ)


def _mapping(store: MemoryFactStore, data: bytes) -> object:
    return import_table(store, as_csv(), "x", read_mapping(data, "x"))


def _arrival(store: MemoryFactStore, data: bytes) -> object:
    return take(store, data, "x")


def _practice(store: MemoryFactStore, data: bytes) -> object:
    return import_practice(store, data, "x")


BUNDLE = foreign(observation("66067-0", 23.4), observation("66068-8", {"value": 0.54, "code": "mm"}))
SORTS: list[tuple[str, bytes, Put, int]] = [
    ("DICOM axial", written(axial()), _measured, 16),
    ("DICOM keratometry", written(keratometry()), _measured, 14),
    ("DICOM refraction", written(refraction()), _measured, 6),
    ("DICOM acuity", written(acuity()), _measured, 6),
    ("DICOM arriving", written(axial(PatientID="K-1")), _arrival, 6),
    ("FHIR of another writer", BUNDLE, _measured, 18),
    ("FHIR of this tree", export_case(WHOLE, "M-1", "fhir"), _measured, 3),
    ("facts", export_facts(WHOLE, "M-1"), _measured, 4),
    ("CSV", as_csv(), _table, 15),
    ("mapping", MAPPING.encode(), _mapping, 4),
    ("case file", CASE, _opened, 4),
    ("Excel", as_excel(), _table, 1),
    ("Parquet", as_parquet(), _table, 2),
    ("practice", export_practice(WHOLE), _practice, 1),
]
"""Name, whole file, how it is taken, how often."""


def mutated(whole: bytes, chance: random.Random) -> bytes:
    """The file with one to three wounds; every other file only has digits or letters changed, so that it still reads."""
    data = bytearray(whole)
    if chance.random() < 0.5:
        for _ in range(chance.choice((1, 1, 2, 3))):
            _change_one_sign(data, chance)
        return bytes(data)
    for _ in range(chance.choice((1, 1, 2, 3))):
        at = chance.randrange(len(data) + 1)
        kind = chance.randrange(8)
        if kind == 0 and at < len(data):
            data[at] ^= 1 << chance.randrange(8)
        elif kind == 1 and at < len(data):
            data[at] = chance.randrange(256)
        elif kind == 2:
            del data[at : at + chance.randint(1, 12)]
        elif kind == 3:
            data[at:at] = chance.randbytes(chance.randint(1, 8))
        elif kind == 4:
            del data[at:]
        elif kind == 5:
            start = chance.randrange(len(data) + 1)
            data[at:at] = data[start : start + chance.randint(1, 60)]
        elif kind == 6 and at < len(data):
            data[at] = ord(chance.choice('0123456789.,-"{}[]:;=\n'))
        else:
            word = chance.choice(
                [b"null", b"1e999", b"-1", b"NaN", b"\xff\xff\xff\xff", b"\x00" * 4, b"true", b"9" * 400]
            )
            data[at : at + len(word)] = word
        if not data:
            data += b"\0"
    return bytes(data)


def _change_one_sign(data: bytearray, chance: random.Random) -> None:
    """A digit for another digit, a letter for another letter: the next one after some place."""
    start = chance.randrange(len(data))
    for at in range(start, len(data)):
        for signs in (b"0123456789", b"abcdefghijklmnopqrstuvwxyz", b"ABCDEFGHIJKLMNOPQRSTUVWXYZ"):
            if data[at] in signs:
                data[at] = chance.choice(signs)
                return


def test_no_damage_gives_a_traceback_or_half_an_import() -> None:
    chance = random.Random(SEED)  # noqa: S311 - the same damage every time
    opened = MemoryFactStore()
    import_case(opened, CASE, name="c.toml", case_id="K-1")
    named = [sort[3] for sort in SORTS]
    before = opened.links("K-1")
    found: Counter[str] = Counter()
    slowest = ("", 0.0)
    store = MemoryFactStore()
    for _ in range(COUNT):
        name, whole, put, _often = chance.choices(SORTS, named)[0]
        if store.cases() != ["K-1"] or store.links("K-1") != before:
            store = MemoryFactStore()
            store.adopt("K-1", before)
        data, began = mutated(whole, chance), time.perf_counter()
        try:
            put(store, data)
        except ForestayError:
            assert store.links("K-1") == before
            assert store.cases() == ["K-1"]
            found[f"{name}: refused"] += 1
        else:
            for case in store.cases():
                fold(store.facts(case))
            assert store.links("K-1")[: len(before)] == before
            found[f"{name}: kept"] += 1
        slowest = max(slowest, (name, time.perf_counter() - began), key=lambda one: one[1])
    print(f"{COUNT} damaged files, slowest {slowest}: {dict(sorted(found.items()))}")
    assert slowest[1] < LONGEST_S
    assert sum(found.values()) == COUNT
    assert {key.rpartition(":")[0] for key in found if key.endswith("refused")} == {sort[0] for sort in SORTS}
