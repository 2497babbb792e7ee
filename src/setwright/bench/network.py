"""Where a bench is found in the shop's network: the machine's addresses, and the certificate it answers with.

The certificate signs itself: no authority knows a shop. What a browser shows as its fingerprint can be compared with
what the bench says. Addresses that the internet reaches are never taken without being named.
"""

from __future__ import annotations

import hashlib
import ipaddress
import os
import re
import socket
import ssl
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

PORT = 8400
CERTIFICATE, KEY = "bench.crt", "bench-tls.key"
DAYS = 825  # the longest that browsers on tablets take (from memory)
SPARE = timedelta(days=30)  # a certificate that ends sooner is made anew
LACKING = "a bench in the network needs the packages of the extra: pip install 'setwright[network]'."
_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?(?:\.[A-Za-z0-9-]{1,63})*")


@frozen
class Certificate:
    """A certificate and its key, as files. fingerprint: SHA-256 of it, as browsers show it; until: the last day, as
    text; made: it was made now, so browsers will ask again."""

    file: Path
    key: Path
    fingerprint: str
    until: str
    made: bool


def own_addresses() -> tuple[str, ...]:
    """The addresses of this machine in networks that only its neighbours reach.

    Returns: IPv4 addresses, the one it speaks from first; none where there is no network.
    """
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked, suppress(OSError):
        asked.connect(("192.0.2.1", 9))  # kept for documents, RFC 5737: nothing is sent, only the way is looked up
        found.append(str(asked.getsockname()[0]))
    with suppress(OSError):
        found += [str(one[4][0]) for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return tuple(dict.fromkeys(one for one in found if is_near(one)))


def is_near(address: str) -> bool:
    """Whether an address is one of a network of a house, not of the internet and not of this machine alone.

    Args:
        address: IPv4 or IPv6, as text.
    Returns: True or False.
    """
    try:
        said = ipaddress.ip_address(address)
    except ValueError:
        return False
    return said.is_private and not (said.is_loopback or said.is_unspecified or said.is_reserved or said.is_multicast)


def checked_address(text: str) -> str:
    """An address of this machine that may be listened on.

    Args:
        text: as typed.
    Returns: the IPv4 address.
    Raises: InputError.
    """
    try:
        said = ipaddress.IPv4Address(text.strip())
    except ValueError:
        raise InputError(f"{text[:40]!r} is no IPv4 address; write one of this machine, as 192.168.1.7.") from None
    if said.is_unspecified or said.is_loopback or said.is_multicast:
        raise InputError(f"{said} is no address in the shop's network; write one of this machine, as 192.168.1.7.")
    return str(said)


def names_of(addresses: tuple[str, ...]) -> tuple[str, ...]:
    """Under what names a bench answers there.

    Args:
        addresses: of this machine.
    Returns: the addresses, the machine's name where it has one, that name in the local network, and the loopback's.
    """
    name = socket.gethostname().lower()
    named = (name, f"{name.partition('.')[0]}.local") if _HOST.fullmatch(name) and name != "localhost" else ()
    return tuple(dict.fromkeys((*addresses, *named, "localhost", "127.0.0.1")))


def folder_of(shop: Path | None) -> Path:
    """Where certificate and key are kept.

    Args:
        shop: its folder, None where it is on a server.
    Returns: the folder, or the place for what programs of this user remember.
    """
    if shop is not None:
        return shop
    base = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(base) / "setwright"


def certificate(folder: Path, names: tuple[str, ...], now: datetime | None = None) -> Certificate:
    """The certificate of a bench, made where there is none that will do.

    It is made anew, with the same key, when it ends soon or the machine is called otherwise.

    Args:
        folder: where it is kept.
        names: addresses and names of the machine.
        now: with its zone; None for the clock.
    Returns: the certificate.
    Raises: InputError where the package is missing or nothing can be written, FileFormatError for damaged files.
    """
    when = now or datetime.now(UTC)
    file, key = folder / CERTIFICATE, folder / KEY
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        known = _known(file, names, when) if file.exists() and key.exists() else None
        made = known is None
        fingerprint, until = known or _make(file, key, names, when)
    except ImportError:
        raise InputError(LACKING) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(
            f"{folder}: {reason}; the certificate of the bench is kept there, check permissions."
        ) from None
    return Certificate(file, key, fingerprint, until, made)


def fingerprint_of(folder: Path) -> str:
    """The fingerprint of the certificate that is kept.

    Args:
        folder: where it is.
    Returns: pairs of hexadecimal digits with colons; "" where there is none yet.
    """
    try:
        return _shown(ssl.PEM_cert_to_DER_cert((folder / CERTIFICATE).read_text("ascii")))
    except (OSError, ValueError):
        return ""


def _shown(der: bytes) -> str:
    digits = hashlib.sha256(der).hexdigest().upper()
    return ":".join(digits[i : i + 2] for i in range(0, len(digits), 2))


def _known(file: Path, names: tuple[str, ...], when: datetime) -> tuple[str, str] | None:
    """Fingerprint and last day of the certificate, where it serves."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding

    try:
        said = x509.load_pem_x509_certificate(file.read_bytes())
        alt = said.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, x509.ExtensionNotFound):
        raise FileFormatError(f"{file}: this is no certificate; move it away, a new one is made.") from None
    there = {*alt.get_values_for_type(x509.DNSName), *map(str, alt.get_values_for_type(x509.IPAddress))}
    ends = said.not_valid_after_utc
    if not set(names) <= there or ends - when < SPARE or said.not_valid_before_utc > when:
        return None
    return _shown(said.public_bytes(Encoding.DER)), ends.date().isoformat()


def _make(file: Path, key: Path, names: tuple[str, ...], when: datetime) -> tuple[str, str]:
    """Make a certificate; the key only where there is none."""
    from cryptography import x509
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.serialization import Encoding

    private = _private(key)
    name = x509.Name([x509.NameAttribute(x509.oid.NameOID.COMMON_NAME, "Setwright bench")])
    ends = when + timedelta(days=DAYS)
    usage = x509.KeyUsage(True, False, False, False, False, False, False, False, False)
    made = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(private.public_key())
        .serial_number(x509.random_serial_number()).not_valid_before(when - timedelta(hours=1)).not_valid_after(ends)
        .add_extension(x509.SubjectAlternativeName([_general(one) for one in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([x509.oid.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(private, SHA256())
    )  # fmt: skip
    _write(file, made.public_bytes(Encoding.PEM), 0o644)
    return _shown(made.public_bytes(Encoding.DER)), ends.date().isoformat()


def _general(name: str) -> x509.GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _private(key: Path) -> EllipticCurvePrivateKey:
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.serialization import (
        Encoding,
        NoEncryption,
        PrivateFormat,
        load_pem_private_key,
    )

    if key.exists():
        try:
            found = load_pem_private_key(key.read_bytes(), None)
        except (ValueError, TypeError):
            found = None
        if not isinstance(found, ec.EllipticCurvePrivateKey):
            raise FileFormatError(f"{key}: this is no key of a bench; move it away, a new one is made.")
        key.chmod(0o600)
        return found
    made = ec.generate_private_key(ec.SECP256R1())
    _write(key, made.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()), 0o600)
    return made


def _write(path: Path, content: bytes, mode: int) -> None:
    """A file, whole or not at all, that others may read only where the mode says so."""
    part = path.with_name(f".{path.name}.{os.getpid()}")
    part.unlink(missing_ok=True)
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
