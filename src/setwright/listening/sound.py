"""Sound files: what is in them, one channel of it in memory or block by block.

Of several channels the one with most sound in it is taken, its constant part not counted, and one for the whole file.
The mean of two would be silence where one is wired the other way round, and would comb a note that two microphones
hear at different times. A file is gone through once before its sound is used: what is wrong with it is told then.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from setwright.errors import FileFormatError

if TYPE_CHECKING:
    from soundfile import SoundFile

Array = NDArray[np.float64]
Progress = Callable[[float], None]

RATES = (8000, 192000)  # Hz
MOST_CHANNELS = 64
LOUDEST = 1e6  # of full scale; numbers beyond it are no sound
PIECE = 1 << 16  # samples read at once
FORMS = ("WAV", "WAVEX", "RF64", "W64", "FLAC", "OGG", "MP3", "AIFF", "CAF", "AU")
READ = "wav, flac, ogg, opus, mp3, aiff and caf are read"
_HEADS = (b"RIFF", b"RIFX", b"RF64", b"riff", b"fLaC", b"OggS", b"FORM", b"caff", b".snd", b"ID3")
_OTHERS = {b"\x1aE\xdf\xa3": "Matroska or WebM", b"0&\xb2u": "ASF or WMA", b"MThd": "MIDI", b"#!AM": "AMR"}
_LAST_PAGE = 70_000  # bytes; a page of Ogg has up to 65 307


class SoundError(FileFormatError):
    """A file whose sound cannot be used."""


@dataclass(frozen=True)
class Sound:
    """One channel of sound. samples: (N), full scale 1. rate: [Hz]. start: of the first sample in its recording [s]."""

    samples: Array
    rate: float
    start: float = 0.0


@dataclass(frozen=True)
class Recording:
    """What is in a sound file. rate: [Hz]. frames: samples of one channel. channels: in the file. channel: the one that
    is used, from 0. peak: its greatest sample, full scale 1."""

    path: Path
    rate: float
    frames: int
    channels: int
    channel: int
    peak: float

    @property
    def seconds(self) -> float:
        """How long it is [s]."""
        return self.frames / self.rate


def look_through(path: Path | str, progress: Progress | None = None) -> Recording:
    """Go through a sound file once: whether it is whole, and which channel has most sound in it.

    Args:
        path: of the file.
        progress: told the share gone through, 0 to 1.
    Returns: what is in it.
    Raises: SoundError: one sentence.
    """
    where = Path(path)
    with _opened(where) as file:
        rate, channels, promised = file.samplerate, file.channels, file.frames
        total, squares, peak = np.zeros(channels), np.zeros(channels), np.zeros(channels)
        got = 0
        for piece in _pieces(file, where, PIECE):
            _all_numbers(piece, where, got, rate)
            total += piece.sum(axis=0)
            squares += (piece**2).sum(axis=0)
            peak = np.maximum(peak, np.abs(piece).max(axis=0))
            got += len(piece)
            if progress is not None and promised > 0:
                progress(min(got / promised, 1.0))
    if got < promised:
        raise _cut_short(where, f"after {got / rate:.1f} s of the {promised / rate:.1f} s it promises")
    if got == 0:
        raise SoundError(f"{where.name} holds no sound, its length is zero; record it again.")
    if peak.max() > LOUDEST:
        raise SoundError(f"{where.name} goes up to {peak.max():.1g} of full scale, which is no sound; export it anew.")
    loud = squares / got - (total / got) ** 2
    best = int(np.argmax(loud))
    if loud[best] <= 1e-24 * max(1.0, float(peak[best]) ** 2):
        raise SoundError(f"{where.name} is silent from end to end; check the input it was recorded from.")
    return Recording(where, float(rate), got, channels, best, float(peak[best]))


def read_sound(path: Path | str, start: float = 0.0, seconds: float | None = None) -> Sound:
    """Read a sound file, or a part of it, into memory.

    Args:
        path: of the file.
        start: of the part [s].
        seconds: length of the part [s]; None: to the end.
    Returns: one channel of it.
    Raises: SoundError: one sentence.
    """
    recording = look_through(path)
    first = round(start * recording.rate)
    count = recording.frames - first if seconds is None else min(round(seconds * recording.rate), recording.frames)
    if not 0 <= first < recording.frames or count <= 0:
        raise SoundError(
            f"{recording.path.name} is {recording.seconds:.2f} s long; nothing of it lies at {start:g} s, ask for less."
        )
    with _opened(recording.path) as file:
        file.seek(first)
        samples: Array = file.read(count, dtype="float64", always_2d=True)[:, recording.channel].copy()
    return Sound(samples, recording.rate, first / recording.rate)


def blocks_of(path: Path | str, seconds: float, recording: Recording | None = None) -> Iterator[Sound]:
    """The sound of a file block by block, so that memory does not grow with its length.

    Args:
        path: of the file.
        seconds: length of a block, > 0 [s].
        recording: of the same file, where it was looked through already.
    Returns: blocks that follow each other; the last may be shorter.
    Raises: SoundError: one sentence.
    """
    if not (math.isfinite(seconds) and seconds > 0.0):
        raise SoundError(f"a block of {seconds} s is none; it is longer than zero.")
    known = recording or look_through(path)
    done = 0
    with _opened(known.path) as file:
        for piece in _pieces(file, known.path, max(1, round(seconds * known.rate))):
            yield Sound(piece[:, known.channel].copy(), known.rate, done / known.rate)
            done += len(piece)


@contextmanager
def _opened(path: Path) -> Iterator[SoundFile]:
    """The open file. Its bytes are looked at first: the library knows kinds of file that hold no sound."""
    _check_bytes(path)
    import soundfile

    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)  # without its name, which says less than its bytes
    try:
        with _quiet():
            file = soundfile.SoundFile(handle)
    except soundfile.SoundFileError:
        raise SoundError(f"{path.name} is damaged or cut short and cannot be opened; copy or export it anew.") from None
    with file:
        if file.format not in FORMS:
            raise SoundError(f"{path.name} holds sound in the form {file.format}; {READ}, save it as one of them.")
        if not RATES[0] <= file.samplerate <= RATES[1]:
            raise SoundError(
                f"{path.name} has {file.samplerate} samples a second; {RATES[0]} to {RATES[1]} are read, record or "
                "export it so."
            )
        if file.channels > MOST_CHANNELS:
            raise SoundError(f"{path.name} has {file.channels} channels; up to {MOST_CHANNELS} are read, export fewer.")
        yield file


def _pieces(file: SoundFile, path: Path, count: int) -> Iterator[Array]:
    """Pieces of all channels (n, channels) to the end."""
    import soundfile

    while True:
        try:
            with _quiet():
                piece: Array = file.read(count, dtype="float64", always_2d=True)
        except soundfile.SoundFileError:
            raise _cut_short(path, f"or is damaged near {file.tell() / file.samplerate:.1f} s") from None
        if not len(piece):
            return
        yield piece


@contextmanager
def _quiet() -> Iterator[None]:
    """The library's decoder of mp3 writes to standard error by itself; what it has to say is told by us."""
    kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _all_numbers(piece: Array, path: Path, before: int, rate: int) -> None:
    wrong = ~np.isfinite(piece)
    if wrong.any():
        at = (before + int(np.flatnonzero(wrong.any(axis=1))[0])) / rate
        raise SoundError(f"{path.name}: the sample at {at:.3f} s is not a number; export the sound anew.")


def _cut_short(path: Path, how: str) -> SoundError:
    return SoundError(f"{path.name} is cut short {how}; copy it again, or save what there is of it as a new file.")


def _check_bytes(path: Path) -> None:
    """Refuse what is no file, no sound, or less than its own head says it is."""
    try:
        if path.exists() and not path.is_file():
            raise SoundError(f"{path} is a folder or a device, not a file; name a sound file.")
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(64)
            file.seek(max(0, size - _LAST_PAGE))
            tail = file.read() if head[:4] == b"OggS" else b""
    except FileNotFoundError:
        raise SoundError(f"{path}: there is no such file; check the name.") from None
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise SoundError(f"{str(path)!r} cannot be read: {reason}; check name and permissions.") from None
    if not head:
        raise SoundError(f"{path.name} is an empty file; record or copy it again.")
    other = _OTHERS.get(head[:4]) or ("MPEG-4" if head[4:8] == b"ftyp" else None)
    if other:
        raise SoundError(f"{path.name} holds {other}, which is not read; {READ}, save it as one of them.")
    if not head.startswith(_HEADS) and not (head[0] == 0xFF and len(head) > 1 and head[1] & 0xE0 == 0xE0):
        raise SoundError(f"{path.name} is no sound file; {READ}.")
    promised = _promised(head)
    if promised is not None and promised > size + 1:
        raise _cut_short(path, f"after {size} of the {promised} bytes it promises")
    if tail and not _ends_ogg(tail):
        raise _cut_short(path, "before its last page")


def _promised(head: bytes) -> int | None:
    """Bytes of the whole file by its own head; None where it does not say, as while a recorder still writes."""
    if head[:4] in (b"RIFF", b"RIFX", b"FORM"):
        size = int.from_bytes(head[4:8], "little" if head[:4] == b"RIFF" else "big")
        return None if size in (0, 0xFFFFFFFF) else size + 8
    if head[:4] == b"RF64":
        return int.from_bytes(head[20:28], "little") + 8
    return None


def _ends_ogg(tail: bytes) -> bool:
    """Whether the last page is whole and says that it is the last: bit 4 of its flags, and the lengths of its segments
    (RFC 3533, section 6)."""
    at = tail.rfind(b"OggS")
    page = tail[at:]
    if at < 0 or len(page) < 27 or not page[5] & 4:
        return False
    table = page[27 : 27 + page[26]]
    return len(page) >= 27 + len(table) + sum(table)
