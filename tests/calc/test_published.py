"""The published-risks calculation: each rate with its population, picked by what is known and never combined."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.published import complication_words, published_risks
from forestay.errors import InvalidInput
from forestay.risk.series import COMPLICATIONS


def found(**keys: Any) -> Any:
    return published_risks.run({"technique": "manual-small-incision", **keys})


def test_every_rate_names_its_population_source_and_interval() -> None:
    answer = found(pseudoexfoliation=True, trainee=True, appearance="white", glaucoma=True, guttae=True)
    for rate in answer.result.rates:
        assert rate.population
        assert rate.source
        assert rate.low <= rate.rate <= rate.high
        assert (rate.interval is None) == (rate.low == rate.high)
    assert "rates-overlap" in {doubt.code for doubt in answer.doubts}


def test_every_complication_has_words() -> None:
    assert set(complication_words()) == set(COMPLICATIONS)


def test_a_trainees_rate_of_one_technique_is_not_put_on_another() -> None:
    # Haripriya 2012: trainees 1.46 % by hand, 4.8 % with ultrasound
    rates = {
        technique: [r.rate for r in found(technique=technique, trainee=True).result.rates if r.name == "trainee"]
        for technique in ("manual-small-incision", "phacoemulsification", "extracapsular")
    }
    assert rates == {"manual-small-incision": [0.0146], "phacoemulsification": [0.048], "extracapsular": []}


@pytest.mark.parametrize(
    ("keys", "complication", "ratio"),
    [
        # Petousis 2016, audit of 2023, Swedish registry, London
        ({"age_years": 52}, "detachment", 5.12),
        ({"age_years": 84}, "detachment", 0.16),
        ({"sex": "male"}, "detachment", 2.0),
        ({"axial_length_mm": 25.4}, "detachment", 3.98),
        ({"fellow_complication": "macular-oedema"}, "macular-oedema", 71.9),
        ({"pressure_mmhg": 26}, "choroidal-haemorrhage", 3.7),
        ({"guttae": True}, "corneal-decompensation", 68.2),
        ({"corneal_opacity": True}, "capsule-rupture", 3.21),
        ({"pupil_dilated_mm": 4.5}, "dropped-nucleus", 15.2),
    ],
)
def test_ratios_of_this_eyes_signs(keys: dict[str, Any], complication: str, ratio: float) -> None:
    told = [(r.complication, r.ratio) for r in found(**keys).result.ratios]
    assert (complication, ratio) in told
    assert not found().result.ratios


def test_what_follows_a_rupture_is_told_only_after_one() -> None:
    # Haripriya 2017: endophthalmitis after rupture 20/4186 = 0.478 %
    before, after = found(), found(capsule_ruptured=True)
    added = {r.name: r.rate for r in after.result.rates if r.name not in {b.name for b in before.result.rates}}
    assert added["endophthalmitis_after_rupture"] == pytest.approx(20 / 4186, abs=1e-5)
    assert added["detachment_after_rupture"] == pytest.approx(13 / 324, abs=1e-4)


def test_an_unknown_technique_is_one_clear_error() -> None:
    with pytest.raises(InvalidInput) as caught:
        found(technique="laser")
    assert caught.value.field == "technique"
