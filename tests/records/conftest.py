"""Every shop of these tests is one of two: a folder with SQLite, or a database on a real PostgreSQL."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from setwright.records.jobs import JobFiles
from setwright.records.shop import Shop, new_shop, open_shop
from tests.records.servers import Server, programs, running

ENGINES = ("sqlite", pytest.param("postgresql", marks=pytest.mark.slow))  # the second with all tests only
EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
NAME = "Weir Lane Bench"


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    found = programs()
    if found is None:
        pytest.skip("PostgreSQL is not installed (as root: apt-get install postgresql)")
    with running(found) as server:
        yield server


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The shop with nothing in it of each engine, made once and copied for each test."""
    return {"folder": str(tmp_path_factory.mktemp("made") / "shop")}


@pytest.fixture(params=ENGINES)
def engine(request: pytest.FixtureRequest) -> str:
    """Which engine."""
    return str(request.param)


@pytest.fixture
def fresh(engine: str, tmp_path: Path, request: pytest.FixtureRequest) -> str:
    """Where a shop can be made."""
    if engine == "sqlite":
        return str(tmp_path / "fresh")
    server = request.getfixturevalue("server")
    return str(server.url(server.new()))


@pytest.fixture
def at(engine: str, tmp_path: Path, made: dict[str, str], request: pytest.FixtureRequest) -> str:
    """Where a shop with nothing in it is."""
    if engine == "sqlite":
        if not Path(made["folder"]).exists():
            new_shop(made["folder"], NAME).close()
        shutil.copytree(made["folder"], tmp_path / "shop")
        return str(tmp_path / "shop")
    server = request.getfixturevalue("server")
    if "database" not in made:
        made["database"] = server.new()
        new_shop(server.url(made["database"]), NAME).close()
    return str(server.url(server.new(made["database"])))


@pytest.fixture
def shop(at: str) -> Iterator[Shop]:
    """A shop with nothing in it, open."""
    with open_shop(at) as opened:
        yield opened


@pytest.fixture
def files() -> JobFiles:
    """A job of the examples with a journal a hand and an editor have been at."""
    journal = (
        b"\xef\xbb\xbf# Kestrel, second attempt\n\n"
        b"2026-11-25 14:31:07  #2 by Ada  read  rear gap bass = 2.6 mm with rule 0.5 mm, at pitch, playing\r\n"
        b"2026-11-25 14:33:20  #3  read  pitch string 3 = 196.02 Hz\n"
        b"2026-11-25 14:34  #4  did  claw in 1 3/8 tur  [torn]\n"
        b"2026-11-25 14:35:00  #5  did  claw in 1 3/8 turns\n"
        b"# \xe9 in another code\n"
        b"2026-11-25 14:36:00  #6  read  relief held at 1 and 17, read at 8 = .010 in\n"
        b"2026-11-25 14:37:00  #7 by \"Bo Lark\"  strike #3: read on the wrong string\n"
        b"2026-11-25 14:38"
    )  # fmt: skip
    return JobFiles(
        "kestrel-float.job.toml",
        (EXAMPLES / "kestrel-float.job.toml").read_bytes(),
        "kestrel.instrument.toml",
        (EXAMPLES / "kestrel.instrument.toml").read_bytes(),
        "kestrel-float.journal.txt",
        journal,
    )
