"""One contract, every store: the same assertions in memory, on SQLite and on PostgreSQL."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import astuple, replace
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import event

from forestay.case.bodies import Decided, Found, Withdrawn
from forestay.case.case_file import parse_case, read_facts
from forestay.case.chain import SALT_BYTES, accept, erase, verify
from forestay.case.fact import Fact
from forestay.case.fold import fold
from forestay.case.from_file import facts_from_case
from forestay.case.lines import Enclosed, Exported
from forestay.demo import NAMES, demo_bytes
from forestay.errors import BrokenChain, ConflictingFact, InvalidInput, NotFound
from forestay.exchange.jsonlines import export_facts, import_all
from forestay.store.attachments import LARGEST_BYTES, add, content, listed
from forestay.store.checking import check
from forestay.store.interface import ErasedCase, FactStore, Hit, Identity
from forestay.store.memory import MemoryFactStore
from forestay.store.question import question
from forestay.store.sql import SqlFactStore
from tests.case.strategies import NOON, fact, length
from tests.store.whole import rows

ASKED = SqlFactStore(f"sqlite:///{tempfile.mkdtemp()}/asked.sqlite")
"""An empty database to ask odd questions."""
PICTURE = b"\x89PNG\r\n\x1a\n invented"
KINDS = ("memory", "sqlite", "postgresql")


@pytest.fixture(params=KINDS)
def make(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[..., FactStore]]:
    made: list[FactStore] = []

    def build(**options: Any) -> FactStore:
        if request.param == "memory":
            made.append(MemoryFactStore(**options))
        elif request.param == "sqlite":
            made.append(SqlFactStore(f"sqlite:///{tmp_path}/{len(made)}.sqlite", **options))
        else:
            server = request.getfixturevalue("postgresql")
            made.append(SqlFactStore(server.database(), **options))
        return made[-1]

    yield build
    for store in made:
        store.close()


@pytest.fixture
def store(make: Callable[..., FactStore]) -> FactStore:
    return make(clock=lambda: NOON)


def facts(*numbers: int) -> list[Fact]:
    return [fact(length(20 + n / 10), n) for n in numbers]


def test_appended_facts_get_sequence_and_time_and_stay_as_they_are(store: FactStore) -> None:
    sent = facts(1, 2)
    kept = store.append("M-1", sent)
    assert [one.header.server_sequence for one in kept] == [1, 2]
    assert {one.header.received_at for one in kept} == {NOON}
    assert [one.body for one in kept] == [one.body for one in sent]
    assert store.facts("M-1") == kept
    assert [one.header.server_sequence for one in store.append("M-1", facts(3))] == [3]
    assert verify(store.links("M-1")) is None


def test_appending_again_changes_nothing_and_answers_the_same(store: FactStore) -> None:
    kept = store.append("M-1", facts(1, 2))
    assert store.append("M-1", facts(2, 1)) == [kept[1], kept[0]]
    assert store.append("M-1", facts(1, 2, 3))[:2] == kept
    assert store.append("M-1", []) == []
    assert len(store.facts("M-1")) == 3


def test_the_same_identity_with_other_content_is_refused_and_nothing_of_the_batch_is_kept(store: FactStore) -> None:
    store.append("M-1", facts(1))
    with pytest.raises(ConflictingFact):
        store.append("M-1", [*facts(2), Fact(facts(1)[0].header, facts(9)[0].body)])
    assert len(store.facts("M-1")) == 1


def test_an_identity_belongs_to_one_case(store: FactStore) -> None:
    store.append("M-1", facts(1))
    with pytest.raises(ConflictingFact):
        store.append("M-2", [fact(length(20.1), 1, case="M-2")])
    assert store.cases() == ["M-1"]


def test_several_cases_at_once_are_kept_all_or_none(store: FactStore) -> None:
    store.append("M-2", [fact(length(22), 2, case="M-2")])
    before = store.links("M-2")
    heard: list[str] = []
    store.listen(heard.append)
    sent = {
        f"M-{n}": [fact(length(23), n, case=f"M-{n}"), fact(length(23.1), 10 + n, case=f"M-{n}")] for n in (1, 2, 3)
    }
    for wrong in (fact(length(24), 2, case="M-3"), facts(3)[0]):  # an identity that M-2 has, and a fact of another case
        with pytest.raises((ConflictingFact, InvalidInput)):
            store.append_all({**sent, "M-3": [*sent["M-3"], wrong]})
        assert (store.cases(), store.links("M-2"), heard) == (["M-2"], before, [])
    sent["M-2"][0] = fact(length(22), 2, case="M-2")  # kept already: it adds nothing
    assert store.append_all(sent) == 5
    assert (store.cases(), sorted(heard)) == (["M-2", "M-1", "M-3"], ["M-1", "M-2", "M-3"])
    assert all(verify(store.links(case)) is None for case in store.cases())
    assert (store.append_all(sent), store.append_all({})) == (0, 0)


def test_what_other_records_exported_is_taken_in_all_or_none(make: Callable[..., FactStore]) -> None:
    here, there = make(), make()
    copies = []
    for n in (1, 2, 3):
        here.append(f"M-{n}", [fact(length(23), n, case=f"M-{n}")])
        waiting = fact(length(23.5), 10 + n, case=f"M-{n}", based_on=1)
        copies.append(Exported(f"M-{n}", tuple(here.links(f"M-{n}")), (waiting,)))
    clash = fact(length(24), 2, case="M-3")
    for wrong in (replace(copies[2], pending=(clash,)), replace(copies[2], links=(*copies[2].links, *copies[0].links))):
        with pytest.raises((ConflictingFact, BrokenChain)):
            there.take_in([*copies[:2], wrong])
        assert there.cases() == []
    assert (there.take_in(copies), there.take_in(copies), there.take_in([])) == ([2, 2, 2], [0, 0, 0], [])
    assert [there.links(case)[:1] for case in there.cases()] == [here.links(case) for case in here.cases()]
    assert all(verify(there.links(case)) is None for case in there.cases())


def picture(n: int, content: bytes = PICTURE, title: str = "the eye") -> Enclosed:
    return Enclosed(str(UUID(int=n)), title, NOON.isoformat(), "a9", content)


def test_what_is_enclosed_is_kept_with_its_case_or_nothing_is(make: Callable[..., FactStore]) -> None:
    """The same bytes, title, time and person under the same case; a store without attachments says so."""
    here, there = make(), make()
    here.append("M-1", facts(1))
    here.append("M-2", [fact(length(22), 2, case="M-2")])
    ones = {"M-1": (picture(1), picture(2, title="the lens")), "M-2": (picture(3), picture(4, b"%PDF-1.4 invented"))}
    copies = [Exported(case, tuple(here.links(case)), (), ones[case]) for case in ones]
    before = rows(there)
    wrong = [
        replace(copies[1], enclosed=(picture(5, b"MZ"),)),
        replace(copies[1], enclosed=(picture(5, b"%PDF-" + bytes(LARGEST_BYTES)),)),
        replace(copies[1], enclosed=(picture(5, title="\a"),)),
        replace(copies[1], enclosed=(picture(1),)),  # the identity of one of M-1
        Exported("M-3", (), (), (picture(5),)),  # of a case that is not kept
    ]
    for one in wrong if isinstance(there, SqlFactStore) else copies:
        with pytest.raises((InvalidInput, ConflictingFact, NotFound)):
            there.take_in([copies[0], one])
        assert rows(there) == before
    if not isinstance(there, SqlFactStore):
        return
    assert (there.take_in(copies), there.take_in(copies)) == ([1, 1], [0, 0])
    for case, sent in ones.items():
        kept = [content(there.database, case, one.id) for one in listed(there.database, case)]
        assert [(a.id, a.title, a.added_at, a.added_by, data) for a, data in kept] == [astuple(one) for one in sent]
    assert check(there.database) == []
    there.erase("M-1", by="a1", why="asked for by the person")
    assert there.take_in(copies) == [0, 0]
    assert (listed(there.database, "M-1"), len(listed(there.database, "M-2"))) == ([], 2)
    assert check(there.database) == []


def test_a_fact_that_cannot_be_is_not_kept(store: FactStore) -> None:
    with pytest.raises(InvalidInput, match=r"biometry\.axial_length_mm"):
        store.append("M-1", [*facts(1), Fact(facts(2)[0].header, b'{"values":{"biometry.axial_length_mm":2.3}}')])
    with pytest.raises(InvalidInput, match="belongs to case"):
        store.append("M-2", facts(1))
    assert store.cases() == []


def test_cases_come_in_order_of_arrival_and_an_unknown_one_is_an_error(store: FactStore) -> None:
    for case in ("M-2", "M-10", "M-1"):
        store.append(case, [fact(length(23), int(case[2:]), case=case)])
    assert store.cases() == ["M-2", "M-10", "M-1"]
    store.append("M-10", [fact(length(23.5), 11, case="M-10")])
    assert list(store.sequences().items()) == [("M-2", 1), ("M-10", 2), ("M-1", 1)]
    assert (list(store.sequences(holding="measured")), store.sequences(holding="done")) == (store.cases(), {})
    for ask in (store.facts, store.links):
        with pytest.raises(NotFound, match="M-9"):
            ask("M-9")


def test_salts_are_random_and_long(make: Callable[..., FactStore]) -> None:
    stores = [make(), make()]
    for one in stores:
        one.append("M-1", facts(1, 2))
    links = [link for one in stores for link in one.links("M-1")]
    assert {len(link.salt or b"") for link in links} == {SALT_BYTES}
    assert len({link.salt for link in links}) == 4


def test_adopting_keeps_salts_and_chain_and_is_idempotent(make: Callable[..., FactStore]) -> None:
    here, there = make(), make()
    here.append("M-1", facts(1, 2, 3))
    links = here.links("M-1")
    assert there.adopt("M-1", links[:2]) == 2
    assert there.adopt("M-1", links) == 1
    assert there.adopt("M-1", links) == 0
    assert there.links("M-1") == links
    there.append("M-1", facts(4))
    assert there.adopt("M-1", links) == 0
    assert verify(there.links("M-1")) is None


def test_adopting_a_broken_or_another_history_is_refused(make: Callable[..., FactStore]) -> None:
    here, there = make(), make()
    here.append("M-1", facts(1, 2, 3))
    links = here.links("M-1")
    with pytest.raises(BrokenChain, match="Fact 2"):
        there.adopt("M-1", [links[0], replace(links[1], body=b"{}"), links[2]])
    assert there.cases() == []
    there.append("M-1", facts(7))
    with pytest.raises(ConflictingFact):
        there.adopt("M-1", links)


def test_erased_facts_are_kept_as_tombstones(store: FactStore) -> None:
    links = accept("M-1", facts(1, 2), [], received_at=NOON, salt=bytes)
    gone = [erase(links[0]), links[1]]
    store.adopt("M-1", gone)
    assert store.links("M-1") == gone
    assert [one.header.device_sequence for one in store.facts("M-1")] == [2]


def test_a_case_folds_the_same_from_the_store_as_from_the_file(store: FactStore) -> None:
    for name in NAMES:
        store.append(name, facts_from_case(parse_case(demo_bytes(name)), case_id=name))
        assert fold(store.facts(name)) == fold(read_facts(demo_bytes(name)))


def test_withdrawing_is_one_more_fact(store: FactStore) -> None:
    first = store.append("M-1", facts(1))[0]
    store.append("M-1", [fact(Withdrawn(fact=first.header.id, why="wrong eye"), 2, based_on=1)])
    assert len(store.facts("M-1")) == 2


def test_many_writers_at_once_lose_and_double_nothing(store: FactStore) -> None:
    failures: list[BaseException] = []

    def write(device: int) -> None:
        try:
            for n in range(10):
                one = fact(length(20 + n / 10), n, device=f"d{device}", id=None)
                store.append("M-1", [one])
                store.append("M-1", [one])
        except BaseException as wrong:  # noqa: BLE001 - handed to the main thread
            failures.append(wrong)

    threads = [threading.Thread(target=write, args=(device,)) for device in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    links = store.links("M-1")
    assert [link.sequence for link in links] == list(range(1, 41))
    assert verify(links) is None


def test_a_writer_learns_how_far_a_case_is_without_reading_it_all(store: FactStore) -> None:
    kept = store.append("M-1", [*facts(1, 2), fact(length(23), 9, device="d2")])
    there = store.standing("M-1", [kept[1].header.id, facts(7)[0].header.id], "d2")
    assert (there.sequence, there.device_sequence) == (3, 9)
    assert [link.fact for link in there.known] == [kept[1]]
    assert store.standing("M-1", [], "d3").device_sequence == 0
    assert [link.fact for link in store.links_at("M-1", (3, 1, 9))] == [kept[0], kept[2]]
    with pytest.raises(NotFound, match="M-9"):
        store.standing("M-9", [], "d1")


PERSON = Identity("Invented Person", "1952-03-01", "0000-17")


def test_identity_stands_beside_the_case_and_in_no_fact(store: FactStore) -> None:
    store.append("M-1", facts(1))
    assert store.identity("M-1") is None
    store.identify("M-1", PERSON, by="a1")
    assert store.identity("M-1") == PERSON
    store.identify("M-1", replace(PERSON, number=None), by="a1")
    assert store.identity("M-1") == replace(PERSON, number=None)
    assert not any(b"Invented" in (link.body or b"") for link in store.links("M-1"))
    for ask in (lambda: store.identify("M-9", PERSON, by="a1"), lambda: store.identity("M-9")):
        with pytest.raises(NotFound):
            ask()


def test_the_cases_of_a_person_are_found_by_the_number_of_the_clinic(store: FactStore) -> None:
    for n, number in ((1, "0000-17"), (2, None), (3, "0000-17"), (4, "0000-18")):
        store.append(f"M-{n}", [fact(length(23), n, case=f"M-{n}")])
        store.identify(f"M-{n}", replace(PERSON, number=number), by="a1")
    assert (store.numbered("0000-17"), store.numbered("0000-19"), store.numbered("")) == (["M-1", "M-3"], [], [])
    assert store.numbered("0000\x0017") == []
    store.erase("M-3", by="a1", why="asked for by the person")
    assert store.numbered("0000-17") == ["M-1"]


def test_an_erased_case_says_nothing_any_more_and_its_chain_still_verifies(store: FactStore) -> None:
    for case in ("M-1", "M-2"):
        store.append(case, [fact(length(23), int(case[2:]), case=case)])
    before = store.links("M-1")
    store.identify("M-1", PERSON, by="a1")
    assert store.erase("M-1", by="a1", why="asked for by the person") == 1
    assert store.erase("M-1", by="a1", why="again") == 0
    assert store.facts("M-1") == []
    assert store.links("M-1") == [erase(link) for link in before]
    assert verify(store.links("M-1")) is None
    assert store.identity("M-1") is None
    assert store.cases() == ["M-2"]
    assert store.sequences() == {"M-2": 1}
    assert store.search(question("measured"), limit=9) == [Hit("M-2", (1,))]
    for ask in (lambda: store.append("M-1", facts(5)), lambda: store.identify("M-1", PERSON, by="a1")):
        with pytest.raises(ErasedCase, match="M-1"):
            ask()
    assert store.adopt("M-1", before) == 0
    assert store.facts("M-1") == []
    with pytest.raises(NotFound):
        store.erase("M-9", by="a1", why="x")


def case_of(number: int, **values: Any) -> list[Fact]:
    named = {name.replace("__", "."): value for name, value in values.items()}
    return [fact(Found(values=named), number, case=f"M-{number}")]


def test_words_and_fields_find_the_same_in_every_store(store: FactStore) -> None:
    store.append("M-1", case_of(1, biometry__axial_length_mm=26.4, lens__appearance="white"))
    store.append("M-2", case_of(2, biometry__axial_length_mm=22.0, lens__appearance="brown", lens__grade=4.0))
    store.append("M-3", case_of(3, signs__dialysis_clock_hours=[4.0, 5.0], signs__trauma=True))
    why = Decided(subject="technique", choice="manual-small-incision", reason="Rhexis: déchirure à 3 heures")
    store.append("M-3", [fact(why, 33, case="M-3")])

    def found(text: str) -> dict[str, tuple[int, ...]]:
        return {hit.case: hit.sequences for hit in store.search(question(text), limit=10)}

    assert found("white") == {"M-1": (1,)}
    assert found("appear") == {"M-2": (1,), "M-1": (1,)}
    assert list(found("found")) == ["M-3", "M-2", "M-1"]
    assert found("axial_length_mm > 26") == {"M-1": (1,)}
    assert found("biometry.axial_length_mm<=26,4") == {"M-2": (1,), "M-1": (1,)}
    assert found("axial_length_mm<26.4 grade=4") == {"M-2": (1,)}
    assert found("length_mm>20") == {}
    assert found("DECHIRURE trauma=true") == {"M-3": (1, 2)}
    assert found("technique=manual-small-incision small") == {"M-3": (2,)}
    assert found("dialysis_clock_hours=5") == {"M-3": (1,)}
    assert found("white grade=4") == {}
    assert found("100%_x") == {}
    assert len(store.search(question("found"), limit=2)) == 2


@pytest.mark.parametrize("text", ["", "   ", "?", "grade>four", "grade>nan", "x " * 13])
def test_a_question_that_asks_nothing_is_one_sentence(text: str) -> None:
    with pytest.raises(InvalidInput):
        question(text)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.text(max_size=30))
def test_any_text_is_a_question_or_one_sentence_and_never_a_fault_of_the_database(text: str) -> None:
    with suppress(InvalidInput):
        asked = question(text)
        assert ASKED.search(asked, limit=3) == []


def test_the_end_of_a_case_is_told_and_whoever_listens_hears_of_new_facts_once(store: FactStore) -> None:
    heard: list[str] = []
    with pytest.raises(NotFound):
        store.head("M-1")
    end = store.listen(heard.append)
    store.append("M-1", facts(1, 2))
    assert (store.head("M-1"), heard) == (2, ["M-1"])
    store.append("M-1", facts(1, 2))  # a repeat brings nothing new
    assert heard == ["M-1"]
    end()
    store.append("M-1", facts(3))
    assert (store.head("M-1"), heard) == (3, ["M-1"])


def test_the_same_bytes_from_two_devices_at_once_are_kept_once(store: FactStore) -> None:
    """Into one case, and into two: one blob, one attachment of a case, and nobody gets an error of the database."""
    if not isinstance(store, SqlFactStore):
        return
    for case_id in ("M-1", "M-2"):
        store.append(case_id, [fact(length(23), int(case_id[2:]), case=case_id)])
    ready, kept = threading.Barrier(4), []

    def attach(case_id: str) -> None:
        ready.wait()
        kept.append(add(store.database, case_id, PICTURE, title="fundus", by="a1", at=NOON))

    threads = [threading.Thread(target=attach, args=(name,)) for name in ("M-1", "M-1", "M-2", "M-2")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(kept) == 4
    assert [len(listed(store.database, name)) for name in ("M-1", "M-2")] == [1, 1]
    assert {content(store.database, one.case, one.id)[1] for one in kept} == {PICTURE}
    assert check(store.database) == []


def test_an_import_of_many_cases_reads_the_list_of_all_cases_once(store: FactStore) -> None:
    """And what else it asks grows with the cases that come, not with their square."""
    if not isinstance(store, SqlFactStore):
        return
    told: list[str] = []
    event.listen(store.database.engine, "before_cursor_execute", lambda *given: told.append(given[2]))
    counts = []
    for first in (4, 8, 16):
        here = MemoryFactStore()
        names = [f"M-{n}" for n in range(first, 2 * first)]
        for name in names:
            here.append(name, [fact(length(23), int(name[2:]), case=name)])
        told.clear()
        assert {one.facts for one in import_all(store, [export_facts(here, name) for name in names])} == {1}
        assert sum("NOT IN (SELECT erasure" in " ".join(one.split()) for one in told) == 1
        counts.append(len(told))
    assert counts[2] - counts[1] == 2 * (counts[1] - counts[0])
