"""Own figures among those of peers, and nothing of a few persons on the page, in the command, or in a batch."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forestay.batch import study
from forestay.batch.audit import audit
from forestay.cli.main import run
from forestay.errors import ForestayError, InvalidInput
from forestay.evidence import default_evidence
from forestay.review.complications import points
from forestay.review.groups import Selection
from forestay.review.invented import Truth, outcomes
from forestay.review.make import as_dict, review
from forestay.review.outcome import Outcome
from forestay.review.peers import Peer, peer_funnel, peers_from_table
from forestay.statistics import funnel
from tests.batch.test_batch import here

SEED = 909


@pytest.fixture(scope="module")
def cases() -> list[Outcome]:
    return outcomes(400, seed=SEED, truth=Truth())


def test_peers_on_one_rate_have_the_exact_limits_and_the_nominal_false_alarms(cases: list[Outcome]) -> None:
    generator = np.random.default_rng(17)
    peers = [Peer(f"unit {i}", 900, int(generator.binomial(900, 0.04))) for i in range(400)]
    found = peer_funnel(peers, cases, default_evidence().reader())
    assert found is not None
    assert found.tau == 0
    exact = funnel.limits(n=900, target=found.pooled, level=0.998)
    assert found.points[0].outer == pytest.approx((float(exact.low), float(exact.high)))
    # 2 in 1,000 lie outside by chance: of 400, six or more less often than once in 3,000 such tables.
    assert sum(p.outside for p in found.points[:-1]) < 6


def test_peers_that_differ_widen_the_limits_by_their_spread(cases: list[Outcome]) -> None:
    generator = np.random.default_rng(18)
    rates = np.clip(generator.normal(0.05, 0.015, 300), 0.005, 1)
    peers = [Peer(f"unit {i}", 2000, int(generator.binomial(2000, r))) for i, r in enumerate(rates)]
    found = peer_funnel(peers, cases, default_evidence().reader())
    assert found is not None
    assert found.phi > 1.5
    assert found.tau == pytest.approx(0.015, rel=0.25)
    plain = funnel.limits(n=2000, target=found.pooled, level=0.998)
    assert found.points[0].outer[1] > float(plain.high)
    # Spiegelhalter 2005: target + z sqrt(target (1 - target) / n + tau^2), by hand.
    half = 3.0902323 * (found.pooled * (1 - found.pooled) / 2000 + found.tau**2) ** 0.5
    assert found.points[0].outer[1] == pytest.approx(found.pooled + half, abs=1e-9)


def test_case_mix_counts_only_where_every_line_has_it(cases: list[Outcome]) -> None:
    use = default_evidence().reader()
    peers = [Peer("A", 500, 10, 10.0), Peer("B", 500, 20, 20.0)]
    adjusted = peer_funnel(peers, cases, use)
    assert adjusted is not None
    assert adjusted.adjusted
    assert adjusted.points[1].n == pytest.approx(2 * adjusted.points[0].n, abs=1)
    plain = peer_funnel([peers[0], replace(peers[1], expected=None)], cases, use)
    assert plain is not None
    assert not plain.adjusted
    assert [p.n for p in plain.points[:2]] == [500, 500]


def test_a_table_is_read_with_commas_or_semicolons() -> None:
    assert peers_from_table(b"\xef\xbb\xbfname;operations;events;expected\nunit A;420;8;7,5\n") == (
        Peer("unit A", 420, 8, 7.5),
    )


@pytest.mark.parametrize(
    ("line", "field"),
    [("A,x,1", "peers.2.operations"), ("A,10,11", "peers.2.events"), (",10,1", "peers.2.name"), ("A,0,0", "peers.2.events"),
     ("A,10,-1", "peers.2.events"), ("A,²,1", "peers.2.operations")],
)  # fmt: skip
def test_a_wrong_line_is_named(line: str, field: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        peers_from_table(f"name,operations,events\n{line}\n".encode())
    assert refused.value.field == field


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_with_a_sentence(data: bytes) -> None:
    for table in (data, b"name,operations,events\n" + data):
        try:
            found = peers_from_table(table)
        except ForestayError:
            found = ()
        assert all(0 <= peer.events <= peer.operations for peer in found)


def test_few_persons_show_in_no_group_of_a_review(cases: list[Outcome]) -> None:
    use = default_evidence().reader()
    few = [replace(o, surgeon="zz-few", lens_model="zz-few lens", acuity_type="pinhole", grade="junior-trainee",
                   hands=(("tunnel", "zz-few"),), technique="extracapsular", mix={"only-eye": True}) for o in cases[:3]]  # fmt: skip
    rest = [replace(o, mix={"only-eye": False}) for o in cases[3:]]
    found = review([*few, *rest], use, peers=[Peer("zz-few unit", 3, 1), Peer("B", 900, 20)])
    told = json.dumps(as_dict(found) | {"signals": []})
    assert "zz-few" not in told
    assert "pinhole" not in told
    assert found.mix["only-eye"] == (None, 400)
    assert found.peers is not None
    assert found.peers.withheld == 1
    alone = review([*few, *rest], use, Selection(surgeon="zz-few"))
    assert alone.withheld is not None
    assert alone.complications == ()


def test_few_persons_show_in_no_batch_audit(tmp_path: Path) -> None:
    files = [u.file for u in study.invent(60, tmp_path, seed=SEED, run=here, truth=Truth(surgeons=30))]
    found = audit(files, default_evidence().reader())
    assert found.n == 60
    assert all(group.n >= 5 for group in found.groups)
    there = {int(s) for file in files for s in pq.read_table(file)["surgeon"].to_numpy()}
    assert found.withheld == len(there) - len(found.groups) > 0


def test_what_is_hidden_cannot_be_worked_out_from_the_sum(cases: list[Outcome]) -> None:
    use = default_evidence().reader()
    named = [replace(o, surgeon="large" if i < 200 else "middle") for i, o in enumerate(cases)]
    assert [p.surgeon for p in points("rupture", named, use)] == ["large", "middle"]
    three = [replace(o, surgeon="zz-few") if i < 3 else o for i, o in enumerate(named)]
    # 400 less 200 would leave the three beside the 197: the smaller group goes with them.
    assert len(points("rupture", three, use)) == 1


def test_the_command_lays_an_invented_practice_beside_peers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = tmp_path / "peers.csv"
    table.write_text("name,operations,events\nunit A,800,30\nunit B,1200,44\n")
    with pytest.raises(SystemExit):
        run(["review", "--invented", "--peers", str(table)])
    assert "Among peers" in capsys.readouterr().out
    table.write_text("name,operations\nunit A,800\n")
    with pytest.raises(SystemExit) as left:
        run(["review", "--invented", "--peers", str(table)])
    assert left.value.code == 2
    assert "name, operations, events" in capsys.readouterr().err
