"""What an incision induces. Expected values: evidence on incisions, table 2.1 (derived there from the series named)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.frame import mirror_hour
from forestay.optics import incision
from forestay.optics.incision import SITES, IncisionPriors, Induced


@pytest.fixture(scope="module")
def priors(read: Callable[[type[Any]], Any]) -> IncisionPriors:
    found: IncisionPriors = read(IncisionPriors)
    return found


def ask(priors: IncisionPriors, **keys: Any) -> Induced:
    usual = {"kind": "manual-small-incision", "site": "superior", "shape": "straight", "length_mm": 6.5}
    return incision.induced(**{**usual, **keys}, priors=priors)


def codes(found: Induced) -> set[str]:
    return {doubt.code for doubt in found.doubts}


@pytest.mark.parametrize(
    ("keys", "flattening", "sd"),
    [
        ({}, 1.1, 0.48),
        ({"site": "temporal"}, 0.48, 0.41),
        ({"site": "superotemporal"}, 0.5, 0.45),
        ({"suture": "horizontal"}, 1.1, 0.5),
        ({"suture": "x"}, -0.65, 0.5),
        ({"kind": "clear-corneal", "length_mm": 3.0}, 0.47, 0.32),
        ({"kind": "phacoemulsification", "length_mm": 3.0, "site": "temporal"}, 0.23, 0.37),
        ({"kind": "extracapsular", "length_mm": 11.0, "suture": "in-place"}, -1.7, 1.0),
        ({"kind": "extracapsular", "length_mm": 11.0}, 0.0, 1.0),
    ],
)
def test_the_priors_of_the_evidence(priors: IncisionPriors, keys: dict[str, Any], flattening: float, sd: float) -> None:
    found = ask(priors, **keys)
    assert found.flattening_d == flattening
    assert found.sd_d == pytest.approx(sd, abs=1e-12)


def test_superior_is_the_largest_in_every_series(priors: IncisionPriors) -> None:
    superior = ask(priors).flattening_d
    assert all(ask(priors, site=site).flattening_d < superior for site in SITES if site != "superior")


def test_shape_is_a_weak_effect_and_says_so(priors: IncisionPriors) -> None:
    straight, frown, chevron = (ask(priors, shape=shape) for shape in ("straight", "frown", "chevron"))
    assert chevron.flattening_d < frown.flattening_d < straight.flattening_d
    # the randomised trial: 1.10, 1.07, 0.90 D; the series differ by at most 0.5 D
    assert frown.flattening_d == pytest.approx(1.1 * 1.07 / 1.10, abs=1e-3)
    assert chevron.flattening_d == pytest.approx(1.1 * 0.90 / 1.10, abs=1e-3)
    assert codes(straight) == set()
    assert codes(frown) == codes(chevron) == {"shape-effect-weak"}


@settings(deadline=None, derandomize=True)
@given(length=st.floats(1.0, 15.0), site=st.sampled_from(SITES))
def test_length_widens_the_spread_and_never_moves_the_mean(priors: IncisionPriors, length: float, site: str) -> None:
    usual, found = ask(priors, site=site), ask(priors, site=site, length_mm=length)
    assert found.flattening_d == usual.flattening_d
    if 6 <= length <= 7:
        assert found == usual
    else:
        assert found.sd_d > usual.sd_d
        assert "incision-length-outside-series" in codes(found)


def test_a_longer_tunnel_is_less_certain(priors: IncisionPriors) -> None:
    spreads = [ask(priors, length_mm=length).sd_d for length in (7.0, 7.5, 8.0, 9.0)]
    assert spreads == sorted(set(spreads))


@pytest.mark.parametrize("site", [s for s in SITES if s not in ("superior", "temporal", "superotemporal")])
def test_sites_without_a_series_say_so(priors: IncisionPriors, site: str) -> None:
    assert codes(ask(priors, site=site)) == {"no-series-for-site"}
    assert codes(ask(priors, kind="clear-corneal", length_mm=3.0, site=site)) == {"no-series-for-site"}


def test_large_wounds_are_counted_without_their_sutures_and_say_so(priors: IncisionPriors) -> None:
    assert codes(ask(priors, kind="extracapsular", length_mm=11.0)) == {"sutures-counted-as-out"}
    wide = ask(priors, kind="intracapsular", length_mm=12.0)
    assert codes(wide) == {"sutures-counted-as-out", "no-series-for-site"}
    assert wide.sd_d > ask(priors, kind="extracapsular", length_mm=12.0).sd_d
    assert codes(ask(priors, suture="x", site="temporal")) == {"suture-measured-superior-only"}


@pytest.mark.parametrize(
    ("keys", "field"),
    [
        ({"kind": "laser"}, "kind"),
        ({"site": "above"}, "site"),
        ({"shape": "smile"}, "shape"),
        ({"suture": "cross"}, "suture"),
        ({"suture": "in-place"}, "suture"),
        ({"kind": "clear-corneal", "suture": "x"}, "suture"),
    ],
)
def test_unknown_words_are_one_clear_error(priors: IncisionPriors, keys: dict[str, str], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        ask(priors, **keys)
    assert caught.value.field == field
    assert caught.value.allowed
    assert repr(keys[field]) in caught.value.message


@pytest.mark.parametrize(
    ("clock", "right"),
    [
        (12, "superior"),
        (11, "superotemporal"),
        (10, "superotemporal"),
        (9, "temporal"),
        (7.5, "inferotemporal"),
        (6, "inferior"),
        (4.5, "inferonasal"),
        (3, "nasal"),
        (2, "superonasal"),
        (1, "superonasal"),
        (0.5, "superior"),
        (11.5, "superior"),
    ],
)
def test_sites_of_a_right_eye(clock: float, right: str) -> None:
    # temporal is 9 in a right eye and 3 in a left eye
    assert incision.site_of(clock=clock, side="right") == right
    assert incision.site_of(clock=mirror_hour(clock), side="left") == right


@settings(deadline=None, derandomize=True)
@given(quarter=st.integers(1, 48))
def test_the_mirror_keeps_the_site(quarter: int) -> None:
    hour = quarter / 4
    assert incision.site_of(clock=hour, side="right") == incision.site_of(clock=mirror_hour(hour), side="left")


def test_an_unknown_side_is_refused() -> None:
    with pytest.raises(InvalidInput, match="side"):
        incision.site_of(clock=12, side="OD")
