"""The form for the take-over point: there where a trainee operates, kept as decisions, refused with the field named."""

from __future__ import annotations

import re
from uuid import uuid4

from typer.testing import CliRunner

from forestay.cli.main import app as command
from forestay.demo import demo_bytes
from forestay.services.planning import Desk
from tests.web.desk import CASE
from tests.web.visitor import Visitor


def test_the_take_over_point_is_decided_on_the_page_of_the_case(client: Visitor, desk: Desk) -> None:
    page = f"/cases/{CASE}"
    assert 'name="take_over"' not in client.get(page).text  # a consultant operates
    desk.enter(CASE, {"theatre.surgeon_grade": "senior-trainee"}, key=uuid4())
    shown = client.get(page).text
    assert "Not decided" in shown
    form = dict(re.findall(r'name="(key|based_on)" value="([^"]+)"', shown.split('class="take-over-form"')[1]))
    form |= {"take_over": "capsulorhexis", "hand_back": "end", "reason": "the rim is what matters here"}
    kept = client.post(f"{page}/decisions", data=form)
    assert kept.status_code == 200
    decided = desk.open(CASE).situation.decisions
    assert (decided.take_over, decided.hand_back) == ("capsulorhexis", "end")
    assert "the supervisor takes over at “Capsulorhexis”: the rim is what matters here" in kept.text
    assert '<option value="capsulorhexis" selected>' in kept.text
    assert "Not decided" not in kept.text

    wrong = client.post(f"{page}/decisions", data=form | {"take_over": "nothing-of-the-kind", "key": str(uuid4())})
    assert wrong.status_code == 422
    assert "take_over" in wrong.text
    assert desk.open(CASE).situation.decisions.take_over == "capsulorhexis"


def test_a_command_keeps_a_decision_with_its_reason(tmp_path_factory, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    folder = tmp_path_factory.mktemp("decide")
    monkeypatch.setenv("FORESTAY_DB", str(folder / "cases.sqlite"))
    file = folder / "trauma-gap.toml"
    file.write_bytes(demo_bytes("trauma-gap"))
    run = CliRunner()
    assert run.invoke(command, ["import", str(file)]).exit_code == 0
    told = run.invoke(command, ["decide", "trauma-gap", "capsulorhexis_mm", "5.4", "--why", "the pupil is small"])
    assert (told.exit_code, "capsulorhexis 5.4 mm: the pupil is small" in told.stdout) == (0, True)
    assert "5.4" in run.invoke(command, ["export", "trauma-gap"]).stdout
    wrong = run.invoke(command, ["decide", "trauma-gap", "take_over", "somewhere", "--why", "none"])
    assert wrong.exit_code != 0
    assert "take_over" in str(wrong.exception or wrong.output)
