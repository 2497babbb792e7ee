"""PINs without the packages of the extra, and ways in that are open for no time or too long."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from setwright.bench.pairing import invite
from setwright.bench.shop import make_shop
from setwright.bench.signin import hashed_pin, is_pin
from setwright.errors import InputError


def test_without_the_package_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = hashed_pin("482913")
    monkeypatch.setitem(sys.modules, "argon2", None)
    for act in (lambda: hashed_pin("482913"), lambda: is_pin(kept, "482913")):
        with pytest.raises(InputError, match=r"pip install 'setwright\[network\]'"):
            act()


def test_two_hashes_of_a_pin_differ_and_both_know_it() -> None:
    first, second = hashed_pin("482913"), hashed_pin("482913")
    assert first != second
    assert is_pin(first, "482913")
    assert is_pin(second, "482913")
    assert "482913" not in first


def test_a_hash_costs_what_the_standard_asks_for_at_least() -> None:
    # RFC 9106, section 4, second recommended choice: Argon2id, 3 passes, 4 lanes, 64 MiB
    assert hashed_pin("482913").startswith("$argon2id$v=19$m=65536,t=3,p=4$")


@pytest.mark.parametrize("minutes", [0, -1, 61])
def test_a_way_in_is_open_for_a_while(tmp_path: Path, minutes: int) -> None:
    make_shop(str(tmp_path / "shop"), "Weir Lane Bench")
    with pytest.raises(InputError, match="open for 1 to 60"):
        invite(str(tmp_path / "shop"), "https://bench.test:8400", minutes=minutes)
