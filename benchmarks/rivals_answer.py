"""The pitch of one note by general signal libraries; run in the environment of the rivals, one line in, one line out.

Each gets a note from after its attack on and a range to look in. Frames are 5 to 20 ms apart. Of those that are voiced
the later half is taken, and of that the median: earlier ones glide, and every library here was nearer the truth so.
Where a library has several settings, those are taken that were nearest the truth on forty notes.
"""

from __future__ import annotations

import json
import math
import sys
import time
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np

Array = np.ndarray[Any, np.dtype[np.float64]]
Way = Callable[[Array, int, float, float], Array]  # samples, rate, lowest, highest [Hz] -> frames [Hz], 0 unvoiced

WARM = (110.0, 22050)  # Hz, samples and their rate, of a note that is heard before any is timed


def _frame(samples: Array, rate: int, low: float, periods: float) -> int:
    """Samples of a frame: a power of two that holds so many periods of the lowest pitch, no longer than the note."""
    return int(2 ** min(math.ceil(math.log2(periods * rate / low)), math.floor(math.log2(len(samples)))))


def librosa_yin(samples: Array, rate: int, low: float, high: float) -> Array:
    """YIN with frames of eight periods, 10 ms apart."""
    import librosa

    size = _frame(samples, rate, low, 8.0)
    return np.asarray(librosa.yin(samples, fmin=low, fmax=high, sr=rate, frame_length=size, hop_length=rate // 100))


def librosa_pyin(samples: Array, rate: int, low: float, high: float) -> Array:
    """Probabilistic YIN, 20 ms apart; steps of 10 cents, as it comes, and of 1 cent in a range of a few semitones."""
    import librosa

    narrow = high < 1.5 * low
    size = _frame(samples, rate, low, 4.0)
    finely = {"resolution": 0.01, "max_transition_rate": 4.0} if narrow else {}
    found = librosa.pyin(samples, fmin=low, fmax=high, sr=rate, frame_length=size, hop_length=rate // 50, **finely)
    return np.nan_to_num(np.asarray(found[0]))


def _praat(samples: Array, rate: int, low: float, high: float, way: str) -> Array:
    import parselmouth

    sound = parselmouth.Sound(samples, rate)
    track = getattr(sound, way)(time_step=0.01, pitch_floor=low, pitch_ceiling=high, very_accurate=True)
    return np.asarray(track.selected_array["frequency"], dtype=np.float64)


def praat_ac(samples: Array, rate: int, low: float, high: float) -> Array:
    """Autocorrelation, very accurate, 10 ms apart."""
    return _praat(samples, rate, low, high, "to_pitch_ac")


def praat_cc(samples: Array, rate: int, low: float, high: float) -> Array:
    """Cross-correlation, very accurate, 10 ms apart."""
    return _praat(samples, rate, low, high, "to_pitch_cc")


def _world(samples: Array, rate: int, low: float, high: float, way: str, refined: bool) -> Array:
    import pyworld

    found, times = getattr(pyworld, way)(samples, rate, f0_floor=low, f0_ceil=high)
    return np.asarray(pyworld.stonemask(samples, found, times, rate) if refined else found)


def world_dio(samples: Array, rate: int, low: float, high: float) -> Array:
    """DIO as it comes, without the refinement, which was farther off."""
    return _world(samples, rate, low, high, "dio", refined=False)


def world_dio_stonemask(samples: Array, rate: int, low: float, high: float) -> Array:
    """DIO, refined by StoneMask."""
    return _world(samples, rate, low, high, "dio", refined=True)


def world_harvest_stonemask(samples: Array, rate: int, low: float, high: float) -> Array:
    """Harvest, refined by StoneMask."""
    return _world(samples, rate, low, high, "harvest", refined=True)


def _aubio(samples: Array, rate: int, low: float, high: float, way: str) -> Array:
    import aubio

    size = _frame(samples, rate, low, 4.0)
    hop = size // 8
    finder = aubio.pitch(way, size, hop, rate)
    finder.set_unit("Hz")
    finder.set_silence(-120.0)
    single = samples.astype(np.float32)
    found = np.array([finder(single[at : at + hop])[0] for at in range(0, len(single) - hop, hop)], dtype=np.float64)
    return np.where((found >= low) & (found <= high), found, 0.0)  # it takes no range


def aubio_yin(samples: Array, rate: int, low: float, high: float) -> Array:
    """YIN with frames of four periods."""
    return _aubio(samples, rate, low, high, "yinfast")


def aubio_yinfft(samples: Array, rate: int, low: float, high: float) -> Array:
    """YIN by spectra, with frames of four periods."""
    return _aubio(samples, rate, low, high, "yinfft")


WAYS: dict[str, tuple[str, Way]] = {
    "librosa yin": ("librosa", librosa_yin),
    "librosa pyin": ("librosa", librosa_pyin),
    "parselmouth ac": ("parselmouth", praat_ac),
    "parselmouth cc": ("parselmouth", praat_cc),
    "pyworld dio": ("pyworld", world_dio),
    "pyworld dio, stonemask": ("pyworld", world_dio_stonemask),
    "pyworld harvest, stonemask": ("pyworld", world_harvest_stonemask),
    "aubio yin": ("aubio", aubio_yin),
    "aubio yinfft": ("aubio", aubio_yinfft),
}


def there() -> dict[str, str]:
    """Every way whose library can be imported, "" each, or why it cannot.

    Returns: by name.
    """
    out = {}
    for name, (library, _) in WAYS.items():
        try:
            __import__(library)
            out[name] = ""
        except Exception as error:
            out[name] = (str(error).splitlines() or [type(error).__name__])[0]
    return out


def steady(frames: Array, low: float, high: float) -> float | None:
    """Median of the later half of the voiced frames.

    Args:
        frames: [Hz], 0 or not a number: unvoiced.
        low: lowest pitch [Hz].
        high: highest pitch [Hz].
    Returns: [Hz], None where none is voiced.
    """
    kept = frames[(frames >= 0.98 * low) & (frames <= 1.02 * high)]
    return float(np.median(kept[len(kept) // 2 :])) if len(kept) else None


def answer(name: str, samples: Array, rate: int, low: float, high: float) -> tuple[float | None, float]:
    """One note by one way.

    Args:
        name: of WAYS.
        samples: (N) [1].
        rate: [Hz].
        low: lowest pitch [Hz].
        high: highest pitch [Hz].
    Returns: pitch [Hz], None where there is none, and processor time [s].
    """
    begun = time.process_time()
    try:
        found = steady(np.asarray(WAYS[name][1](samples, rate, low, high), dtype=np.float64), low, high)
    except Exception:  # a library that fails on a note has no answer to it
        found = None
    return found, time.process_time() - begun


def main() -> int:
    """Answer lines of standard input until it ends; --there: only say what is there, --warm: only be ready once.

    Returns: 0.
    """
    warnings.simplefilter("ignore")
    can = there()
    if "--there" in sys.argv:
        print(json.dumps(can))
        return 0
    hertz, rate = WARM
    warm = np.sin(2.0 * np.pi * hertz * np.arange(rate) / rate)
    usable = [name for name, trouble in can.items() if not trouble]
    for name in usable:
        answer(name, warm, rate, 0.9 * hertz, 1.1 * hertz)
        answer(name, warm, rate, 0.5 * hertz, 2.0 * hertz)
    print(json.dumps(can), flush=True)
    for line in () if "--warm" in sys.argv else sys.stdin:
        asked = json.loads(line)
        samples = np.ascontiguousarray(np.load(asked["file"]), dtype=np.float64)
        names = [name for name in asked.get("ways") or usable if name in usable]
        print(json.dumps([
            {name: answer(name, samples, asked["rate"], low, high) for name in names} for low, high in asked["ranges"]
        ]), flush=True)  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
