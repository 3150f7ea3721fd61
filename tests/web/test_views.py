"""A template sees the documented fields of its view and nothing else; no page carries inline script or style."""

from __future__ import annotations

import inspect
import re
from dataclasses import fields, is_dataclass
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules

import pytest
from jinja2 import meta

from forestay.web import views
from forestay.web.render import TEMPLATES, Renderer, context
from forestay.web.settings import STATIC
from forestay.web.views.after import FollowUpView, NoteView
from forestay.web.views.case import CaseView
from forestay.web.views.cases import CasesView
from forestay.web.views.day import ConsentView, DayView, SortView
from forestay.web.views.device import DeviceView
from forestay.web.views.entry import EntryView, NewCaseView, RowView
from forestay.web.views.evidence import EvidenceView
from forestay.web.views.failure import FailureView
from forestay.web.views.reference import ReferenceListView, ReferenceView
from forestay.web.views.review import ReviewView
from forestay.web.views.shell import View
from forestay.web.views.theatre import ChecksView, LensCheckView, TheatreView
from forestay.web.views.tls import TlsView
from forestay.web.views.weights import TurnsView, WeighedView
from tests.web.desk import CASE
from tests.web.visitor import Visitor

VIEW_OF: dict[str, type[View]] = {
    "cases.html": CasesView,
    "case.html": CaseView,
    "case.main.html": CaseView,
    "case.look.html": CaseView,
    "case.below.html": CaseView,
    "facts.html": EntryView,
    "facts.entry.html": EntryView,
    "new-case.html": NewCaseView,
    "parts/entry-row.html": RowView,
    "parts/entry-notes.html": RowView,
    "consent.html": ConsentView,
    "day.html": DayView,
    "device.html": DeviceView,
    "tls.html": TlsView,
    "theatre.html": TheatreView,
    "theatre.main.html": TheatreView,
    "checks.html": ChecksView,
    "lens-check.html": LensCheckView,
    "follow-up.html": FollowUpView,
    "note.html": NoteView,
    "evidence.html": EvidenceView,
    "failure.html": FailureView,
    "parts/alert.html": FailureView,
    "reference-list.html": ReferenceListView,
    "reference.html": ReferenceView,
    "review.html": ReviewView,
    "sort.html": SortView,
    "turns.html": TurnsView,
    "turns.turns.html": TurnsView,
    "weights.html": WeighedView,
    "weights.weighed.html": WeighedView,
}
INCLUDED = re.compile(r'{%-?\s*include "([^"]+)"')
TAG = re.compile(r"<[a-z][^>]*>", re.DOTALL)
RENDERER = Renderer(STATIC)


def _classes() -> list[type]:
    found: list[type] = []
    for file in iter_modules(views.__path__):
        module = import_module(f"forestay.web.views.{file.name}")
        for _, kind in inspect.getmembers(module, inspect.isclass):
            if is_dataclass(kind) and kind.__module__ == module.__name__:
                found.append(kind)
    return found


@pytest.mark.parametrize("kind", _classes(), ids=lambda kind: kind.__name__)
def test_every_field_of_a_view_says_what_it_is(kind: type) -> None:
    assert kind.__dataclass_params__.frozen  # type: ignore[attr-defined]
    for field in fields(kind):
        assert field.metadata.get("help"), f"{kind.__name__}.{field.name}"


def _needed(template: str) -> set[str]:
    text = (TEMPLATES / template).read_text(encoding="utf-8")
    found = set(meta.find_undeclared_variables(RENDERER.environment.parse(text)))
    for other in INCLUDED.findall(text):
        found |= _needed(other)
    if '{% extends "base.html" %}' in text:
        found |= _needed("base.html")
    return found - set(RENDERER.environment.globals)


@pytest.mark.parametrize(("template", "view"), list(VIEW_OF.items()), ids=str)
def test_a_template_uses_exactly_documented_fields(template: str, view: type[View]) -> None:
    assert _needed(template) <= {field.name for field in fields(view)}


def test_every_field_of_the_case_is_used() -> None:
    assert {field.name for field in fields(CaseView)} == _needed("case.html")


def test_a_template_is_given_the_fields_and_nothing_else() -> None:
    view = FailureView(shell=None, message="m", allowed=None)  # type: ignore[arg-type]
    assert context(view) == {"shell": None, "message": "m", "allowed": None}


def _templates() -> list[Path]:
    return sorted(TEMPLATES.rglob("*.html"))


@pytest.mark.parametrize("path", _templates(), ids=lambda path: path.name)
def test_no_inline_script_style_or_evaluated_attribute(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:|hx-on|hx-live|hx-vals=.js:|:inherited", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)
    assert "|safe" not in text.replace(" ", "")


@pytest.mark.parametrize("path", _templates(), ids=lambda path: path.name)
def test_every_asking_element_carries_its_own_target_and_swap(path: Path) -> None:
    for tag in TAG.findall(path.read_text(encoding="utf-8")):
        if re.search(r"\shx-(get|post)=", tag):
            assert "hx-target=" in tag, tag
            assert "hx-swap=" in tag, tag
        else:
            assert "hx-target" not in tag, tag


def test_no_rendered_page_carries_a_style_attribute(client: Visitor) -> None:
    for address in ("/", f"/cases/{CASE}", "/evidence", "/reference"):
        page = client.get(address).text
        assert not re.search(r"<[^>]+\s(style|on[a-z]+)=", page)
        assert "<style" not in page


def test_identities_on_a_page_are_unique(client: Visitor) -> None:
    found = re.findall(r'\sid="([^"]+)"', client.get(f"/cases/{CASE}").text)
    assert sorted(found) == sorted(set(found))
