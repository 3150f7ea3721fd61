"""After surgery: visits due and seen with what to do, refraction against the plan; the note drafted, signed, locked."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html import unescape
from uuid import uuid4

import pytest

from forestay.case.bodies import Done, Happened, Seen
from forestay.evidence import default_evidence
from forestay.plan import followup as rules
from forestay.plan.model import After, Visit
from forestay.plan.ruleset import ruleset
from forestay.services import followup
from forestay.services.planning import Desk
from tests.web.desk import CASE, invented_desk
from tests.web.visitor import Visitor

VISITS, NOTE = f"/cases/{CASE}/follow-up", f"/cases/{CASE}/note"


def sent(desk: Desk, **more: str) -> dict[str, str]:
    """A form as the page sends it."""
    return {"key": str(uuid4()), "based_on": str(desk.open(CASE).head), **more}


def operate(desk: Desk) -> None:
    """Two steps are kept as done, today."""
    for step in ("capsulorhexis", "lens"):
        desk.keep(CASE, {uuid4(): Done(step=step, by="surgeon")})


def test_every_visit_of_the_rules_has_its_days_and_every_sign_an_event_that_exists() -> None:
    said = {str(rule.data["when_text"]) for rule in ruleset("after")["visit"]}
    assert said == set(rules.windows())
    for rule in rules.signs().values():
        assert Happened.model_validate({"event": rule.event or "other", "note": rule.say})
    for window in rules.windows().values():
        assert 0 <= window.first_day <= window.last_day
    use = default_evidence().reader()
    assert all(use.evidence_source(key) for key in rules.sources())


def test_visits_are_to_come_due_late_or_seen() -> None:
    desk = invented_desk()
    plan = replace(
        desk.plan(desk.open(CASE).situation, {}), after=After((Visit("day 5 to 10", "all", "pain"),), "", ())
    )
    today = datetime.now(UTC).astimezone().date()
    assert [d.state for d in followup.due(desk.open(CASE), plan, today)] == ["unknown"]
    operate(desk)
    at = {0: "coming", 4: "coming", 5: "due", 10: "due", 11: "late"}
    for days, state in at.items():
        assert [d.state for d in followup.due(desk.open(CASE), plan, today + timedelta(days))] == [state]
    desk.keep(CASE, {uuid4(): Seen(day=7, pressure_mmhg=15.0)})
    assert [d.state for d in followup.due(desk.open(CASE), plan, today + timedelta(20))] == ["seen"]
    assert followup.day_of(desk.open(CASE), datetime.now(UTC) + timedelta(3)) == 3


@pytest.mark.parametrize(("pressure", "told"), [(25.0, ""), (26.0, "if the nerve is damaged"), (31.0, "treat now")])
def test_pressure_is_acted_on_by_the_rows_of_evidence(pressure: float, told: str) -> None:
    # management.md section 6: above 25 note, above 30 treat (act.pressure_note_mmhg, act.pressure_treat_mmhg).
    lines = followup.pressure_warnings(Seen(day=1, pressure_mmhg=pressure))
    assert (told in lines[0]) if told else lines == ()


def test_a_visit_is_kept_with_what_to_do_and_the_refraction_against_the_plan(client: Visitor, desk: Desk) -> None:
    operate(desk)
    aim = desk.plan(desk.open(CASE).situation, {}).lens.target_d
    form = sent(desk, day="42", acuity_type="uncorrected", acuity_logmar="0,3", refraction_d=f"{aim + 0.75:g}")
    page = unescape(client.post(VISITS, data={**form, "found": ["macular-oedema", "hypopyon"]}).text)
    assert "day 42" in page
    assert rules.signs()["macular-oedema"].do in page
    assert rules.signs()["hypopyon"].do in page
    assert "0.75 D from the aim" in page
    assert "1 SD" in page
    client.post(VISITS, data={**form, "found": ["macular-oedema", "hypopyon"]})
    assert len(followup.visits(desk.open(CASE))) == 1
    events = [b.body for b in followup.found_signs(desk.open(CASE))]
    assert [e.event for e in events if isinstance(e, Happened)] == ["macular-oedema", "other"]


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"day": ""}, "day is needed"),
        ({"day": "soon"}, "day is needed"),
        ({"day": "1"}, "holds nothing"),
        ({"day": "1", "pressure_mmhg": "150"}, "0 to 90 mmHg"),
        ({"day": "1", "acuity_logmar": "0.3"}, "acuity_type"),
        ({"day": "1", "acuity_logmar": "0.3", "acuity": "HM", "acuity_type": "pinhole"}, "not both"),
    ],
)
def test_a_visit_that_cannot_be_is_said_and_what_was_typed_stays(
    client: Visitor, desk: Desk, form: dict[str, str], told: str
) -> None:
    before = desk.open(CASE).head
    answer = client.post(VISITS, data=sent(desk, **form))
    assert answer.status_code == 422
    assert told in unescape(answer.text)
    if form.get("pressure_mmhg"):
        assert 'value="150"' in answer.text
    assert desk.open(CASE).head == before


def test_the_draft_tells_the_facts_and_only_them(client: Visitor, desk: Desk) -> None:
    assert "No event was recorded." in client.get(NOTE).text
    operate(desk)
    text = unescape(client.get(NOTE).text)
    assert "Right eye." in text
    assert re.search(r"\d\d:\d\d Capsulorhexis, by surgeon\.", text)
    assert re.search(r"\d\d:\d\d Lens, by surgeon\.", text)


def test_a_note_is_kept_signed_locked_and_added_to(client: Visitor, desk: Desk) -> None:
    assert client.post(f"{NOTE}/sign", data=sent(desk)).status_code == 422  # nothing is kept yet
    assert client.post(NOTE, data=sent(desk, do="add", text="x")).status_code == 409  # not signed yet
    client.post(NOTE, data=sent(desk, do="keep", text="Ring after the nucleus.\r\nNo vitreous."))
    page = client.post(f"{NOTE}/sign", data=sent(desk)).text
    assert "Signed by desk" in page
    assert "<textarea" in page  # of the addition alone
    assert "Ring after the nucleus." in page
    refused = client.post(NOTE, data=sent(desk, do="keep", text="Another story."))
    assert refused.status_code == 409
    assert "add to it instead" in unescape(refused.text)
    assert client.post(f"{NOTE}/sign", data=sent(desk)).status_code == 409
    page = client.post(NOTE, data=sent(desk, do="add", text="Pressure 28 mmHg in the evening.")).text
    assert "Addition 1, desk" in page
    assert "Another story." not in client.get(NOTE).text


def test_a_signature_names_the_chain_as_it_was(client: Visitor, desk: Desk) -> None:
    client.post(NOTE, data=sent(desk, do="keep", text="Done as planned."))
    head = desk.chain_head(CASE)
    client.post(f"{NOTE}/sign", data=sent(desk))
    assert desk.open(CASE).facts[-1].header.kind == "signed"
    assert head.encode() in desk.open(CASE).facts[-1].body


def test_the_note_for_paper_says_whether_it_is_signed(client: Visitor, desk: Desk) -> None:
    client.post(NOTE, data=sent(desk, do="keep", text="#set page(fill: red) \\ *not markup*"))
    paper = client.get(f"{NOTE}.pdf")
    assert paper.status_code == 200
    assert paper.content.startswith(b"%PDF")
