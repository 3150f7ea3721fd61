"""Files with damage of many kinds: each is one clear error or a whole import, never a traceback, never half of something.

The suite runs 2,000. ``FORESTAY_MUTATED=100000 .venv/bin/python -m pytest tests/exchange/test_mutated.py -s`` runs as many as wanted
and prints what they came to. One file in ``REAL`` goes to a database (in the suite one in twice as many), where every row of every
table is compared before and after; ``FORESTAY_MUTATED_ON=postgresql`` takes PostgreSQL for it instead of SQLite.
"""

from __future__ import annotations

import os
import random
import shutil
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from forestay.case.chain import verify
from forestay.case.fold import fold
from forestay.case.lines import Enclosed, write
from forestay.errors import ForestayError
from forestay.exchange.device_code import read_code
from forestay.exchange.enclosures import LIST, write_enclosed
from forestay.exchange.jsonlines import Imported, export_facts
from forestay.exchange.practice_file import write_parts
from forestay.exchange.table_mapping import read_mapping
from forestay.services.arrivals import take
from forestay.services.cases import Who, export_case, import_case, record
from forestay.services.practice_out import export_practice, import_practice
from forestay.services.tables import TableLook, import_table
from forestay.services.theatre import lens_compared
from forestay.store.interface import FactStore
from forestay.store.memory import MemoryFactStore
from forestay.store.sql import SqlFactStore
from tests.case.strategies import NOON, fact, length
from tests.exchange.dicom_objects import axial, keratometry, written
from tests.exchange.fhir_bundles import foreign, number, observation, whole_case
from tests.exchange.table_examples import MAPPING, as_csv, as_excel, as_parquet
from tests.exchange.test_dicom_sight import acuity, refraction
from tests.store.whole import rows

SHORT = 2000
COUNT = int(os.environ.get("FORESTAY_MUTATED", SHORT))
SEED = 20260301
LONGEST_S = 20.0
"""Of the processor's own time: how long a file takes on a busy machine says nothing of the file."""
CASE = b'[person]\nage_years = 74\nsex = "female"\n[eye]\nside = "left"\n[biometry]\naxial_length_mm = 23.4\n'
READ = read_mapping(MAPPING.encode(), "map.toml")
WHOLE = whole_case()
REAL = 40 if COUNT <= SHORT else 20
Put = Callable[[FactStore, bytes], object]


def _measured(store: FactStore, data: bytes) -> object:
    return import_case(store, data, name="x", case_id="K-1", side="left")


def _opened(store: FactStore, data: bytes) -> object:
    return import_case(store, data, name="x", case_id="K-2")


def _table(store: FactStore, data: bytes) -> object:
    return import_table(store, data, "x", READ)


def _mapping(store: FactStore, data: bytes) -> object:
    return import_table(store, as_csv(), "x", read_mapping(data, "x"))


def _arrival(store: FactStore, data: bytes) -> object:
    return take(store, data, "x")


def _practice(store: FactStore, data: bytes) -> object:
    return import_practice(store, data, "x")


def _part(store: FactStore, data: bytes) -> object:
    """The second case of a practice, in a file whose digests are right: the first must not stay without it."""
    parts = {"cases/M-0.jsonl": FIRST, "cases/M-1.jsonl": data}
    return import_practice(store, write_parts(parts, {"kind": "whole"}), "x")


def _list(store: FactStore, data: bytes) -> object:
    """The list of the attachments of a practice, in a file whose digests are right: the case must not stay without them."""
    return import_practice(store, write_parts(ENCLOSING | {LIST: data}, {"kind": "whole"}), "x")


def _code(store: FactStore, data: bytes) -> object:
    found = read_code(data.decode("utf-8", "replace"))
    return record(store, "K-1", lens_compared(20.0, found, by="s1", key=number(1)), who=Who("a1", "d1"))


FIRST = write("M-0", [], [fact(length(23), 1, case="M-0")])
ENCLOSED = write_enclosed([("M-0", Enclosed(str(number(9)), "the eye", NOON.isoformat(), "a1", b"%PDF-1.4 invented"))])
ENCLOSING = {"cases/M-0.jsonl": FIRST, **ENCLOSED}
WAITING = write("M-1", WHOLE.links("M-1"), [fact(length(23 + n / 10), 60 + n, based_on=9) for n in range(3)])
CODE = b"0151022222233336111412311727070710A213B1\x1d211234"
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
    ("case of a practice", export_facts(WHOLE, "M-1"), _part, 2),
    ("facts that wait", WAITING, _opened, 2),
    ("code on a box", CODE, _code, 8),
    ("list of attachments", ENCLOSED[LIST], _list, 3),
]
"""Name, whole file, how it is taken, how often."""


WORDS = (
    *(
        b"null",
        b"true",
        b"-1",
        b"1e999",
        b"1e-400",
        b"NaN",
        b"9" * 400,
        b"[" * 300,
        b"\r",
        b"\r\n",
        b"\\u0000",
        b"\\ud800",
    ),
    *(b"\xff\xff\xff\xff", b"\x00" * 4, b"\xef\xbb\xbf", b"\xc3\xa9", b"\xe2\x80\xa8"),
)
"""What stands in the way of readers: extreme numbers, ends of lines, signs of other alphabets, halves of signs."""


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
            word = chance.choice(WORDS)
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


class Held:
    """A store with one case in it, as it was before a file came: afterwards all is as before, or the whole file is there."""

    def __init__(self, make: Callable[[], FactStore]) -> None:
        self._make = make
        self._opened = MemoryFactStore()
        import_case(self._opened, CASE, name="c.toml", case_id="K-1")
        self.first = self._opened.links("K-1")
        self.store = self._fresh()

    def _fresh(self) -> FactStore:
        store = self._make()
        store.adopt("K-1", self.first)
        self.before = rows(store)
        return store

    def put(self, how: Put, data: bytes) -> bool:
        """Whether the file was kept; a store that took one is left for a new one."""
        try:
            done = how(self.store, data)
        except ForestayError:
            assert rows(self.store) == self.before
            return False
        cases = self.store.cases()
        assert self.store.links("K-1")[: len(self.first)] == self.first
        for case in cases:
            fold(self.store.facts(case))
            assert verify(self.store.links(case)) is None
        new = sum(len(self.store.links(case)) for case in cases) - len(self.first)
        assert new == told(done, new)
        if new:
            self.store.close()
            self.store = self._fresh()
        return True


def told(done: object, new: int) -> int:
    """How many new facts an import said that it kept."""
    if isinstance(done, Imported):
        return done.new
    if isinstance(done, TableLook):
        return sum(row.facts for row in done.rows)
    return sum(one.new for one in done) if isinstance(done, list) and isinstance(done[0], Imported) else new


@pytest.fixture
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[], FactStore]]:
    """Makes empty databases: SQLite, or what the environment asks for."""
    made: list[SqlFactStore] = []
    empty = tmp_path / "empty.db"
    SqlFactStore(f"sqlite:///{empty}").close()

    def file() -> str:
        """Where a copy of the empty database stands: making its tables anew for each file would take most of the time."""
        copy = tmp_path / f"{len(made)}.db"
        for ending in ("", ".key"):
            shutil.copyfile(f"{empty}{ending}", f"{copy}{ending}")
        return f"sqlite:///{copy}"

    def make() -> FactStore:
        on_server = os.environ.get("FORESTAY_MUTATED_ON") == "postgresql"
        made.append(SqlFactStore(request.getfixturevalue("postgresql").database() if on_server else file()))
        return made[-1]

    yield make
    for store in made:
        store.close()


def test_no_damage_gives_a_traceback_or_half_an_import(database: Callable[[], FactStore]) -> None:
    chance = random.Random(SEED)  # noqa: S311 - the same damage every time
    named = [sort[3] for sort in SORTS]
    found: Counter[str] = Counter()
    slowest = ("", 0.0)
    memory, real = Held(MemoryFactStore), Held(database)
    for n in range(COUNT):
        name, whole, how, _often = chance.choices(SORTS, named)[0]
        data, began = mutated(whole, chance), time.process_time()
        try:
            kept = (memory if n % REAL else real).put(how, data)
        except Exception as fault:
            raise AssertionError(f"file {n}, {name}: {data!r}"[:4000]) from fault
        found[f"{name}: {'kept' if kept else 'refused'}"] += 1
        slowest = max(slowest, (name, time.process_time() - began), key=lambda one: one[1])
    print(f"{COUNT} damaged files, slowest {slowest}: {dict(sorted(found.items()))}")
    assert slowest[1] < LONGEST_S
    assert sum(found.values()) == COUNT
    assert {key.rpartition(":")[0] for key in found if key.endswith("refused")} == {sort[0] for sort in SORTS}
