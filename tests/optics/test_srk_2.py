"""SRK II. Expected values: evidence on lens power, table 8.2 (computed there independently), and section 1.5."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from forestay.optics import srk_2


@pytest.mark.parametrize(
    ("length", "k", "power"),
    [(21.0, 41.0, 30.0), (21.0, 44.0, 27.3), (23.5, 44.0, 20.05), (26.0, 44.0, 13.3), (30.0, 44.0, 3.3)],
)
def test_the_table_of_the_evidence(read: Callable[[type[Any]], Any], length: float, k: float, power: float) -> None:
    constants = read(srk_2.Srk2Constants)
    found = srk_2.plano_power_d(axial_length_mm=length, k_d=k, a=118.4, constants=constants)
    assert float(found) == pytest.approx(power, abs=1e-9)


def test_arrays_steps_and_the_way_back(read: Callable[[type[Any]], Any]) -> None:
    constants = read(srk_2.Srk2Constants)
    lengths = np.array([19.999, 20.0, 20.999, 21.0, 21.999, 22.0, 24.499, 24.5])
    found = np.asarray(srk_2.plano_power_d(axial_length_mm=lengths, k_d=44.0, a=118.4, constants=constants))
    # section 1.5: A1 = A + 3 below 20, + 2 below 21, + 1 below 22, + 0 below 24.5, - 0.5 from there
    added = found - (118.4 - 2.5 * lengths - 0.9 * 44.0)
    assert added == pytest.approx([3, 2, 2, 1, 1, 0, 0, -0.5])
    for plano in (10.0, 22.0):  # factor 1.00 up to 14 D, 1.25 above
        power = srk_2.power_d(plano_d=plano, target_d=-1.0, constants=constants)
        assert float(power) - plano == pytest.approx(1.25 if plano > 14 else 1.0)
        back = srk_2.refraction_d(plano_d=plano, power_d=power, constants=constants)
        assert float(back) == pytest.approx(-1.0, abs=1e-12)
