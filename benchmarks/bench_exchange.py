"""A whole shop out and in again: time, memory, and whether it comes back the same.

    ./dev bench exchange [--visits 1000 10000] [--engine sqlite postgresql]

Export and import are processes of their own; the most memory each ever held is what Linux says of it (VmHWM; the
usual ru_maxrss holds that of the parent too). That of a process that only opens the shop stands beside it. The server
of PostgreSQL is not counted.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from setwright.records.shop import new_shop, open_shop
from tests.records.servers import programs, running

ENGINES = ("sqlite", "postgresql")
ROOM = 90_000  # bytes a visit takes on the disk in each of its forms, about


def most_memory() -> int:
    """The most memory this process ever held, KiB; that of the process which started it is not in it."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1])
    raise OSError("the system does not tell the most memory held")


def child(what: str, at: str, folder: str) -> None:
    """Do one thing and print what it took."""
    from setwright.records.exchange import export
    from setwright.records.exchange_import import import_shop

    begun, sha256 = time.perf_counter(), ""
    if what == "import":
        sha256 = import_shop(Path(folder), at).sha256
    else:
        with open_shop(at) as shop:
            sha256 = export(shop, Path(folder)).sha256 if what == "export" else ""
    most = most_memory()
    took = {"seconds": time.perf_counter() - begun, "processor": time.process_time(), "most": most, "sha256": sha256}
    print(json.dumps(took))


def done(what: str, at: str, folder: Path) -> dict[str, Any]:
    """What a child took."""
    words = [sys.executable, "-m", "benchmarks.bench_exchange", "--child", what, at, str(folder)]
    env = {name: value for name, value in os.environ.items() if not name.startswith("COV")}
    told = subprocess.run(words, check=True, capture_output=True, text=True, env=env)
    answer: dict[str, Any] = json.loads(told.stdout)
    return answer


def same(first: Path, second: Path) -> bool:
    """Whether two folders hold the same files."""
    told = subprocess.run(["diff", "-rq", str(first), str(second)], capture_output=True, check=False)
    return told.returncode == 0


@contextmanager
def places(engine: str, home: Path) -> Iterator[Iterator[str]]:
    """Places where shops can be made, one after the other."""
    if engine == "sqlite":
        yield (str(home / f"shop{i}") for i in range(9))
        return
    found = programs()
    if found is None:
        sys.exit("bench exchange: PostgreSQL is not installed (as root: apt-get install postgresql)")
    with running(found) as server:
        yield (server.url(server.new()) for _ in range(9))


def measured(engine: str, visits: int) -> bool:
    """Make a shop, send it out and in again, print a row; whether it came back the same."""
    from benchmarks.made_shop import load

    with tempfile.TemporaryDirectory(dir=os.environ.get("TMPDIR")) as name, places(engine, Path(name)) as at:
        home, one, two = Path(name), next(at), next(at)
        if shutil.disk_usage(home).free < 5 * ROOM * visits:
            sys.exit(f"bench exchange: there is no room for {visits} visits in {home}; set TMPDIR to another disk.")
        new_shop(one, "Made").close()
        with open_shop(one) as shop:
            made = load(shop, visits)
        opened = done("open", one, home / "none")
        out = done("export", one, home / "first")
        size = sum(path.stat().st_size for path in (home / "first").rglob("*") if path.is_file())
        back = done("import", two, home / "first")
        again = done("export", two, home / "second")
        equal = out["sha256"] == back["sha256"] == again["sha256"] and same(home / "first", home / "second")
        memory = " ".join(f"{took['most'] / 1024:7.0f}" for took in (opened, out, back))
        times = " ".join(f"{took['seconds']:8.1f} {took['processor']:9.1f}" for took in (out, back))
        verdict = f"same {out['sha256'][:12]}" if equal else "NOT THE SAME"
        print(f"{engine:<10} {visits:7d} {made.entries:9d} {size / 1e6:8.0f} {times} {memory}  {verdict}", flush=True)
    return equal


def main(given: Sequence[str]) -> int:
    """Print the table; 1 where something did not come back the same."""
    if given[:1] == ["--child"]:
        child(*given[1:])
        return 0
    parser = argparse.ArgumentParser(prog="./dev bench exchange")
    parser.add_argument("--visits", type=int, nargs="+", default=[1_000, 10_000])
    parser.add_argument("--engine", nargs="+", choices=ENGINES, default=list(ENGINES))
    asked = parser.parse_args(given)
    print("                                      s of the clock and of the processor       most memory, MiB")
    print("engine      visits   entries  size MB   export              import              open  export  import")
    results = [measured(engine, visits) for engine in asked.engine for visits in asked.visits]
    return 0 if all(results) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
