"""The machine's own authority: a chain that a strict client accepts, keys for the owner alone, made anew when it must be."""

from __future__ import annotations

import ipaddress
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest
import uvicorn
from cryptography import x509
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from forestay.cli.main import app
from forestay.services.certificates import issue, own_names
from forestay.web.serve import HOST, Reach, Server, build, listen, own_tls

NAMES = ("theatre-pc", "theatre-pc.local", "localhost", "127.0.0.1", "192.168.1.20")
MOMENT = datetime(2026, 3, 1, 12, tzinfo=UTC)


def verified(folder: Path, name: str, at: datetime) -> None:
    """The chain as a client checks it (RFC 5280 and the rules of the browsers, by the library's own verifier)."""
    made = issue(folder, names=NAMES, at=at)
    authority = x509.load_pem_x509_certificate(made.authority.read_bytes())
    server = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    policy = PolicyBuilder().store(Store([authority])).time(at)
    address = name.replace(".", "").isdigit()
    subject = x509.IPAddress(ipaddress.ip_address(name)) if address else x509.DNSName(name)
    policy.build_server_verifier(subject).verify(server, [])


@pytest.mark.parametrize("name", NAMES)
def test_a_strict_client_accepts_each_name_of_the_machine_and_no_other(tmp_path: Path, name: str) -> None:
    verified(tmp_path, name, MOMENT)
    with pytest.raises(VerificationError):
        verified(tmp_path, "clinic.example", MOMENT)


def test_keys_are_the_owners_alone_and_nothing_is_made_twice(tmp_path: Path) -> None:
    first = issue(tmp_path / "tls", names=NAMES, at=MOMENT)
    for file in (tmp_path / "tls").glob("*.key"):
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "tls").stat().st_mode) == 0o700
    before = {file: file.read_bytes() for file in (tmp_path / "tls").iterdir()}
    assert issue(tmp_path / "tls", names=NAMES, at=MOMENT + timedelta(days=300)) == first
    assert {file: file.read_bytes() for file in (tmp_path / "tls").iterdir()} == before


def test_the_servers_is_made_anew_near_its_end_and_the_authority_stays(tmp_path: Path) -> None:
    first = issue(tmp_path, names=NAMES, at=MOMENT)
    later = issue(tmp_path, names=NAMES, at=MOMENT + timedelta(days=380))
    assert later.until > first.until
    assert later.fingerprint == first.fingerprint
    # A machine that was renamed gets an authority that can vouch for the new name.
    renamed = issue(tmp_path, names=("ward-pc", *NAMES[1:]), at=MOMENT)
    assert renamed.fingerprint != first.fingerprint
    (tmp_path / "server.pem").write_text("not a certificate")
    assert issue(tmp_path, names=("ward-pc", *NAMES[1:]), at=MOMENT).fingerprint == renamed.fingerprint


def test_a_client_that_trusts_the_authority_reaches_the_server_and_another_does_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    reach = own_tls(HOST, accounts=True)
    assert reach.issued is not None
    assert set(own_names()) == set(reach.issued.names)
    made, _ = build(str(tmp_path / "cases.sqlite"), demo=False, reach=reach)
    with listen(0) as opened:
        config = uvicorn.Config(
            made, log_level="critical", ssl_certfile=reach.certificate, ssl_keyfile=reach.private_key
        )
        server = Server(config)
        running = threading.Thread(target=server.run, kwargs={"sockets": [opened]}, daemon=True)
        running.start()
        address = f"https://{HOST}:{opened.getsockname()[1]}/tls"
        trusting = ssl.create_default_context(cafile=str(reach.issued.authority))
        try:
            with httpx.Client(verify=trusting, timeout=20) as client:
                page = client.get(address)
                assert reach.issued.fingerprint in page.text
                loaded = client.get(f"{address}/authority.crt")
                named = x509.load_der_x509_certificate(loaded.content).subject.rfc4514_string()
                assert named.startswith("CN=Forestay on")
            with httpx.Client(timeout=20) as stranger, pytest.raises(httpx.ConnectError):
                stranger.get(address)
        finally:
            server.should_exit = True
            running.join(20)


def test_tls_opens_the_network_with_accounts_and_is_not_mixed_with_a_given_certificate(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    reach = own_tls(None, accounts=False)
    assert (reach.host, reach.local) == ("0.0.0.0", False)  # noqa: S104 - nothing is opened here
    reach.check()
    with pytest.raises(Exception, match="not both"):
        app(["serve", "--tls", "--certificate", str(tmp_path / "x.pem")], standalone_mode=False)
    assert isinstance(reach, Reach)
