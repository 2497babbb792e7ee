"""setwright hear: the notes of a recording."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, cast

import click

from setwright.cli.asked import json_option, say, say_json
from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.bench.hearing import Hearing, Written
    from setwright.listening.takes import Kind

KINDS = ("open", "harmonic", "fretted")
FRETS = 22
GUITAR = 6  # strings of a tuning by its name, when nothing else is said
SCALE = 0.648  # m; a name means a guitar's tuning


@click.command("hear")
@click.argument("file")
@click.option("--job", metavar="PATH", help="The job whose instrument is heard; readings go into its journal.")
@click.option(
    "--tuning", metavar="NOTES", help='Open strings from string 1, "E4 B3 G3 D3 A2 E2"; or standard, baritone.'
)
@click.option("--frets", type=click.IntRange(12, 36), help=f"Number of frets; otherwise the job's, or {FRETS}.")
@click.option("--reference", metavar="PITCH", help="Pitch of A4; otherwise 440 Hz.")
@click.option("--played", metavar="KINDS", help='What was played; otherwise all of "open harmonic fretted".')
@click.option("--journal", metavar="PATH", help="The journal, in place of NAME.journal.txt beside NAME.job.toml.")
@click.option("--by", "who", metavar="NAME", default="", help="Who recorded it.")
@json_option
def command(
    file: str,
    job: str | None,
    tuning: str | None,
    frets: int | None,
    reference: str | None,
    played: str | None,
    journal: str | None,
    who: str,
    as_json: bool,
) -> None:
    """Say what every note of the recording FILE was, and how far it can be trusted.

    Wav, flac, ogg, opus, mp3, aiff or caf; one take of any length, strings in any order, with talk between.
    """
    kinds = kinds_of(played)
    if job is not None:
        if tuning is not None or frets is not None:
            raise InputError("--tuning and --frets are those of the job; leave them out, or leave --job out.")
        result, written = _of_job(file, job, journal, who, kinds)
    elif journal is not None or who:
        raise InputError("--journal and --by go with --job; name the job, or leave them out.")
    else:
        if tuning is None and (frets is not None or played is not None):
            raise InputError("--frets and --played need --tuning or --job; write the open strings from string 1.")
        result, written = _alone(file, tuning, frets or FRETS, reference, kinds), None
    if as_json:
        from setwright.bench.data import as_data, document
        from setwright.bench.hearing import plain

        content = as_data(result) | {"notes": [plain(one) for one in result.notes]}
        if written is not None:
            content["journal"] = str(written.path)
            content["entries"] = [one.number for one in written.entries]
        whole = document("hearing", content)
        whole["notes"] = whole["hearing"].pop("notes")
        say_json(whole)
        return
    from setwright.cli.hear_table import hearing_text

    say(hearing_text(result, written, reference_of(reference)))


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


def reference_of(text: str | None) -> float:
    """Pitch of A4 [Hz]."""
    from setwright.cli import strings_given

    return strings_given.reference_of(text)


def _alone(file: str, tuning: str | None, frets: int, reference: str | None, kinds: tuple[Kind, ...]) -> Hearing:
    """A recording of any instrument."""
    from setwright.bench.hearing import hear
    from setwright.bench.tunings import named_tuning
    from setwright.cli.strings_given import notes_of

    a4 = reference_of(reference)
    strings: tuple[float, ...] = ()
    if tuning is not None:
        named = named_tuning(tuning, GUITAR, SCALE, a4, False)
        strings = tuple((notes_of(tuning, a4) if named is None else named).tolist())
    with_end = progress_to(sys.stderr.isatty())
    return hear(file, strings, frets, kinds, with_end)


def _of_job(file: str, job: str, journal: str | None, who: str, kinds: tuple[Kind, ...]) -> tuple[Hearing, Written]:
    """A recording of a job's instrument; its readings are kept."""
    from setwright.bench.hearing import hear_job, write_down
    from setwright.bench.journals import open_journal
    from setwright.instrument.jobfile import read_job

    open_journal(job, journal)  # what is wrong with it is told before the work
    result = hear_job(read_job(job), file, kinds, progress_to(sys.stderr.isatty()))
    return result, write_down(result, job, journal, who)


def progress_to(terminal: bool) -> Callable[[float], None] | None:
    """What tells the progress on a terminal, on one line of standard error that it wipes out at the end.

    Args:
        terminal: whether standard error is one.
    Returns: to be called with the share done; None where nobody looks.
    """
    if not terminal:
        return None
    shown = -1

    def tell(share: float) -> None:
        nonlocal shown
        hundredth = int(100.0 * share)
        if hundredth == shown:
            return
        shown = hundredth
        click.echo(f"\r{hundredth:3d} % heard" if share < 1.0 else "\r            \r", nl=False, err=True)

    return tell
