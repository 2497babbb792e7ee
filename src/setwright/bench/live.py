"""A string heard while it sounds, held against what the job wants of it, and written down when it is asked for.

The name of a string follows its peg: a tone that was heard to move takes the place of its string along.
"""

from __future__ import annotations

import hashlib
import math
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from setwright.bench.at_hand import AtHand, at_hand
from setwright.bench.journals import InShop, Source, job_from, keep, made, open_journal
from setwright.bench.plans import reference_of
from setwright.errors import InputError, QuestionableError, SetwrightError
from setwright.frozen import frozen
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.records.entries import Entry, live
from setwright.units.pitch import note_name, note_number

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from setwright.instrument.jobfile import Job
    from setwright.listening.live import Reading

    Array = NDArray[np.float64]

WIDE = 1.96  # standard uncertainties in a band that holds 95 %, of a normal distribution
LEAST = 0.1  # cents, finer bands are not told of a tone that still sounds
LONGEST = 12.0  # s of a note that are kept
BEFORE, RECENT = 0.1, 0.5  # s before its onset that are kept with it, and that are at hand for it
ANOTHER = 0.02  # s, by which the onset of another note differs
SAME = 60.0  # cents, by which a note measured as a whole may differ from what was shown of it
UNSURE = 100.0  # cents, by which a string must be nearer than the next
FRETTED = 70.0  # cents from all its places, from which an open string may be a fretted one
LIMIT = 0.999  # of full scale, from which a sample is clipped
HZ = (25.0, 1600.0)  # of an open string that can be followed


@frozen
class Marks:
    """What is listened for. own: (S) where strings are to stand in the end [Hz]; stand: (S), or (S) and (S) more, where
    they may stand by now, by which they are named [Hz]; tolerance: half width of the slot about `own` [cents]. peg: the
    string at hand, from 1, to be set to `to` [Hz]; None where the step is another. names: of `own`."""

    own: tuple[float, ...]
    stand: tuple[float, ...]
    tolerance: float
    names: tuple[str, ...]
    peg: int | None = None
    to: float | None = None


@frozen
class Shown:
    """What is shown of the sound so far. None: not known. cents: from the string's own pitch; half: of the band that
    holds 95 % [cents]; off: cents still to go to its mark, up > 0; rests: the band lies inside its slot, about the mark
    of the peg at hand, else about its own pitch. All these are of the pitch at this moment, for the hand. What is kept
    is where it settles once its glide is over: settled [Hz], settled_cents from its own pitch, settled_half of the band
    that holds 95 % [cents], the glide still to come in it."""

    time: float  # s
    state: str
    level: float  # dB of full scale, root mean square
    clipped: bool
    hertz: float | None = None
    half: float | None = None
    string: int | None = None
    cents: float | None = None
    off: float | None = None
    rests: bool = False
    speed: float | None = None  # cents/s
    ringing: float | None = None  # s
    doubt: str = ""
    refused: str = ""
    settled: float | None = None
    settled_cents: float | None = None
    settled_half: float | None = None


@frozen
class Played:
    """A note that was heard. samples: (N) with a little before its onset. string: from 1. half: of the band that holds
    95 % [cents]; away: cents from where the string was last known to stand or is to stand."""

    samples: Any
    rate: float
    string: int
    hertz: float
    half: float
    away: float = 0.0


def marks_of(job: Source, look: Callable[[], AtHand] | None = None) -> Marks:
    """What a job wants to hear.

    Args:
        job: path of the job file, or a visit.
        look: gives its step at hand; otherwise it is worked out.
    Returns: the marks; of a job without a plan, those of its wanted tuning.
    Raises: FileFormatError, InputError, QuestionableError for files that cannot be used.
    """
    try:
        found = at_hand(job) if look is None else look()
    except SetwrightError:  # what is wrong with the job is told by the page that plans it
        read = job_from(job)
        own = tuple(one.si for one in read.want.tuning)
        entries = live(open_journal(job, None, read)[1].entries)
        return _marks(read, own, (*_last_heard(read, own, entries), *own))
    read, standing = found.job, found.next.standing
    own = found.next.wanted or tuple(one.si for one in read.want.tuning)
    stand = (*_last_heard(read, own, found.last[::-1]), *own)
    if standing is not None:
        stand = tuple(hz * math.exp(c / CENTS_PER_LOG) for hz, c in zip(own, standing.cents, strict=True))
    advice = found.next.advice
    if advice is not None and advice.do == "tune" and advice.string is not None and advice.hertz is not None:
        return _marks(read, own, stand, advice.string + 1, advice.hertz)
    return _marks(read, own, stand)


def _marks(
    job: Job, own: tuple[float, ...], stand: tuple[float, ...], peg: int | None = None, to: float | None = None
) -> Marks:  # fmt: skip
    reference = reference_of([one.si for one in job.want.tuning])
    names = tuple(note_name(math.floor(note_number(hz, reference) + 0.5)) for hz in own)
    stand = tuple(hz if HZ[0] <= hz <= HZ[1] else own[i % len(own)] for i, hz in enumerate(stand))
    return Marks(own, stand, job.want.pitch_tolerance.si, names, peg, to)


def _last_heard(job: Job, own: tuple[float, ...], entries: Sequence[Entry]) -> tuple[float, ...]:
    """Where every open string was heard last, else where it was found, else where it is wanted [Hz]."""
    at_pitch = job.found.state == "at pitch" and len(job.found.tuning) == len(own)
    out = [one.si for one in job.found.tuning] if at_pitch else list(own)
    for one in entries:
        string, value = one.place.string, one.heard or one.value
        if one.what not in ("pitch", "tune") or one.place.fret is not None or one.place.harmonic or string is None:
            continue
        if value is not None and string <= len(out):
            out[string - 1] = value.si if value.kind == "pitch" else own[string - 1] * 2.0 ** (value.si / 1200.0)
    return tuple(out)


class Ear:
    """Listens for one page: sound goes in block by block, what is to be shown comes out; the last note is kept."""

    def __init__(self, rate: float, marks: Marks) -> None:
        """Begin to listen.

        Args:
            rate: of the samples [Hz].
            marks: what is listened for.
        Raises: InputError for a rate or a tuning that cannot be.
        """
        from setwright.listening.live import Live

        self.rate = rate
        self.marks = marks
        self._live = Live(rate, marks.stand)
        self._begin()
        self._last: Played | None = None

    def _begin(self) -> None:
        self._count = 0  # samples that came
        self._recent: list[Array] = []
        self._kept: list[Array] = []  # of the note that sounds
        self._first = 0  # sample of the first that is kept
        self._onset: float | None = None
        self._moved = self._clipped = -1.0  # s, until when the tone moved, and until when clipping is told
        self._sounding: Shown | None = None  # of the note that sounds, its last pitch
        self._latest: Shown | None = None

    @property
    def played(self) -> Played | None:
        """The last note whose string is known, as far as it was heard; None before the first."""
        return self._cut_out() or self._last

    def push(self, block: Array) -> Shown | None:
        """More sound.

        Args:
            block: (N) samples of full scale 1.
        Returns: what is to be shown now; None where too little came yet.
        Raises: InputError for samples that are no numbers.
        """
        import numpy as np

        block = np.asarray(block, dtype=np.float64)
        reading = self._live.push(block)
        self._count += len(block)
        if self._count - self._first < LONGEST * self.rate:
            self._kept.append(block)
        self._recent.append(block)
        while sum(map(len, self._recent[1:])) > RECENT * self.rate:
            del self._recent[0]
        now = self._count / self.rate
        if len(block) and float(np.abs(block).max()) >= LIMIT:
            self._clipped = now + 1.0
        if reading is not None:
            self._latest = self._shown(reading, now < self._clipped)
            self._follow(reading, self._latest)
        return self._latest

    def aim(self, marks: Marks) -> None:
        """Listen for something else from now on, as after an entry in the journal.

        Args:
            marks: what is listened for.
        """
        import numpy as np

        if marks != self.marks:
            self.marks = marks
            self._live.tuning = np.asarray(marks.stand, dtype=np.float64)

    def begin_anew(self) -> None:
        """Sound was lost: what comes next does not go on from what came before. The last note is still there."""
        from setwright.listening.live import Live

        self._last = self.played
        self._live = Live(self.rate, self._live.tuning.tolist())
        self._begin()

    def _shown(self, reading: Reading, clipped: bool) -> Shown:
        string = None if reading.string is None else (reading.string - 1) % len(self.marks.own) + 1
        base = Shown(
            reading.time, reading.state, reading.level, clipped, string=string, speed=reading.speed,
            ringing=reading.ringing, doubt=self._doubt_of(reading, string), refused=reading.refused or "",
        )  # fmt: skip
        if reading.hertz is None or reading.sd is None:
            return base
        base = replace(base, hertz=reading.hertz, half=max(WIDE * reading.sd, LEAST))
        if reading.settled is not None and reading.settled_sd is not None:
            base = replace(base, settled=reading.settled, settled_half=max(WIDE * reading.settled_sd, LEAST))
        if string is None:
            return base
        own = self.marks.own[string - 1]
        if base.settled is not None:
            base = replace(base, settled_cents=CENTS_PER_LOG * math.log(base.settled / own))
        mark = self.marks.to if self.marks.to and string == self.marks.peg else own
        off = CENTS_PER_LOG * math.log(mark / reading.hertz)
        rests = reading.state == "ringing" and abs(off) + max(WIDE * reading.sd, LEAST) <= self.marks.tolerance
        return replace(base, cents=CENTS_PER_LOG * math.log(reading.hertz / own), off=off, rests=rests)

    def _doubt_of(self, reading: Reading, string: int | None) -> str:
        """What is doubtful about the name of a string that may stand at either of two pitches."""
        if string is None or reading.doubt is None or reading.hertz is None:
            return reading.doubt or ""
        hertz, count = reading.hertz, len(self.marks.own)
        off = [abs(CENTS_PER_LOG * math.log(hertz / one)) for one in self._live.tuning]
        least = [min(off[i::count]) for i in range(count)]
        other = min((i for i in range(count) if i != string - 1), key=lambda i: least[i], default=None)
        if other is None or least[other] - least[string - 1] >= UNSURE:
            return ""
        return f"it may be string {other + 1} as well"

    def _follow(self, reading: Reading, shown: Shown) -> None:
        """Keep the note that sounds, and let the name of its string follow its peg."""
        if reading.ringing is None:
            self._last, self._sounding, self._onset = self.played, None, None
            return
        onset = reading.time - reading.ringing
        if self._onset is None or abs(onset - self._onset) > ANOTHER:
            self._last, self._sounding = self.played, None
            self._onset, self._moved = onset, -1.0
            self._kept, self._first = list(self._recent), self._count - sum(map(len, self._recent))
        if shown.state == "moving":
            self._moved = reading.time
        if shown.hertz is None or shown.string is None or shown.doubt:
            return
        self._sounding = shown
        if self._moved > 0.0 and HZ[0] <= shown.hertz <= HZ[1]:
            self._live.tuning[shown.string - 1] = shown.hertz

    def _cut_out(self) -> Played | None:
        """The note that sounds, from where it was not moved any more."""
        import numpy as np

        shown = self._sounding
        if shown is None or shown.string is None or shown.hertz is None or shown.half is None or self._onset is None:
            return None
        begin = max(self._onset - BEFORE, self._moved) - self._first / self.rate
        samples = np.concatenate(self._kept)
        part = samples[max(round(begin * self.rate), 0) : round(shown.time * self.rate) - self._first]
        places = (*self._live.tuning[shown.string - 1 :: len(self.marks.own)], self.marks.own[shown.string - 1])
        away = min(abs(CENTS_PER_LOG * math.log(shown.hertz / one)) for one in places)
        return Played(part, self.rate, shown.string, shown.hertz, shown.half, away)


def write_note(
    job: InShop, played: Played, name: str = "", sure: bool = False, who: str = "", when: datetime | None = None
) -> tuple[Entry, ...]:
    """Measure a note as a whole and put its pitch into the journal of a visit.

    Args:
        job: the visit.
        played: the note.
        name: of its recording, to be kept with the visit; "" to keep none.
        sure: an unlikely value is meant.
        who: plays.
        when: the time, None for now, by the clock of the bench.
    Returns: the entry as kept.
    Raises: InputError for a note that cannot be trusted; QuestionableError for an unlikely pitch. Nothing is kept then.
    """
    import soundfile

    from setwright.bench.hearing import Hearing, write_down
    from setwright.listening.notes import measure
    from setwright.listening.sound import Sound
    from setwright.listening.takes import Heard

    note = measure(Sound(played.samples, played.rate), played.hertz)
    if note.refused is not None or note.first_partial is None or note.first_partial_sd is None:
        raise InputError(f"this note is not to be trusted: {note.refused}; play it again and let it ring.")
    off = CENTS_PER_LOG * math.log(note.first_partial / played.hertz)
    if abs(off) > SAME:
        raise InputError(
            f"as a whole this note is {note.first_partial:.2f} Hz, not the {played.hertz:.2f} Hz that were shown; play "
            "the string again, alone."
        )
    if played.away > FRETTED and not sure:
        raise QuestionableError(
            f"string {played.string} is heard {played.away:.0f} c from where it stands and from its own pitch; if that "
            "is no fretted note, say that it is meant so."
        )
    words = f"pitch string {played.string} = {note.first_partial:.4f} Hz ± {max(note.first_partial_sd, 0.001):.3f} c"
    entry = made(job_from(job), ["read", words], who, sure, when)
    if not name:
        return (keep(job, ["read", words], who=who, sure=sure, when=entry.when).entry,)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, name)
        soundfile.write(path, played.samples, round(played.rate), "PCM_24", format="WAV")
        hearing = Hearing(
            name, hashlib.sha256(path.read_bytes()).hexdigest(), len(played.samples) / played.rate, played.rate, 1, 1,
            (Heard(note, played.string, 0, "open"),),
        )  # fmt: skip
        return write_down(hearing, job, who=who, when=entry.when, recording=str(path)).entries


def plain(shown: Shown) -> dict[str, Any]:
    """What is shown, as JSON can hold it.

    Args:
        shown: by an ear.
    Returns: its fields by their names.
    """
    return asdict(shown)
