"""setwright strings: a set of strings at pitch."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import click

from setwright.cli.asked import json_option, say, say_json, system_of, units_option
from setwright.errors import InputError
from setwright.units import read_length
from setwright.units.pitch import A4, check_reference, read_pitch

if TYPE_CHECKING:
    from setwright.bench.strings import StringSheet
    from setwright.instrument.traits import Array

SCALES = (0.45, 1.0)  # m


@click.command("strings")
@click.argument("what", nargs=-1, required=True)
@click.option("--tuning", metavar="NOTES", help='standard, or notes from string 1: "E4 B3 G3 D3 A2 E2".')
@click.option("--scale", metavar="LENGTH", help='Scale length: "25.5 in", "648 mm".')
@click.option("--reference", metavar="PITCH", help='Pitch of A4: "442 Hz".')
@json_option
@units_option
def command(
    what: tuple[str, ...],
    tuning: str | None,
    scale: str | None,
    reference: str | None,
    as_json: bool,
    units: str | None,
) -> None:
    """Tension, strength and stretch of a set at pitch.

    WHAT is a set from the thinnest string, ".010 .013 .017 .026w .036w .046w", or a job file, whose strings are taken
    as found and as wanted.
    """
    from setwright.bench.data import document
    from setwright.cli.set_table import sheets_text

    sheets, default = _sheets(what, tuning, scale, reference)
    if as_json:
        say_json(document("strings", sheets))
        return
    say(sheets_text(sheets, system_of(units, default)))


def _sheets(
    what: tuple[str, ...], tuning: str | None, scale: str | None, reference: str | None
) -> tuple[tuple[StringSheet, ...], str]:
    """The sheets, and the system of units to answer in unless another is asked for."""
    from setwright.bench.plans import preferred_system
    from setwright.bench.strings import sheets_of, string_sheet
    from setwright.instrument.jobfile import read_job
    from setwright.instrument.string_sets import gauge

    if len(what) == 1 and what[0].endswith(".toml"):
        for name, value in (("--tuning", tuning), ("--scale", scale), ("--reference", reference)):
            if value is not None:
                raise InputError(f"{name}: the job file says that already; leave it out.")
        job = read_job(what[0])
        return sheets_of(job), preferred_system(job)
    words = " ".join(what).replace(",", " ").split()
    if not 3 <= len(words) <= 12:
        raise InputError(f"{len(words)} gauges are no set; write 3 to 12 from the thinnest, or the name of a job file.")
    gauges = [gauge(text, "strings") for text in words]
    metres = _scale(scale)
    hertz = _tuning(tuning or "standard", len(words), metres, _reference(reference))
    title = f"Strings at {scale}"
    return (string_sheet(gauges, hertz, metres, title=title),), "mm" if scale and "m" in scale.lower() else "inch"


def _scale(text: str | None) -> float:
    if text is None:
        raise InputError('the scale length is missing; write for instance --scale "25.5 in".')
    metres = read_length(text, "--scale").si
    if not SCALES[0] <= metres <= SCALES[1]:
        raise InputError(f"--scale: {text!r} is outside {SCALES[0] * 1e3:.0f} to {SCALES[1] * 1e3:.0f} mm; check it.")
    return metres


def _reference(text: str | None) -> float:
    return A4 if text is None else check_reference(read_pitch(text, "--reference").si)


def _tuning(text: str, count: int, scale: float, reference: float) -> Array:
    """Pitches of the open strings [Hz]."""
    from setwright.bench.strings import standard_tuning
    from setwright.instrument.traits import array

    if text.strip().casefold() == "standard":
        return standard_tuning(count, scale, reference)
    hertz = [read_pitch(note, "--tuning", reference).si for note in text.replace(",", " ").split()]
    for note, value in zip(text.replace(",", " ").split(), hertz, strict=True):
        if not (math.isfinite(value) and 15.0 <= value <= 1500.0):
            raise InputError(f"--tuning: {note!r} is outside 15 to 1500 Hz; check the octave.")
    return array(hertz)
