"""Facts entered in forms: every field, decimal comma, nothing overwritten, undone, cleared, and disputes shown and settled."""

from __future__ import annotations

import re
from uuid import uuid4

import pytest

from forestay.case.fields import PATHS
from forestay.errors import ForestayError
from forestay.services.planning import Desk
from forestay.web.fields import section_specs, specs, text_of, value_of
from tests.web.desk import CASE
from tests.web.visitor import Visitor

FACTS = f"/cases/{CASE}/facts"
LENGTH = "biometry.axial_length_mm"
ONE, OTHER = {"Cookie": "device=0a0a0a0a"}, {"Cookie": "device=1b1b1b1b"}


def send(
    client: Visitor, section: str, path: str, text: str, *, was: str = "", head: int = 0, device: dict[str, str] = ONE
) -> str:
    """One field, as the page's script sends it; the row that comes back."""
    data = {path: text, f"was_{path}": was, "key": str(uuid4()), "based_on": str(head)}
    return client.post(f"{FACTS}/{section}", data=data, headers={"X-Row": path, **device}).text


def known(desk: Desk, path: str) -> object:
    """What a case says of one field."""
    section, _, name = path.partition(".")
    return getattr(getattr(desk.open(CASE).situation.case, section), name)


def test_every_field_of_the_case_file_has_a_control(client: Visitor) -> None:
    page = client.get(FACTS).text
    for path in PATHS:
        assert path == "eye.side" or f'name="{path}"' in page, path
    assert 'action="/cases/trauma-gap/side"' in page


@pytest.mark.parametrize("path", PATHS)
def test_what_a_field_holds_survives_the_way_to_text_and_back(path: str) -> None:
    spec = specs()[path]
    samples: dict[str, object] = {"number": 2.5, "flag": False, "words": ["latex", "iodine"], "hours": [5.0, 6.0, 11.0]}
    samples["choice"] = spec.options[-1] if spec.options else ""
    samples["several"] = list(spec.options[:2])
    samples["constant"] = {"a": 118.4, "method": "optical"}
    assert value_of(spec, text_of(spec, samples[spec.kind])) == samples[spec.kind]
    assert value_of(spec, "  ") is None


@pytest.mark.parametrize("kind", ["words", "hours", "several"])
def test_none_and_not_known_are_two_things(kind: str) -> None:
    for spec in (s for s in specs().values() if s.kind == kind):
        assert value_of(spec, "none") == []
        assert text_of(spec, ()) == "none"
        assert text_of(spec, None) == ""


def test_a_decimal_comma_is_read_as_a_point(client: Visitor, desk: Desk) -> None:
    row = send(client, "biometry", LENGTH, "23,85", was="23.71", head=desk.open(CASE).head)
    assert known(desk, LENGTH) == 23.85
    assert 'data-state="saved"' in row
    assert "undo" in row


@pytest.mark.parametrize(
    ("path", "text", "allowed"),
    [
        (LENGTH, "2.4", "14 to 40 mm"),
        (LENGTH, "long", "a number"),
        ("biometry.k1_d", "120", "30 to 60 D"),
        ("biometry.axial_length_method", "guess", "optical"),
        ("biometry.chamber_depth_mm", "1e999", "0.8 to 6.5 mm"),
    ],
)
def test_what_cannot_be_is_not_saved_and_says_why(
    client: Visitor, desk: Desk, path: str, text: str, allowed: str
) -> None:
    before = desk.open(CASE).head
    row = send(client, "biometry", path, text, was="23.71")
    assert 'data-state="not-saved"' in row
    assert allowed in row
    assert desk.open(CASE).head == before


def test_a_repeat_keeps_one_fact(client: Visitor, desk: Desk) -> None:
    head = desk.open(CASE).head
    data = {LENGTH: "24", f"was_{LENGTH}": "23.71", "key": str(uuid4()), "based_on": str(head)}
    for _ in range(3):
        client.post(f"{FACTS}/biometry", data=data, headers={"X-Row": LENGTH, **ONE})
    assert desk.open(CASE).head == head + 1


def test_a_section_without_script_keeps_what_was_changed_and_nothing_else(client: Visitor, desk: Desk) -> None:
    opened = desk.open(CASE)
    page = client.get(f"{FACTS}/biometry").text
    fields = dict(re.findall(r'name="was_([^"]+)" value="([^"]*)"', page))
    data = {f"was_{path}": was for path, was in fields.items()} | fields
    data |= {LENGTH: "23,9", "biometry.lens_thickness_mm": "", "key": str(uuid4()), "based_on": str(opened.head)}
    for spec in section_specs("biometry"):
        assert spec.path in data
    answer = client.post(f"{FACTS}/biometry", data=data, follow_redirects=False)
    assert answer.headers["location"] == f"/cases/{CASE}?since={opened.head}"
    assert known(desk, LENGTH) == 23.9
    assert known(desk, "biometry.lens_thickness_mm") is None
    assert known(desk, "biometry.chamber_depth_mm") == opened.situation.case.biometry.chamber_depth_mm
    assert desk.open(CASE).head == opened.head + 2


def test_a_wrong_field_of_a_section_keeps_what_was_typed_on_the_page(client: Visitor, desk: Desk) -> None:
    before = desk.open(CASE).head
    data = {LENGTH: "240", f"was_{LENGTH}": "23.71", "key": str(uuid4())}
    page = client.post(f"{FACTS}/biometry", data=data)
    assert page.status_code == 422
    assert 'value="240"' in page.text
    assert 'role="alert"' in page.text
    assert desk.open(CASE).head == before


def test_a_cleared_field_is_not_known_and_its_neighbours_stay(client: Visitor, desk: Desk) -> None:
    opened = desk.open(CASE)
    send(client, "biometry", "biometry.lens_thickness_mm", "", was="4.1", head=opened.head)
    assert known(desk, "biometry.lens_thickness_mm") is None
    assert known(desk, "biometry.chamber_depth_mm") == opened.situation.case.biometry.chamber_depth_mm
    assert len(desk.open(CASE).facts) == len(opened.facts) + 1  # nothing is overwritten


@pytest.mark.parametrize("path", ["person.age_years"])
def test_what_every_plan_needs_cannot_be_cleared(client: Visitor, desk: Desk, path: str) -> None:
    row = send(client, "person", path, "", was="46")
    assert "not cleared" in row
    assert known(desk, path) == 46


def test_an_entry_is_undone_by_one_more_fact(client: Visitor, desk: Desk) -> None:
    opened = desk.open(CASE)
    row = send(client, "biometry", LENGTH, "25", was="23.71", head=opened.head)
    fact = re.search(r'data-fact="([^"]+)"', row)
    assert fact
    data = {"path": LENGTH, "fact": fact[1], "key": str(uuid4()), "based_on": str(opened.head + 1)}
    back = client.post(f"{FACTS}/biometry/undo", data=data, headers={"X-Row": LENGTH, **ONE}).text
    assert 'value="23.71"' in back
    assert known(desk, LENGTH) == 23.71
    assert desk.open(CASE).head == opened.head + 2


def test_two_devices_that_know_nothing_of_one_another_are_shown_both_and_settled(client: Visitor, desk: Desk) -> None:
    head = desk.open(CASE).head
    send(client, "biometry", LENGTH, "23.5", was="23.71", head=head, device=ONE)
    row = send(client, "biometry", LENGTH, "24.1", was="23.71", head=head, device=OTHER)
    for words in ("23.5 mm", "24.1 mm", "web-0a0a0a0a", "web-1b1b1b1b", "two facts disagree"):
        assert words in row
    page = client.get(f"{FACTS}/biometry").text
    first = re.search(r'name="fact" value="([^"]+)" required> <b>23.5 mm', page)
    assert first
    data = {"path": LENGTH, "fact": first[1], "key": str(uuid4()), "based_on": str(head + 2)}
    without = client.post(f"{FACTS}/biometry/settle", data=data)
    assert without.status_code == 422
    client.post(f"{FACTS}/biometry/settle", data={**data, "reason": "measured again by immersion"}, headers=OTHER)
    opened = desk.open(CASE)
    assert known(desk, LENGTH) == 23.5
    assert opened.situation.disagreements == ()
    assert any("24.1 mm" in line.words and "turned down" in line.words for line in opened.thread)


def test_one_who_has_seen_the_other_value_changes_it_without_a_dispute(client: Visitor, desk: Desk) -> None:
    head = desk.open(CASE).head
    send(client, "biometry", LENGTH, "23.5", was="23.71", head=head, device=ONE)
    row = send(client, "biometry", LENGTH, "24.1", was="23.5", head=head + 1, device=OTHER)
    assert "disagree" not in row
    assert known(desk, LENGTH) == 24.1


def test_an_unlikely_value_is_said_while_it_is_typed_and_nothing_is_kept(client: Visitor, desk: Desk) -> None:
    before = desk.open(CASE).head
    ask = {"X-Row": LENGTH}
    odd = client.get(f"{FACTS}/biometry/check", params={LENGTH: "26,5"}, headers=ask).text
    fine = client.get(f"{FACTS}/biometry/check", params={LENGTH: "23.7"}, headers=ask).text
    none = client.get(f"{FACTS}/biometry/check", params={LENGTH: "2,37"}, headers=ask).text
    assert "fellow" in odd
    assert "<li>" not in fine
    assert "14 to 40 mm" in none
    assert desk.open(CASE).head == before


def test_the_side_is_changed_by_a_decision_with_its_reason_only(client: Visitor, desk: Desk) -> None:
    before = desk.open(CASE)
    refused = client.post(f"/cases/{CASE}/side", data={"side": "left", "key": str(uuid4())})
    assert refused.status_code == 422
    client.post(f"{FACTS}/eye", data={"eye.side": "left", "was_eye.side": "right", "key": str(uuid4())})
    assert client.post(f"{FACTS}/eye", data={"key": str(uuid4())}, headers={"X-Row": "eye.side"}).status_code == 422
    assert known(desk, "eye.side") == "right"
    data = {"side": "left", "reason": "typed wrongly", "key": str(uuid4()), "based_on": str(before.head)}
    client.post(f"/cases/{CASE}/side", data=data)
    assert known(desk, "eye.side") == "left"
    assert [s.reason for s in desk.open(CASE).situation.settled if s.subject == "eye.side"] == ["typed wrongly"]


def test_a_new_case_is_opened_once_from_side_and_age(client: Visitor, desk: Desk) -> None:
    form = client.get("/cases/new").text
    key = re.search(r'name="key" value="([^"]+)"', form)
    assert key
    data = {"name": "B-17", "side": "left", "age": "71", "key": key[1]}
    for _ in range(2):
        answer = client.post("/cases/new", data=data, follow_redirects=False)
        assert answer.headers["location"] == "/cases/B-17/facts"
    assert desk.open("B-17").situation.case.person.age_years == 71
    assert desk.open("B-17").head == 2
    again = client.post("/cases/new", data={**data, "key": str(uuid4())})
    assert again.status_code == 422
    assert "already kept" in again.text


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"name": "a b"}, "letters, digits"),
        ({"name": ""}, "name"),
        ({"name": "new"}, "cannot be called"),
        ({"side": ""}, "left, right"),
        ({"age": "130"}, "0 to 120"),
        ({"age": ""}, "a number"),
    ],
)
def test_a_new_case_says_what_is_wrong_and_keeps_nothing(
    client: Visitor, desk: Desk, change: dict[str, str], told: str
) -> None:
    data = {"name": "B-18", "side": "left", "age": "71", "key": str(uuid4()), **change}
    answer = client.post("/cases/new", data=data)
    assert answer.status_code == 422
    assert told in answer.text
    with pytest.raises(ForestayError):
        desk.open("B-18")


def test_an_unknown_section_or_field_is_refused(client: Visitor) -> None:
    assert client.get(f"{FACTS}/soul").status_code == 404
    refused = client.post(f"{FACTS}/lens", data={"key": str(uuid4())}, headers={"X-Row": LENGTH})
    assert refused.status_code == 422
