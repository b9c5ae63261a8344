"""The certificate of the place: a small authority of its own, kept on this computer, and what it signs for it.

A phone that trusts the authority trusts it for everything it may sign. So it may sign little: its own limits (RFC 5280,
name constraints, critical) hold it to this computer's names and to addresses that are private anywhere (RFC 1918, RFC 4193,
link-local, loopback), and it signs servers only. The computer's own certificate lasts 397 days and is made anew a month
before its end, or when the computer's names or addresses change; the phone need not be touched for that.
"""

from __future__ import annotations

import ipaddress
import os
import re
import socket
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from drybank.desk import state
from drybank.records.errors import InputError

CA_YEARS = 10
LEAF_DAYS = 397
RENEW_DAYS = 30
PRIVATE = (
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",
    "127.0.0.0/8",
    "fc00::/7",
    "fe80::/10",
    "::1/128",
)
_NAME = re.compile(r"(?=.{1,253}$)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")
Address = ipaddress.IPv4Address | ipaddress.IPv6Address


class Place(msgspec.Struct, frozen=True, kw_only=True):
    """Files of the certificate and its key, the authority's file and fingerprint, the names they hold for."""

    leaf: Path
    key: Path
    ca: Path
    fingerprint: str
    names: tuple[str, ...]
    ends: datetime


def place_certificate(asked: Sequence[str], own: Sequence[str], now: datetime, folder: Path | None = None) -> Place:
    """The certificate for the names asked for and this computer's own, made or made anew where that is due.

    A name of the computer's own that the authority was not made for (it was renamed since) is left out.

    Raises
    ------
    InputError
        A name that no certificate can hold, or one that the place's authority was not made for.
    """
    home = folder or state.folder()
    home.mkdir(parents=True, exist_ok=True, mode=0o700)
    hosts, addresses = _sorted((*asked, *own))
    ca, ca_key = _authority(home, hosts, now)
    hosts = tuple(h for h in hosts if _is_held(ca, h, home / state.CA, must=h in {a.strip().lower() for a in asked}))
    leaf = home / state.LEAF
    if not _still_good(leaf, ca, hosts, addresses, now):
        _make_leaf(home, ca, ca_key, (hosts, addresses), now)
    made = x509.load_pem_x509_certificate(leaf.read_bytes())
    return Place(
        leaf=leaf, key=home / "place.key", ca=home / state.CA, fingerprint=fingerprint(ca),
        names=(*hosts, *map(str, addresses)), ends=made.not_valid_after_utc,
    )  # fmt: skip


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 as phones show it: pairs of digits with colons."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def own_names() -> tuple[str, ...]:
    """What this computer is called and its addresses on the local network; nothing is sent to find them."""
    host = socket.gethostname().split(".")[0].lower()
    found = [host, f"{host}.local"] if _NAME.fullmatch(host) else []
    addresses = {"127.0.0.1"}
    for family, aim in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as probe:
                probe.connect(
                    (aim, 9)
                )  # a datagram socket: this only asks the system which of its addresses it would use
                addresses.add(probe.getsockname()[0])
        except OSError:
            continue
    private = [a for a in sorted(addresses) if _is_private(ipaddress.ip_address(a.split("%")[0]))]
    return (*dict.fromkeys([*found, "localhost"]), *private)


def _is_private(address: Address) -> bool:
    return any(
        address in ipaddress.ip_network(net) for net in PRIVATE if ipaddress.ip_network(net).version == address.version
    )


def _sorted(names: Iterable[str]) -> tuple[tuple[str, ...], tuple[Address, ...]]:
    hosts, addresses = [], []
    for name in dict.fromkeys(n.strip().lower() for n in names):
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            if not _NAME.fullmatch(name):
                raise InputError(
                    f"“{name[:80]}” is no name of a computer.", mend="Give a name such as laundry.lan, or an address."
                ) from None
            hosts.append(name)
            continue
        if not _is_private(address):
            raise InputError(
                f"{name} is not an address of a local network.",
                mend="For the open internet use a reverse proxy with a public certificate: see the guide on many stores.",
            )
        addresses.append(address)
    return tuple(hosts), tuple(addresses)


def _authority(home: Path, hosts: Sequence[str], now: datetime) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    file, key_file = home / state.CA, home / "place-ca.key"
    if file.exists() and key_file.exists():
        ca = x509.load_pem_x509_certificate(file.read_bytes())
        key = serialization.load_pem_private_key(key_file.read_bytes(), None)
        assert isinstance(key, ec.EllipticCurvePrivateKey)
        if ca.not_valid_after_utc > now + timedelta(days=LEAF_DAYS):
            return ca, key
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([
        x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Drybank"),
        x509.NameAttribute(NameOID.COMMON_NAME, f"Drybank at {hosts[0] if hosts else 'this place'} {os.urandom(3).hex()}"),
    ])  # fmt: skip
    allowed: list[x509.GeneralName] = [x509.DNSName(h) for h in hosts]
    allowed += [x509.IPAddress(ipaddress.ip_network(net)) for net in PRIVATE]
    ca = (
        _begun(name, name, key, now, timedelta(days=366 * CA_YEARS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(is_ca=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.NameConstraints(permitted_subtrees=allowed, excluded_subtrees=None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(key_file, _pem_of(key))
    _write(file, ca.public_bytes(serialization.Encoding.PEM))
    return ca, key


def _is_held(ca: x509.Certificate, host: str, file: Path, *, must: bool) -> bool:
    """Whether a name lies within the authority's own limits; phones would refuse it elsewhere."""
    limits = ca.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    allowed = [n.value for n in limits if isinstance(n, x509.DNSName)]
    is_held = any(host == a or host.endswith(f".{a}") for a in allowed)
    if must and not is_held:
        raise InputError(
            f"The certificate of this place was made for {', '.join(allowed)}, not for {host}.",
            mend=f"Remove {file.name} and place-ca.key from {file.parent} to make a new one; phones then trust it anew.",
        )
    return is_held


def _still_good(
    leaf: Path, ca: x509.Certificate, hosts: Sequence[str], addresses: Sequence[Address], now: datetime
) -> bool:
    if not leaf.exists() or not leaf.with_suffix(".key").exists():
        return False
    found = x509.load_pem_x509_certificate(leaf.read_bytes())
    if (
        found.issuer != ca.subject
        or found.not_valid_after_utc < now + timedelta(days=RENEW_DAYS)
        or found.not_valid_before_utc > now
    ):
        return False
    held = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return set(hosts) == set(held.get_values_for_type(x509.DNSName)) and set(addresses) == set(
        held.get_values_for_type(x509.IPAddress)
    )


def _make_leaf(
    home: Path,
    ca: x509.Certificate,
    ca_key: ec.EllipticCurvePrivateKey,
    held: tuple[Sequence[str], Sequence[Address]],
    now: datetime,
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    hosts, addresses = held
    names = [*(x509.DNSName(h) for h in hosts), *(x509.IPAddress(a) for a in addresses)]
    called = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, (hosts or tuple(map(str, addresses)))[0][:64])])
    leaf = (
        _begun(called, ca.subject, key, now, timedelta(days=LEAF_DAYS))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(is_ca=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(ca_key.public_key()), critical=False)
        .sign(ca_key, hashes.SHA256())
    )
    _write(home / "place.key", _pem_of(key))
    _write(home / state.LEAF, leaf.public_bytes(serialization.Encoding.PEM))


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, lasts: timedelta
) -> x509.CertificateBuilder:
    begins = now.astimezone(UTC) - timedelta(days=1)  # a phone's clock may be behind
    return (
        x509.CertificateBuilder().subject_name(subject).issuer_name(issuer).public_key(key.public_key())
        .serial_number(x509.random_serial_number()).not_valid_before(begins).not_valid_after(begins + lasts)
    )  # fmt: skip


def _usage(*, is_ca: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not is_ca, key_cert_sign=is_ca, crl_sign=is_ca, content_commitment=False, key_encipherment=False,
        data_encipherment=False, key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _pem_of(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write(file: Path, content: bytes) -> None:
    """In one step, readable by its owner alone."""
    new = file.with_name(f"{file.name}.new")
    new.unlink(missing_ok=True)
    with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())
    new.replace(file)
