"""Every example in a docstring is true."""

from __future__ import annotations

import doctest
from importlib import import_module

import pytest

from tests.project.source import Module, modules


@pytest.mark.parametrize("module", [m for m in modules() if ">>>" in m.text], ids=lambda module: module.where)
def test_the_examples_of(module: Module) -> None:
    result = doctest.testmod(import_module(module.name), optionflags=doctest.ELLIPSIS)
    assert result.attempted
    assert not result.failed


def test_examples_are_found() -> None:
    assert "forestay.frame" in {m.name for m in modules() if ">>>" in m.text}
