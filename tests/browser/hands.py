"""Hands and strings for the page: a practice instrument does what the page says, and the page's microphone hears it.

The page is read as a person reads it. The sound is the practice instrument's, from its true pitches; what the page
writes down is what its own listening makes of it.
"""

from __future__ import annotations

import base64
import re
import time
from fractions import Fraction
from math import sqrt
from pathlib import Path
from typing import Any

import numpy as np

from setwright.practice.instrument import Practice
from setwright.practice.sound import Pluck, play
from setwright.practice.takes import GUITAR

STRINGS = Path(__file__).with_name("strings.js").read_text(encoding="utf-8")
MICROPHONE = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
RINGS = 3.0  # s, a string that is not stopped before
HEARS = 15_000  # ms, until a page that hears a string has gone on, however slow the machine
BETWEEN = 250  # ms of quiet between two strings
PATIENCE = 120_000  # ms for a page to come, however slow the machine
TRIES = 4  # times a peg is turned before somebody looks up

ROUNDS, NEAR, CENTS, SETTLED, PER_GAP = 40, 1e-4, 3.0, 40.0, 400.0  # by hand: m, cents, cents, turns a metre of gap
# a page on its way has no heading yet: nothing is told from it
ANOTHER = """(was) => { const now = document.querySelector("input[name=written]");
    return document.readyState === "complete" && document.querySelector("h1") !== null
        && (!now || now.value !== was); }"""
SENT = """(was) => { const now = document.querySelector("input[name=written]");
    return document.querySelector("h1") !== null
        && (!now || now.value !== was || document.querySelector("main form button[disabled]") !== null); }"""
FILLED = """([string, was]) => { const now = document.querySelector("input[name=written]");
    const one = document.querySelector(`input[data-words="pitch string ${string}"]`);
    return document.querySelector("h1") !== null && (!now || !one || one.value !== "" || now.value !== was); }"""
ASKED = """[...document.querySelectorAll('input[data-words]')].filter((one) => !one.closest("details:not([open])"))
    .map((one) => one.dataset.words)"""
LISTENS = "() => document.getElementById('listen')?.textContent === 'Stop' && window.listens()"
KINDS = {"Tune": "tune", "Turn both claw screws": "claw", "The wedge": "wedge", "The springs": "springs"}

_AMOUNT = re.compile(r"(?:(\d+) )?(?:(\d+)/(\d+) )?turns?")
_PITCH = re.compile(r"([\d.]+) Hz")


def turns(text: str) -> float:
    """Turns of a screw as a page says them: "1 3/8 turns".

    Args:
        text: with one amount.
    Returns: [turn].
    """
    found = next((one for one in _AMOUNT.finditer(text) if one[1] or one[2]), None)
    assert found, f"no turns in {text!r}"
    return float(int(found[1] or 0) + (Fraction(int(found[2]), int(found[3])) if found[2] else 0))


def until(page: Any, condition: str, given: Any = None, patience: float = PATIENCE) -> bool:
    """Whether something becomes true on a page, which may be on its way to another one.

    Playwright's own waiting needs a policy of content that allows evaluating; that of the bench does not.

    Args:
        page: of Playwright.
        condition: function of JavaScript.
        given: its argument.
        patience: [ms].
    Returns: True as soon as it is; False when patience is over.
    """
    from playwright.sync_api import Error

    end = time.monotonic() + 1e-3 * patience
    while time.monotonic() < end:
        try:
            if page.evaluate(condition, given):
                return True
        except Error as error:
            if "context" not in str(error) and "navigat" not in str(error):
                raise
        page.wait_for_timeout(50)
    return False


class Hands:
    """One pair of hands with the instrument on the bench and the page beside it. done: kinds of steps, in order."""

    def __init__(self, page: Any, practice: Any) -> None:
        self.page, self.practice = page, practice
        self.done: list[str] = []
        self.played: list[tuple[int, float]] = []  # strings the page asked for, and where they truly stood [Hz]

    def listen(self) -> None:
        """Press Listen, where the page does not listen already."""
        if self.page.evaluate("sessionStorage.getItem('setwright listens')") != "1":
            self.page.click("#listen")
        self.page.check("#onward")
        assert until(self.page, LISTENS), self.page.inner_text("#ear-wrong")

    def pluck(self, string: int) -> None:
        """Pluck a string of the instrument as it stands now; 1 is the thinnest."""
        assert until(self.page, LISTENS), self.page.inner_text("#ear-wrong")
        first, stiffness = float(self.practice.truth.hertz[string - 1]), GUITAR[string - 1][1]
        note = Pluck(first / sqrt(1.0 + stiffness), stiffness, glide=2.0, attack=18.0, loss=0.4, seconds=RINGS)
        sound = np.clip(play(note, seed=len(self.done) + string), -1.0, 1.0)
        coded = base64.b64encode((sound * 32767.0).astype("<i2").tobytes()).decode()
        self.page.evaluate("(coded) => window.strum(coded)", coded)

    def hush(self) -> None:
        """Lay a hand on the strings."""
        self.page.evaluate("window.hush()")
        self.page.wait_for_timeout(BETWEEN)

    def step(self) -> str:
        """Do the step the page shows, as far as it goes on to the next one.

        Returns: its kind.
        """
        page = self.page
        does = page.inner_text(".does") if page.locator(".does").count() else ""
        if page.locator("h1.rest").count():
            self.done.append("done")
            return "done"
        reads = page.inner_text("h1").startswith(("Hear", "Read"))
        kind = "read" if reads else KINDS.get(does, "hardware")
        self.done.append(kind)
        written = page.get_attribute("input[name=written]", "value")
        getattr(self, kind)()
        assert until(page, ANOTHER, written), page.inner_text("main")
        return kind

    def tune(self) -> None:
        """Turn the peg to the pitch the page says, and let the string ring until the page goes on by itself."""
        page = self.page
        string = int(page.get_attribute("#pitch", "data-string"))
        found = _PITCH.search(page.inner_text(".what"))
        assert found, page.inner_text(".what")
        written = page.get_attribute("input[name=written]", "value")
        self.listen()
        for n in range(TRIES):
            if n and until(page, SENT, written, 1):
                return
            self.practice.tune(string, float(found[1]))
            self.pluck(string)
            if until(page, SENT, written, HEARS):
                return
            self.hush()
        raise AssertionError(
            f"string {string} does not come to rest: {page.inner_text('#now')} {page.inner_text('h1')}"
        )

    def read(self) -> None:
        """Read the gauges the page asks for, then pluck every string it asks for until its field is filled."""
        page = self.page
        for words, value in (("rear gap", self.practice.gap), ("claw distance", self.practice.claw_distance)):
            for field in page.locator(f"input[data-words^='{words}']:visible").all():
                field.fill(f"{max(value(), 0.0) * 1e3:.2f} mm")
        asked = [int(one.rsplit(" ", 1)[1]) for one in page.evaluate(ASKED) if one.startswith("pitch string")]
        if not asked:
            page.click("form[data-look] button:has-text('Keep')")
            return
        self.listen()
        written = page.get_attribute("input[name=written]", "value")
        self.played += [(string, float(self.practice.truth.hertz[string - 1])) for string in asked]
        for string in asked:
            early = until(page, SENT, written, 1)
            assert not early, f"the page went on before string {string} was played"
            for n in range(TRIES):
                if n and until(page, FILLED, [string, written], 1):
                    break
                self.pluck(string)
                if until(page, FILLED, [string, written], HEARS):
                    break
            else:
                raise AssertionError(f"string {string} is not heard: {page.inner_text('#ear-says')}")
            if string != asked[-1]:
                self.hush()

    def claw(self) -> None:
        """Turn both claw screws as the page says."""
        head = self.page.inner_text("h1").casefold()
        assert head.startswith(("in ", "out ")), head
        self.practice.claw(turns(head) if head.startswith("in ") else -turns(head))
        self.page.click("form.did button:has-text('Done')")

    def wedge(self) -> None:
        """Put the wedge in, or take it out."""
        head = self.page.inner_text("h1")
        gap = re.match(r"([\d.]+) mm", head)
        assert gap or "out" in head, head
        self.practice.wedge(float(gap[1]) * 1e-3 if gap else None)
        self.page.click("form.did button:has-text('Done')")

    def springs(self) -> None:
        """Hang as many springs as the page says."""
        hung = re.search(r"(\d) hang then", self.page.inner_text(".what"))
        assert hung, self.page.inner_text("main")
        self.practice.springs(int(hung[1]))
        self.page.click("form.did button:has-text('Done')")

    def hardware(self) -> None:
        """What nothing of the instrument moves by: the finish is protected."""
        assert "Protect" in self.page.inner_text("h1"), self.page.inner_text("h1")
        self.page.click("form.did button:has-text('Done')")


def floating(first: dict[str, Any], seed: int, off: float) -> Practice:
    """A practice instrument that floats at pitch, its claw then turned too far by somebody.

    Args:
        first: what is told of it.
        seed: all of chance.
        off: that turn, in > 0 [turn].
    Returns: the instrument.
    """
    practice, goal = Practice(first, seed), first["goal"]
    for _ in range(ROUNDS):
        for string, hertz in reversed(list(enumerate(goal["hz"], 1))):
            practice.tune(string, hertz)
        cents = 1200.0 * np.log2(np.array(practice.truth.hertz) / np.array(goal["hz"]))
        high = practice.gap() - goal["rear_gap"]
        if abs(high) < NEAR and np.abs(cents).max() < CENTS:
            practice.claw(off)
            return practice
        if np.abs(cents).max() < SETTLED:
            practice.claw(float(np.clip(high * PER_GAP, -0.5, 0.5)))
    raise AssertionError("this instrument does not come to float by turning and tuning alone")
