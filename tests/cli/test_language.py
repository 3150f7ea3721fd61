"""The command in another language: the same plan in other words, and one clear error for a language that is not here."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from forestay.case.case_file import read_case
from forestay.cli.main import app, wants_json
from forestay.demo import demo_bytes
from forestay.errors import InvalidInput
from forestay.plan.context import Context
from forestay.plan.make import make
from forestay.plan.model import as_dict
from forestay.report.readable import readable
from forestay.text import grouped, language, speaking, tr
from forestay.web.views.words import number


def shape(value: Any) -> Any:
    """All that is no sentence: keys, numbers, truth, how many of each."""
    if isinstance(value, dict):
        return {key: shape(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [shape(inner) for inner in value]
    return "…" if isinstance(value, str) else value


@pytest.mark.parametrize("name", ["brown-pseudoexfoliation", "long-vitrectomised-only-eye"])
def test_a_plan_in_french_has_the_same_numbers_and_decides_the_same(name: str) -> None:
    situation = read_case(demo_bytes(name), f"{name}.toml")
    plans = {}
    for tag in ("en", "fr"):
        with speaking(tag):
            plans[tag] = make(situation, Context.default())
    english, french = (json.loads(json.dumps(as_dict(plans[tag]), default=str)) for tag in ("en", "fr"))
    assert shape(french) == shape(english)
    assert french["chosen"]["technique"] == english["chosen"]["technique"]
    assert [step["key"] for step in french["steps"]] == [step["key"] for step in english["steps"]]
    assert french["caution"] != english["caution"]
    with speaking("fr"):
        text = readable(plans["fr"], label=name, width=100)
    assert "Aucun chirurgien travaillant en français" in text


def test_the_language_is_chosen_before_the_command_and_left_after_it(tmp_path: Path) -> None:
    missing = str(tmp_path / "absent.toml")
    with pytest.raises(Exception, match="ne peut pas être lu") as told:
        CliRunner().invoke(app, ["--language", "fr", "check", missing], standalone_mode=False, catch_exceptions=False)
    assert missing in str(told.value)
    assert language() == "en"


def test_a_language_that_is_not_here_is_refused_with_those_that_are() -> None:
    with pytest.raises(InvalidInput) as told:
        CliRunner().invoke(app, ["--language", "xx", "calc", "--list"], standalone_mode=False, catch_exceptions=False)
    assert told.value.field == "language"
    assert told.value.allowed == "en, fr"


def test_the_variable_sets_the_language() -> None:
    runner = CliRunner(env={"FORESTAY_LANGUAGE": "fr"})
    with pytest.raises(InvalidInput, match="Nommez un calcul"):
        runner.invoke(app, ["calc"], standalone_mode=False, catch_exceptions=False)


def test_an_error_of_a_calculation_is_json_whatever_the_language() -> None:
    assert wants_json(["--language", "fr", "calc", "nucleus"])
    assert not wants_json(["--language", "fr", "plan", "x.toml"])


def test_thousands_are_parted_so_that_no_reader_takes_the_comma_for_a_decimal_sign() -> None:
    """ISO 80000-1, 7.3.1: groups of three digits are parted by a small space and by nothing else."""
    told = {}
    for tag in ("en", "fr"):
        with speaking(tag):
            told[tag] = (
                tr("about {n:,d} of {all:,d} people", n=12, all=1000),
                grouped("1,530"),
                number(1530, "cells/mm²"),
            )
    assert told["en"] == ("about 12 of 1,000 people", "1,530", "1,530 cells/mm²")
    assert told["fr"][0] == "environ 12 personnes sur 1\N{NO-BREAK SPACE}000"
    assert told["fr"][1] == "1\N{NO-BREAK SPACE}530"
    assert told["fr"][2].startswith("1\N{NO-BREAK SPACE}530")
