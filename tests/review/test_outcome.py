"""One operated eye from its facts: what was planned before the first step, what was done, what came."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from forestay.case.bodies import Body, Decided, Done, Found, Happened, Measured, Seen, Withdrawn, planned
from forestay.case.fact import Fact, new_fact
from forestay.review.incision import place, turned
from forestay.review.outcome import Outcome, outcome_of

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
DIGEST = "0" * 64


class Notebook:
    """Facts of one case in their order, by one author on one device."""

    def __init__(self) -> None:
        self.facts: list[Fact] = []

    def note(self, body: Body) -> Fact:
        n = len(self.facts) + 1
        fact = new_fact(
            body,
            case="eye-1",
            author="pseudonym-7",
            device="desk",
            device_sequence=n,
            happened_at=START + timedelta(minutes=n),
            based_on=0,
        )
        self.facts.append(fact)
        return fact


def plan(power_d: float = 21.0, refraction_d: float = -0.4) -> bytes:
    """The parts of a plan that an outcome reads, with round figures."""
    choices = [
        {"power_d": power_d - 0.5, "refraction_d": refraction_d + 0.36},
        {"power_d": power_d, "refraction_d": refraction_d},
        {"power_d": power_d + 0.5, "refraction_d": refraction_d - 0.36},
    ]
    return json.dumps(
        {
            "chosen": {"technique": "manual-small-incision"},
            "measures": {
                "lens_position": "bag",
                "capsulorhexis_mm": 6.5,
                "tunnel_outer_mm": 7.0,
                "tunnel_clock": 12.0,
                "tunnel_shape": "frown",
                "pupil_hooks": 5,
                "ring": "after-nucleus",
                "capsule_hook_clocks": [],
            },
            "lens": {"formula": "SRK/T", "positions": [{"position": "bag", "choices": choices, "sd_d": 0.5}]},
            "options": [
                {"technique": "manual-small-incision", "risks": [{"name": "capsule-rupture", "probability": 0.04}]},
                {"technique": "extracapsular", "risks": [{"name": "capsule-rupture", "probability": 0.09}]},
            ],
            "astigmatism": {"induced_d": 0.7, "induced_sd_d": 0.4},
            "steps": [{"key": "capsulorhexis"}, {"key": "lens"}, {"key": "ring"}],
        }
    ).encode()


def kept(data: bytes) -> Body:
    return planned(data, engine_version="0.1.0", evidence_digest=DIGEST, practice_digest=DIGEST, context_digest=DIGEST)


def operated(side: str = "left", clock: float = 12.0) -> Notebook:
    book = Notebook()
    book.note(Found(values={"person.age_years": 71, "eye.side": side, "signs.pseudoexfoliation": True}))
    book.note(
        Measured(
            values={
                "biometry.axial_length_mm": 23.4,
                "biometry.axial_length_method": "ultrasound-immersion",
                "biometry.k1_d": 43.0,
                "biometry.k1_axis_deg": 180.0,
                "biometry.k2_d": 44.0,
                "biometry.k2_axis_deg": 90.0,
                "biometry.endothelial_count_per_mm2": 2400.0,
            }
        )
    )
    book.note(kept(plan()))
    book.note(Done(step="tunnel", by="consultant-1", sizes={"tunnel_outer_mm": 7.5, "tunnel_clock": clock}))
    book.note(Done(step="capsulorhexis", by="trainee-2", sizes={"capsulorhexis_mm": 6.0}))
    book.note(Happened(event="zonular-dialysis", step="prolapse", clock_hours=(4.0,)))
    book.note(
        Done(step="lens", by="consultant-1", sizes={"lens_power_d": 21.25}, devices=("rigid lens", "lot A17", "tray 3"))
    )
    return book


def read(book: Notebook) -> Outcome:
    found = outcome_of("eye-1", book.facts)
    assert found is not None
    return found


def test_plan_and_deed_stand_side_by_side() -> None:
    found = read(operated())
    assert found.operated_on == START.date()
    assert found.surgeon == "consultant-1"
    assert found.sizes == {"capsulorhexis_mm": (6.5, 6.0), "tunnel_outer_mm": (7.0, 7.5), "tunnel_clock": (12.0, 12.0)}
    assert found.supports_planned == ("ring", "pupil-hooks")
    assert found.supports_used == ()
    assert (found.lens_model, found.lots, found.trays) == ("rigid lens", ("A17",), ("3",))
    assert found.steps_planned == ("capsulorhexis", "lens", "ring")
    assert found.steps_done == ("tunnel", "capsulorhexis", "lens")
    assert found.mix["pseudoexfoliation"] is True
    assert found.mix["glaucoma"] is None
    assert found.last_day is None


def test_the_refraction_told_is_that_of_the_power_put_in() -> None:
    book = operated()
    book.note(Seen(day=40, refraction_d=-0.75))
    found = read(book)
    # 21.25 D lies half-way between the told 21.0 D (-0.40 D) and 21.5 D (-0.76 D).
    assert found.predicted_refraction_d == pytest.approx(-0.58)
    assert found.refraction_error_d == pytest.approx(-0.17)
    assert found.refraction_day == 40


def test_a_plan_kept_after_the_first_step_is_not_what_was_told() -> None:
    book = operated()
    book.note(kept(plan(power_d=25.0, refraction_d=1.0)))
    assert read(book).predicted_refraction_d == pytest.approx(-0.58)


def test_the_risk_is_that_of_the_technique_that_was_used() -> None:
    book = operated()
    assert read(book).risks == {"capsule-rupture": 0.04}
    book.note(Decided(subject="technique_done", choice="extracapsular", reason="nucleus too large for the tunnel"))
    assert read(book).risks == {"capsule-rupture": 0.09}
    assert read(book).technique_planned == "manual-small-incision"


def test_a_torn_zonule_without_vitreous_is_no_rupture_and_with_it_is() -> None:
    book = operated()
    assert not read(book).rupture
    vitreous = book.note(Happened(event="vitreous-in-chamber"))
    assert read(book).rupture
    book.note(Withdrawn(fact=vitreous.header.id, why="it was viscoelastic"))
    assert not read(book).rupture
    book.note(Happened(event="posterior-capsule-tear"))
    assert read(book).rupture


@pytest.mark.parametrize("side", ["left", "right"])
def test_an_incision_above_that_flattens_the_vertical_meridian_reads_as_flattening(side: str) -> None:
    book = operated(side)
    # Before 43 @ 180 / 44 @ 90; after 43.6 @ 180 / 43.2 @ 90: the vertical meridian is flatter by 0.8 D against the
    # horizontal, which steepened by 0.6 D: together 1.4 D of flattening along 90, by hand.
    book.note(Seen(day=45, k1_d=43.6, k1_axis_deg=180.0, k2_d=43.2, k2_axis_deg=90.0))
    found = read(book)
    change = turned(found)
    assert change is not None
    assert change == pytest.approx((1.4, 0.0), abs=1e-9)
    assert place(found) == "superior frown"


def test_places_are_named_by_the_side_of_the_eye() -> None:
    names = {(side, clock): place(read(operated(side, clock))) for side in ("left", "right") for clock in (3.0, 9.0)}
    assert names == {
        ("left", 3.0): "temporal frown",
        ("left", 9.0): "nasal frown",
        ("right", 3.0): "nasal frown",
        ("right", 9.0): "temporal frown",
    }
    assert place(read(operated("left", 10.5))) == "oblique frown"


def test_without_a_step_there_is_no_outcome() -> None:
    book = Notebook()
    book.note(Found(values={"person.age_years": 71, "eye.side": "left"}))
    assert outcome_of("eye-1", book.facts) is None


@pytest.mark.parametrize("missing", ["plan", "visits"])
def test_what_was_not_recorded_is_absent_and_not_guessed(missing: str) -> None:
    book = operated()
    if missing == "plan":
        book.facts = [fact for fact in book.facts if fact.header.kind != "planned"]
    found: Any = read(book)
    assert found.refraction_error_d is None
    assert found.acuity is None
    assert found.risks == ({} if missing == "plan" else {"capsule-rupture": 0.04})
