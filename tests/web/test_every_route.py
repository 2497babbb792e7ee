"""Every route there is, with everything hostile: no answer is a fault of the bench, no text becomes markup."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from starlette.routing import Route

from setwright.bench.shop import show_visit
from tests.web.visitor import Visitor

pytestmark = pytest.mark.slow

SCRIPT = "<script>alert(1)</script>"
TEXTS = (
    "", " ", "0", "-1", "1e400", "nan", "inf", "999999999999999999999999", "1/0", "٣", "2.4 mm", ".010 in", "E4 -3 c",
    SCRIPT, '"><img src=x onerror=alert(1)>', "'; DROP TABLE visit; --", "{{7*7}}", "{0.004}", "../../etc/passwd",
    "1 2", "\\..\\", "%00", "\x00", "a\nb", "a\r\nSet-Cookie: x=1", "\u202egnp.exe", "\ud7ff", "\U0001f3b8" * 50,
    "A" * 10_000,
    "on", "true", "new:x", "known:zzzz", "2999-01-01", "-", "#", "?", "&=;", "read", "did", "strike #1",
    "note", "ſ", "İ", "[", "]]>", "=", "@", "%",
)  # fmt: skip
FIELDS = (
    "name", "known", "to", "units", "ground", "what", "owner", "contact", "wish", "version", "kind", "part", "count",
    "move", "deed", "unit", "temperature", "humidity", "recheck", "words", "sure", "do", "turns", "seed", "find",
    "instrument.name", "found.strings", "note", "amount", "string", "value", "gauge", "after", "text", "place", "claw",
)  # fmt: skip
SEEDS = range(12)


def ids(shop: str, visits: dict[str, str]) -> dict[str, str]:
    """What stands in the braces of paths."""
    visit = visits["dunlin-heavier"]
    return {"visit": visit, "instrument": show_visit(shop, visit).instrument.id, "version": "x", "name": "paper.css"}


def routes(visitor: Visitor) -> list[tuple[str, str]]:
    """Path and method of every route that answers at once."""
    found = [one for one in visitor.client.app.routes if isinstance(one, Route)]
    return [
        (one.path, method)
        for one in found
        for method in sorted((one.methods or set()) - {"HEAD"})
        if not one.path.endswith("/changes")
    ]


def filled(path: str, values: dict[str, str], otherwise: str) -> str:
    """A path with something in its braces."""
    parts = path.split("/")
    return "/".join(values.get(one[1:-1].partition(":")[0], otherwise) if one[:1] == "{" else one for one in parts)


def sound(answer: object, path: str, known: tuple[int, ...]) -> None:
    """Not a fault, and nothing of what was sent stands there as markup."""
    status, text = answer.status_code, answer.text  # type: ignore[attr-defined]
    assert status < 500, (path, status, text[:2000])
    assert SCRIPT not in text, path
    assert "<img src=x" not in text, path
    assert "Traceback" not in text, path
    assert "set-cookie: x=1" not in str(answer.headers).lower(), path  # type: ignore[attr-defined]
    assert status in known, (path, status)


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_no_form_and_no_question_is_a_fault(
    browsers: Callable[[], Visitor], shop: str, visits: dict[str, str], seed: int
) -> None:
    chance, visitor = random.Random(seed), browsers().sign()
    values = ids(shop, visits)
    for path, method in routes(visitor):
        where = filled(path, values, chance.choice([one for one in TEXTS if one.isalnum()] or ["x"]))
        drawn = {name: chance.choice(TEXTS) for name in chance.sample(FIELDS, 12)}
        if method == "GET":
            sound(visitor.client.get(where, params=drawn), where, (200, 303, 400, 404, 409, 422))
        else:
            answer = visitor.post(where, drawn)
            sound(answer, where, (303, 404, 409, 413, 422))


@pytest.mark.parametrize(
    "id", ["zzzz", "x", "%00", "%2e%2e", "a" * 300, "%3Cscript%3Ealert(1)%3C%2Fscript%3E", "İ", "%F0%9F%8E%B8"]
)
def test_no_name_that_names_nothing_is_a_fault(browsers: Callable[[], Visitor], id: str) -> None:
    visitor = browsers().sign()
    for path, method in routes(visitor):
        if "{" not in path or path.startswith("/static"):
            continue
        where = filled(path, {}, id)
        answer = visitor.get(where) if method == "GET" else visitor.post(where, {"name": "x"})
        sound(answer, where, (404,))


def test_files_in_every_form_are_no_fault(browsers: Callable[[], Visitor], shop: str, visits: dict[str, str]) -> None:
    visitor = browsers().sign()
    values = ids(shop, visits)
    for path, method in routes(visitor):
        if method == "POST":
            where = filled(path, values, "x")
            for name, content in (
                ("photo.jpg", b"\xff\xd8\xff" + b"\0" * 99),
                (SCRIPT, b""),
                ("a.wav", b"RIFF\0\0\0\0WAVEfmt "),
            ):
                files = {"photo": (name, content), "file": (name, content), "recording": (name, content)}
                answer = visitor.post(where, {"name": "x"}, files=files)
                sound(answer, where, (303, 404, 409, 413, 422))


def test_nothing_is_written_by_looking(browsers: Callable[[], Visitor], shop: str, visits: dict[str, str]) -> None:
    from setwright.bench.shop import check_shop

    visitor = browsers().sign()
    before = check_shop(shop)
    for path, method in routes(visitor):
        if method == "GET":
            visitor.get(filled(path, ids(shop, visits), "x"))
    after = check_shop(shop)
    assert (after.instruments, after.visits, after.entries, after.contents, after.problems) == (
        before.instruments, before.visits, before.entries, before.contents, (),
    )  # fmt: skip
