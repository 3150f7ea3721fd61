"""Kit with sizes against a shelf, drugs with their second check, allergies, children and light people."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from forestay.demo import devices_bytes
from forestay.errors import ForestayError
from forestay.eye.view import KNOWN_ALLERGIES
from forestay.plan.context import Context
from forestay.plan.device_shelf import DeviceShelf, read_shelf, stock, things
from forestay.plan.make import make
from forestay.plan.model import Plan
from forestay.plan.ruleset import ruleset
from tests.plan.cases import NAMES, changed, planned, raw, situation

DAY = date(2026, 11, 27)
SHELF = read_shelf(devices_bytes(), "devices.toml")


def shelved(data: dict[str, Any], shelf: DeviceShelf = SHELF, on: date | None = DAY) -> Plan:
    return make(situation(data), replace(Context.default(draws=200), devices=shelf, today=on))


def without(thing: str) -> DeviceShelf:
    return SHELF.model_copy(update={"item": tuple(i for i in SHELF.item if i.thing != thing)})


def test_the_invented_shelf_says_that_it_is_invented() -> None:
    assert SHELF.invented
    assert {i.thing for i in SHELF.item} <= set(things())


def test_every_item_of_the_rules_has_its_kind_and_every_allergen_is_a_known_word() -> None:
    kinds = {r.data.get("kind") for r in ruleset("kit")["item"]}
    assert kinds == {"tray", "device", "lens", "consumable", "drug"}
    allergens = {a for r in ruleset("doses")["dose"] for a in r.data.get("allergens", ())}
    assert allergens <= set(KNOWN_ALLERGIES)


@pytest.mark.parametrize(
    ("need", "on", "enough", "says"),
    [
        (("tension-ring", 1, 11), DAY, True, "1 on the shelf"),
        (("tension-ring", 2, 11), DAY, False, "1 of 2"),
        (("tension-ring", 1, 10), DAY, False, "only expired"),
        (("tension-ring", 1, 10), date(2026, 6, 30), True, "first to expire 2026-06-30"),
        (("tension-ring", 1, 13), DAY, False, "not in 13 mm; on the shelf: 10, 11, 12 mm"),
        (("tension-ring", 1, 11), None, True, "expiry not checked"),
        (("ring-segment", 1, None), DAY, False, "none on the shelf"),
        (("cefuroxime", 1, None), DAY, False, "only expired"),
    ],
)
def test_a_need_against_the_shelf(
    need: tuple[str, int, float | None], on: date | None, enough: bool, says: str
) -> None:
    thing, count, size_mm = need
    found = stock(SHELF, thing=thing, count=count, size_mm=size_mm, on=on)
    assert found.enough == enough
    assert says in found.says


def test_what_expires_first_is_taken_first() -> None:
    items = [
        {"thing": "dye", "count": 1, "expires": date(2028, 1, 1), "lot": "late"},
        {"thing": "dye", "count": 1, "expires": date(2027, 1, 1), "lot": "early"},
    ]
    shelf = DeviceShelf.model_validate({"item": items})
    assert stock(shelf, thing="dye", count=1, size_mm=None, on=DAY).lots == ("early",)
    assert stock(shelf, thing="dye", count=2, size_mm=None, on=DAY).lots == ("early", "late")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("item = 3", "list of tables"),
        ("[[item]]\nthing = 'ring'\ncount = 1", "no rule asks for this"),
        ("[[item]]\nthing = 'dye'\ncount = -1", "count"),
        ("[[item]]\nthing = 'dye'\ncount = 1\ncolour = 'blue'", "colour"),
        ("[[item", "cannot be read as TOML"),
        ("[[item]]\nthing = 'dye'\ncount = 1\nexpires = 'soon'", "expires"),
    ],
)
def test_a_bad_shelf_is_one_sentence(text: str, words: str) -> None:
    with pytest.raises(ForestayError, match=words):
        read_shelf(text.encode(), "shelf.toml")


def test_the_shelf_is_said_beside_each_item_and_what_lacks_comes_first() -> None:
    plan = shelved(raw("brown-pseudoexfoliation"), without("vitrector"))
    vitrector = next(i for i in plan.kit["items"] if i.thing == "vitrector")
    assert vitrector.missing
    assert vitrector.shelf == "none on the shelf"
    assert vitrector.item in plan.kit["missing"]
    hooks = next(i for i in plan.kit["items"] if i.thing == "iris-hooks")
    assert hooks.missing is False
    assert hooks.count >= 4
    assert "first to expire" in hooks.shelf


def test_an_expired_drug_is_said_at_its_dose() -> None:
    dose = next(d for d in shelved(raw("trauma-gap")).doses if d.drug == "cefuroxime")
    assert "only expired" in dose.shelf


def test_the_ring_is_asked_for_in_the_size_of_this_bag() -> None:
    # ends must overlap: the smallest size whose ends meet at more than the bag's diameter
    plan = planned(raw("brown-pseudoexfoliation"))
    ring = next(i for i in plan.kit["items"] if i.thing == "tension-ring")
    bag = next(e for e in plan.estimates if "bag" in e.name)
    assert ring.size_mm is not None
    assert bag.value < ring.size_mm < bag.value + 1
    assert f"{ring.size_mm:g} mm with its ends meeting" in ring.item


def test_the_shelf_changes_the_plans_identity() -> None:
    assert (
        shelved(raw("trauma-gap")).version["context"] != shelved(raw("trauma-gap"), without("dye")).version["context"]
    )


@pytest.mark.parametrize("name", NAMES)
def test_the_tray_is_that_of_the_technique_and_says_what_it_holds(name: str) -> None:
    plan = planned(raw(name))
    trays = [i for i in plan.kit["items"] if i.kind == "tray" and i.why == "chosen technique"]
    assert [t.thing for t in trays] == [f"tray-{plan.chosen.technique}"]
    assert len(trays[0].holds) > 5


@pytest.mark.parametrize("name", NAMES)
def test_prepared_drugs_are_checked_by_two_with_the_sum(name: str) -> None:
    doses = {d.drug: d for d in planned(raw(name)).doses}
    antibiotic = doses.get("cefuroxime") or doses["moxifloxacin"]
    assert "Another reads the ampoule and repeats" in antibiotic.check
    assert "stop under" in antibiotic.check


def test_the_sum_of_cefuroxime() -> None:
    # licensed vial: 50 mg + 5 ml saline, 0.1 ml is 1 mg; outside 0.5 to 3 mg it stops
    check = next(d for d in planned(raw("trauma-gap")).doses if d.drug == "cefuroxime").check
    assert "50 mg in 5 ml is 10 mg/ml; 0.1 ml is 1 mg; stop under 0.5 or over 3 mg" in check


@pytest.mark.parametrize(
    ("allergy", "gone", "stop"),
    [
        ("nsaid", "bromfenac drops", "allergy-nsaid"),
        ("mannitol", "mannitol", "allergy-mannitol"),
        ("trypan-blue", "trypan blue", "allergy-trypan"),
        ("local-anaesthetic", "lidocaine for the sub-Tenon block", "allergy-sub-tenon"),
        ("steroid", "triamcinolone", "allergy-triamcinolone"),
    ],
)
def test_a_recorded_allergy_stops_the_drug_by_name(allergy: str, gone: str, stop: str) -> None:
    name = "brown-pseudoexfoliation"
    before, after = planned(raw(name)), planned(changed(name, person__allergies=[allergy]))
    assert gone in {d.drug for d in before.doses}
    assert gone not in {d.drug for d in after.doses}
    assert stop in {s.key for s in after.stops}
    assert not any("No rule knows the allergy" in c.why for c in after.checks)


def test_a_child_gets_no_adult_tablet() -> None:
    name = "brown-pseudoexfoliation"
    child = planned(changed(name, person__age_years=9, person__weight_kg=24))
    assert not any(d.drug == "acetazolamide" for d in child.doses)
    block = [d for d in child.doses if "block" in d.drug]
    assert all("a child" in d.caution for d in block)


def test_a_light_person_is_told_and_a_block_is_cut_to_the_weight() -> None:
    # 5 ml lidocaine 2 % are 100 mg; at 30 kg the limit of 3 mg/kg is 90 mg: 4.5 ml
    light = planned(changed("brown-pseudoexfoliation", person__weight_kg=30))
    said = {d.drug: d.caution for d in light.doses}
    assert "no more than 4.5 ml at 30 kg" in said["lidocaine for the sub-Tenon block"]
    assert "a light person" in said["acetazolamide"]
