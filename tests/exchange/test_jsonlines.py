"""Export and import of facts: lossless, idempotent, and refused where two histories differ."""

from __future__ import annotations

import pytest

from forestay.case.fact import Fact
from forestay.case.lines import read, write
from forestay.errors import ConflictingFact, NotFound
from forestay.exchange.jsonlines import Imported, export_facts, import_facts
from forestay.store.memory import MemoryFactStore
from tests.case.strategies import fact, length


def filled(*numbers: int) -> MemoryFactStore:
    store = MemoryFactStore()
    store.append("M-1", [fact(length(20 + n / 10), n) for n in numbers])
    return store


def test_an_export_read_elsewhere_gives_the_same_export() -> None:
    here, there = filled(1, 2, 3), MemoryFactStore()
    data = export_facts(here, "M-1")
    assert import_facts(there, data) == Imported("M-1", 3, 3)
    assert export_facts(there, "M-1") == data
    assert there.links("M-1") == here.links("M-1")


def test_importing_twice_changes_nothing() -> None:
    here, there = filled(1, 2), MemoryFactStore()
    import_facts(there, export_facts(here, "M-1"))
    assert import_facts(there, export_facts(here, "M-1")) == Imported("M-1", 0, 2)
    assert import_facts(here, export_facts(here, "M-1")).new == 0


def test_a_longer_copy_adds_what_is_new_and_an_older_one_nothing() -> None:
    here, there = filled(1, 2), MemoryFactStore()
    old = export_facts(here, "M-1")
    import_facts(there, old)
    here.append("M-1", [fact(length(25), 3)])
    assert import_facts(there, export_facts(here, "M-1")) == Imported("M-1", 1, 3)
    assert import_facts(there, old) == Imported("M-1", 0, 3)


def test_waiting_facts_are_accepted_on_import_once() -> None:
    here = filled(1)
    waiting = [fact(length(25), 8, based_on=1), fact(length(25.1), 9, based_on=1)]
    data = write("M-1", here.links("M-1"), waiting)
    assert import_facts(here, data) == Imported("M-1", 2, 3)
    assert import_facts(here, data) == Imported("M-1", 0, 3)


def test_the_same_identity_with_other_content_is_refused() -> None:
    here, there = filled(1, 2), MemoryFactStore()
    forged = Fact(fact(length(20.1), 1).header, fact(length(29), 1).body)
    there.append("M-1", [forged])
    with pytest.raises(ConflictingFact, match=str(forged.header.id)):
        import_facts(there, export_facts(here, "M-1"))
    assert len(there.facts("M-1")) == 1


def test_an_unknown_case_cannot_be_exported() -> None:
    with pytest.raises(NotFound):
        export_facts(filled(1), "M-2")


def test_the_export_is_text_with_one_fact_a_line() -> None:
    data = export_facts(filled(1, 2), "M-1")
    assert data.decode().count("\n") == 3
    assert len(read(data).facts) == 2
