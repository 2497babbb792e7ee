"""The bench app as the command serves it: a process, a port, this machine only."""

from __future__ import annotations

import hashlib
import html
import http.client
import os
import signal
import socket
import ssl
import stat
import subprocess
import sys
import threading
from contextlib import ExitStack
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import pytest

from setwright.bench.journals import InShop, keep
from setwright.bench.network import own_addresses
from setwright.bench.pairing import benches
from setwright.bench.parts import parts_of
from setwright.cli.main import run
from setwright.errors import InputError
from setwright.web.serving import KEY_BYTES, key_of, listening
from tests.browser.served import served
from tests.web.visitor import TOKEN

pytestmark = pytest.mark.slow


class TestKey:
    def test_it_is_made_once_for_this_user_alone(self, tmp_path: Path) -> None:
        first = key_of(tmp_path / "state")
        assert len(first) == KEY_BYTES
        assert key_of(tmp_path / "state") == first
        assert stat.S_IMODE((tmp_path / "state" / "bench.key").stat().st_mode) == 0o600

    def test_a_damaged_one_and_no_place_give_a_fresh_one(self, tmp_path: Path) -> None:
        (tmp_path / "bench.key").write_bytes(b"short")
        assert key_of(tmp_path) != key_of(tmp_path)
        (tmp_path / "file").write_text("")
        assert len(key_of(tmp_path / "file" / "below")) == KEY_BYTES

    def test_it_is_kept_where_programs_remember(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
        assert key_of() == (tmp_path / "setwright" / "bench.key").read_bytes()


def test_a_port_in_use_is_one_sentence() -> None:
    with listening(0) as sock:
        assert sock.getsockname()[0] == "127.0.0.1"
        with pytest.raises(InputError, match="name another with --port"):
            listening(sock.getsockname()[1])


def test_the_command_names_what_it_lacks(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("SETWRIGHT_SHOP", raising=False)
    assert run(["bench"]) == 2
    assert "no shop is named" in capsys.readouterr().err
    assert run(["bench", "--shop", "/nowhere", "--port", "0"]) == 2
    assert "does not exist" in capsys.readouterr().err
    assert run(["bench", "--shop", "/nowhere", "--port", "70000"]) == 2


def test_other_commands_load_nothing_of_the_web() -> None:
    code = (
        "import sys; from setwright.cli.main import run; run(['--help']); run(['schema', 'job']);"
        "print([name for name in ('starlette', 'uvicorn', 'jinja2', 'multipart', 'websockets') if name in sys.modules])"
    )
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.splitlines()[-1] == "[]"


class Line:
    """One connection to the bench with its cookies."""

    def __init__(self, address: str) -> None:
        self.host = urlsplit(address).netloc
        self.cookies: dict[str, str] = {}
        self.token = ""

    def ask(self, method: str, path: str, fields: dict[str, str] | None = None) -> tuple[int, str]:
        """Ask for a page or send a form."""
        line = http.client.HTTPConnection(self.host, timeout=30)
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        body = None
        if fields is not None:
            body = urlencode({"token": self.token, **fields})
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        line.request(method, path, body, headers)
        answer = line.getresponse()
        for cookie in answer.headers.get_all("set-cookie") or []:
            name, _, value = cookie.partition(";")[0].partition("=")
            self.cookies[name] = value
        text = answer.read().decode()
        found = TOKEN.search(text)
        self.token = found[1] if found else self.token
        line.close()
        return answer.status, text


@pytest.mark.slow
def test_it_is_served_to_this_machine_and_tells_of_changes(shop: str, visits: dict[str, str], tmp_path: Path) -> None:
    visit = visits["dunlin-heavier"]
    with served(shop, tmp_path / "state") as address:
        line = Line(address)
        assert line.ask("GET", "/who")[0] == 200
        feed = http.client.HTTPConnection(line.host, timeout=30)
        feed.request("GET", f"/visit/{visit}/changes")
        events = feed.getresponse()
        assert events.headers["content-type"].startswith("text/event-stream")
        heard: list[str] = []

        def listen() -> None:
            while sum(one.startswith("event:") for one in heard) < 2:
                heard.append(events.readline().decode().strip())

        listener = threading.Thread(target=listen)
        listener.start()
        for _ in range(300):
            if any(one == "event: start" for one in heard):
                break
            threading.Event().wait(0.02)
        keep(InShop(shop, visit), ["read", "rear gap = 2.4 mm"], who="Bo")  # by another program
        listener.join(20)
        assert [one for one in heard if one.startswith("event:")] == ["event: start", "event: change"]
        feed.close()
        others = [one for one in _addresses() if not one.startswith("127.")]
        for host in others:
            with pytest.raises(OSError, match=r"refused|timed out|unreachable"):
                socket.create_connection((host, int(line.host.rpartition(":")[2])), 2)


def test_in_the_network_it_speaks_tls_to_benches_that_were_let_in(shop: str, tmp_path: Path) -> None:
    """The command as a shop starts it, on an address of this machine; a client that trusts its certificate judges."""
    command = [
        str(Path(sys.executable).with_name("setwright")),
        "bench",
        "--shop",
        shop,
        "--port",
        "0",
        "--shop-network",
    ]
    where = next(iter(own_addresses()), "")
    if not where:
        pytest.skip("this machine is in no network of a house")
    environment = {**os.environ, "XDG_STATE_HOME": str(tmp_path), "PYTHONUNBUFFERED": "1"}
    lines = ExitStack()
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        try:
            said = [process.stdout.readline().strip()]
            while not said[-1].startswith("Stop with"):
                said.append(process.stdout.readline().strip())
            way = next(one for one in said if "/pair/" in one)
            assert where in way
            assert stat.S_IMODE((Path(shop) / "bench-tls.key").stat().st_mode) == 0o600
            trusting = ssl.create_default_context(cafile=str(Path(shop) / "bench.crt"))
            line = http.client.HTTPSConnection(urlsplit(way).netloc, timeout=60, context=trusting)
            lines.callback(line.close)
            line.request("GET", "/")
            answer = line.getresponse()
            assert answer.status == 403
            assert "Weir" not in answer.read().decode()
            der = line.sock.getpeercert(binary_form=True)
            assert hashlib.sha256(der).hexdigest().upper() == said[2].replace(":", "")
            line.request("GET", urlsplit(way).path)
            answer = line.getresponse()
            text = answer.read().decode()
            cookie = answer.headers["set-cookie"].partition(";")[0]
            token = TOKEN.search(text)
            assert token is not None
            body = urlencode({"token": html.unescape(token[1]), "name": "tablet"})
            form = {"content-type": "application/x-www-form-urlencoded", "cookie": cookie}
            line.request("POST", urlsplit(way).path, body, form)
            answer = line.getresponse()
            answer.read()
            assert (answer.status, answer.headers["location"]) == (303, "/who")
            assert [one.name for one in benches(shop)] == ["tablet"]
            plain = http.client.HTTPConnection(urlsplit(way).netloc, timeout=60)
            lines.callback(plain.close)
            plain.request("GET", "/")
            with pytest.raises((OSError, http.client.HTTPException)):  # without TLS there is nothing
                plain.getresponse()
        finally:
            lines.close()
            process.send_signal(signal.SIGINT)
        assert process.wait(30) in (0, -signal.SIGINT, 130)
        assert "refused: GET / from" in process.stderr.read()


def test_the_network_is_asked_for_with_its_option(
    shop: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(["bench", "--shop", shop, "--address", "192.168.1.7"]) == 2
    assert "goes with --shop-network" in capsys.readouterr().err
    for address in ("0.0.0.0", "127.0.0.1", "x"):
        assert run(["bench", "--shop", shop, "--shop-network", "--address", address]) == 2
        assert "write one of this machine" in capsys.readouterr().err
    assert run(["bench", "--shop", shop, "--shop-network", "--port", "0", "--address", "192.168.255.254"]) == 2
    assert "of 192.168.255.254 cannot be used" in capsys.readouterr().err
    monkeypatch.setattr("setwright.bench.network.own_addresses", tuple)
    monkeypatch.setattr("setwright.bench.pairing.own_addresses", tuple)
    assert run(["bench", "--shop", shop, "--shop-network", "--port", "0"]) == 2
    assert "in no network of a house" in capsys.readouterr().err


def _addresses() -> list[str]:
    """Addresses of this machine beside the loopback's."""
    try:
        return sorted({str(one[4][0]) for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)})
    except OSError:
        return []


@pytest.mark.slow
def test_what_was_acknowledged_is_there_after_the_bench_was_killed(shop: str, tmp_path: Path) -> None:
    state, command = tmp_path / "state", [str(Path(sys.executable).with_name("setwright")), "bench", "--shop", shop]
    environment = {**os.environ, "XDG_STATE_HOME": str(state), "PYTHONUNBUFFERED": "1"}
    acknowledged = 0
    with subprocess.Popen([*command, "--port", "0"], stdout=subprocess.PIPE, text=True, env=environment) as process:
        assert process.stdout is not None
        line = Line(process.stdout.readline().split()[-1])
        line.ask("GET", "/who")
        line.ask("POST", "/who", {"name": "Mara"})
        killer = threading.Timer(0.1, lambda: os.kill(process.pid, signal.SIGKILL))
        try:
            while line.ask("POST", "/parts", {"deed": "new", "name": f"part {acknowledged}"})[0] == 303:
                acknowledged += 1
                if acknowledged == 10:
                    killer.start()  # in the midst of what follows
        except (OSError, http.client.HTTPException):
            pass
        killer.join()
    assert acknowledged >= 10
    names = {one.name for one in parts_of(shop)}
    assert {f"part {i}" for i in range(acknowledged)} <= names
    with served(shop, state) as address:  # an open page goes on where it was: the key is the same
        again = Line(address)
        again.cookies, again.token = line.cookies, line.token
        assert again.ask("POST", "/parts", {"deed": "new", "name": "after"})[0] == 303
        assert "Mara" in again.ask("GET", "/settings")[1]


@pytest.mark.slow
def test_it_stops_when_it_is_told_to_with_pages_open(shop: str, tmp_path: Path) -> None:
    command = [str(Path(sys.executable).with_name("setwright")), "bench", "--shop", shop, "--port", "0"]
    environment = {**os.environ, "XDG_STATE_HOME": str(tmp_path), "PYTHONUNBUFFERED": "1"}
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdout=pipe, stderr=pipe, text=True, env=environment) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        host = urlsplit(process.stdout.readline().split()[-1]).netloc
        feed = http.client.HTTPConnection(host, timeout=30)
        feed.request("GET", "/changes")
        with feed.getresponse() as events:
            events.readline()
            process.send_signal(signal.SIGINT)
            events.read()  # to its end: the bench lets go of it
        feed.close()
        assert process.wait(20) in (0, -signal.SIGINT, 130)
        assert process.stderr.read().strip() == ""
