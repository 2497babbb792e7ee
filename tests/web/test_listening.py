"""The microphone's socket and the page of listening: what is heard, written, lost, refused; recordings sent."""

from __future__ import annotations

import io
import json
import math
import struct
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest
import soundfile
from starlette.websockets import WebSocketDisconnect

from setwright.bench.journals import InShop, job_from, open_journal
from setwright.bench.shop import show_visit
from setwright.errors import InputError, QuestionableError
from setwright.practice.sound import Pluck, first_of, play
from setwright.web import ear as ears
from setwright.web import takes
from tests.web.conftest import ADDRESS
from tests.web.visitor import Visitor, words

pytestmark = pytest.mark.slow

RATE = 16000
BLOCK = 1024
WS = ADDRESS.replace("http", "ws")


def wanted(shop: str, visit: str, string: int) -> float:
    return job_from(InShop(shop, visit)).want.tuning[string - 1].si


def sound(hertz: float, seconds: float = 2.5) -> np.ndarray:
    """A string after a quarter of a second of a quiet room."""
    room = 1e-4 * np.random.default_rng(1).standard_normal(round((seconds + 0.25) * RATE))
    room[RATE // 4 :] += play(Pluck(hertz, rate=RATE, seconds=seconds))[: len(room) - RATE // 4]
    return room


def block(number: int, samples: np.ndarray, rate: float = RATE) -> bytes:
    return struct.pack("<If", number, rate) + samples.astype("<f4").tobytes()


@contextmanager
def socket(visitor: Visitor, visit: str, token: str | None = None) -> Iterator[Any]:
    with visitor.client.websocket_connect(f"{WS}/visit/{visit}/ear", headers={"origin": ADDRESS}) as line:
        line.send_text(visitor.token if token is None else token)
        yield line


def send(line: Any, samples: np.ndarray, first: int = 0) -> int:
    """Send sound block by block; returns the number of the next."""
    count = len(samples) // BLOCK
    for i in range(count):
        line.send_bytes(block(first + i, samples[i * BLOCK : (i + 1) * BLOCK]))
    return first + count


def answers(line: Any, last: int) -> list[dict[str, Any]]:
    """What is shown until all blocks are heard."""
    out = [json.loads(line.receive_text())]
    while out[-1].get("n", 0) < last:
        out.append(json.loads(line.receive_text()))
    return out


def closed(line: Any) -> WebSocketDisconnect:
    """How a socket was closed."""
    try:
        for _ in range(1000):
            line.receive_text()
    except WebSocketDisconnect as why:
        return why
    raise AssertionError("the socket stays open")


@pytest.fixture
def visit(visits: dict[str, str]) -> str:
    return visits["dunlin-heavier"]


def play_and_keep(visitor: Visitor, shop: str, visit: str, hertz: float) -> tuple[str, dict[str, Any]]:
    """A string played into a page: its ear, and what is shown at the end."""
    visitor.get(f"/visit/{visit}/listening")
    with socket(visitor, visit) as line:
        hello = json.loads(line.receive_text())
        last = send(line, sound(hertz))
        return hello["ear"], answers(line, last)[-1]


def test_the_page_says_what_to_do_and_carries_what_the_script_needs(visitor: Visitor, visit: str) -> None:
    answer = visitor.get(f"/visit/{visit}/listening")
    assert answer.status_code == 200
    assert "The microphone needs scripts" in words(answer)
    assert f'data-ear="/visit/{visit}/ear"' in answer.text
    assert "ear-worklet.mjs" in answer.text
    assert len(answer.content) < 12_000


def test_a_string_is_named_and_its_pitch_lies_in_its_band(visitor: Visitor, shop: str, visit: str) -> None:
    hertz = wanted(shop, visit, 4) * 2.0 ** (9.0 / 1200.0)
    _, said = play_and_keep(visitor, shop, visit, hertz)
    true = first_of(Pluck(hertz, rate=RATE))
    assert (said["string"], said["state"], said["lost"], said["doubt"]) == (4, "ringing", 0, "")
    assert abs(1200.0 * math.log2(said["hertz"] / true)) <= said["half"] < 1.0
    assert said["cents"] == pytest.approx(1200.0 * math.log2(said["hertz"] / wanted(shop, visit, 4)))
    assert said["off"] == pytest.approx(-said["cents"])
    assert not said["rests"]


def test_what_is_heard_is_written_with_or_without_its_recording(visitor: Visitor, shop: str, visit: str) -> None:
    hertz = wanted(shop, visit, 3)
    ear, _ = play_and_keep(visitor, shop, visit, hertz)
    path = f"/visit/{visit}/listening/note"
    first = visitor.post(path, {"ear": ear, "record": "1"})
    assert first.status_code == 200, first.text
    assert first.json()["said"].startswith("#1 is kept: pitch string 3 = ")
    kept = show_visit(shop, visit)
    entry = kept.journal.entries[-1]
    assert [one.name for one in kept.attachments] == [entry.recording]
    assert [one.sha256 for one in kept.attachments] == [entry.sha256]
    assert entry.who == "Mara"
    assert abs(1200.0 * math.log2(entry.value.si / first_of(Pluck(hertz, rate=RATE)))) < 0.2
    assert visitor.post(path, {"ear": ear}).json()["said"].startswith("#2")
    assert open_journal(InShop(shop, visit))[1].entries[-1].recording == ""
    assert visitor.post(first.json()["back"]).headers["location"].endswith("/listening")
    assert "Recordings that are kept" in words(visitor.get(f"/visit/{visit}/listening"))


def test_nothing_is_written_that_was_not_heard_by_this_browser(
    browsers: Callable[[], Visitor], shop: str, visit: str, visits: dict[str, str]
) -> None:
    mine, other = browsers().sign(), browsers().sign("Bo")
    ear, _ = play_and_keep(mine, shop, visit, wanted(shop, visit, 3))
    for visitor, where, name in ((other, visit, ear), (mine, visits["kestrel-float"], ear), (mine, visit, "x")):
        answer = visitor.post(f"/visit/{where}/listening/note", {"ear": name})
        assert (answer.status_code, answer.json()["wrong"][:7]) == (422, "Nothing")
    assert not open_journal(InShop(shop, visit))[1].entries


def test_an_unlikely_pitch_is_asked_about(
    visitor: Visitor, shop: str, visit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from setwright.web.pages import listening

    ear, _ = play_and_keep(visitor, shop, visit, wanted(shop, visit, 3))

    def asks(*_more: Any) -> None:
        raise QuestionableError("that is far off")

    monkeypatch.setattr(listening, "write_note", asks)
    answer = visitor.post(f"/visit/{visit}/listening/note", {"ear": ear})
    assert answer.json() == {"wrong": "That is far off.", "ask": True}


def test_a_note_too_short_is_not_written(visitor: Visitor, shop: str, visit: str) -> None:
    visitor.get(f"/visit/{visit}/listening")
    with socket(visitor, visit) as line:
        ear = json.loads(line.receive_text())["ear"]
        answers(line, send(line, sound(wanted(shop, visit, 1))[: round(0.42 * RATE)]))
    answer = visitor.post(f"/visit/{visit}/listening/note", {"ear": ear})
    assert answer.status_code == 422
    assert "wrong" in answer.json()
    assert not open_journal(InShop(shop, visit))[1].entries


def test_lost_blocks_are_counted_and_not_heard_across(visitor: Visitor, shop: str, visit: str) -> None:
    visitor.get(f"/visit/{visit}/listening")
    samples = sound(wanted(shop, visit, 4))
    with socket(visitor, visit) as line:
        line.receive_text()
        first = send(line, samples)
        answers(line, first)
        last = send(line, samples, first + 7)
        said = answers(line, last)[-1]
    assert said["lost"] == 7
    assert said["string"] == 4
    assert said["time"] < 1.1 * len(samples) / RATE


def test_what_is_listened_for_follows_the_journal(visitor: Visitor, shop: str, visit: str) -> None:
    visitor.get(f"/visit/{visit}/listening")
    with socket(visitor, visit) as line:
        line.receive_text()
        answers(line, send(line, sound(wanted(shop, visit, 4))))
        line.send_text("again")
        assert set(json.loads(line.receive_text())) == {"marks"}


@pytest.mark.parametrize(
    ("message", "code", "says"),
    [
        (b"", ears.UNREADABLE, "no block"),
        (b"x" * 7, ears.UNREADABLE, "no block"),
        (b"x" * 11, ears.UNREADABLE, "no block"),
        (block(0, np.zeros(ears.LARGEST + 1)), ears.UNREADABLE, "no block"),
        (block(0, np.zeros(9), 1.0), ears.UNREADABLE, "8 to 192 kHz"),
        (block(0, np.zeros(9), math.nan), ears.UNREADABLE, "8 to 192 kHz"),
        (block(0, np.array([1.0, math.nan])), ears.UNREADABLE, "finite"),
        (block(0, np.array([1.0, math.inf])), ears.UNREADABLE, "finite"),
    ],
)
def test_what_is_no_sound_closes_the_socket(visitor: Visitor, visit: str, message: bytes, code: int, says: str) -> None:
    visitor.get(f"/visit/{visit}/listening")
    with socket(visitor, visit) as line:
        line.receive_text()
        line.send_bytes(message)
        why = closed(line)
    assert why.code == code
    assert says in why.reason
    assert visitor.client.app.state.ears.listening == 0


def test_a_rate_that_changes_and_sound_that_comes_too_fast_close_the_socket(
    visitor: Visitor, visit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    visitor.get(f"/visit/{visit}/listening")
    with socket(visitor, visit) as line:
        line.receive_text()
        line.send_bytes(block(0, np.zeros(BLOCK)))
        line.send_bytes(block(1, np.zeros(BLOCK), 2.0 * RATE))
        assert "changed" in closed(line).reason
    monkeypatch.setattr(ears, "AHEAD", 0.1)
    with socket(visitor, visit) as line:
        line.receive_text()
        send(line, np.zeros(RATE))
        assert "More sound" in closed(line).reason


def test_who_may_not_listen(
    visitor: Visitor, browsers: Callable[[], Visitor], visit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    visitor.get(f"/visit/{visit}/listening")
    with socket(visitor, visit, browsers().sign("Bo").token) as line:
        assert closed(line).code == ears.POLICY
    with socket(visitor, "zzzz") as line:
        assert closed(line).code == ears.UNREADABLE
    for origin in ("http://evil.example", "null"):
        with (
            pytest.raises(WebSocketDisconnect),
            visitor.client.websocket_connect(f"{WS}/visit/{visit}/ear", headers={"origin": origin}),
        ):
            pass
    monkeypatch.setattr(ears, "PATIENCE", 0.05)
    with visitor.client.websocket_connect(f"{WS}/visit/{visit}/ear", headers={"origin": ADDRESS}) as line:
        assert "Nothing was heard" in closed(line).reason
    monkeypatch.setattr(ears, "MOST", 0)
    with socket(visitor, visit) as line:
        assert closed(line).code == ears.LATER


def test_only_the_latest_ears_are_kept() -> None:
    kept = ears.Ears()
    names = [kept.add("seat", "visit", ears.Listener(None)) for _ in range(ears.KEPT + 1)]  # type: ignore[arg-type]
    assert len(kept._kept) == ears.KEPT
    assert ("seat", "visit", names[0]) not in kept._kept
    assert kept.played("seat", "visit", names[1]) is None  # nothing came yet


def wav(*parts: np.ndarray) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, np.concatenate(parts), RATE, "PCM_24", format="WAV")
    return file.getvalue()


def sent(visitor: Visitor, visit: str, name: str, content: bytes, **data: Any) -> Any:
    return visitor.post(f"/visit/{visit}/listening", data, files={"recording": (name, content)})


def heard(visitor: Visitor, path: str) -> Any:
    """The page of a take when it is heard."""
    for _ in range(600):
        answer = visitor.get(path)
        if "% heard" not in words(answer):
            return answer
        time.sleep(0.05)
    raise AssertionError("it is not heard to its end")


@pytest.mark.slow
def test_a_recording_is_heard_shown_and_written(visitor: Visitor, shop: str, visit: str) -> None:
    content = wav(*(sound(wanted(shop, visit, string)) for string in (6, 5, 4, 3, 2, 1)))
    answer = sent(visitor, visit, "my take.wav", content, played="open")
    assert answer.status_code == 303
    path = answer.headers["location"]
    page = heard(visitor, path)
    assert page.text.count("<tr>") == 7
    assert "<svg" in page.text
    assert "<style" not in page.text
    assert visitor.post(path, {"do": "write"}).status_code == 303
    kept = show_visit(shop, visit)
    assert {one.place.string for one in kept.journal.entries} == {1, 2, 3, 4, 5, 6}
    assert [one.name for one in kept.attachments] == ["my_take.wav"]
    assert visitor.get(path).status_code == 404
    twice = heard(visitor, sent(visitor, visit, "again.wav", content).headers["location"])
    assert "already" in words(twice)


def test_recordings_that_cannot_be_heard_say_why(visitor: Visitor, visit: str) -> None:
    assert "No recording is chosen" in words(visitor.post(f"/visit/{visit}/listening"))
    assert "empty" in words(sent(visitor, visit, "a.wav", b""))
    assert "no kind of note" in words(sent(visitor, visit, "a.wav", wav(np.zeros(9)), played="<b>"))
    for name, content, says in (
        ("../../x<script>.wav", b"RIFF\0\0\0\0WAVEfmt ", "x_script_.wav"),
        ("silent.wav", wav(np.zeros(RATE)), "silent"),
        ("a.m4a", b"\0\0\0\x20ftypM4A " + b"\0" * 64, "MPEG-4"),
    ):
        page = heard(visitor, sent(visitor, visit, name, content).headers["location"])
        assert says in words(page)
        assert "Put it aside" in words(page)
        assert "Write it down" not in words(page)


def test_a_take_is_called_off_and_belongs_to_its_visit(
    visitor: Visitor, visit: str, visits: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from setwright.web.pages import listening

    told: list[float] = []
    over: list[bool] = []

    def long(_job: Any, _path: str, _played: Any, tell: Callable[[float], None]) -> None:
        try:
            for i in range(1000):
                tell(i / 1000.0)
                told.append(i)
                time.sleep(0.01)
        finally:
            over.append(True)

    monkeypatch.setattr(listening, "hear_take", long)
    path = sent(visitor, visit, "a.wav", wav(np.zeros(9))).headers["location"]
    while len(told) < 3:
        time.sleep(0.01)
    page = visitor.get(path)
    assert "% heard" in words(page)
    assert 'data-reload="soon"' in page.text
    assert visitor.post(path, {"do": "write"}).status_code == 409
    assert visitor.get(path.replace(visit, visits["kestrel-float"])).status_code == 404
    assert visitor.post(path, {"do": "drop"}).status_code == 303
    while not over:
        time.sleep(0.01)
    assert len(told) < 900
    assert visitor.get(path).status_code == 404


@pytest.mark.slow
def test_a_take_heard_twice_at_once_is_written_once(visitor: Visitor, shop: str, visit: str) -> None:
    content = wav(*(sound(wanted(shop, visit, string), 1.5) for string in (2, 1)))
    paths = [sent(visitor, visit, "a.wav", content).headers["location"] for _ in range(2)]
    for path in paths:
        assert "Write it down" in words(heard(visitor, path))
    assert [visitor.post(path, {"do": "write"}).status_code for path in paths] == [303, 422]


def test_a_fault_in_hearing_is_a_fault_of_the_page(
    visitor: Visitor, visit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from setwright.web.pages import listening

    def fault(*_more: Any) -> None:
        raise ValueError("a fault")

    monkeypatch.setattr(listening, "hear_take", fault)
    path = sent(visitor, visit, "a.wav", wav(np.zeros(9))).headers["location"]
    with pytest.raises(ValueError, match="a fault"):  # which the client of the tests passes on
        heard(visitor, path)


def test_takes_keep_few_and_a_fault_is_told_as_one(tmp_path: Any) -> None:
    kept = takes.Takes()

    def fault(_path: str, _tell: Any) -> Any:
        raise ValueError("a fault")

    keys = [kept.add("v", f"{i}.wav", io.BytesIO(b"x"), fault) for i in range(takes.MOST + 2)]
    assert [kept.get("v", key) is None for key in keys[:3]] == [True, True, False]
    kept._worker.shutdown()
    last = kept.get("v", keys[-1])
    assert last is not None
    assert isinstance(last.wrong, ValueError)
    path = last.path
    kept.drop(keys[-1])
    kept.drop(keys[-1])
    assert not path.parent.exists()
    with pytest.raises(InputError, match="empty"):
        kept.add("v", "a", io.BytesIO(b""), fault)


@pytest.mark.parametrize(
    ("name", "plain"),
    [("a.wav", "a.wav"), ("..", "recording"), ("", "recording"), ("C:\\x\\y z.wav", "y_z.wav"), ("ä/ü.wav", "_.wav")],
)
def test_names_of_files_lead_nowhere(name: str, plain: str) -> None:
    assert takes.plain_name(name) == plain
