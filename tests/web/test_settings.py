"""The page of the settings: small forms without script, bad input keeps what was typed, units travel with the form."""

from __future__ import annotations

import re

import pytest

from forestay.demo import demo_bytes, demo_lens_shelf_bytes, devices_bytes
from forestay.services.cases import INVENTED, Who, import_case
from forestay.services.planner import Planner
from forestay.services.planning import Desk
from forestay.services.settings import entries_of, settings, take_in
from forestay.store.memory import MemoryFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.web.desk import CASE, invented_plan
from tests.web.visitor import Visitor

ME = Who("desk", "web")
LENS = {
    "name": "Example, new",
    "kind": "three-piece",
    "material": "acrylic-hydrophobic",
    "optic_mm": "6,0",
    "constants": "118,7 optical\n118.4 ultrasound-contact",
    "ranges": "10 to 30 by 0,5",
    "stock": "31: 2\n8,5: 0",
    "cylinders": "",
    "articles": "09506000134352",
    "do": "keep",
}


def one_case() -> Desk:
    """A desk with one invented case: settings need no more."""
    store = MemoryFactStore()
    import_case(store, demo_bytes(CASE), name=f"{CASE}.toml", author=INVENTED)
    return Desk(store, Planner(invented_plan), ME)


@pytest.fixture
def desk() -> Desk:
    """The desk behind the application."""
    return one_case()


@pytest.fixture(scope="module")
def untouched() -> tuple[Visitor, Desk]:
    """A visitor of an application in which nothing is ever kept, and its desk."""
    made = one_case()
    return Visitor(create_app(Settings(made))), made


def last_of(desk: Desk, part: str) -> dict[str, object]:
    return entries_of(settings(desk.store), part)[-1].model_dump(mode="json", exclude_none=True)


def test_a_lens_is_typed_with_commas_kept_changed_and_removed(client: Visitor, desk: Desk) -> None:
    assert client.post("/settings/lenses/new", data=LENS).status_code == 200
    told = last_of(desk, "lenses")
    assert told["constants"] == [{"a": 118.7, "method": "optical"}, {"a": 118.4, "method": "ultrasound-contact"}]
    assert told["ranges"] == [{"from_d": 10.0, "to_d": 30.0, "step_d": 0.5}]
    assert told["stock"] == [{"power_d": 31.0, "boxes": 2}, {"power_d": 8.5, "boxes": 0}]
    [address] = re.findall(r'href="(/settings/lenses/[0-9a-f]{16})"', client.get("/settings/lenses").text)
    page = client.get(address).text
    assert "10 to 30 by 0.5" in page
    client.post(address, data={**LENS, "name": "Example, renamed"})
    assert last_of(desk, "lenses")["name"] == "Example, renamed"
    again = client.post(address, data={**LENS, "optic_mm": "5,5"})  # the page of before the change
    assert again.status_code == 409
    assert "5,5" in again.text  # what was typed stays
    assert "meanwhile" in again.text
    [address] = re.findall(r'href="(/settings/lenses/[0-9a-f]{16})"', client.get("/settings/lenses").text)
    client.post(address, data={"do": "remove"})
    assert entries_of(settings(desk.store), "lenses") == ()
    assert len(settings(desk.store).changed) == 1  # nothing is overwritten: three changes of one part
    assert settings(desk.store).number == 3


@pytest.mark.parametrize(
    ("page", "changes", "says"),
    [
        ("lenses", {"optic_mm": "wide"}, "optic_mm is &#39;wide&#39;"),
        ("lenses", {"constants": "118.7"}, "a constant and its length method"),
        ("lenses", {"ranges": "10 to 30"}, "three numbers a line"),
        ("lenses", {"kind": "rubber"}, "kind is &#39;rubber&#39;"),
        ("lenses", {"articles": "123"}, "articles"),
        ("devices", {"thing": "hammer", "count": "1"}, "no rule asks for this"),
        ("devices", {"thing": "vitrector", "count": "1.5"}, "a whole number"),
        ("drugs", {"thing": "lidocaine", "count": "3", "expires": "soon"}, "expires"),
        ("surgeons", {"name": ""}, "name"),
        ("signs", {"sign": "trauma", "ratio": "much"}, "ratio is &#39;much&#39;"),
        ("signs", {"sign": "trauma", "ratio": "8", "low": "9"}, "rising order"),
        ("signs", {"sign": "lens-travel", "ratio": "8"}, "iridodonesis, trauma"),
    ],
)
def test_bad_input_is_said_and_what_was_typed_stays(
    untouched: tuple[Visitor, Desk], page: str, changes: dict[str, str], says: str
) -> None:
    client, desk = untouched
    answer = client.post(f"/settings/{page}/new", data={**LENS, "lot": "typed and kept", **changes})
    assert answer.status_code == 422
    assert says in answer.text
    assert 'role="alert"' in answer.text
    kept = {"lenses": "Example, new", "devices": "typed and kept", "drugs": "typed and kept"}.get(page, "")
    assert kept in answer.text
    assert settings(desk.store).number == 0


def test_a_sign_is_given_its_own_ratio_beside_the_one_that_ships(client: Visitor, desk: Desk) -> None:
    answer = client.post("/settings/signs/new", data={"sign": "trauma", "ratio": "8", "low": "4,5", "high": ""})
    assert answer.status_code == 200
    assert last_of(desk, "signs") == {"sign": "trauma", "ratio": 8.0, "low": 4.5}
    [address] = re.findall(r'href="(/settings/signs/[0-9a-f]{16})"', client.get("/settings/signs").text)
    client.post(address, data={"sign": "trauma", "ratio": "8", "low": "4", "high": "15", "do": "keep"})
    row = re.findall(r"<tr>.*?</tr>", client.get("/settings").text)
    assert any("blunt injury, no other sign" in r and "3 (1.5 to 6)" in r and "8 (4 to 15)" in r for r in row)
    [address] = re.findall(r'href="(/settings/signs/[0-9a-f]{16})"', client.get("/settings/signs").text)
    client.post(address, data={"do": "remove"})
    assert desk.in_force.given.ratios == ()


def test_the_theatre_tells_not_stated_from_nothing(client: Visitor, desk: Desk) -> None:
    client.post("/settings/theatre", data={"techniques": ["extracapsular"], "has_known": "yes", "based_on": "0"})
    house = settings(desk.store).theatre
    assert house is not None
    assert (house.techniques, house.anaesthesia, house.has) == (("extracapsular",), None, ())
    late = client.post("/settings/theatre", data={"retina_service": "days", "based_on": "0"})
    assert late.status_code == 409
    assert re.search(r'value="days" selected', late.text)
    odd = client.post("/settings/theatre", data={"has": ["dye"], "based_on": "1"})
    assert odd.status_code == 422


def test_the_page_shows_shelves_changes_and_how_it_was(client: Visitor, desk: Desk) -> None:
    take_in(desk.store, demo_lens_shelf_bytes(), "l.toml", who=ME)
    take_in(desk.store, devices_bytes(), "d.toml", who=ME)
    page = client.get("/settings").text
    assert "Example claw" in page
    assert "2026-06-30: expired" in page  # a ring of the invented shelf
    assert page.index("iris hooks") < page.index("lidocaine")
    then = client.get("/settings?at=1").text
    assert "Example claw" in then
    assert "lidocaine" not in then
    assert "after change 1" in then
    assert client.get("/settings?at=9").status_code == 404
    assert client.get("/settings/nowhere").status_code == 404
    file = client.get("/settings/file")
    assert b"[[lens]]" in file.content
    assert client.post("/settings/import", files={"file": ("x.toml", b"[theatre]\nhas = 3")}).status_code == 422
    assert client.post("/settings/import", files={"file": ("x.toml", file.content)}).status_code == 200
    assert settings(desk.store).number == 2  # it says what is kept already


def test_numbers_are_typed_in_the_unit_of_the_practice_and_read_in_that_of_the_form(
    client: Visitor, desk: Desk
) -> None:
    client.post("/settings/shown", data={"corneal_power": "mm", "pressure": "kPa", "based_on": "0"})
    page = client.get(f"/cases/{CASE}/facts/biometry").text
    assert '<input type="hidden" name="unit_biometry.k1_d" value="mm">' in page
    assert "5.625 to 11.25 mm (30 to 60 D)" in page
    k1 = desk.open(CASE).situation.case.biometry.k1_d
    assert k1 is not None
    shown = float(re.findall(r'name="biometry.k1_d"[^>]*value="([0-9.]+)"', page)[0])
    assert shown == pytest.approx(337.5 / k1, abs=0.0006)  # ISO 10343: 1000 (1.3375 - 1) / K
    form = {"key": "2b0a4f6e-52a4-4c0e-8a51-0c8b1f5d9d01", "based_on": str(desk.open(CASE).head)}
    body = {"biometry.k1_d": "7,71", "was_biometry.k1_d": str(shown), "unit_biometry.k1_d": "mm"}
    client.post(f"/cases/{CASE}/facts/biometry", data=form | body)
    assert desk.open(CASE).situation.case.biometry.k1_d == 43.774  # 337.5 / 7.71 = 43.7743
    # A page from before the choice names no unit: its number is dioptres, whatever is chosen now.
    old = {**form, "key": "2b0a4f6e-52a4-4c0e-8a51-0c8b1f5d9d02", "biometry.k1_d": "44.0", "was_biometry.k1_d": "43"}
    client.post(f"/cases/{CASE}/facts/biometry", data=old)
    assert desk.open(CASE).situation.case.biometry.k1_d == 44.0
    told = {
        **form,
        "key": "2b0a4f6e-52a4-4c0e-8a51-0c8b1f5d9d03",
        "eye.pressure_mmhg": "2,4",
        "was_eye.pressure_mmhg": "",
    }
    client.post(f"/cases/{CASE}/facts/eye", data=told | {"unit_eye.pressure_mmhg": "kPa"})
    assert desk.open(CASE).situation.case.eye.pressure_mmhg == 18.0  # 2.4 kPa / 133.322 Pa
    refused = client.post(f"/cases/{CASE}/facts/eye", data=told | {"unit_eye.pressure_mmhg": "bar"})
    assert refused.status_code == 422


def test_the_language_of_the_practice_is_that_of_a_reader_who_asks_for_none(client: Visitor) -> None:
    client.post("/settings/shown", data={"corneal_power": "D", "pressure": "mmHg", "language": "fr", "based_on": "0"})
    assert 'lang="fr"' in client.get("/sort").text[:200]
    assert 'lang="en"' in client.get("/sort", headers={"Accept-Language": "en"}).text[:200]


def test_a_new_case_offers_who_operates(client: Visitor, desk: Desk) -> None:
    for name in ("A. Example", "B. Example"):
        client.post("/settings/surgeons/new", data={"name": name, "seat": "temporal", "do": "keep"})
    assert '<option value="B. Example">' in client.get("/cases/new").text
    form = {"name": "M-9", "side": "left", "age": "70", "key": "2b0a4f6e-52a4-4c0e-8a51-0c8b1f5d9d04"}
    assert client.post("/cases/new", data={**form, "surgeon": "Nobody"}).status_code == 422
    client.post("/cases/new", data={**form, "surgeon": "B. Example"})
    assert desk.open("M-9").situation.case.theatre.seat == "temporal"
