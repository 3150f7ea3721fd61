"""Two readings of one length, and old refractions against lengths, as every face checks them."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.eye.records import CaseFile
from forestay.eye.validation import validate
from forestay.plan.consistency import check
from tests.plan.cases import changed, planned, raw

PLAIN = "white-swollen"
FELLOW = {
    "fellow__axial_length_mm": 23.4,
    "fellow__k1_d": 43.5,
    "fellow__k2_d": 44.0,
    "biometry__k1_d": 43.5,
    "biometry__k2_d": 44.0,
    "fellow__operated": False,
    "fellow__refraction_d": None,
}


def levels(**fields: Any) -> dict[str, str]:
    return {f.key: f.level for f in check(validate(CaseFile, changed(PLAIN, **fields)))}


@pytest.mark.parametrize(
    ("first", "second", "level"),
    # evidence 3.3: contact reads 0.20 +/- 0.26 mm short of immersion, immersion errs by 0.10: 2 SD 0.56, 3 SD 0.84 mm
    [(23.4, 23.2, None), (23.4, 22.7, None), (23.4, 22.6, "note"), (23.4, 22.3, "recheck"), (23.4, 24.1, "recheck")],
)
def test_two_readings_of_one_length(first: float, second: float, level: str | None) -> None:
    found = levels(
        biometry__axial_length_mm=first,
        biometry__axial_length_method="ultrasound-immersion",
        biometry__second_length_mm=second,
        biometry__second_length_method="ultrasound-contact",
    )
    assert found.get("length-second-reading") == level


def test_an_old_refraction_explains_a_difference_of_length() -> None:
    # 1 mm is about 2.5 D (evidence 3.4): -2.5 D against plano explains 24.4 against 23.4 mm, plano against plano does not
    longer = {**FELLOW, "biometry__axial_length_mm": 24.4}
    unknown = levels(**longer)
    assert unknown["length-fellow-recheck"] == "recheck"
    fits = levels(**longer, biometry__old_refraction_d=-2.5, fellow__old_refraction_d=0.0)
    assert fits["length-fellow-recheck"] == "note"
    assert "old-refraction-fellow" not in fits
    misfit = levels(**longer, biometry__old_refraction_d=0.0, fellow__old_refraction_d=0.0)
    assert misfit["old-refraction-fellow"] == "recheck"
    assert misfit["length-fellow-recheck"] == "recheck"


def test_a_fellow_without_cataract_lends_todays_refraction() -> None:
    longer = {**FELLOW, "biometry__axial_length_mm": 24.4, "fellow__refraction_d": 0.0}
    plano = {"biometry__old_refraction_d": 0.0}
    assert "old-refraction-fellow" in levels(**longer, **plano, fellow__cataract=False)
    assert "old-refraction-fellow" not in levels(**longer, **plano, fellow__cataract=True)
    assert "old-refraction-fellow" not in levels(
        **{**longer, "fellow__operated": True}, **plano, fellow__cataract=False
    )


@pytest.mark.parametrize(("old", "told"), [(0.0, False), (-3.0, False), (-6.0, True), (6.0, True)])
def test_one_eye_alone_tells_only_a_gross_misfit(*, old: float, told: bool) -> None:
    alone = {**FELLOW, "fellow__axial_length_mm": None, "biometry__axial_length_mm": 23.5}
    assert ("old-refraction-alone" in levels(**alone, biometry__old_refraction_d=old)) is told


def test_the_plan_shows_both() -> None:
    data = changed(
        PLAIN,
        **FELLOW,
        biometry__axial_length_mm=23.6,
        biometry__axial_length_method="ultrasound-immersion",
        biometry__second_length_mm=22.1,
        biometry__second_length_method="ultrasound-contact",
        biometry__old_refraction_d=2.0,
        fellow__old_refraction_d=0.0,
    )
    plan = planned(data)
    told = {c.field for c in plan.checks if c.level == "recheck"}
    assert {"biometry.second_length_mm", "biometry.old_refraction_d"} <= told
    assert any("two readings of the length" in line for line in plan.lens.learnt)


def test_a_demo_has_none_of_it() -> None:
    assert not [c for c in planned(raw(PLAIN)).checks if "second" in c.field or "old" in c.field]
