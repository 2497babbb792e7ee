"""setwright strings: a set of strings at pitch, or the set for a wanted feel."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from setwright.cli.asked import json_option, say, say_json, source_of, system_of, units_option, visit_options
from setwright.cli.strings_given import (
    Asked,
    gauges_of,
    notes_of,
    pitches_of,
    reference_of,
    scales_of,
    slots_of,
    title_of,
    with_known,
    words_of,
)
from setwright.errors import InputError
from setwright.units import read_force

if TYPE_CHECKING:
    from setwright.bench.string_feel import Suggestion
    from setwright.bench.strings import StringSheet

OWN = ("tuning", "scale", "reference", "capo", "bass", "mass", "printed", "slot", "was", "was_tuning", "was_scale")


@click.command("strings")
@click.argument("what", nargs=-1)
@click.option("--tuning", metavar="NOTES", help='standard, baritone, standard -2, or notes: "E4 B3 G3 D3 A2 E2".')
@click.option("--scale", metavar="LENGTH", help='"25.5 in", "648 mm"; fanned, string 1 first: "25.5 in, 27 in".')
@click.option("--reference", metavar="PITCH", help='Pitch of A4: "442 Hz".')
@click.option(
    "--capo", type=int, metavar="FRET", help="Fret a capo stands at; pitch and length change, the pull stays."
)
@click.option("--bass", is_flag=True, help="It is a bass; otherwise the thickness of string 1 tells.")
@click.option("--mass", multiple=True, metavar="TEXT", help='A string as weighed: "4: 2.31 g/m ± 0.02 g/m".')
@click.option("--printed", multiple=True, metavar="TEXT", help='A maker\'s tension: "1: 16.2 lb at E4, 25.5 in".')
@click.option("--slot", metavar="WIDTHS", help='Nut slots from string 1: ".011 .014 .018 .028 .038 .048".')
@click.option("--was", metavar="SET", help="The set that was on, to compare with.")
@click.option("--was-tuning", metavar="NOTES", help="Its tuning; otherwise that of --tuning, with --feel standard.")
@click.option("--was-scale", metavar="LENGTH", help="Its scale length; otherwise that of --scale.")
@click.option("--feel", type=click.Choice(["same", "equal"]), help="Suggest a set: as --was, or equal on all strings.")
@click.option(
    "--pull", metavar="FORCE", help='With --feel equal: of every string, "16 lb"; otherwise the mean of --was.'
)
@visit_options
@json_option
@units_option
def command(
    what: tuple[str, ...], visit: str | None, shop: str | None, as_json: bool, units: str | None, **given: Any
) -> None:
    """Tension, strength and stretch of a set at pitch, and what about it wants a look.

    WHAT is a set from the thinnest string, ".010 .013 .017 .026w .036w .046w", or a job file, whose strings are taken
    as found and as wanted. With --feel the set is what is asked for: leave WHAT out.
    """
    from setwright.bench.data import document
    from setwright.cli.feel_table import feel_text
    from setwright.cli.set_table import sheets_text

    asked = Asked(**given)
    if asked.feel is not None:
        if visit is not None:
            raise InputError("--feel asks about a set alone; leave out --visit, or leave out --feel.")
        suggestion = _suggestion(what, asked)
        system = system_of(units, _written_in(asked.scale))
        if as_json:
            say_json(document("feel", suggestion))
        else:
            say(feel_text(suggestion, system))
        return
    asked.refuse(("pull",), "only --feel equal asks for a pull")
    sheets, default = _sheets(what, asked, visit, shop)
    if as_json:
        say_json(document("strings", sheets))
    else:
        say(sheets_text(sheets, system_of(units, default)))


def _written_in(scale: str | None) -> str:
    return "mm" if scale and "m" in scale.lower() else "inch"


def _sheets(
    what: tuple[str, ...], asked: Asked, visit: str | None, shop: str | None
) -> tuple[tuple[StringSheet, ...], str]:
    """The sheets, and the system of units to answer in unless another is asked for."""
    from setwright.bench.journals import job_from
    from setwright.bench.plans import preferred_system
    from setwright.bench.string_flags import flagged_sheets_of

    if visit is not None or (len(what) == 1 and what[0].endswith(".toml")):
        asked.refuse(OWN, "the job file says that already")
        job = job_from(source_of(" ".join(what) or None, visit, shop))
        return flagged_sheets_of(job), preferred_system(job)
    if not what:
        raise InputError('no strings are named; write a set from the thinnest, a job file, or --feel with "--was SET".')
    return (_sheet(words_of(" ".join(what)), asked),), _written_in(asked.scale)


def _sheet(words: list[str], asked: Asked) -> StringSheet:
    """A set as typed, with its flags."""
    from setwright.bench.string_flags import flagged
    from setwright.bench.strings import string_sheet
    from setwright.bench.tunings import for_bass, spread_scales, with_capo

    gauges = with_known(gauges_of(words, "strings"), asked.mass, asked.printed)
    thinnest, thickest = scales_of(asked.scale)
    reference, bass = reference_of(asked.reference), asked.bass or for_bass(gauges)
    hertz = pitches_of(asked.tuning, len(gauges), thinnest, reference, bass)
    _one_each(len(gauges), len(hertz))
    length = spread_scales(thinnest, thickest, len(gauges))
    sounding = with_capo(gauges, hertz, length, asked.capo or 0)
    title = title_of(asked.scale or "", asked.capo)
    scale = 0.5 * (thinnest + thickest)
    sheet = string_sheet(gauges, sounding[0], scale, sounding[1], title=title, reference=reference)
    slots = None if asked.slot is None else slots_of(asked.slot, len(gauges))
    if asked.was is None:
        asked.refuse(("was_tuning", "was_scale"), "no set that was on is named with --was")
    return flagged(sheet, slots, _was(asked, asked.was_tuning or asked.tuning))


def _one_each(strings: int, pitches: int) -> None:
    if strings != pitches:
        raise InputError(f"{strings} strings and {pitches} pitches; write one pitch per string, from the thinnest.")


def _was(asked: Asked, tuning: str | None) -> StringSheet | None:
    """The set that was on."""
    from setwright.bench.strings import string_sheet
    from setwright.bench.tunings import for_bass, spread_scales

    if asked.was is None:
        return None
    gauges = gauges_of(words_of(asked.was), "--was")
    scale = asked.was_scale or asked.scale
    thinnest, thickest = scales_of(scale, "--was-scale" if asked.was_scale else "--scale")
    reference = reference_of(asked.reference)
    bass = asked.bass or for_bass(gauges)
    hertz = pitches_of(
        tuning, len(gauges), thinnest, reference, bass, "--was-tuning" if asked.was_tuning else "--tuning"
    )
    _one_each(len(gauges), len(hertz))
    length = spread_scales(thinnest, thickest, len(gauges))
    return string_sheet(
        gauges, hertz, 0.5 * (thinnest + thickest), length, title=title_of(scale or ""), reference=reference
    )


def _suggestion(what: tuple[str, ...], asked: Asked) -> Suggestion:
    """The set for a feel."""
    from setwright.bench.string_feel import equal_feel, same_feel
    from setwright.bench.string_flags import flagged
    from setwright.bench.tunings import BASS_PITCH, bass_string, named_tuning, spread_scales

    if what:
        raise InputError("with --feel the set is what is asked for; leave it out, or name the old one with --was.")
    asked.refuse(("capo",), "a capo does not change the pull")
    asked.refuse(("mass", "printed"), "these are known of a set at hand, not of one asked for")
    was = _was(asked, asked.was_tuning or "standard")
    thinnest, thickest = scales_of(asked.scale)
    reference = reference_of(asked.reference)
    old_bass = asked.bass or (was is not None and bass_string(was.lines[0].diameter))
    if was is not None:
        hertz = pitches_of(asked.tuning, len(was.lines), thinnest, reference, old_bass)
    elif named_tuning(asked.tuning or "standard", 6, thinnest) is not None:
        raise InputError(
            "--tuning: how many strings? write the notes from string 1, or the set that was on with --was."
        )
    else:
        hertz = notes_of(asked.tuning or "", reference)
    bass = old_bass or bool(hertz[0] < BASS_PITCH)
    length = spread_scales(thinnest, thickest, len(hertz))
    title = title_of(asked.scale or "")
    if asked.feel == "same":
        asked.refuse(("pull",), "--feel same takes the pull from the set that was on")
        if was is None:
            raise InputError('--feel same: as which set? write it with --was ".010 .013 .017 .026w .036w .046w".')
        made = same_feel(was, hertz, length, bass, title, reference)
    else:
        pull = None if asked.pull is None else read_force(asked.pull, "--pull").si
        made = equal_feel(pull, hertz, length, bass, was, title, reference)
    if asked.slot is None:
        return made
    return replace(made, sheet=flagged(made.sheet, slots_of(asked.slot, len(hertz)), was))
