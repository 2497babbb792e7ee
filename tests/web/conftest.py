"""A shop of the examples, and browsers at its bench."""

from __future__ import annotations

import functools
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import argon2
import pytest
from starlette.testclient import TestClient

from setwright.bench.day import person_of
from setwright.bench.shop import add_job, make_shop
from setwright.bench.signin import set_pin, set_role
from setwright.web.app import application, bench
from tests.web.visitor import HOSTS, NETWORK, PINS, Network, Visitor, beside

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
JOBS = ("kestrel-float", "dunlin-heavier", "sanderling-lower", "knot-too-weak")
KEY = b"k" * 32
ADDRESS = "http://127.0.0.1:8400"


@pytest.fixture(autouse=True)
def _cheap_pins(monkeypatch: pytest.MonkeyPatch) -> None:
    """PINs are hashed at the least cost there is; tests/unit/test_pins.py looks at the cost they have at work."""
    monkeypatch.setattr(argon2, "PasswordHasher", functools.partial(argon2.PasswordHasher, 1, 8, 1))


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, str]]:
    """The shop as made once, and its visits by the name of their job."""
    at = str(tmp_path_factory.mktemp("web") / "shop")
    make_shop(at, "Weir Lane Bench")
    visits = {name: add_job(at, str(EXAMPLES / f"{name}.job.toml"), owner="Ada Lark").added.visit.id for name in JOBS}
    return at, visits


@pytest.fixture
def shop(made: tuple[str, dict[str, str]], tmp_path: Path) -> str:
    """A shop with four open visits, a copy for this test alone."""
    shutil.copytree(made[0], tmp_path / "shop")
    return str(tmp_path / "shop")


@pytest.fixture
def visits(made: tuple[str, dict[str, str]]) -> dict[str, str]:
    """Ids of its visits: "kestrel-float" (decked, to be floated), "dunlin-heavier" (floating), "sanderling-lower" (no
    arm), "knot-too-weak" (no plan will do)."""
    return made[1]


@pytest.fixture
def browsers(shop: str) -> Iterator[Callable[[], Visitor]]:
    """Makes browsers at the bench of the shop, each with cookies of its own."""
    app = application(bench(shop, KEY))
    with TestClient(app, base_url=ADDRESS) as first:
        yield lambda: Visitor(beside(first))


@pytest.fixture
def visitor(browsers: Callable[[], Visitor]) -> Visitor:
    """A browser at the bench, whose reader has said who they are."""
    return browsers().sign()


@pytest.fixture
def network(shop: str) -> Iterator[Network]:
    """The shop served in its network, with Mara a lead and Bo a technician, both with their PIN."""
    for name in ("Mara", "Bo"):
        person_of(shop, name)
        set_pin(shop, name, PINS[name])
    set_role(shop, "Mara", "lead")
    app = application(bench(shop, KEY, HOSTS, True, NETWORK, "AA:BB:CC"))
    with TestClient(app, base_url=NETWORK) as first:
        yield Network(shop, app, first)
