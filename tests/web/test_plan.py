"""The plan through its page: worked out behind, then the card, the drawings and what will not do."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from typing import Any
from xml.etree import ElementTree

import pytest

from setwright.bench.journals import InShop, keep
from tests.web.visitor import Visitor, words


def worked_out(visitor: Visitor, path: str) -> Any:
    """The page once the plan is there."""
    for _ in range(300):
        answer = visitor.get(path)
        if "is being worked out" not in answer.text:
            return answer
        time.sleep(0.1)
    raise AssertionError("the plan never came")


@pytest.mark.slow
class TestPlan:
    def test_it_is_worked_out_behind_and_then_there(self, visitor: Visitor, visits: dict[str, str], shop: str) -> None:
        visit = visits["kestrel-float"]
        path = f"/visit/{visit}/plan"
        first = visitor.get(path)
        assert "The plan is being worked out" in words(first)
        assert 'data-reload="soon"' in first.text
        answer = worked_out(visitor, path)
        said = words(answer)
        for part in ("Strip shim .030 in, 3 springs, pivots moved", "83 in 100", "2 turns up", "both pivot screws",
                     "Never turn a pivot under string", "wedge, claw tight, then claw out by ear", "taken", "closed",
                     "Next best", "20 of 80 combinations fail", "19 more alike", "What would narrow it most",
                     "An eighth of a turn out, before retuning:", "2.60 ± 0.25 mm"):  # fmt: skip
            assert part in said, part
        for end in ("side-view", "side-view-narrow", "balance", "ranges"):
            drawing = visitor.get(f"{path}/{end}.svg")
            assert drawing.headers["content-type"].startswith("image/svg+xml")
            assert ElementTree.fromstring(drawing.content).tag.endswith("svg")
            assert f"{path}/{end}.svg" in answer.text
        keep(InShop(shop, visit), ["note nothing that changes the plan"])
        assert "worked out" not in words(visitor.get(path))
        visitor.client.cookies.set("setwright_units", "inch")
        assert "worked out" in words(visitor.get(path))
        assert "wanted" in words(worked_out(visitor, path))
        assert ".102 ± .010 in" in words(visitor.get(path))

    def test_where_nothing_will_do_the_misses_are_named(self, visitor: Visitor, visits: dict[str, str]) -> None:
        answer = worked_out(visitor, f"/visit/{visits['knot-too-weak']}/plan")
        assert answer.status_code == 422
        said = words(answer)
        assert "more or stronger springs" in said
        assert "What was tried" in said
        assert said.count("Three springs cannot hold this set there") == 1  # each reason once
        assert "19 more fail alike" in said
        assert f'href="/visit/{visits["knot-too-weak"]}/balance"' in answer.text  # where something else is tried

    def test_a_fixed_bridge_has_a_side_view_alone(self, visitor: Visitor, visits: dict[str, str]) -> None:
        path = f"/visit/{visits['sanderling-lower']}/plan"
        answer = worked_out(visitor, path)
        assert re.findall(r'src="[^"]+/([a-z-]+)\.svg" alt', answer.text) == ["side-view"]
        assert visitor.get(f"{path}/balance.svg").status_code == 404
        assert visitor.get(f"{path}/..%2f..%2fetc.svg").status_code == 404


def test_no_visit_no_plan(browsers: Callable[[], Visitor]) -> None:
    visitor = browsers().sign()
    assert visitor.get("/visit/zzzzzzzzz/plan").status_code == 404
    assert visitor.get("/visit/zzzzzzzzz/plan/side-view.svg").status_code == 404
