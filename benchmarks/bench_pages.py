"""The bench app in use: time to its first answer, weight of its pages, and how long many readers wait for them.

    ./dev bench pages                        twenty readers on the demo shop, a minute
    ./dev bench pages --clients 5 --seconds 20 --pause 1

Wanted are 0.8 s from the start of the program to the first answer, 60 kB for a page with all it loads, as it comes over
the wire, and 100 ms for 95 of 100 answers. A reader keeps one connection and one stream of events open, loads one page
after the other, in another order than the next reader, and looks at each for PAUSE seconds on average (evenly from half
to one and a half). The readers run on the same machine as the bench. The bench starts with compiled modules, as an
installed command has them; the first start, which compiles them, does not count.
"""

from __future__ import annotations

import argparse
import gzip
import http.client
import os
import re
import statistics
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from random import Random
from urllib.parse import urlencode, urljoin, urlsplit

from setwright.bench.day import day_of
from setwright.bench.demo_shop import make_demo
from setwright.bench.shop import add_job, find_instruments
from tests.browser.served import Serving
from tests.cli.midway import job_midway

TODAY = date(2026, 11, 30)
LOADED = re.compile(r"""<(?:link|script|img)\b[^>]*?(?:href|src)="(/[^"]+)\"""")
IMPORTED = re.compile(r"""\bimport\b[^"'();]*["'](\.?/[^"']+)["']|url\(["']?([^"')]+)["']?\)""")
PLAIN = ("/", "/take-in", "/instruments", "/parts", "/specifications", "/practice", "/settings", "/who", "/history")
OF_VISIT = ("", "/step", "/readings", "/plan", "/listening", "/balance", "/sheet")
TOKEN = re.compile(r'name="token" value="([^"]+)"')
STARTS, ENTRIES, WANTED_START, WANTED_WEIGHT, WANTED_ANSWER = 7, 15, 0.8, 60_000, 0.1


class Reader:
    """One browser: a connection that stays, cookies, compressed answers."""

    def __init__(self, address: str) -> None:
        self.host = urlsplit(address).netloc
        self.line = http.client.HTTPConnection(self.host, timeout=60)
        self.cookies: dict[str, str] = {}
        self.token = ""

    def ask(self, path: str, fields: dict[str, str] | None = None) -> tuple[int, bytes, int, float]:
        """Ask for a page, or send a form: status, page, bytes on the wire, seconds."""
        headers = {"Accept-Encoding": "gzip", "Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items())}
        body = None
        if fields is not None:
            body = urlencode({"token": self.token, **fields})
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        begun = time.perf_counter()
        method = "GET" if body is None else "POST"
        self.line.request(method, path, body, headers)
        try:
            answer = self.line.getresponse()
        except http.client.RemoteDisconnected:  # an idle line was closed: as a browser does, once more
            self.line.close()
            self.line.request(method, path, body, headers)
            answer = self.line.getresponse()
        raw = answer.read()
        spent = time.perf_counter() - begun
        for cookie in answer.headers.get_all("set-cookie") or []:
            name, _, value = cookie.partition(";")[0].partition("=")
            self.cookies[name] = value
        head = sum(len(name) + len(value) + 4 for name, value in answer.getheaders())
        text = gzip.decompress(raw) if answer.headers.get("content-encoding") == "gzip" else raw
        found = TOKEN.search(text.decode(errors="replace"))
        self.token = found[1] if found else self.token
        return answer.status, text, head + len(raw), spent

    def sign(self, name: str) -> Reader:
        """Say who reads."""
        self.ask("/who")
        self.ask("/who", {"name": name})
        return self

    def weight(self, path: str) -> int:
        """Bytes on the wire of a page with all it loads, each once."""
        _, page, total, _ = self.ask(path)
        waiting = [urljoin(path, one) for one in LOADED.findall(page.decode())]
        seen: set[str] = set()
        while waiting:
            one = waiting.pop()
            if one in seen or not one.startswith("/static/"):
                continue
            seen.add(one)
            _, text, size, _ = self.ask(one)
            total += size
            if one.endswith((".mjs", ".css")):
                found = IMPORTED.findall(text.decode())
                waiting += [urljoin(one, a or b) for a, b in found if not (a or b).startswith("data:")]
        return total


def listens(reader: Reader, path: str) -> http.client.HTTPResponse:
    """A stream of events, which stays open."""
    line = http.client.HTTPConnection(reader.host, timeout=300)
    line.request("GET", path, headers={"Cookie": "; ".join(f"{k}={v}" for k, v in reader.cookies.items())})
    return line.getresponse()


def first_answer(shop: str, state: Path) -> float:
    """Seconds from the start of the program to the whole of its first page."""
    serving = Serving(shop, state)
    begun = time.perf_counter()
    serving.start()  # it prints its address once it can be asked
    try:
        status, page, _, _ = Reader(serving.address).ask("/who")
        assert status == 200
        assert b"</html>" in page
        return time.perf_counter() - begun
    finally:
        serving.stop()


def pages_of(shop: str, address: str) -> list[str]:
    """Every page there is, of some visits and instruments."""
    visits = [one.id for one in day_of(shop).visits]
    instruments = [one.id for one in find_instruments(shop)]
    some = [f"/visit/{one}{page}" for one in visits[:8] for page in OF_VISIT]
    some += [f"/instrument/{one}" for one in instruments[:4]]
    reader = Reader(address).sign("Mara")
    return [path for path in (*PLAIN, *some) if reader.ask(path)[0] == 200]


def kind_of(path: str) -> str:
    """A page without the ids in its address."""
    return re.sub(r"/(visit|instrument)/[^/]+", r"/\1/…", path)


def walked(address: str, pages: list[str], seed: int, until: float, pause: float) -> Iterator[tuple[str, float]]:
    """One reader's pages and how long each took."""
    chance = Random(seed)
    reader = Reader(address).sign(f"Reader {seed}")
    visits = [path for path in pages if path.startswith("/visit/")]
    with listens(reader, "/".join(chance.choice(visits).split("/")[:3]) + "/changes") as feed:
        feed.readline()
        time.sleep(pause * chance.random())
        while time.perf_counter() < until:
            path = chance.choice(pages)
            status, _, _, spent = reader.ask(path)
            assert status in (200, 422), (path, status)
            yield path, spent
            time.sleep(pause * (0.5 + chance.random()))


def after_entries(reader: Reader, visit: str, count: int) -> list[float]:
    """Seconds until the step is shown once an entry was sent, and nobody else is there."""
    out = []
    for i in range(count + 1):
        words = f"pitch string 6 = {-74.1 - 0.1 * i:.1f} c ± 0.5 c" if i % 2 else f"rear gap = {3.1 + 0.01 * i:.2f} mm"
        status, page, _, kept = reader.ask(f"/visit/{visit}/line", {"verb": "read", "words": words, "sure line": "1"})
        assert status == 303, page.decode()
        status, page, _, shown = reader.ask(f"/visit/{visit}/step")
        assert status == 200, page.decode()
        out.append(kept + shown)
    return out[1:]


def part(values: list[float], share: float) -> float:
    """The value below which a share of them lies."""
    return sorted(values)[min(int(share * len(values)), len(values) - 1)]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clients", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--pause", type=float, default=3.0)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        shop, state = str(Path(folder) / "shop"), Path(folder) / "state"
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(Path(folder) / "compiled")
        make_demo(shop, 1, TODAY)
        starts = [first_answer(shop, state) for _ in range(STARTS + 1)][1:]
        print(f"first answer: median {statistics.median(starts):.2f} s, least {min(starts):.2f} s of {STARTS} starts; "
              f"wanted {WANTED_START} s")  # fmt: skip
        serving = Serving(shop, state)
        serving.start()
        try:
            measured(serving.address, shop, given)
        finally:
            serving.stop()


def measured(address: str, shop: str, given: argparse.Namespace) -> None:
    """Weights, then waits."""
    reader = Reader(address).sign("Mara")
    with tempfile.TemporaryDirectory() as folder:
        visit = add_job(shop, str(job_midway(Path(folder))), owner="Ada Marsh").added.visit.id
    steps = after_entries(reader, visit, ENTRIES)
    print(f"the step after an entry, both forms and page: median {1e3 * statistics.median(steps):.0f} ms, least "
          f"{1e3 * min(steps):.0f} ms of {ENTRIES}")  # fmt: skip
    pages = pages_of(shop, address)
    heaviest: dict[str, int] = defaultdict(int)
    for path in pages:
        heaviest[kind_of(path)] = max(heaviest[kind_of(path)], reader.weight(path))
    spent: dict[str, list[float]] = defaultdict(list)
    until = time.perf_counter() + given.seconds
    faults: list[BaseException] = []

    def read(seed: int) -> None:
        try:
            for path, seconds in walked(address, pages, seed, until, given.pause):
                spent[kind_of(path)].append(seconds)
        except BaseException as error:
            faults.append(error)
            raise

    readers = [threading.Thread(target=read, args=(seed,)) for seed in range(given.clients)]
    for one in readers:
        one.start()
    for one in readers:
        one.join()
    assert not faults, faults
    print(f"{'page':<26}{'kB':>7}{'answers':>9}{'median ms':>11}{'95 % ms':>9}{'most ms':>9}")
    for kind in sorted(heaviest, key=lambda one: -part(spent[one] or [0.0], 0.95)):
        some = [1e3 * one for one in spent[kind]] or [float("nan")]
        print(f"{kind:<26}{heaviest[kind] / 1e3:>7.1f}{len(spent[kind]):>9}{statistics.median(some):>11.1f}"
              f"{part(some, 0.95):>9.1f}{max(some):>9.1f}")  # fmt: skip
    whole = [one for some in spent.values() for one in some]
    print(f"{given.clients} readers, {len(whole)} answers: median {1e3 * statistics.median(whole):.0f} ms, "
          f"95 of 100 within {1e3 * part(whole, 0.95):.0f} ms (wanted {1e3 * WANTED_ANSWER:.0f}); heaviest page "
          f"{max(heaviest.values()) / 1e3:.1f} kB (wanted {WANTED_WEIGHT / 1e3:.0f})")  # fmt: skip


if __name__ == "__main__":
    main()
