"""After surgery: visits due and seen with what to do, refraction against the plan; the note drafted, signed, locked."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html import unescape
from io import BytesIO
from uuid import uuid4

import pytest
from pypdf import PdfReader

from forestay.case.bodies import Decided, Done, Happened, Seen, Signed
from forestay.evidence import default_evidence
from forestay.plan import followup as rules
from forestay.plan.model import After, Visit
from forestay.plan.ruleset import ruleset
from forestay.services import followup, note
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


def signed_note(client: Visitor, desk: Desk, text: str = "Ring after the nucleus.") -> str:
    """A note that was kept and signed in one press; gives the key of the signature."""
    form = sent(desk, text=text)
    assert client.post(f"{NOTE}/sign", data=form).status_code == 200
    return form["key"]


def test_pressing_sign_keeps_what_stands_in_the_field_and_a_repeat_is_harmless(client: Visitor, desk: Desk) -> None:
    client.post(NOTE, data=sent(desk, do="keep", text="First words."))
    form = sent(desk, text="Last words, corrected in the field.")
    for _ in range(2):
        page = client.post(f"{NOTE}/sign", data=form)
        assert page.status_code == 200
        assert "Last words, corrected in the field." in page.text
    assert [f.header.kind for f in desk.open(CASE).facts].count("signed") == 1


def test_no_later_fact_opens_a_signed_note_again(client: Visitor, desk: Desk) -> None:
    key = signed_note(client, desk)
    other = Decided(subject="operation note", choice="Another story.", reason="sent by a device")
    desk.keep(CASE, {uuid4(): other})
    for fact in list(desk.open(CASE).facts)[-3:-1]:  # the kept text and the signature
        desk.take_back(CASE, fact.header.id, why="to open it again", key=uuid4())
    state = note.note_state(desk.open(CASE))
    assert state.text == "Ring after the nucleus."
    assert str(state.signature) == key
    assert (state.taken_back, state.past) == (True, 1)
    page = unescape(client.get(NOTE).text)
    assert "Another story." not in page
    assert "The signature was taken back later" in page
    assert client.post(NOTE, data=sent(desk, do="keep", text="Another story.")).status_code == 409


def test_a_signature_that_had_not_seen_the_text_does_not_cover_it(desk: Desk) -> None:
    seen = desk.open(CASE).head
    desk.keep(CASE, {uuid4(): Decided(subject="operation note", choice="Kept meanwhile.", reason="r")})
    desk.keep(CASE, {uuid4(): Signed(head=desk.chain_head(CASE, seen))}, based_on=seen)
    state = note.note_state(desk.open(CASE))
    assert state.text == "Kept meanwhile."
    assert state.signed_at is None


def test_a_text_kept_meanwhile_is_not_written_over_or_signed_unseen(client: Visitor, desk: Desk) -> None:
    mine = sent(desk, do="keep", text="My text.")
    client.post(NOTE, data=sent(desk, do="keep", text="The other text."))
    answer = client.post(NOTE, data=mine)
    assert answer.status_code == 409
    assert "My text." in answer.text
    assert "The other text." in answer.text
    assert client.post(f"{NOTE}/sign", data=mine).status_code == 409
    assert note.note_state(desk.open(CASE)).text == "The other text."


def test_the_draft_stands_in_the_order_of_the_trade_and_tells_what_differs(desk: Desk) -> None:
    from forestay.services.notedraft import draft

    plan = desk.plan(desk.open(CASE).situation, {})
    assert plan.measures is not None
    planned = plan.measures.capsulorhexis_mm
    done = Done(step="capsulorhexis", by="surgeon", sizes={"capsulorhexis_mm": 4.5})
    lens = Done(step="lens", by="surgeon", sizes={"lens_power_d": 21.5}, devices=("three-piece A", "lot 77"))
    for body in (done, Happened(event="zonular-dialysis", clock_hours=(3.0, 4.0)), lens):
        desk.keep(CASE, {uuid4(): body})
    desk.keep(CASE, {uuid4(): Happened(event="other", note=rules.signs()["hypopyon"].say)})
    told = draft(desk.open(CASE), plan)
    order = [
        "Right eye.",
        "Operated on",
        "Operation planned",
        "Capsulorhexis, by surgeon",
        "Lens: three-piece A; +21.50 D; lot 77",
    ]
    order += ["place not recorded", "Events:", "ialysis, 3 and 4 o'clock", "Different from the plan as it is today"]
    order += [f"Capsulorhexis: 4.5 mm, planned {planned:g} mm.", "not recorded"]
    places = [told.find(words) for words in order]
    assert -1 not in places, dict(zip(order, places, strict=True))
    assert places[:9] == sorted(places[:9])
    assert "hypopyon" not in told


def test_the_paper_says_what_the_page_says(client: Visitor, desk: Desk) -> None:
    signed_note(client, desk, "Capsule whole.\n#set page(fill: red) *not markup*")
    client.post(NOTE, data=sent(desk, do="add", text="Pressure 28 mmHg in the evening."))
    text = " ".join(
        "".join(p.extract_text() for p in PdfReader(BytesIO(client.get(f"{NOTE}.pdf").content)).pages).split()
    )
    for words in (
        "Right eye",
        "Capsule whole.",
        "*not markup*",
        "Signed by desk",
        "Addition 1, desk",
        "Pressure 28 mmHg",
    ):
        assert words in text, words
    assert "not a medical device" in text


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_mirrored_eye_is_named_by_its_own_side_alone(side: str) -> None:
    from forestay.services.notedraft import draft

    desk = invented_desk()
    case = f"eye-{side}"
    desk.open_case(case, side=side, age_years=70.0, key=uuid4())
    desk.keep(case, {uuid4(): Done(step="tunnel", by="surgeon", sizes={"tunnel_clock": 10.0})})
    opened = desk.open(case)
    told = draft(opened, desk.plan(opened.situation, {}))
    assert told.splitlines()[0] == f"{side.capitalize()} eye."
    assert {"left": "right eye", "right": "left eye"}[side] not in told.lower()
