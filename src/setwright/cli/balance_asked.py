"""What is tried on a balance, as it is typed: options of the command line, fields of the page."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.bench.balance_try import Tries
    from setwright.bench.believed import Believed
    from setwright.instrument.string_sets import Gauge

TURNED = ("claw", "claw_treble", "claw_bass", "pivots", "pivot_treble", "pivot_bass")
ASKED = (*TURNED, "springs", "strings", "tuning", "attitude", "temperature")
FINEST = 32  # of a turn
LONGEST = 200  # letters
_COUNT = re.compile(r"[+-]?\d{1,2}")
_PLACES = re.compile(r"\d{1,2}(?:(?:\s*[,+ ]\s*\d{1,2})+|\s*,)")


def tries_from(asked: Mapping[str, str], one: Believed) -> Tries:
    """What is tried.

    Args:
        asked: names of `ASKED` -> what was typed; "" or nothing where it stays.
        one: the instrument now.
    Returns: it.
    Raises: InputError, UnitError.
    """
    from dataclasses import replace

    from setwright.bench.balance_try import Tries
    from setwright.cli.predict import changes_from

    typed = {name: " ".join(str(asked.get(name) or "").split()) for name in ASKED}
    for name, text in typed.items():
        if len(text) > LONGEST:
            raise InputError(
                f"--{name.replace('_', '-')}: {text[:20]!r}... is longer than {LONGEST} letters; shorten it."
            )
    given: dict[str, str | tuple[str, ...] | None] = {
        name: typed[name] or None for name in (*TURNED, "attitude", "temperature")
    }
    changes = changes_from(given, one.job)
    count, hooks = _springs(typed["springs"], one)
    return Tries(replace(changes, springs=count), hooks, _strings(typed["strings"]), _tuning(typed["tuning"], one))


def _springs(text: str, one: Believed) -> tuple[int | None, tuple[int, ...] | None]:
    """A number of springs, or their places."""
    plain = text.replace("−", "-")
    if not plain:
        return None, None
    if _COUNT.fullmatch(plain):
        now = int(one.noted.springs.sum())
        count = now + int(plain) if plain[0] in "+-" else int(plain)
        if count < 0:
            raise InputError(f"--springs: {text!r} leaves fewer than none; {now} hang now.")
        return count, None
    if _PLACES.fullmatch(plain):
        return None, tuple(int(place) for place in re.findall(r"\d+", plain))
    raise InputError(f"--springs: {text[:40]!r} is no count; write 4, +1 for one more, or the places, as 1,3,5.")


def _strings(text: str) -> tuple[Gauge, ...] | None:
    from setwright.cli.strings_given import gauges_of, words_of

    return tuple(gauges_of(words_of(text), "--strings")) if text else None


def _tuning(text: str, one: Believed) -> tuple[float, ...] | None:
    from setwright.bench.plans import reference_of
    from setwright.bench.tunings import named_tuning
    from setwright.cli.strings_given import notes_of

    if not text:
        return None
    reference = reference_of([amount.si for amount in one.job.want.tuning])
    count, scale = one.plain.string_count, float(one.plain.fretboard.scale)
    found = named_tuning(text, count, scale, reference)
    notes = notes_of(text, reference) if found is None else found
    return tuple(float(hz) for hz in notes)


def turned(turns: float) -> str:
    """Turns as a field holds them, to the nearest that a hand sets.

    Args:
        turns: [turns].
    Returns: e.g. "+3/8", "-1 1/4", "" for none.
    """
    parts = math.floor(abs(turns) * FINEST + 0.5)
    if not parts:
        return ""
    whole, over = divmod(parts, FINEST)
    shared = math.gcd(over, FINEST)
    told = [str(whole)] * bool(whole) + [f"{over // shared}/{FINEST // shared}"] * bool(over)
    return ("+" if turns > 0.0 else "-") + " ".join(told)


def nudged(asked: Mapping[str, str], nudge: str, one: Believed) -> dict[str, str]:
    """What is typed, with one of its screws turned a little farther.

    Args:
        asked: as typed.
        nudge: name of a screw and turns, e.g. "claw -1/8"; anything else changes nothing.
        one: the instrument now.
    Returns: what is typed then.
    Raises: InputError, UnitError.
    """
    from setwright.cli.predict import changes_from

    name, _, by = nudge.partition(" ")
    if name not in ("claw", "pivots") or by not in ("+1/8", "-1/8", "+1", "-1", "+1/16", "-1/16"):
        return dict(asked)
    now = changes_from({name: asked.get(name) or None}, one.job)
    step = changes_from({name: by}, one.job)
    total = (now.claw[0] + step.claw[0]) if name == "claw" else (now.pivots[0] + step.pivots[0])
    return {**asked, name: turned(total)}
