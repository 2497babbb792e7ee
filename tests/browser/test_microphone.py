"""The microphone in Chromium, with a file in its place: strings whose pitch is known exactly, played by the practice
instrument's sound (`practice.sound`, which the listening side never imports)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from setwright.bench.at_hand import at_hand
from setwright.bench.journals import InShop, job_from, keep, open_journal
from setwright.bench.shop import show_visit
from setwright.practice.sound import Pluck, first_of, play
from tests.browser.conftest import sign_in
from tests.browser.looked_at import faults
from tests.web.test_step import HARDWARE, heard

pytestmark = pytest.mark.slow
RATE = 48000
NOTE, REST = 2.4, 0.6  # s
LATENCY = 150.0  # ms, from a block of sound to the pitch that is shown: half of the answers are sooner
MICROPHONE = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "laptop": (1280, 800)}


def recorded(path: Path, plucks: list[Pluck]) -> Path:
    """Strings one after another, as Chromium takes a file for its microphone: 16 bits; it plays it again and again."""
    noise = np.random.default_rng(3)
    parts = []
    for seed, pluck in enumerate(plucks):
        sound = play(pluck, seed)
        sound[-1000:] *= np.linspace(1.0, 0.0, 1000)
        parts += [np.zeros(round(REST * RATE)), sound]
    samples = np.concatenate([*parts, np.zeros(RATE // 2)])
    samples += 1e-4 * noise.standard_normal(len(samples))
    soundfile.write(path, samples, RATE, subtype="PCM_16")
    return path


def wanted(shop: str, visit: str) -> list[float]:
    """Open strings as a job wants them [Hz]."""
    return [one.si for one in job_from(InShop(shop, visit)).want.tuning]


def off(hertz: float, pluck: Pluck) -> float:
    """Cents a pitch is from that of a string."""
    return float(1200.0 * np.log2(hertz / first_of(pluck)))


def listening(chromium: Callable[..., Any], address: str, visit: str, file: Path, **context: Any) -> Any:
    """The page, listening to a file."""
    browser = chromium(*MICROPHONE, f"--use-file-for-fake-audio-capture={file}")
    page = browser.new_context(**context).new_page()
    page.wrong = []
    page.on("console", lambda message: page.wrong.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: page.wrong.append(str(error)))
    sign_in(page, address)
    page.goto(f"{address}/visit/{visit}/listening")
    page.click("#listen")
    page.wait_for_selector("#listen:has-text('Stop')", timeout=30_000)
    return page


def rings(page: Any) -> None:
    """Wait until a note has rung long enough to be measured."""
    for reached in (lambda it: it < 1.0, lambda it: it > 1.5):
        for _ in range(300):
            if reached(page.evaluate("Number(document.getElementById('ear').dataset.ringing)")):
                break
            page.wait_for_timeout(50)
        else:
            raise AssertionError("no note rings long enough")


def test_the_right_string_is_named_and_its_pitch_lies_in_its_band(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str], tmp_path: Path
) -> None:
    """One minute: every string shown, its pitch inside the band that narrows, no block lost, soon enough."""
    visit = visits["dunlin-heavier"]
    sharp = (7.0, -11.0, 1.0, 14.0, -3.0, 23.0)  # cents
    plucks = [
        Pluck(hz * 2.0 ** (c / 1200.0), seconds=NOTE) for hz, c in zip(wanted(shop, visit), sharp, strict=True)
    ]  # fmt: skip
    page = listening(chromium, address, visit, recorded(tmp_path / "strings.wav", plucks))
    page.evaluate(
        """() => { const root = document.getElementById("ear"); window.seen = [];
        new MutationObserver(() => { const { string, hertz, half, state } = root.dataset;
          window.seen.push([Number(string), Number(hertz), Number(half), state]); })
          .observe(root, { attributes: true, attributeFilter: ["data-hertz"] }); }"""
    )
    page.wait_for_timeout(60_000)
    assert "dB of full scale" in page.inner_text("#level-words")  # the file is heard, and is no silence
    figures = page.evaluate("({ ...document.getElementById('ear').dataset })")
    seen = page.evaluate("window.seen")
    page.screenshot(path=tmp_path / "listening.png", full_page=True)
    assert page.wrong == []
    assert page.is_hidden("#ear-wrong")
    assert "none" in page.evaluate("document.getElementById('processing').textContent")
    strings = [one for one in seen if one[0]]
    assert {one[0] for one in strings} == {1, 2, 3, 4, 5, 6}
    errors = np.array([off(hertz, plucks[int(string) - 1]) for string, hertz, _, _ in strings])
    halves = np.array([half for _, _, half, _ in strings])
    assert (
        np.mean(np.abs(errors) <= halves) >= 0.9
    )  # a band holds 95 % of the notes; readings of one note hang together
    assert np.median(np.abs(errors)) < 0.5
    assert figures["lost"] == "0"
    assert int(figures["sent"]) > 0.9 * 60 * RATE / 1024
    assert float(figures["latency"]) < LATENCY
    page.context.browser.close()


def test_what_was_heard_is_written_down_with_its_recording(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str], tmp_path: Path
) -> None:
    visit = visits["dunlin-heavier"]
    pluck = Pluck(wanted(shop, visit)[2] * 2.0 ** (6.0 / 1200.0), seconds=NOTE)
    page = listening(chromium, address, visit, recorded(tmp_path / "one.wav", [pluck]))
    page.wait_for_selector("#heard-what:has-text('String 3')", timeout=30_000)
    rings(page)
    page.click("#write")
    page.wait_for_selector("#written:not([hidden]), #ear-wrong:not([hidden])", timeout=30_000)
    assert page.inner_text("#ear-wrong") == ""
    entry = open_journal(InShop(shop, visit))[1].entries[-1]
    assert entry.place.string == 3
    assert entry.value is not None
    assert abs(off(entry.value.si, pluck)) < 0.3
    assert [one.name for one in show_visit(shop, visit).attachments if one.kind == "recording"] == [entry.recording]
    page.uncheck("#record")
    rings(page)
    page.click("#write")
    page.wait_for_selector("#written:has-text('#2 is kept')", timeout=30_000)
    assert open_journal(InShop(shop, visit))[1].entries[-1].recording == ""
    page.click("#written button")
    page.wait_for_selector("text=Struck: #2")
    page.context.browser.close()


@pytest.mark.parametrize("ground", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_the_page_is_legible_and_in_reach(
    chromium: Callable[..., Any],
    address: str,
    shop: str,
    visits: dict[str, str],
    tmp_path: Path,
    size: str,
    ground: str,
) -> None:
    visit = visits["kestrel-float"]
    pluck = Pluck(wanted(shop, visit)[0] * 2.0 ** (-14.0 / 1200.0), seconds=NOTE)
    screen = {"width": SIZES[size][0], "height": SIZES[size][1]}
    page = listening(
        chromium, address, visit, recorded(tmp_path / "one.wav", [pluck]), viewport=screen, color_scheme=ground
    )
    page.wait_for_selector("#heard-now:has-text('Sounds')", timeout=30_000)
    page.wait_for_timeout(500)
    page.click("summary")
    assert faults(page) == []
    page.screenshot(path=tmp_path / f"listening-{size}-{ground}.png", full_page=True)
    assert page.wrong == []
    page.context.browser.close()


def at_step(chromium: Callable[..., Any], address: str, visit: str, file: Path) -> Any:
    """The step at hand, listening to a file."""
    browser = chromium(*MICROPHONE, f"--use-file-for-fake-audio-capture={file}")
    page = browser.new_context(**{"viewport": {"width": 820, "height": 1180}}).new_page()
    page.wrong = []
    page.on("console", lambda message: page.wrong.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: page.wrong.append(str(error)))
    sign_in(page, address)
    page.goto(f"{address}/visit/{visit}/step")
    return page


def test_a_string_that_rests_at_its_mark_moves_the_step_on(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str], tmp_path: Path
) -> None:
    visit = visits["dunlin-heavier"]
    near = heard(("1 c",) * 5 + ("9 c",), gap="2.4 mm")
    lines = [
        *HARDWARE,
        *heard() * 3,
        "did claw out 1/32 turn",
        *heard(gap="2.4 mm"),
        *near * 2,
        "did claw in 1/32 turn",
    ]
    for line in (*lines, *near * 2):
        keep(InShop(shop, visit), [line])
    found = at_hand(InShop(shop, visit))
    advice = found.next.advice
    assert advice is not None
    assert advice.do == "tune"
    to = advice.hertz / first_of(Pluck(advice.hertz)) * advice.hertz  # whose first partial is there
    page = at_step(chromium, address, visit, recorded(tmp_path / "peg.wav", [Pluck(to, seconds=NOTE)]))
    page.check("#onward")
    page.click("#listen")
    page.wait_for_timeout(1500)
    page.screenshot(path=tmp_path / "peg.png", full_page=True)
    for _ in range(150):
        entry = open_journal(InShop(shop, visit))[1].entries[-1]
        if entry.verb == "did" and entry.what == "tune":
            break
        page.wait_for_timeout(200)
    assert (entry.what, entry.place.string) == ("tune", advice.string + 1)
    assert entry.heard is not None
    assert abs(1200.0 * np.log2(entry.heard.si / advice.hertz)) < found.job.want.pitch_tolerance.si
    page.wait_for_selector("text=is kept", timeout=30_000)
    page.screenshot(path=tmp_path / "after.png", full_page=True)
    assert page.wrong == []
    page.context.browser.close()


def test_strings_that_are_asked_for_are_filled_in_as_they_are_heard(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str], tmp_path: Path
) -> None:
    visit = visits["dunlin-heavier"]
    for line in HARDWARE:
        keep(InShop(shop, visit), [line])
    plucks = [Pluck(hz * 2.0 ** (-20.0 / 1200.0), seconds=NOTE, glide=8.0) for hz in wanted(shop, visit)]
    page = at_step(chromium, address, visit, recorded(tmp_path / "all.wav", plucks))
    page.click("#listen")
    page.wait_for_selector("#ear-says:has-text('All are heard')", timeout=60_000)
    page.screenshot(path=tmp_path / "asked.png", full_page=True)
    filled = page.evaluate(
        "[...document.querySelectorAll('input[data-words^=\"pitch string\"]')].map((one) => one.value)"
    )
    for text, pluck, own in zip(filled, plucks, wanted(shop, visit), strict=True):
        settled = 1200.0 * np.log2(first_of(pluck) / own)  # it glides on by up to 2 cents where it is filled in
        assert abs(float(text.partition(" c")[0]) - settled) < 0.5
    page.click("#listen")
    page.click("button:has-text('Keep')")
    page.wait_for_selector("text=are kept", timeout=30_000)
    entries = open_journal(InShop(shop, visit))[1].entries[-6:]
    assert [one.place.string for one in entries] == [1, 2, 3, 4, 5, 6]
    assert page.wrong == []
    page.context.browser.close()


def test_a_recording_the_bench_does_not_read_is_made_into_wav_by_the_page(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str], tmp_path: Path
) -> None:
    """Opus under another name, as Chromium decodes by what is in a file; AAC cannot be made here."""
    visit = visits["dunlin-heavier"]
    plucks = [Pluck(hz, seconds=NOTE) for hz in wanted(shop, visit)[::-1]]
    samples, rate = soundfile.read(recorded(tmp_path / "take.wav", plucks))
    soundfile.write(tmp_path / "take.webm", samples, rate, format="OGG", subtype="OPUS")
    page = listening(chromium, address, visit, recorded(tmp_path / "quiet.wav", []))
    page.click("#listen")
    page.set_input_files("#recording", tmp_path / "take.webm")
    page.click("text=Hear it")
    page.wait_for_selector("h1:has-text('take.wav')", timeout=30_000)
    page.wait_for_selector("tbody tr >> nth=5", timeout=60_000)
    assert [one.split()[1] for one in page.locator("tbody tr").all_inner_texts()] == ["6", "5", "4", "3", "2", "1"]
    assert faults(page) == []
    page.screenshot(path=tmp_path / "take.png", full_page=True)
    page.click("text=Write it down")
    page.wait_for_selector("text=6 readings written")
    assert page.wrong == []
    page.context.browser.close()
