"""The catalogue of sentences is current, so that a translator sees what a reader sees."""

from __future__ import annotations

import io
import string
import sys
from importlib.util import module_from_spec, spec_from_file_location
from typing import Any, get_args

import pytest

from forestay.calc.day_records import PLAIN_NAMES
from forestay.calc.sorting import ASKED, SAID
from forestay.calc.zonule import WEIGHING
from forestay.calc.zonule_input import ZonularSupportInput, seen_facts
from forestay.case import key_words
from forestay.case.fields import PATHS
from forestay.mechanics.bag_model import State as BagHeld
from forestay.mechanics.open_ring_model import RingState
from forestay.optics.incision import SITES
from forestay.plan.device_shelf import things
from forestay.plan.lens_part import LABELS
from forestay.plan.words import TECHNIQUES
from forestay.risk.complication import FLAGS
from forestay.risk.zonule import Grade
from forestay.services.access import table
from forestay.text import field_words, spelled
from tests.project.source import ROOT

EVERYTHING_SEEN = ZonularSupportInput(
    side="left",
    age_years=70.0,
    phacodonesis="at-rest",
    subluxated=True,
    iris_lens_gap=True,
    equator_seen=True,
    bag_follows=True,
    dialysis_clock_hours=(3.0,),
)


@pytest.fixture(scope="module")
def catalogue() -> Any:
    """The script that ``make catalogue`` runs."""
    spec = spec_from_file_location("catalogue", ROOT / "packaging" / "catalogue.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    sys.modules["catalogue"] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules["catalogue"]


def test_the_catalogue_in_the_tree_is_current(catalogue: Any) -> None:
    assert catalogue.POT.read_text(encoding="utf-8") == catalogue.text(), "run: make catalogue"


def test_it_holds_sentences_of_code_templates_and_rules(catalogue: Any) -> None:
    found = {message.id for message in catalogue.sentences()}
    assert "{field} is missing; it is needed here." in found
    assert "Skip to the content" in found
    assert "put a one-piece soft lens into the sulcus" in found


def test_it_holds_neither_line_numbers_nor_dates(catalogue: Any) -> None:
    text = catalogue.text()
    assert "\n#: " not in text
    assert "Date" not in text.split("\n\n")[0]


def test_the_extractor_of_rules_leaves_the_words_of_the_program(catalogue: Any) -> None:
    file = io.BytesIO(b'[[stop]]\nkey = "a"\nwhen = ["x = y"]\nwhy = "because"\nkit = ["dye"]\nsources = ["b"]\n')
    assert [found[2] for found in catalogue.rules(file, None, None, None)] == ["because", "dye"]


def test_every_place_in_a_sentence_is_named(catalogue: Any) -> None:
    unnamed = []
    for message in catalogue.sentences():
        if "python-brace-format" in message.flags:
            places = [name for _, name, _, _ in string.Formatter().parse(message.id) if name is not None]
            if any(not name or name.isdigit() for name in places):
                unnamed.append(message.id)
    assert unnamed == []


def test_keys_that_stand_in_sentences_are_in_the_list_that_translators_see() -> None:
    held = key_words
    shelf = {
        thing.replace("-", " ") for thing in things() if thing not in PLAIN_NAMES and not thing.startswith("tray-")
    }
    assert shelf <= set(held.THINGS)
    assert {f"tray {name}" for name in TECHNIQUES if name != "referral"} <= set(held.THINGS)
    assert {position.replace("-", " ") for position in LABELS} <= set(held.POSITIONS)
    assert set(SITES) == set(held.SITES)
    assert {state for states in (BagHeld, RingState) for state in get_args(states)} <= set(held.STATES)
    assert {SAID.get(name, name.replace("_", " ")) for name in ASKED} == set(held.SIGNS)
    weighed = {*WEIGHING, *FLAGS, *get_args(Grade), *(name for name in seen_facts(EVERYTHING_SEEN))}
    assert {spelled((name,)) for name in weighed} <= set(held.WEIGHED)
    assert {field_words(path) for path in PATHS} <= set(held.FIELDS)
    assert set(table().permissions.values()) == set(held.PERMISSIONS)
