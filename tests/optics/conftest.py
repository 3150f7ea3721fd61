"""What the optics tests share: the constants of the evidence that ships."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from forestay.evidence import default_evidence
from forestay.optics import formulas
from forestay.optics.lens_model import LensModel
from forestay.optics.vergence import VergenceConstants


@pytest.fixture(scope="session")
def read() -> Callable[[type[Any]], Any]:
    """Constants by kind."""
    return default_evidence().reader().constants


@pytest.fixture(scope="session")
def optics(read: Callable[[type[Any]], Any]) -> VergenceConstants:
    """Index and vertex distance."""
    found: VergenceConstants = read(VergenceConstants)
    return found


@pytest.fixture(scope="session")
def models(read: Callable[[type[Any]], Any]) -> dict[str, LensModel]:
    """Every formula of the registry, ready."""
    return {name: formulas.model(name, read) for name in formulas.FORMULAS}
