"""The room for a phone or tablet on the same network: https with a certificate of this machine's own, and a QR code.

A browser gives its microphone to pages that came by https or from the machine itself (W3C Secure Contexts). The
certificate is signed by nobody but this machine, so the browser asks once whether to trust it; the fingerprint that the
terminal prints is the one it shows. Conventions: names and validity as the CA/Browser Forum's baseline requirements
have them: subject alternative names only, at most 397 days.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import socket
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import segno
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from truestop.domain.errors import TruestopError

VALID_DAYS, RENEW_DAYS = 397, 14
#: An address that is never routed (RFC 5737); asking the way to it names the own address and sends nothing.
NOWHERE = ("192.0.2.1", 9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """Where certificate and key lie, and what the browser shows of it."""

    file: Path
    key_file: Path
    fingerprint: str
    """SHA-256 of the certificate, pairs of hexadecimal digits."""


def own_address() -> str:
    """This machine's address on its network; an error where it is on none."""
    address = ""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(NOWHERE)
        address = str(probe.getsockname()[0])
    if not address or ipaddress.ip_address(address).is_loopback:
        raise TruestopError(
            "This machine is on no network that a phone could share.",
            hint="Join the phone's network first, or leave out --https to practise on this machine.",
        )
    return address


def own_certificate(folder: Path, address: str, *, now: datetime | None = None) -> Certificate:
    """The certificate for ``address``, made where there is none that still holds for two weeks."""
    moment = now or datetime.now(UTC)
    file, key_file = folder / f"{address}.crt", folder / f"{address}.key"
    found = _read(file) if key_file.is_file() else None
    if found is None or found.not_valid_after_utc - moment < timedelta(days=RENEW_DAYS):
        found = _make(file, key_file, address, moment)
    digest = found.fingerprint(hashes.SHA256()).hex().upper()
    pairs = ":".join(digest[at : at + 2] for at in range(0, len(digest), 2))
    return Certificate(file=file, key_file=key_file, fingerprint=pairs)


def _read(file: Path) -> x509.Certificate | None:
    try:
        return x509.load_pem_x509_certificate(file.read_bytes())
    except (OSError, ValueError):
        return None


def _make(file: Path, key_file: Path, address: str, now: datetime) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "truestop room")])
    names = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(address))])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now - timedelta(hours=1) + timedelta(days=VALID_DAYS))
        .add_extension(names, critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    plain = serialization.PrivateFormat.PKCS8
    pem = key.private_bytes(serialization.Encoding.PEM, plain, serialization.NoEncryption())
    key_file.parent.mkdir(parents=True, exist_ok=True)
    key_file.unlink(missing_ok=True)
    with os.fdopen(os.open(key_file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
        out.write(pem)
    file.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return made


def qr_text(address: str) -> str:
    """``address`` as a QR code (ISO/IEC 18004) of block characters for the terminal."""
    out = StringIO()
    segno.make(address, error="m", micro=False).terminal(out, compact=True)
    return out.getvalue()
