"""setwright hear: the notes of a recording."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from setwright.cli.asked import (
    json_option,
    progress_to,
    say,
    say_json,
    source_of,
    system_of,
    units_option,
    visit_options,
)
from setwright.cli.drawn import checked_output, put
from setwright.errors import InputError
from setwright.frozen import frozen

if TYPE_CHECKING:
    from setwright.bench.heard_notes import HeardMap
    from setwright.bench.heard_picture import Watched
    from setwright.bench.hearing import Hearing, Look, Written
    from setwright.bench.journals import Source
    from setwright.listening.takes import Kind

KINDS = ("open", "harmonic", "fretted")
FRETS = 22
GUITAR = 6  # strings of a tuning by its name, when nothing else is said
SCALE = 0.648  # m; a name means a guitar's tuning


@click.command("hear")
@click.argument("file")
@click.option("--job", metavar="PATH", help="The job whose instrument is heard; its journal takes the readings.")
@click.option(
    "--tuning", metavar="NOTES", help='Open strings from string 1, "E4 B3 G3 D3 A2 E2"; or standard, baritone.'
)
@click.option("--frets", type=click.IntRange(12, 36), help=f"Number of frets; otherwise the job's, or {FRETS}.")
@click.option("--reference", metavar="PITCH", help="Pitch of A4; otherwise 440 Hz.")
@click.option("--played", metavar="KINDS", help='What was played; otherwise all of "open harmonic fretted".')
@click.option("--order", metavar="STRINGS", help='Open strings in the order played, at whatever pitch: "6 5 4 3 2 1".')
@click.option("--journal", metavar="PATH", help="The journal, in place of NAME.journal.txt beside NAME.job.toml.")
@click.option("--by", "who", metavar="NAME", default="", help="Who recorded it.")
@click.option(
    "--svg", "--save", "svg", metavar="FILE", help="Draw what was heard of every note into FILE; - for standard output."
)
@visit_options
@json_option
@units_option
def command(
    file: str,
    job: str | None,
    tuning: str | None,
    frets: int | None,
    reference: str | None,
    played: str | None,
    order: str | None,
    journal: str | None,
    who: str,
    svg: str | None,
    visit: str | None,
    shop: str | None,
    as_json: bool,
    units: str | None,
) -> None:
    """Say what every note of the recording FILE was, and how far it can be trusted.

    Wav, flac, ogg, opus, mp3, aiff or caf; one take of any length, strings in any order, with talk between.
    """
    checked_output(svg, as_json)
    how = _How(kinds_of(played), order_of(order), svg, reference)
    if how.order and played is not None:
        raise InputError("--order means open strings; leave --played out, or leave --order out.")
    if job is not None or visit is not None:
        if tuning is not None or frets is not None:
            raise InputError("--tuning and --frets are those of the job; leave them out, or leave --job out.")
        answer = _of_job(file, source_of(job, visit, shop), journal, who, how)
    elif journal is not None or who:
        raise InputError("--journal and --by go with --job or --visit; name one of them, or leave them out.")
    else:
        if tuning is None and not (frets is None and played is None and order is None):
            raise InputError(
                "--frets, --played and --order need --tuning or --job; write the open strings from string 1."
            )
        answer = _alone(file, tuning, frets or FRETS, how)
    if svg == "-":
        return
    if as_json:
        say_json(_document(answer))
        return
    from setwright.cli.hear_table import hearing_text

    system = system_of(units, answer.system)
    say(hearing_text(answer.hearing, answer.written, answer.a4, answer.heard, system))


@frozen
class _How:
    """What is asked, with a job or without. order: strings from 1. svg: file of the drawing. reference: as typed."""

    kinds: tuple[Kind, ...]
    order: tuple[int, ...]
    svg: str | None
    reference: str | None


@frozen
class _Answer:
    """What is answered. a4: pitch of A4 [Hz]. system: of the job's units."""

    hearing: Hearing
    heard: HeardMap | None
    a4: float
    written: Written | None = None
    system: str = "mm"


def _document(answer: _Answer) -> dict[str, Any]:
    """The answer as JSON."""
    from setwright.bench.data import as_data, document
    from setwright.bench.hearing import plain

    content = as_data(answer.hearing) | {"map": as_data(answer.heard)}
    if answer.written is not None:
        content["journal"] = str(answer.written.path)
        content["entries"] = [one.number for one in answer.written.entries]
    whole = document("hearing", content)
    del whole["hearing"]["notes"]
    return whole | {"notes": [plain(one) for one in answer.hearing.notes]}


def kinds_of(text: str | None) -> tuple[Kind, ...]:
    """Kinds of notes as typed.

    Args:
        text: between blanks or commas; None: all.
    Returns: the kinds.
    Raises: InputError for another word.
    """
    words = KINDS if text is None else tuple(text.casefold().replace(",", " ").split())
    wrong = next((word for word in words if word not in KINDS), None)
    if wrong is not None or not words:
        raise InputError(f"--played: {wrong or text!r} is no kind of note; there are {', '.join(KINDS)}.")
    return cast("tuple[Kind, ...]", words)


def order_of(text: str | None) -> tuple[int, ...]:
    """Numbers of strings as typed.

    Args:
        text: between blanks or commas; None: none.
    Returns: the numbers.
    Raises: InputError for another word.
    """
    words = () if text is None else tuple(text.replace(",", " ").split())
    wrong = next((word for word in words if not (word.isdecimal() and len(word) < 3)), None)
    if wrong is not None or (text is not None and not words):
        raise InputError(f'--order: {wrong or text!r} is no number of a string; write for instance "6 5 4 3 2 1".')
    return tuple(int(word) for word in words)


def reference_of(text: str | None) -> float:
    """Pitch of A4 [Hz]."""
    from setwright.cli import strings_given

    return strings_given.reference_of(text)


def _alone(file: str, tuning: str | None, frets: int, how: _How) -> _Answer:
    """A recording of any instrument."""
    from setwright.bench.heard_notes import heard_map
    from setwright.bench.hearing import hear
    from setwright.bench.tunings import named_tuning
    from setwright.cli.strings_given import notes_of

    a4 = reference_of(how.reference)
    strings: tuple[float, ...] = ()
    if tuning is not None:
        named = named_tuning(tuning, GUITAR, SCALE, a4, False)
        strings = tuple((notes_of(tuning, a4) if named is None else named).tolist())
    watched = _watched(how.svg)
    hearing = hear(
        file, strings, frets, how.kinds, progress_to(sys.stderr.isatty(), "heard"), _look(watched), how.order
    )
    _draw(hearing, watched, how.svg, a4, "")
    return _Answer(hearing, heard_map(hearing.notes) if strings else None, a4)


def _of_job(file: str, job: Source, journal: str | None, who: str, how: _How) -> _Answer:
    """A recording of a job's instrument; its readings are kept, once all else is done."""
    from setwright.bench.heard_notes import heard_map_of
    from setwright.bench.hearing import hear_job, not_heard_yet, write_down
    from setwright.bench.journals import job_from, open_journal
    from setwright.bench.plans import preferred_system
    from setwright.bench.plans import reference_of as tuned_to
    from setwright.records.entries import live

    read = job_from(job)
    not_heard_yet(file, job, journal)  # what is wrong with the journal is told before the work
    entries = live(open_journal(job, journal, read)[1].entries)
    a4 = tuned_to([one.si for one in read.want.tuning]) if how.reference is None else reference_of(how.reference)
    watched = _watched(how.svg)
    result = hear_job(
        read, file, how.kinds, progress_to(sys.stderr.isatty(), "heard"), entries, _look(watched), how.order
    )
    heard = heard_map_of(read, result.notes, entries)
    _draw(result, watched, how.svg, a4, read.instrument.name)
    return _Answer(result, heard, a4, write_down(result, job, journal, who, recording=file), preferred_system(read))


def _watched(svg: str | None) -> Watched | None:
    """What a drawing needs, where one is asked for."""
    if svg is None:
        return None
    if svg != "-" and not Path(svg).absolute().parent.is_dir():  # told before a long recording is listened to
        raise InputError(f"--svg: {svg} cannot be written: there is no such folder; choose another place.")
    from setwright.bench.heard_picture import Watched

    return Watched()


def _look(watched: Watched | None) -> Look | None:
    return None if watched is None else watched.look


def _draw(hearing: Hearing, watched: Watched | None, svg: str | None, a4: float, about: str) -> None:
    """The drawing put where it was asked for."""
    if watched is None:
        return
    from setwright.bench.heard_picture import picture

    put(svg, lambda: picture(hearing, watched, a4, about))
