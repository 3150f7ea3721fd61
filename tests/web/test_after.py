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


def operate(desk: Desk, days_ago: int = 0, power_d: float | None = None) -> None:
    """Two steps are kept as done, today or so many days ago."""
    moment = datetime.now(UTC).astimezone() - timedelta(days_ago)
    sizes = {} if power_d is None else {"lens_power_d": power_d}
    for step, with_sizes in (("capsulorhexis", {}), ("lens", sizes)):
        desk.keep(CASE, {uuid4(): Done(step=step, by="surgeon", sizes=with_sizes)}, happened_at=moment)


def test_every_visit_of_the_rules_has_its_days_and_every_sign_an_event_that_exists() -> None:
    said = {str(rule.data["when_text"]) for rule in ruleset("after")["visit"]}
    assert said == set(rules.windows())
    for rule in rules.signs().values():
        assert Happened.model_validate({"event": rule.event or "other", "note": rule.say})
    for window in (one for several in rules.windows().values() for one in several):
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
    use = default_evidence().reader()
    lines = rules.advice({"seen.day": 1, "seen.pressure_mmhg": pressure, "signs.glaucoma": None}, use)
    assert [told in line.do for line in lines] == ([True] if told else [])
    assert all(line.sources for line in lines)


def test_a_visit_is_kept_with_what_to_do_and_the_refraction_against_the_plan(client: Visitor, desk: Desk) -> None:
    operate(desk, 42)
    aim = desk.plan(desk.open(CASE).situation, {}).lens.target_d
    form = sent(desk, day="42", acuity_type="uncorrected", acuity_logmar="0,3", refraction_d=f"{aim + 0.75:g}")
    page = unescape(client.post(VISITS, data={**form, "found": ["macular-oedema", "hypopyon"]}).text)
    assert "day 42" in page
    assert rules.signs()["macular-oedema"].do in page
    assert rules.signs()["hypopyon"].do in page
    assert f"aim {aim:+.2f} D: +0.75 D off; inside the told interval" in page
    client.post(VISITS, data={**form, "found": ["macular-oedema", "hypopyon"]})
    assert len(followup.visits(desk.open(CASE), desk.plan(desk.open(CASE).situation, {}))) == 1
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
    operate(desk, 50)
    before = desk.open(CASE).head
    answer = client.post(VISITS, data=sent(desk, **form))
    assert answer.status_code == 422
    assert told in unescape(answer.text)
    if form.get("pressure_mmhg"):
        assert 'value="150"' in answer.text
    assert desk.open(CASE).head == before


CLEAN = {
    "seen.day": 50,
    "seen.pressure_mmhg": 15.0,
    "seen.acuity_corrected_logmar": 0.48,
    "seen.acuity_drop_logmar": 0.1,
    "seen.fell_below_chart": False,
    "seen.refraction_beyond": False,
    "seen.endothelial_count_per_mm2": 700.0,
    "seen.corneal_thickness_um": 640.0,
    "signs.glaucoma": False,
}


def test_a_visit_in_order_asks_for_nothing_and_one_without_figures_neither() -> None:
    use = default_evidence().reader()
    assert rules.advice(CLEAN, use) == ()
    assert rules.advice({}, use) == ()


@pytest.mark.parametrize(
    ("name", "value", "key"),
    [
        # management.md section 6: above 25 note, above 30 treat, sooner if the nerve is damaged.
        ("seen.pressure_mmhg", 25.5, "pressure-note"),
        ("seen.pressure_mmhg", 30.5, "pressure-treat"),
        ("seen.pressure_mmhg", 5.0, "pressure-low"),
        # management.md N2: corrected 6/18 or better (log10(18/6) = 0.48) in 97.1 % at day 40.
        ("seen.acuity_corrected_logmar", 0.5, "acuity-poor"),
        ("seen.acuity_drop_logmar", 0.2, "sight-falls"),
        ("seen.fell_below_chart", True, "sight-fell-below-chart"),
        ("seen.refraction_beyond", True, "refraction-outside"),
        # risk.md section 4.3: final count under 700; thickness over 640.
        ("seen.endothelial_count_per_mm2", 699.0, "cells-low"),
        ("seen.corneal_thickness_um", 641.0, "cornea-thick"),
    ],
)
def test_each_figure_out_of_order_says_what_to_do_with_its_source(name: str, value: float, key: str) -> None:
    use = default_evidence().reader()
    found = rules.advice({**CLEAN, name: value}, use)
    assert [one.key for one in found] == [key]
    assert found[0].do
    assert found[0].sources
    early = rules.advice({**CLEAN, name: value, "seen.day": 1}, use)
    late_only = {"acuity-poor", "refraction-outside", "cornea-thick"}
    assert [one.key for one in early] == ([] if key in late_only else [key])


def test_a_recorded_glaucoma_makes_a_noted_pressure_a_treated_one() -> None:
    use = default_evidence().reader()
    found = rules.advice({**CLEAN, "seen.pressure_mmhg": 26.0, "signs.glaucoma": True}, use)
    assert [one.key for one in found] == ["pressure-nerve"]


def test_the_refraction_is_compared_with_what_was_told_for_the_lens_put_in() -> None:
    desk = invented_desk()
    plan = desk.plan(desk.open(CASE).situation, {})
    assert plan.measures is not None
    place = next(p for p in plan.lens.positions if p.position == plan.measures.lens_position)
    told = place.choices[0]
    operate(desk, 50, told["power_d"])
    assert place.low_d is not None
    assert place.high_d is not None
    half = (place.high_d - place.low_d) / 2
    for error, within in ((half - 0.01, True), (half + 0.01, False), (-half - 0.01, False)):
        desk.keep(CASE, {uuid4(): Seen(day=45, refraction_d=told["refraction_d"] + error)})
        found = followup.outcome(desk.open(CASE), plan)
        assert found is not None
        assert found.told.of_lens
        assert found.told.expected_d == pytest.approx(told["refraction_d"])
        assert found.within is within
        assert [a.key for a in followup.visits(desk.open(CASE), plan)[-1].advice] == (
            [] if within else ["refraction-outside"]
        )
        desk.take_back(CASE, desk.open(CASE).facts[-1].header.id, why="next", key=uuid4())


def test_falling_sight_is_read_against_the_best_earlier_visit_taken_the_same_way() -> None:
    desk = invented_desk()
    operate(desk, 50)
    plan = desk.plan(desk.open(CASE).situation, {})
    for day, acuity, kind in ((1, 0.4, "pinhole"), (7, 0.2, "uncorrected"), (8, 0.6, "pinhole")):
        desk.keep(CASE, {uuid4(): Seen(day=day, acuity_logmar=acuity, acuity_type=kind)})
    desk.keep(CASE, {uuid4(): Seen(day=9, acuity="HM", acuity_type="uncorrected")})
    keys = [[a.key for a in v.advice] for v in followup.visits(desk.open(CASE), plan)]
    assert keys == [[], [], ["sight-falls"], ["sight-fell-below-chart"]]


def test_a_visit_may_come_again_and_one_that_was_passed_over_is_missed() -> None:
    desk = invented_desk()
    again = Visit("3, 6, 12 months, then yearly", "pressure", "rise")
    plan = replace(desk.plan(desk.open(CASE).situation, {}), after=After((again,), "", ()))
    operate(desk)
    today = datetime.now(UTC).astimezone().date()
    desk.keep(CASE, {uuid4(): Seen(day=180, pressure_mmhg=15.0)})
    states = [row.state for row in followup.due(desk.open(CASE), plan, today + timedelta(210))]
    assert states == ["missed", "seen", "coming"]


def test_a_date_counts_from_the_operation_and_every_wrong_field_is_said_at_once(client: Visitor, desk: Desk) -> None:
    today = datetime.now(UTC).astimezone().date()
    answer = client.post(VISITS, data=sent(desk, on=today.isoformat(), pressure_mmhg="14"))
    assert answer.status_code == 422  # the operation is not recorded
    operate(desk, 10)
    on = (today - timedelta(3)).isoformat()
    answer = client.post(VISITS, data=sent(desk, on=on, pressure_mmhg="14,5"))
    assert "day 7" in answer.text
    assert "pressure 14.5 mmHg" in answer.text
    assert desk.open(CASE).facts[-1].header.happened_at.astimezone().date().isoformat() == on
    bad = sent(desk, day="11", pressure_mmhg="150", k1_d="much", refraction_d="-0,5")
    text = unescape(client.post(VISITS, data=bad).text)
    for words in ("0 to 10, which is today", "0 to 90 mmHg", "k1_d is 'much'", 'value="-0,5"', 'value="much"'):
        assert words in text, words
    assert text.count('aria-invalid="true"') == 3


def test_what_was_recalled_or_assumed_is_said_beside_the_expected_ranges(client: Visitor) -> None:
    page = unescape(client.get(VISITS).text)
    for key in (
        "followup.thickness_um",
        "followup.thickness_day",
        "followup.pressure_low_mmhg",
        "need.count_fail_per_mm2",
    ):
        assert str(default_evidence()[key].doubt) in page, key


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


def test_every_page_of_a_long_note_names_eye_and_case(client: Visitor, desk: Desk) -> None:
    signed_note(client, desk, "\n".join(f"Line {n}." for n in range(120)))
    pages = [p.extract_text() for p in PdfReader(BytesIO(client.get(f"{NOTE}.pdf").content)).pages]
    assert len(pages) > 1
    assert all("Right eye" in page and CASE in page for page in pages)


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
