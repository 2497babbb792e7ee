"""A pitch followed while it sounds: what a microphone hears goes in block by block, a reading comes out at once.

The first reading comes a tenth of a second after the onset, wide; its band narrows while the note rings. A peg may be
turned meanwhile. docs/physics/listening-live.md tells how.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from setwright.errors import InputError
from setwright.listening import live_glide
from setwright.listening.live_course import CENT, Course, Heard, bends_before, course, glide_since
from setwright.listening.live_sound import (
    HOPS,
    SLOW,
    Comb,
    Kept,
    Look,
    Thinned,
    comb_for,
    first_look,
    noise_through,
    window_for,
)

Array = NDArray[np.float64]
State = Literal["quiet", "attack", "ringing", "moving"]

RATES = (8000.0, 192000.0)  # Hz
HZ = (25.0, 1600.0)  # of an open string
LOWEST = 41.2  # Hz, of the strings where no tuning is told
FLAT = 1.06  # by which a string may be flat before its first reading comes late
NEED = 4.0  # periods of the lowest string, which a first look takes
SOONEST = 0.06  # s, no first look takes less
SKIP = 0.008  # s after the onset, of the pick
BEFORE = 15  # frames that are just before
RISES = ((BEFORE, 4.0), (6, 6.0), (0, 50.0))  # of the power of a frame over the loudest of so many just before it, with
# which a note begins; hum has gaps, and five frames are one period of it
RISING = 3  # frames a rise may take
AT_ONCE = 0.016  # s after an onset in which there is no other
BACK = 0.4  # s before the onset, of which the noise is taken
SILENT = 1e-8  # power of a frame, full scale 1, under which nothing begins
TRIES = (0.02, 0.4)  # s between looks and after the onset till when they are repeated
AGAIN, PAUSE = 0.25, 0.1  # s after the onset and the first look, when what was seen is looked at again
EXPLAINS = 0.5  # share of the peaks' weight a string must explain
LOW = 0.8  # number of the partial whose phase is taken to be bent where a course leaves something of phases
LOOSEST = 0.035  # rad^2 by which phases may depart from a course; more is no string
READ = 5  # frames from one reading to the next
STEADY, SELDOM = 0.8, 6  # s, after which a course is fitted so many times more seldom
LONGEST = 300  # moments of the phases that are kept
GONE = 2.5  # times the noise, under which no partial is left
LOUD = 3.0  # times the noise, under which a partial is not used
WIDEST = 40.0  # cents, standard uncertainty from which a pitch is not told
FAR = 350.0  # cents from every open string, from which none is named
UNSURE = 100.0  # cents by which the nearest string must be nearer than the next
SAME = 60.0  # cents, within which a tone struck again is that of the same string
SPAN, BEND = 0.36, 0.04  # s of the past a turn is read from, and between its bends
MOVES = (1.5, 3.0)  # cents and standard uncertainties a pitch must be off its course to be moving
LATE = 0.06  # of the window, by which a turn is read too late or too soon, standard uncertainty
OLD = 0.2  # s, how old a course must be for the pitch to have left it
REACH = 2.0  # of its own length, how far a course is trusted to go on
UNTOLD = 0.3  # of a glide expected from its course so far, its standard uncertainty
RESTS = (0.2, 0.8, 2.0)  # s a pitch must stay within so many cents and uncertainties to rest
LOST = 0.08  # relative, by which a pitch is no longer what was followed
MOVED = 0.003  # relative, from which partials are cut out about another pitch
LEAST_NOISE = 2e-3  # of a partial, the least noise it is taken to have
FAINT = 1e-3  # of the strongest partial, the least noise all are taken to have
LEVER = 3.0  # times what a course leaves over slowly, that may have been taken for a glide
USUAL_GLIDE = (3.0, 5.0)  # cents at the onset, and their spread (common practice, no source)
ALL = 6  # fits, one of which tries all strengths of what a course is made of
CALM = 20  # fits, before which noise is taken where a turn is looked for
ENOUGH = 1.5  # times the noise about a turn, from which it is explained anew with more
BLOCKS = (8, 24, 72)  # moments over which what the model leaves out is summed
DOUBT = 3.0  # samples' worth of the noise seen before
NO_TONE, FITS_NONE = "no tone stands above the noise", "its partials fit no string: talk, a knock or noise"


@dataclass(frozen=True)
class Reading:
    """What is heard now. None: not known."""

    time: float  # s from the first sample, the sound up to which it holds
    state: State
    level: float  # dB of full scale, root mean square of the last 48 ms
    hertz: float | None = None  # Hz, the first partial now
    sd: float | None = None  # cents
    speed: float | None = None  # cents/s at which it moves
    string: int | None = None  # of the tuning, from 1
    doubt: str | None = None  # which other string it may be, or why none is named
    ringing: float | None = None  # s since the onset
    settled: float | None = None  # Hz, the first partial once its glide is over; None while a peg is turned
    settled_sd: float | None = None  # cents
    refused: str | None = None  # why there is no pitch, in plain words


class Live:
    """Follows one string at a time."""

    def __init__(self, rate: float, tuning: Sequence[float] | None = None) -> None:
        """Begin to listen.

        Args:
            rate: of the samples [Hz].
            tuning: (S) nominal open strings from string 1 [Hz]; None: strings are not named.

        Raises:
            InputError: a rate or a tuning that cannot be.
        """
        if not RATES[0] <= rate <= RATES[1]:
            raise InputError(f"a rate of {rate:g} Hz cannot be listened to; {RATES[0]:g} to {RATES[1]:g} Hz are.")
        self.tuning = np.asarray(() if tuning is None else tuning, dtype=np.float64)
        if self.tuning.ndim != 1 or not all(HZ[0] <= hz <= HZ[1] for hz in self.tuning):
            raise InputError(f"a tuning needs a pitch for every string, each {HZ[0]:g} to {HZ[1]:g} Hz; check it.")
        self._thinned = Thinned(rate)
        self._kept = Kept(self._thinned.rate, -self._thinned.late)
        self._frames: Array = np.empty(0)
        lowest = float(self.tuning.min()) if len(self.tuning) else LOWEST
        self._need = max(NEED * FLAT / lowest, SOONEST)
        self._onset: float | None = None
        self._next_look = 0.0
        self._looked_again = False
        self._followed: Followed | None = None
        self._before: Followed | None = None  # what rang when the last note began
        self._string: int | None = None
        self._doubt: str | None = None
        self._unnamed = False
        self._refused: str | None = None

    def push(self, block: Array) -> Reading | None:
        """More sound.

        Args:
            block: (N) samples of full scale 1, any number of them.

        Returns:
            The latest reading; None where too little has come for a new one.

        Raises:
            InputError: a block that is no row of finite numbers.
        """
        block = np.asarray(block, dtype=np.float64)
        if block.ndim != 1 or not np.isfinite(block).all():
            raise InputError("a block of sound must be one row of finite samples; mix channels before.")
        self._frames = np.concatenate([self._frames, self._thinned.push(block)])
        size, told = self._kept.frame, False
        for first in range(0, len(self._frames) - size + 1, size):
            self._kept.add(self._frames[first : first + size])
            self._step()
            told = True
        self._frames = self._frames[len(self._frames) // size * size :]
        return self._reading() if told else None

    def _step(self) -> None:
        kept, now = self._kept, self._kept.now
        if self._begins():
            if self._followed is not None:
                self._before = self._followed
            elif self._before is None:
                self._string = self._doubt = None
            self._followed, self._onset, self._refused = None, now - kept.frame / kept.rate, None
            self._next_look, self._looked_again = self._onset + SKIP + self._need, False
        if self._onset is None:
            return
        if self._followed is None:
            if now >= self._next_look:
                self._look()
            return
        self._followed.step(kept)
        if self._unnamed:
            self._name(self._followed.course)
        if not self._looked_again and now > max(self._onset + AGAIN, self._followed.began + PAUSE):
            self._look_again()
        if self._followed is not None and self._followed.lost:
            self._followed, self._next_look = None, now + self._need
        if self._followed is not None and self._followed.over:
            self._onset = self._followed = self._before = None
            self._string = self._doubt = None

    def _begins(self) -> bool:
        """Whether a note began with the latest frame."""
        powers = list(self._kept.powers)
        if self._onset is not None and self._kept.now - self._onset < AT_ONCE:
            return False
        past = powers[-BEFORE - RISING : -RISING]
        rise = next(rise for frames, rise in RISES if len(past) >= frames)
        return len(past) > 0 and powers[-1] > SILENT and powers[-1] > rise * max(past)

    def _look(self) -> None:
        """A first look at a note; where there is no tone yet, another a little later."""
        assert self._onset is not None
        kept, now = self._kept, self._kept.now
        first = max(self._onset + SKIP, now - self._need - TRIES[0])
        look = first_look(kept.between(first, now), kept.rate)
        if look is None or look.share < EXPLAINS or look.string.fundamental > HZ[1]:
            self._refused = NO_TONE if look is None else FITS_NONE
            self._next_look = now + TRIES[0]
            if now > self._onset + TRIES[1]:
                self._onset = None
            return
        self._refused = None
        self._follow(look, first)

    def _follow(self, look: Look, first: float) -> None:
        assert self._onset is not None
        self._followed = Followed(look, self._kept, self._onset, first, self._before is not None)
        self._unnamed = True
        self._name(self._followed.course)

    def _name(self, one: Course | None) -> None:
        """Name the string of a tone whose course is known: as before where the same tone was struck again."""
        if one is None:
            return
        old = self._before.course if self._before is not None else None
        same = old is None or abs(np.log(one.hertz / old.hertz)) < SAME * CENT
        if self._string is None or not same:
            self._string, self._doubt = self._named(one.hertz)
        self._before, self._unnamed = None, False

    def _look_again(self) -> None:
        """The same again when more was heard; where it is another note, that one is followed."""
        assert self._followed is not None
        assert self._onset is not None
        self._looked_again = True
        kept, first = self._kept, self._onset + SKIP
        here = self._followed.string.fundamental
        look = first_look(kept.between(first, kept.now), kept.rate, here)
        if self._followed.moving:
            return
        if look is None or look.share < EXPLAINS or self._followed.loose > LOOSEST:
            self._onset = self._followed = self._before = self._string = self._doubt = None
            self._refused = FITS_NONE
        elif abs(np.log(look.string.fundamental / here)) > SAME * CENT:
            self._string = None
            self._follow(look, first)

    def _named(self, hertz: float) -> tuple[int | None, str | None]:
        """The string that is meant, and what is doubtful about it."""
        if not len(self.tuning):
            return None, None
        off = np.abs(np.log(hertz / self.tuning)) / CENT
        order = np.argsort(off, kind="stable")
        best = int(order[0])
        if off[best] > FAR:
            return None, f"no open string lies within {FAR:.0f} cents"
        if len(order) > 1 and off[order[1]] - off[best] < UNSURE:
            return best + 1, f"it may be string {int(order[1]) + 1} as well"
        return best + 1, None

    def _reading(self) -> Reading:
        kept, now = self._kept, self._kept.now
        recent = list(kept.powers)[-12:]
        level = 10.0 * float(np.log10(max(sum(recent) / len(recent), 1e-12)))
        if self._onset is None:
            return Reading(now, "quiet", level, refused=self._refused)
        ringing = now - self._onset
        told = self._followed.course if self._followed is not None else None
        if self._followed is None or told is None:
            return Reading(now, "attack", level, ringing=ringing, refused=self._refused)
        state: State = "moving" if self._followed.moving else "ringing"
        if told.sd > WIDEST:
            why = f"its pitch is known to {told.sd:.0f} cents only"
            return Reading(now, state, level, string=self._string, doubt=self._doubt, ringing=ringing, refused=why)
        hertz = told.hertz * float(np.exp(CENT * told.rise(now)))
        reading = Reading(now, state, level, hertz, told.sd, told.slope, self._string, self._doubt, ringing)
        if self._followed.moving:
            return reading
        return replace(reading, settled=told.settled, settled_sd=told.settled_sd)


class Followed:
    """One tone being followed."""

    def __init__(self, look: Look, kept: Kept, onset: float, first: float, rang: bool) -> None:
        """Begin with what was seen. look: it. kept: the sound. onset: [s]. first: [s] from where on it is used. rang:
        whether a tone was there before."""
        self.onset, self.rested, self.string = onset, onset, look.string
        self.long = window_for(look.string.fundamental)
        self.comb: Comb = comb_for(look.string, kept.rate, self.long)
        self.hop = max(round(self.long * kept.rate / HOPS), 1)
        self.width = len(self.comb.cuts)
        self.ends = kept.count - len(kept.between(first, kept.now)) + self.width  # sample after the next window
        self.noise = SLOW * self._heard_before(look, kept, rang)  # (N)
        self.floor = self.noise.copy()
        self.times: list[float] = []
        self.cycles: list[Array] = []
        self.amplitude: list[Array] = []
        self.since = first  # s, from where on the course is one
        self.moving = self.over = self.lost = False
        self.course: Course | None = None
        self.past: deque[Course] = deque(maxlen=64)
        self.calm: deque[Array] = deque(maxlen=CALM)  # noise, before a turn that is not seen yet adds to it
        self.began = kept.now
        self.frames = self.fits = self.judged = 0
        self.turned: NDArray[np.intp] | None = None  # strengths of a turn that counted when one was last looked for
        self.loose = 0.0  # squares of what the course leaves of the phases, by amplitude [rad^2]
        self.faint = 0
        self._hear(kept)
        if self.amplitude:
            self.floor = np.maximum(self.floor, 0.5 * SLOW * (FAINT * np.max(self.amplitude)) ** 2)
            self.noise = np.maximum(self.noise, self.floor)
        for _ in range(2):
            self._fit(kept.now)

    def _heard_before(self, look: Look, kept: Kept, rang: bool) -> Array:
        """(N) variance of the noise in every partial: before the note, where something was heard, or between peaks."""
        between = noise_through(look.noise, self.long, kept.rate)
        before = kept.between(self.onset - BACK, self.onset - 0.006)
        count = len(before) // self.width
        if count == 0:
            return np.full(len(look.string.numbers), between)
        pieces = before[-count * self.width :].reshape(count, self.width)
        power = np.mean([0.5 * np.abs(self.comb.at(one)) ** 2 for one in pieces], axis=0)
        power = np.maximum(power, np.median(power))
        return np.asarray(np.maximum(np.minimum(power, between) if rang else power, 1e-16))

    def step(self, kept: Kept) -> None:
        """Take in what has come."""
        self.frames += 1
        self._hear(kept)
        steady = not self.moving and kept.now - self.rested > STEADY
        if self.frames % (SELDOM * READ if steady else READ) == 0:
            self._fit(kept.now)
        if self.frames % (READ if self.moving else 4 * READ if steady else 2 * READ) == 0:
            self._judge(kept.now)
            if not self.lost and abs(np.log(self.string.fundamental / self.comb.string.fundamental)) > MOVED:
                self.comb = comb_for(self.string, kept.rate, self.long)

    def _hear(self, kept: Kept) -> None:
        """Amplitudes and phases of the windows that are full."""
        begin = kept.count - len(kept.samples)
        while kept.count >= self.ends:
            piece = kept.samples[self.ends - self.width - begin : self.ends - begin]
            cut = self.comb.at(piece)
            time = kept.time(self.ends - 0.5 * (self.width + 1))
            phase = np.angle(cut) / (2.0 * np.pi)
            if self.course is not None:
                expected = self.course.cycles(np.array([time]))[0]
            elif self.cycles:
                expected = self.cycles[-1] + self.string.hertz * (time - self.times[-1])
            else:
                expected = self.string.hertz * time
            self.times.append(time)
            self.cycles.append(expected + np.mod(phase - expected + 0.5, 1.0) - 0.5)
            self.amplitude.append(np.abs(cut))
            self.faint = 0 if (np.abs(cut) > GONE * np.sqrt(2.0 * self.floor / SLOW)).any() else self.faint + 1
            self.ends += self.hop
        for kind in (self.times, self.cycles, self.amplitude):
            del kind[: max(len(kind) - LONGEST, 0)]
        self.over = self.faint >= 2 * HOPS

    def _heard(self, since: float) -> Heard | None:
        """Phases from a time on; None where there are too few."""
        first = int(np.searchsorted(self.times, since))
        if len(self.times) - first < 2:
            return None
        amplitude = np.array(self.amplitude[first:])
        used = np.where(amplitude > LOUD * np.sqrt(2.0 * self.floor / SLOW), amplitude, 0.0)
        return Heard(np.array(self.times[first:]), np.array(self.cycles[first:]), used, self.noise)

    def _fit(self, now: float) -> None:
        """The course up to now, and the noise about it."""
        heard = self._heard(now - SPAN if self.moving else self.since)
        if heard is None or not (heard.amplitude > 0.0).any():
            return
        if self.moving:
            shapes = bends_before(now, SPAN, BEND)
        else:
            shapes = glide_since(self.rested, self.string, heard, self.rested > self.onset)
        glides = self.course is not None and not len(self.course.shapes.bends) and not self.moving
        likely = self.course.likely if self.course is not None and glides and self.fits % ALL else None
        found = course(heard, self.string, shapes, now, likely)
        self.fits += 1
        if not abs(np.log(found.hertz / self.comb.string.hertz[0])) < LOST:
            self.lost = True
            return
        if self.moving:
            found = self._sobered(heard, found, now)
            found = replace(found, sd=float(np.hypot(found.sd, LATE * self.long * found.slope)))
        self.loose = float((found.off**2).sum() / (heard.amplitude**2).sum())
        if not self.moving:
            turns = 2.0 * np.pi * LOW * found.hertz * (now - self.since)
            bent = float(np.sqrt(self.loose) / turns / CENT)
            found = replace(found, sd=float(np.hypot(found.sd, bent)))
            found = self._settling(found, heard, now)
        self.course, self.string = found, found.found
        if not self.moving:
            self.past.append(self.course)
            self.noise = self._noise(heard, self.course.off)
            self.calm.append(self.noise)

    def _settling(self, found: Course, heard: Heard, now: float) -> Course:
        """The same, what is left of its glide weighed against what usually is.

        What a course leaves over slowly, as where partials beat, may have bent phases that were taken for a glide.
        """
        jumps = found.off[HOPS:] - found.off[:-HOPS]
        white = 0.5 * float((jumps**2).sum()) * len(found.off) / max(len(jumps), 1) / float((heard.amplitude**2).sum())
        lasts, rates = now - self.since, found.shapes.rates
        part = found.shapes.rises(now)[: len(live_glide.SHARE)]
        bends = 2.0 * np.pi * LOW * found.hertz * live_glide.bends(float(rates[0]), lasts)
        mistaken = LEVER * float(np.sqrt(max(self.loose - white, 0.0)) / bends * part[0]) / CENT
        usual, spread = (size * float(live_glide.SHARE @ part) for size in USUAL_GLIDE)
        sure = found.left_sd**2 + mistaken**2
        gain = spread**2 / (spread**2 + sure)
        less = (1.0 - gain) * (usual - found.left)
        variance = gain * (found.settled_sd**2 + mistaken**2) + (1.0 - gain) * (found.sd**2 + spread**2)
        settled = found.settled * float(np.exp(-CENT * less))
        return replace(found, settled=settled, settled_sd=float(np.sqrt(variance)), left=found.left + less)

    def _sobered(self, heard: Heard, found: Course, now: float) -> Course:
        """A turn's course once more, with as much noise as was left about it."""
        more = SLOW * float((found.off**2 / heard.noise).sum() / max((heard.amplitude > 0.0).sum(), 1))
        if more < ENOUGH:
            return found
        return course(replace(heard, noise=more * heard.noise), self.string, found.shapes, now, found.likely)

    def _noise(self, heard: Heard, off: Array) -> Array:
        """(N) variance about the course as a slow fit sees it: noise, and what the course leaves out."""
        largest = self.floor
        for size in BLOCKS:
            count = len(off) // size
            if count == 0:
                break
            sums = off[len(off) - count * size :].reshape(count, size, -1).sum(axis=1)
            own = (DOUBT * self.floor + (sums**2).sum(axis=0) / size) / (DOUBT + max(count - 2, 0))
            largest = np.maximum(largest, own) if size > BLOCKS[0] else own
        return np.asarray(np.maximum(largest, (LEAST_NOISE * heard.amplitude.max(axis=0)) ** 2 + 1e-20))

    def _judge(self, now: float) -> None:
        """Whether the pitch has left its course, or rests again."""
        heard = self._heard(now - SPAN)
        if heard is None or self.course is None:
            return
        if self.moving:
            lasts, within, sure = RESTS
            moved = abs(self.course.rise(now - lasts))
            if moved < within + sure * self.course.sd and abs(self.course.slope) < 2.0 * within / lasts:
                self.moving, self.since, self.rested = False, now - lasts, now - lasts
                self.past.clear()
            self.calm.clear()
            return
        olds = [one for one in self.past if OLD < now - one.time < REACH * (one.time - self.rested)]
        olds = [olds[0], olds[-1]] if olds else []
        if not olds:
            return
        self.judged += 1
        likely = self.turned if self.judged % ALL else None
        here = course(replace(heard, noise=self.calm[0]), self.string, bends_before(now, SPAN, BEND), now, likely)
        self.turned = here.likely
        for old in olds:
            glided = old.rise(now)
            off = abs(np.log(here.hertz / old.hertz) / CENT - glided)
            sure = np.hypot(here.sd, old.sd) + UNTOLD * abs(glided)
            if off > MOVES[0] + MOVES[1] * float(sure):
                self.moving, self.course, self.noise = True, here, self.calm[0]
                return
