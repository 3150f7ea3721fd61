"""A certificate for this machine, signed by an authority of its own, so that tablets reach it over HTTPS in a local network.

The authority is made once and can vouch only for this machine's names and for addresses of private networks. Its key and
the server's stay in the data folder, readable by their owner alone. A tablet that installed the authority's certificate
trusts this machine; nothing is sent to anybody.
"""

from __future__ import annotations

import ipaddress
import os
import re
import socket
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from forestay.errors import UnreadableFile
from forestay.store.interface import now
from forestay.store.location import data_folder
from forestay.text import tr

FOLDER = "tls"
AUTHORITY_DAYS, SERVER_DAYS, RENEW_DAYS = 1825, 397, 30
"""Five years; what tablets accept at most of a server; how long before its end a certificate is made anew."""
PRIVATE_NETWORKS = (
    "127.0.0.0/8",
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",
    "::1/128",
    "fc00::/7",
    "fe80::/10",
)
"""RFC 1918, RFC 3927, RFC 4193, RFC 4291, and this machine itself."""
Key = ec.EllipticCurvePrivateKey


@dataclass(frozen=True, slots=True)
class Issued:
    """Where the certificates are, and what a person compares."""

    certificate: Path
    private_key: Path
    authority: Path
    names: tuple[str, ...]
    fingerprint: str
    """SHA-256 of the authority's certificate, in pairs of digits."""
    until: datetime


def own_names() -> tuple[str, ...]:
    """The names and addresses under which this machine may be asked for."""
    host = re.sub(r"[^A-Za-z0-9.-]", "-", socket.gethostname()) or "localhost"
    found = {"127.0.0.1", "::1"}
    with suppress(OSError):
        found |= {str(info[4][0]).partition("%")[0] for info in socket.getaddrinfo(socket.gethostname(), None)}
    # The address that would be used outwards; nothing is sent by asking.
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.connect(("192.0.2.1", 9))
        found.add(str(asked.getsockname()[0]))
    names = dict.fromkeys((host, f"{host.partition('.')[0]}.local", "localhost"))
    return (*names, *sorted(found))


def issue(folder: Path | None = None, *, names: tuple[str, ...] | None = None, at: datetime | None = None) -> Issued:
    """The certificates in the data folder, made or made anew where need be: first time, new names, near the end."""
    place = folder or data_folder() / FOLDER
    wanted = names or own_names()
    moment = at or now()
    try:
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
        authority, key = _authority(place, moment, wanted)
        return _server(place, authority, key, moment, wanted)
    except OSError as wrong:
        raise UnreadableFile(
            tr("The certificates in {folder} cannot be kept: {reason}.", folder=place, reason=wrong.strerror),
            field="tls",
            value=str(place),
        ) from None


def _authority(place: Path, at: datetime, names: tuple[str, ...]) -> tuple[x509.Certificate, Key]:
    kept = _kept(place / "authority.pem", place / "authority.key", at, signer=None)
    if kept is not None and _may_vouch(kept[0], names):
        return kept
    key = ec.generate_private_key(ec.SECP256R1())
    named = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Forestay on {names[0]}"[:64])])
    made = (
        x509.CertificateBuilder()
        .subject_name(named)
        .issuer_name(named)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - timedelta(days=1))
        .not_valid_after(at + timedelta(days=AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.NameConstraints(_permitted(names), None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(place, "authority", made, key)
    return made, key


def _server(place: Path, authority: x509.Certificate, signer: Key, at: datetime, names: tuple[str, ...]) -> Issued:
    kept = _kept(place / "server.pem", place / "server.key", at, signer=authority)
    made = kept[0] if kept is not None and set(_names_of(kept[0])) == set(names) else None
    if made is None:
        key = ec.generate_private_key(ec.SECP256R1())
        made = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:64])]))
            .issuer_name(authority.subject)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(at - timedelta(days=1))
            .not_valid_after(min(at + timedelta(days=SERVER_DAYS - 1), authority.not_valid_after_utc))
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_usage(signs=False), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
            .sign(signer, hashes.SHA256())
        )
        _write(place, "server", made, key)
    digits = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    return Issued(
        place / "server.pem", place / "server.key", place / "authority.pem", names, digits, made.not_valid_after_utc
    )


def _kept(
    certificate: Path, key: Path, at: datetime, *, signer: x509.Certificate | None
) -> tuple[x509.Certificate, Key] | None:
    """What is there, where it is whole, belongs together and lasts."""
    if not (certificate.is_file() and key.is_file()):
        return None
    try:
        there = x509.load_pem_x509_certificate(certificate.read_bytes())
        own = serialization.load_pem_private_key(key.read_bytes(), password=None)
        there.verify_directly_issued_by(signer or there)
    except Exception:  # noqa: BLE001 - whatever is wrong with it, it is made anew
        return None
    if not isinstance(own, ec.EllipticCurvePrivateKey) or own.public_key() != there.public_key():
        return None
    key.chmod(0o600)
    return (there, own) if there.not_valid_after_utc - at > timedelta(days=RENEW_DAYS) else None


def _names_of(certificate: x509.Certificate) -> list[str]:
    found = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return [str(one.value) for one in found]


def _may_vouch(authority: x509.Certificate, names: tuple[str, ...]) -> bool:
    """Whether the constraints of an authority hold these names; a machine that was renamed needs another one."""
    permitted = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    hosts = {one.value for one in permitted if isinstance(one, x509.DNSName)}
    networks = [one.value for one in permitted if isinstance(one, x509.IPAddress)]
    for name in names:
        address = _address(name)
        if address is None:
            if name not in hosts:
                return False
        elif not any(address.version == net.version and address in net for net in networks):  # type: ignore[operator]
            return False
    return True


def _permitted(names: tuple[str, ...]) -> list[x509.GeneralName]:
    hosts = [x509.DNSName(name) for name in names if _address(name) is None]
    networks = [ipaddress.ip_network(net) for net in PRIVATE_NETWORKS]
    for name in names:
        address = _address(name)
        if address is not None and not any(address.version == n.version and address in n for n in networks):
            networks.append(ipaddress.ip_network(address))
    return [*hosts, *(x509.IPAddress(net) for net in networks)]


def _address(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(name)
    except ValueError:
        return None


def _general(name: str) -> x509.GeneralName:
    address = _address(name)
    return x509.DNSName(name) if address is None else x509.IPAddress(address)


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs,
        key_cert_sign=signs,
        crl_sign=signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _write(place: Path, name: str, certificate: x509.Certificate, key: Key) -> None:
    """The key first, readable by its owner alone from the first byte on; each file whole or not at all."""
    plain = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    for file, content, mode in (
        (place / f"{name}.key", plain, 0o600),
        (place / f"{name}.pem", certificate.public_bytes(serialization.Encoding.PEM), 0o644),
    ):
        half = file.with_name(f"{file.name}.new")
        half.unlink(missing_ok=True)
        handle = os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(handle, "wb") as written:
            written.write(content)
        half.replace(file)


def authority_for_tablets(issued: Issued) -> bytes:
    """The authority's certificate in the form that tablets install (DER)."""
    return x509.load_pem_x509_certificate(issued.authority.read_bytes()).public_bytes(serialization.Encoding.DER)
