"""A certificate of the shop's own, so that phones may use camera and microphone.

A small certificate authority is made once and kept beside the records; phones install it once. The
leaf certificate carries the machine's names and addresses and is made anew when these change or its
time runs out. Keys are EC P-256, files are readable by their owner alone. Apple's limits for leaf
certificates (825 days, SAN, serverAuth; support page 103769) are kept.
"""

from __future__ import annotations

import ipaddress
import os
import socket
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

LEAF_DAYS = 800
RENEW_DAYS = 30


def names_and_addresses(address: str) -> list[x509.GeneralName]:
    """Return what the leaf must be valid for: this machine's names and ``address``."""
    host = socket.gethostname() or "localhost"
    names: list[x509.GeneralName] = [x509.DNSName(n) for n in {host, f"{host}.local", "localhost"}]
    numbers = {ipaddress.ip_address(text) for text in (address, "127.0.0.1")}
    return names + [x509.IPAddress(number) for number in numbers]


def certificates(folder: Path, address: str) -> tuple[Path, Path, Path]:
    """Return (authority, leaf, leaf key) as PEM files in ``folder``, made where needed."""
    folder.mkdir(parents=True, exist_ok=True)
    authority, authority_key = folder / "shop.crt", folder / "shop.key"
    leaf, leaf_key = folder / "leaf.crt", folder / "leaf.key"
    if not (authority.is_file() and authority_key.is_file()):
        _make_authority(authority, authority_key)
        leaf.unlink(missing_ok=True)
    if not (leaf.is_file() and leaf_key.is_file() and _still_good(leaf, address)):
        _make_leaf(authority, authority_key, leaf, leaf_key, address)
    return authority, leaf, leaf_key


def _write(path: Path, data: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)


def _key_bytes(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def _named(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _make_authority(path: Path, key_path: Path) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    name, now = _named("joblog shop authority"), datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=3650))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(key_path, _key_bytes(key))
    _write(path, made.public_bytes(serialization.Encoding.PEM))


def _make_leaf(authority: Path, authority_key: Path, path: Path, key_path: Path, at: str) -> None:
    issuer = x509.load_pem_x509_certificate(authority.read_bytes())
    signer = serialization.load_pem_private_key(authority_key.read_bytes(), None)
    assert isinstance(signer, ec.EllipticCurvePrivateKey)
    key, now = ec.generate_private_key(ec.SECP256R1()), datetime.now(UTC)
    usage = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    made = (
        x509.CertificateBuilder()
        .subject_name(_named("joblog"))
        .issuer_name(issuer.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=LEAF_DAYS))
        .add_extension(x509.SubjectAlternativeName(names_and_addresses(at)), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False
        )
        .sign(signer, hashes.SHA256())
    )
    _write(key_path, _key_bytes(key))
    _write(path, made.public_bytes(serialization.Encoding.PEM))


def _still_good(path: Path, address: str) -> bool:
    leaf = x509.load_pem_x509_certificate(path.read_bytes())
    if leaf.not_valid_after_utc < datetime.now(UTC) + timedelta(days=RENEW_DAYS):
        return False
    kept = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return set(kept) == set(names_and_addresses(address))
