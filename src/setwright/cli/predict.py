"""setwright predict: what some turns would do."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import click

from setwright.cli.asked import json_option, say, say_json, source_of, system_of, units_option, visit_options
from setwright.cli.turns_asked import TURNS, claw_options, pivot_options, state_options
from setwright.errors import InputError
from setwright.units import read_length, read_temperature, read_turns
from setwright.units.pitch import read_pitch
from setwright.units.read import read_cents

if TYPE_CHECKING:
    from setwright.bench.whatif import Changes
    from setwright.instrument.jobfile import Job

EACH = re.compile(r"\s*(?P<string>\d+)\s*:\s*(?P<rest>.+)$")
MOST_TURNS = 40.0
MOST_ROD = 2.0  # turns
THICKEST = 5e-3  # m, of a shim
HIGHEST = 25e-3  # m, of a wedge


@click.command("predict")
@click.argument("job", required=False)
@claw_options
@click.option("--springs", metavar="COUNT", help="4 springs, or +1 for one more, -1 for one less.")
@pivot_options
@click.option("--saddle", metavar="STRING:TURNS", multiple=True, help="Height of a saddle: 3:+1/2 is half a turn up.")
@click.option("--length", metavar="STRING:TURNS", multiple=True, help="Length of a saddle: 3:+1 is one turn back.")
@click.option("--strip", metavar="LENGTH", help='Strip shim at the heel end: ".020 in" in, "-.020 in" out.')
@click.option("--rod", metavar=TURNS, help="Truss rod: +1/8 is an eighth of a turn tighter.")
@click.option("--peg", metavar="STRING:PITCH", multiple=True, help='A peg: "3:-20 c", or "3:F#3". In the order given.')
@click.option("--wedge", metavar="LENGTH", help="A wedge props the plate at this rear gap.")
@state_options
@click.option("--samples", type=click.IntRange(32, 20000), default=256, help="Instruments the bands are made of.")
@visit_options
@json_option
@units_option
def command(
    job: str | None,
    visit: str | None,
    shop: str | None,
    as_json: bool,
    units: str | None,
    samples: int,
    **asked: str | tuple[str, ...] | None,
) -> None:
    """Predict what turns would do to the instrument as found in JOB: before, with the pegs left alone, retuned."""
    from setwright.bench.data import document
    from setwright.bench.journals import job_from
    from setwright.bench.plans import preferred_system
    from setwright.bench.whatif import what_if
    from setwright.cli.prediction import prediction

    read = job_from(source_of(job, visit, shop))
    changes = changes_from(asked, read)
    result = what_if(read, changes, samples)
    if as_json:
        say_json(document("prediction", result))
        return
    say(prediction(result, asked_for(asked), system_of(units, preferred_system(read))))


def asked_for(asked: dict[str, str | tuple[str, ...] | None]) -> str:
    """The changes as they were typed, for the head of the answer."""
    parts: list[str] = []
    for name, value in asked.items():
        each = (value,) if isinstance(value, str) else value or ()
        parts += [f"{name.replace('_', ' ')} {one}" for one in each]
    return ", ".join(parts)


def changes_from(asked: dict[str, str | tuple[str, ...] | None], job: Job) -> Changes:
    """The changes asked for.

    Args:
        asked: option -> what was typed.
        job: for springs and pitches as found.
    Returns: the changes.
    Raises: InputError, UnitError.
    """
    from setwright.bench.whatif import Changes

    def one(name: str) -> str | None:
        value = asked.get(name)
        return value if isinstance(value, str) else None

    def many(name: str) -> tuple[str, ...]:
        value = asked.get(name)
        return value if isinstance(value, tuple) else ()

    return Changes(
        claw=_pair(one("claw"), one("claw_treble"), one("claw_bass"), "claw", "in"),
        springs=_springs(one("springs"), job.found.springs),
        pivots=_pair(one("pivots"), one("pivot_treble"), one("pivot_bass"), "pivots", "up"),
        saddle_height=tuple(_turned(text, "saddle", "up") for text in many("saddle")),
        saddle_length=tuple(_turned(text, "length", "") for text in many("length")),
        strip=_length(one("strip"), "--strip", THICKEST) or 0.0,
        rod=_turns(one("rod"), "--rod", "tighter", MOST_ROD),
        pegs=tuple(_pegs(many("peg"), job)),
        attitude=one("attitude"),
        temperature=_temperature(one("temperature")),
        wedge=_length(one("wedge"), "--wedge", HIGHEST),
    )


def _turns(text: str | None, where: str, positive: str, most: float = MOST_TURNS) -> float:
    """Turns, the word "turn" left out or not."""
    if text is None:
        return 0.0
    spelled = text if re.search(r"[a-zA-Z]", text) else f"{text} turn"
    turns = read_turns(spelled, where, positive).si
    if abs(turns) > most:
        raise InputError(f"{where}: {text!r} is more than {most:g} turns; check it.")
    return turns


def _pair(both: str | None, treble: str | None, bass: str | None, name: str, positive: str) -> tuple[float, float]:
    base = _turns(both, f"--{name}", positive)
    single = name.removesuffix("s")
    return (
        base + _turns(treble, f"--{single}-treble", positive),
        base + _turns(bass, f"--{single}-bass", positive),
    )


def _springs(text: str | None, found: int) -> int | None:
    """A count, or a signed difference from the count found."""
    if text is None:
        return None
    plain = text.strip().replace("−", "-")
    if not re.fullmatch(r"[+-]?\d{1,2}", plain):
        raise InputError(f"--springs: {text!r} is no count; write 4, or +1 for one more, -1 for one less.")
    count = found + int(plain) if plain[0] in "+-" else int(plain)
    if count < 0:
        raise InputError(f"--springs: {text!r} leaves fewer than none; {found} were found.")
    return count


def _split(text: str, name: str) -> tuple[int, str]:
    match = EACH.match(text)
    if match is None:
        raise InputError(
            f"--{name}: {text!r} does not name a string; write for instance 3:+1/2, string 1 is the thinnest."
        )
    return int(match["string"]), match["rest"]


def _turned(text: str, name: str, positive: str) -> tuple[int, float]:
    string, rest = _split(text, name)
    return string, _turns(rest, f"--{name}", positive)


def _length(text: str | None, where: str, most: float) -> float | None:
    if text is None:
        return None
    metres = read_length(text, where).si
    if abs(metres) > most:
        raise InputError(f"{where}: {text!r} is more than {most * 1e3:g} mm; check number and unit.")
    return metres


def _temperature(text: str | None) -> float | None:
    if text is None:
        return None
    kelvin = read_temperature(text, "--temperature").si
    if not 263.15 <= kelvin <= 323.15:
        raise InputError(f"--temperature: {text!r} is outside -10 to 50 C; check number and scale.")
    return kelvin


def _pegs(texts: tuple[str, ...], job: Job) -> list[tuple[int, float]]:
    """String and the pitch its peg is set to; cents count from the pitch as found, or from the peg's last one."""
    now = [one.si for one in job.found.pitches or job.found.tuning]
    out = []
    for text in texts:
        string, rest = _split(text, "peg")
        if not 1 <= string <= len(now):
            raise InputError(f"--peg: there is no string {string}; strings run from 1, the thinnest, to {len(now)}.")
        if re.match(r"\s*[+\-−]", rest):
            off = read_cents(rest if re.search(r"[a-zA-Z]", rest) else f"{rest} c", "--peg").si
            now[string - 1] *= 2.0 ** (off / 1200.0)
        else:
            now[string - 1] = read_pitch(rest, "--peg").si
        if not 15.0 <= now[string - 1] <= 1500.0:
            raise InputError(f"--peg: {text!r} sets string {string} outside 15 to 1500 Hz; check it.")
        out.append((string, now[string - 1]))
    return out
