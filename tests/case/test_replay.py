"""The thread in plain words, and the situation after each fact."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, get_args

import pytest
from hypothesis import given, settings

from forestay.case.bodies import Decided, Done, Event, Found, Happened, Measured, Seen, Signed, Withdrawn, planned
from forestay.case.case_file import parse_case
from forestay.case.fact import Fact
from forestay.case.fields import PATHS
from forestay.case.fold import fold
from forestay.case.from_file import facts_from_case
from forestay.case.replay import situations, thread
from forestay.case.vocabulary import choices, decisions, flags, labels, things
from forestay.case.words import say
from forestay.demo import NAMES, demo_bytes
from forestay.eye.records import CaseFile
from forestay.eye.situation import Decisions
from forestay.eye.validation import validate
from tests.case.strategies import NOON, accepted, case_tables, fact, histories, length, start


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (
            {"biometry.axial_length_mm": 22.4, "biometry.axial_length_method": "ultrasound-contact"},
            "length 22.4 mm, contact",
        ),
        (
            {"biometry.k1_d": 44.25, "biometry.k1_axis_deg": 5, "biometry.k2_d": 45, "biometry.k2_axis_deg": 95},
            "K 44.25 @ 5 · 45.00 @ 95",
        ),
        ({"biometry.k1_d": 44.25}, "K 44.25"),
        ({"biometry.k1_axis_deg": 5}, "K ? @ 5"),
        ({"lens.grade": 4, "lens.appearance": "brown"}, "brown, grade 4"),
        ({"biometry.lens_thickness_mm": 4.9}, "lens thickness 4.9 mm"),
        ({"person.age_years": 71, "person.sex": "female"}, "woman, 71 years"),
        ({"eye.side": "right"}, "right eye"),
        ({"signs.dialysis_clock_hours": [6, 7]}, "gap seen at 6 and 7"),
        ({"signs.dialysis_clock_hours": []}, "no gap seen"),
        ({"signs.phacodonesis": "after-movement"}, "lens moves after a saccade"),
        ({"signs.trauma": False, "signs.pseudoexfoliation": True}, "pseudoexfoliation · no injury"),
        ({"signs.pupil_dilated_mm": 3.8}, "pupil after drops 3.8 mm"),
        ({"person.allergies": []}, "allergies: none"),
        ({"theatre.has": ["iris-hooks", "dye"]}, "there is: iris hooks, dye"),
        (
            {"fellow.axial_length_mm": 23.2, "fellow.refraction_d": -0.5},
            "fellow eye: length 23.2 mm · refraction -0.50 D",
        ),
        (
            {"target.refraction_d": -0.5, "target.lens_constant": {"a": 118.4, "method": "optical"}},
            "target -0.50 D, lens constant A 118.4, optical",
        ),
    ],
)
def test_values_in_the_words_of_the_trade(values: dict[str, Any], words: str) -> None:
    assert say(Found(values=values)) == words


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (
            Decided(subject="technique", choice="manual-small-incision", reason="hard", turned_down=("phaco: count",)),
            "manual small incision: hard; turned down: phaco: count",
        ),
        (Decided(subject="ring", choice="after-nucleus", reason="gap"), "ring after the nucleus: gap"),
        (Decided(subject="ring", choice="none", reason="none here"), "no ring: none here"),
        (Decided(subject="capsulorhexis_mm", choice=5.2, reason="rim"), "capsulorhexis 5.2 mm: rim"),
        (Decided(subject="pupil_hooks", choice=4, reason="small"), "4 pupil hooks: small"),
        (Decided(subject="tunnel_clock", choice=11.5, reason="bleb"), "tunnel at 11.5 o'clock: bleb"),
        (Decided(subject="biometry.axial_length_mm", choice=23.1, reason="immersion"), "length 23.1 mm: immersion"),
        (Decided(subject="other eye first", choice=True, reason="worse"), "other eye first: yes: worse"),
        (
            Done(step="capsulorhexis", by="surgeon", sizes={"capsulorhexis_mm": 5.2}, devices=("dye",)),
            "capsulorhexis, by surgeon · capsulorhexis 5.2 mm · dye",
        ),
        (
            Happened(event="zonular-dialysis", step="rotation", clock_hours=(6, 7)),
            "zonular dialysis at rotation, 6 and 7 o'clock",
        ),
        (
            Seen(day=1, acuity="CF", acuity_type="pinhole", pressure_mmhg=24, corneal_thickness_um=610, k1_d=44),
            "day 1 · acuity CF, pinhole · pressure 24 mmHg · K 44.00 · corneal thickness 610 micrometres",
        ),
        (
            Seen(
                day=28,
                acuity_logmar=0.2,
                acuity_type="best-corrected",
                refraction_d=-0.5,
                cylinder_d=1,
                cylinder_axis_deg=90,
            ),
            "day 28 · acuity 0.2 logMAR, best corrected · refraction -0.50 D · cylinder 1.00 D @ 90",
        ),
        (Signed(head="ab" * 32), "signed, head abababab"),
    ],
)
def test_other_kinds_in_words(body: Any, words: str) -> None:
    assert say(body) == words


def test_a_kept_plan_in_words() -> None:
    digests = dict.fromkeys(("evidence_digest", "practice_digest", "context_digest"), "a" * 64)
    assert say(planned(b"{}", engine_version="0.1.0", **digests)) == "plan kept, made by version 0.1.0"


def _words_of(path: str) -> tuple[str, ...]:
    """The words that a field of the case file may hold, from its type."""
    section, _, key = path.partition(".")
    annotation = CaseFile.model_fields[section].annotation.model_fields[key].annotation  # type: ignore[union-attr]
    found: list[str] = []
    stack = [annotation]
    while stack:
        inner = get_args(stack.pop())
        found += [word for word in inner if isinstance(word, str)]
        stack += [part for part in inner if not isinstance(part, str)]
    return tuple(found)


def test_every_word_of_every_field_has_words_of_its_own() -> None:
    joined = {"person.sex", "eye.side", "biometry.axial_length_method"}
    for path in PATHS:
        for word in _words_of(path):
            known = (path, word) in choices() or word in things() or path in joined
            assert known or path == "target.lens_constant", (path, word)


def test_every_other_field_has_a_label_or_a_yes_and_a_no() -> None:
    phrased = {path for path in PATHS if path.startswith(("biometry.axial", "biometry.k", "fellow.k", "target."))}
    phrased |= {"person.age_years", "person.sex", "eye.side", "lens.grade", "fellow.axial_length_mm"}
    phrased |= {"fellow.refraction_d", "fellow.planned_refraction_d", "signs.dialysis_clock_hours"}
    choosing = {path for path, _ in choices()}
    assert set(PATHS) == phrased | choosing | set(flags()) | set(labels())
    assert set(decisions()) == set(Decisions.model_fields)
    assert set(get_args(Event)) <= set(things())


@settings(deadline=None, derandomize=True, max_examples=100)
@given(case_tables)
def test_any_case_file_reads_without_file_words(tables: dict[str, Any]) -> None:
    for line in thread(facts_from_case(validate(CaseFile, tables))):
        assert line.words
        assert "_" not in line.words
        assert "true" not in line.words.lower()


def test_the_thread_of_an_invented_case() -> None:
    case = parse_case(demo_bytes("trauma-gap"))
    lines = thread(facts_from_case(case, happened_at=NOON, apart=timedelta(minutes=4)))
    assert [line.words for line in lines][3:5] == [
        "length 23.71 mm, optical · scan behind the lens normal",
        "K 42.50 @ 4 · 43.75 @ 94 · white to white 11.9 mm",
    ]
    assert all(line.pending and not line.decided and not line.withdrawn for line in lines)
    assert [line.time for line in lines] == sorted(line.time for line in lines)


def test_decided_withdrawn_and_corrected_facts_are_marked() -> None:
    first = accepted(fact(length(32.1), 2), 2)
    right = accepted(fact(length(23.1), 3, corrects=first.header.id), 3)
    choice = accepted(fact(Decided(subject="ring", choice="none", reason="sound"), 4), 4)
    back = accepted(fact(Withdrawn(fact=choice.header.id, why="gap seen"), 5), 5)
    lines = thread([start(), first, right, choice, back])
    assert [(line.decided, line.withdrawn, line.pending) for line in lines] == [
        (False, False, False),
        (False, True, False),
        (False, False, False),
        (True, True, False),
        (False, False, False),
    ]
    assert [line.why for line in lines] == [None, "corrected: length 23.1 mm", None, "taken back: gap seen", None]
    assert lines[4].words == "taken back: no ring: sound; gap seen"
    assert [line.fact_id for line in lines] == [one.header.id for one in (start(), first, right, choice, back)]


def test_the_thread_follows_the_clock_and_the_fold_does_not() -> None:
    late = accepted(fact(length(23.1), 2, happened_at=NOON + timedelta(hours=2)), 2)
    early = accepted(fact(length(22.4), 3, happened_at=NOON + timedelta(hours=1)), 3)
    facts = [start(), late, early]
    assert [line.words for line in thread(facts)][1:] == ["length 22.4 mm", "length 23.1 mm"]
    assert fold(facts).case.biometry.axial_length_mm == 22.4


@settings(deadline=None, derandomize=True, max_examples=50)
@given(histories())
def test_replay_ends_in_the_situation_and_the_thread_has_every_fact(facts: list[Fact]) -> None:
    steps = list(situations(facts))
    assert [one for one, _ in steps] == facts
    assert steps[-1][1] == fold(facts)
    assert {line.fact_id for line in thread(facts)} == {one.header.id for one in facts}


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_known_until_age_and_side_are(name: str) -> None:
    steps = list(situations(facts_from_case(parse_case(demo_bytes(name)))))
    assert steps[0][1] is None
    assert steps[1][1] is not None


def test_measured_reads_like_found() -> None:
    assert say(Measured(values={"eye.pressure_mmhg": 18})) == "pressure 18 mmHg"
