"""From the microphone to the pitch shown: how long it takes, whether a block is lost, whether the pitch is right.

    ./dev bench ear                      ten minutes in Chromium, with a file as the microphone
    ./dev bench ear --minutes 1 --blocked 300   the page's own thread blocked 300 ms of each second

The file is strings of the practice instrument one after another. A latency runs from when the page has a block of sound
(1024 samples, 21 ms at 48 kHz, which come on top) to the next drawing of the page after its answer has come.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from setwright.bench.journals import InShop, job_from
from setwright.bench.shop import add_job, make_shop
from setwright.practice.sound import Pluck, first_of, play
from tests.browser.served import CHROMIUM, FLAGS, served

JOB = Path(__file__).resolve().parents[1] / "examples" / "dunlin-heavier.job.toml"
RATE = 48000
MICROPHONE = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
CENTS = (7.0, -11.0, 1.0, 14.0, -3.0, 23.0)  # of the strings, from their own pitches
BLOCK = """(length) => setInterval(() => {
  const end = performance.now() + length; while (performance.now() < end); }, 1000)"""
WATCH = """() => { const root = document.getElementById("ear"); window.seen = [];
  new MutationObserver(() => { const { string, hertz, half } = root.dataset;
    window.seen.push([Number(string), Number(hertz), Number(half)]); })
    .observe(root, { attributes: true, attributeFilter: ["data-hertz"] }); }"""


def file_of(path: Path, plucks: list[Pluck]) -> Path:
    """Strings as a file Chromium takes for its microphone."""
    noise = np.random.default_rng(3)
    parts = [part for seed, pluck in enumerate(plucks) for part in (np.zeros(RATE // 2), play(pluck, seed))]
    samples = np.concatenate([*parts, np.zeros(RATE // 2)])
    soundfile.write(path, samples + 1e-4 * noise.standard_normal(len(samples)), RATE, subtype="PCM_16")
    return path


def listened(address: str, visit: str, file: Path, minutes: float, blocked: int) -> tuple[dict[str, str], Any]:
    """What a page that listens measured of itself, and every pitch it showed."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play_it:
        flags = [*FLAGS, *MICROPHONE, f"--use-file-for-fake-audio-capture={file}"]
        browser = play_it.chromium.launch(executable_path=CHROMIUM, args=flags)
        page = browser.new_page()
        page.goto(f"{address}/who")
        page.fill("#name", "Mara")
        with page.expect_navigation():
            page.click("text=This is me")
        page.goto(f"{address}/visit/{visit}/listening")
        page.evaluate(WATCH)
        if blocked:
            page.evaluate(BLOCK, blocked)
        page.click("#listen")
        page.wait_for_timeout(60_000 * minutes)
        told = page.evaluate("({ ...document.getElementById('ear').dataset })")
        return told, page.evaluate("window.seen")


def table(told: dict[str, str], seen: list[list[float]], plucks: list[Pluck]) -> list[str]:
    """What was measured, as lines of Markdown.

    Args:
        told: by the page.
        seen: string, pitch [Hz] and half of its band [cents] of all that was shown.
        plucks: of the strings, from string 1.
    Returns: the lines.
    """
    known = [one for one in seen if one[0]]
    off = np.array([1200.0 * np.log2(hz / first_of(plucks[int(s) - 1])) for s, hz, _ in known])
    half = np.array([one[2] for one in known])
    lost, sent = int(told.get("lost", 0)), int(told.get("sent", 0))
    return [
        "| what | measured |", "|---|---|",
        f"| blocks sent | {sent} |", f"| blocks lost | {lost} |",
        f"| from block to shown pitch, median | {float(told.get('latency', 'nan')):.0f} ms |",
        f"| the same, 95 % are sooner | {float(told.get('slow', 'nan')):.0f} ms |",
        f"| pitches shown, their string named | {len(seen)}, {len(known)} |",
        f"| off the truth, median of the size | {np.median(np.abs(off)):.2f} c |",
        f"| named wrongly (over 50 c off) | {np.mean(np.abs(off) > 50.0):.1%} |",
        f"| inside their band | {np.mean(np.abs(off) <= half):.1%} |",
    ]  # fmt: skip


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="./dev bench ear")
    parser.add_argument("--minutes", type=float, default=10.0, help="how long it listens")
    parser.add_argument("--blocked", type=int, default=0, help="ms of each second the page's thread is blocked")
    parser.add_argument("--json", action="store_true", help="print what the page measured as JSON too")
    asked = parser.parse_args()
    if CHROMIUM is None:
        print("Chromium is not installed; as root: apt-get install chromium", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory() as folder:
        shop = str(Path(folder, "shop"))
        make_shop(shop, "Weir Lane Bench")
        visit = add_job(shop, str(JOB)).added.visit.id
        wanted = [one.si for one in job_from(InShop(shop, visit)).want.tuning]
        plucks = [Pluck(hz * 2.0 ** (c / 1200.0), seconds=2.4) for hz, c in zip(wanted, CENTS, strict=True)]
        file = file_of(Path(folder, "strings.wav"), plucks)
        with served(shop, Path(folder, "state")) as address:
            told, seen = listened(address, visit, file, asked.minutes, asked.blocked)
    if asked.json:
        print(json.dumps(told))
    print("\n".join(table(told, seen, plucks)))
    return 1 if int(told.get("lost", 1)) else 0


if __name__ == "__main__":
    sys.exit(main())
