"""Where a bench is found: addresses, and a certificate that is made once, kept for its owner alone, and fits."""

from __future__ import annotations

import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509

from setwright.bench import network
from setwright.bench.network import (
    DAYS,
    certificate,
    checked_address,
    fingerprint_of,
    folder_of,
    is_near,
    names_of,
    own_addresses,
)
from setwright.errors import FileFormatError, InputError
from setwright.web.tls import context

NOW = datetime(2026, 11, 30, tzinfo=UTC)
NAMES = ("192.168.1.7", "bench.local", "localhost", "127.0.0.1")


def test_key_and_certificate_are_made_once_and_the_key_is_its_owners_alone(tmp_path: Path) -> None:
    first = certificate(tmp_path / "shop", NAMES, NOW)
    assert first.made
    assert stat.S_IMODE(first.key.stat().st_mode) == 0o600
    assert sorted(one.name for one in (tmp_path / "shop").iterdir()) == ["bench-tls.key", "bench.crt"]
    again = certificate(tmp_path / "shop", NAMES, NOW + timedelta(days=300))
    assert (again.made, again.fingerprint, again.until) == (False, first.fingerprint, first.until)
    assert fingerprint_of(tmp_path / "shop") == first.fingerprint
    assert fingerprint_of(tmp_path) == ""


def test_the_fingerprint_is_the_one_a_browser_shows(tmp_path: Path) -> None:
    """Judged by OpenSSL, through a handshake: SHA-256 over what the server sends."""
    made = certificate(tmp_path, NAMES)
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def serve() -> None:
            taken, _ = listening.accept()
            with context(made).wrap_socket(taken, server_side=True) as line:
                line.recv(1)

        thread = threading.Thread(target=serve)
        thread.start()
        trusting = ssl.create_default_context(cafile=str(made.file))  # the name and the dates are checked by it too
        with (
            socket.create_connection(listening.getsockname()) as plain,
            trusting.wrap_socket(plain, server_hostname="192.168.1.7") as line,
        ):
            der = line.getpeercert(binary_form=True)
            assert line.version() in ("TLSv1.2", "TLSv1.3")
            line.send(b"x")
        thread.join()
    assert der is not None
    said = x509.load_der_x509_certificate(der)
    from cryptography.hazmat.primitives.hashes import SHA256

    assert made.fingerprint.replace(":", "").lower() == said.fingerprint(SHA256()).hex()


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1])
def test_nothing_older_than_tls_1_2_is_spoken(tmp_path: Path, version: ssl.TLSVersion) -> None:
    assert context(certificate(tmp_path, NAMES)).minimum_version > version


def test_a_certificate_that_ends_soon_or_names_another_machine_is_made_anew_with_the_same_key(tmp_path: Path) -> None:
    first = certificate(tmp_path, NAMES, NOW)
    key = first.key.read_bytes()
    later = certificate(tmp_path, NAMES, NOW + timedelta(days=DAYS - 29))
    assert later.made
    assert later.fingerprint != first.fingerprint
    moved = certificate(tmp_path, ("10.0.0.3", "localhost"), NOW + timedelta(days=DAYS - 29))
    assert moved.made
    assert certificate(tmp_path, ("10.0.0.3",), NOW).made  # a clock that was put back: it is not valid yet
    assert moved.key.read_bytes() == key
    moved.key.chmod(0o644)
    certificate(tmp_path, ("10.0.0.4",), NOW)
    assert stat.S_IMODE(moved.key.stat().st_mode) == 0o600


def test_damaged_files_are_one_sentence(tmp_path: Path) -> None:
    made = certificate(tmp_path, NAMES, NOW)
    whole = made.file.read_bytes()
    made.file.write_text("no certificate")
    with pytest.raises(FileFormatError, match="no certificate; move it away"):
        certificate(tmp_path, NAMES, NOW)
    made.file.unlink()
    made.key.write_text("no key")
    with pytest.raises(FileFormatError, match="no key of a bench"):
        certificate(tmp_path, NAMES, NOW)
    made.file.write_bytes(whole)
    with pytest.raises(FileFormatError, match="do not belong together"):
        context(made)
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="certificate of the bench is kept there"):
        certificate(tmp_path / "file" / "below", NAMES, NOW)


def test_without_the_package_the_extra_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(network, "_make", lambda *_: (_ for _ in ()).throw(ImportError()))
    with pytest.raises(InputError, match=r"pip install 'setwright\[network\]'"):
        certificate(tmp_path, NAMES)


@pytest.mark.parametrize(
    ("address", "near"),
    [("192.168.1.7", True), ("10.1.2.3", True), ("172.16.0.1", True), ("169.254.1.1", True), ("fd00::1", True),
     ("8.8.8.8", False), ("127.0.0.1", False), ("0.0.0.0", False), ("::1", False), ("224.0.0.1", False),
     ("255.255.255.255", False), ("bench.local", False), ("", False)],
)  # fmt: skip
def test_only_networks_of_a_house_are_near(address: str, near: bool) -> None:
    """RFC 1918, section 3; RFC 3927; RFC 4193; 8.8.8.8 is of the internet (from memory)."""
    assert is_near(address) is near


def test_own_addresses_are_near_and_no_network_is_no_address(monkeypatch: pytest.MonkeyPatch) -> None:
    assert all(is_near(one) for one in own_addresses())

    def nothing(*_: object) -> None:
        raise OSError("unreachable")

    monkeypatch.setattr(socket, "getaddrinfo", nothing)
    monkeypatch.setattr(network.socket, "socket", _Nowhere)
    assert own_addresses() == ()


class _Nowhere:
    """A socket of a machine without a network."""

    def __init__(self, *_: object) -> None: ...

    def __enter__(self) -> _Nowhere:
        return self

    def __exit__(self, *_: object) -> None: ...

    def connect(self, _: object) -> None:
        """There is no way."""
        raise OSError("unreachable")


@pytest.mark.parametrize(
    ("name", "more"), [("Bench-2", ("bench-2", "bench-2.local")), ("a_b", ()), ("localhost", ()), ("", ())]
)
def test_the_names_of_the_machine(monkeypatch: pytest.MonkeyPatch, name: str, more: tuple[str, ...]) -> None:
    monkeypatch.setattr(socket, "gethostname", lambda: name)
    assert names_of(("10.0.0.7",)) == ("10.0.0.7", *more, "localhost", "127.0.0.1")


def test_an_address_to_listen_on_is_one_of_the_network() -> None:
    assert checked_address(" 192.168.1.7 ") == "192.168.1.7"
    for wrong in ("0.0.0.0", "127.0.0.1", "224.0.0.1", "::1", "bench", "", "1.2.3", "1.2.3.4.5"):
        with pytest.raises(InputError):
            checked_address(wrong)


def test_of_a_shop_on_a_server_they_lie_with_what_programs_remember(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert folder_of(tmp_path) == tmp_path
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    assert folder_of(None) == tmp_path / "state" / "setwright"
