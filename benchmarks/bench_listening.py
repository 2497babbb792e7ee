"""How well notes are heard: Setwright, the plain peak of a spectrum, and general signal libraries, side by side.

    ./dev bench listening                                   notes, octaves and the least that noise allows
    ./dev bench listening --kinds open bass --count 40 --only notes
    ./dev bench listening --rivals --recordings --takes 20
    ./dev bench listening --write                           all of it, into docs/listening-table.md

Notes are those of `tests/judges/note_kinds.py`, drawn from seeds. The peak of the spectrum is told which note it is in
any case: it looks within half a semitone. An error is that of the settled first partial. Two processes work, each on
one core with one thread; each note is heard by all ways one after another. `--rivals` makes the environment of the
other libraries, which are used whenever it is there.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchmarks import bound_listening, octaves_listening, recordings_listening, rivals_listening, takes_listening
from benchmarks import tables_listening as tables
from benchmarks.heard_listening import MINE, PEAK, TOLD, Heard, Task, heard
from benchmarks.running import number, parser_of, runs
from tests.judges.note_kinds import KINDS

PAGE = rivals_listening.ROOT / "docs" / "listening-table.md"
NOISES = 4  # of each note beside the bound
TAKES = 20
SHARES = {"notes": 12.0, "octaves": 1.0, "bound": 1.0, "recordings": 4.0, "takes": 4.0}  # of the time, about


@dataclass
class Report:
    """What is printed and goes to the page. until: when to stop [s of the monotonic clock]. rest: parts to come."""

    until: float
    rest: list[str]
    parts: list[str] = field(default_factory=list)

    def say(self, text: str) -> None:
        """Print a part now and keep it."""
        print(text + "\n", flush=True)
        self.parts.append(text)

    def minutes(self, part: str) -> float:
        """How long a part may take, so that those after it are not left without."""
        share = SHARES[part] / sum(SHARES[name] for name in self.rest)
        self.rest.remove(part)
        return share * max(self.until - time.monotonic(), 0.0) / 60.0


def arguments(words: Sequence[str]) -> argparse.Namespace:
    """Read the command line.

    Args:
        words: of it.
    Returns: what is asked for.
    """
    parser = parser_of("listening", 13, 1000, "notes of each kind")
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS, metavar="KIND", help="which kinds")
    parser.add_argument("--only", nargs="+", choices=SHARES, default=(), metavar="PART", help=", ".join(SHARES))
    parser.add_argument("--rivals", action="store_true", help="make the environment of the other libraries")
    parser.add_argument("--beside", type=number, metavar="N", help="notes of each kind other libraries hear too; all")
    parser.add_argument("--recordings", action="store_true", help="recorded notes of real strings, fetched once")
    parser.add_argument("--takes", type=number, default=0, metavar="N", help="whole takes to be heard")
    parser.add_argument("--write", action="store_true", help=f"all of it, {TAKES} takes, into docs/{PAGE.name}")
    given = parser.parse_args(words)
    given.recordings |= given.write or "recordings" in given.only
    if given.write or "takes" in given.only:
        given.takes = given.takes or TAKES
    return given


def asked_for(given: argparse.Namespace) -> list[str]:
    """Which parts are to be run.

    Args:
        given: what is asked for.
    Returns: names, in their order.
    """
    usual = {"notes", "octaves", "bound"} | ({"recordings"} if given.recordings else set())
    return [part for part in SHARES if part in (given.only or usual | ({"takes"} if given.takes else set()))]


def notes_part(report: Report, given: argparse.Namespace) -> list[Heard]:
    """Notes of all kinds by all ways; tables of them.

    Args:
        report: to be added to.
        given: what is asked for.
    Returns: what was heard.
    """
    ways, lines = rivals_listening.usable()
    seeds = range(given.first, given.first + given.count)
    beside = seeds[: given.beside]  # other libraries take many times as long
    tasks = [Task(kind, seed, bool(ways) and seed in beside) for seed in seeds for kind in given.kinds]
    begun = time.monotonic()
    some = [one for several in runs(heard, tasks, report.minutes("notes")) for one in several]
    count = sum(one.way == MINE for one in some)
    report.say(f"""## Notes

{count} notes from seed {given.first}, {_since(begun)}. "{TOLD[2:]}": within a semitone, to the peak of the spectrum within half of one;
without it other libraries know the range of the instrument, and Setwright nothing. u is the standard uncertainty
stated. Shares are of the notes that were not refused.{_beside(given) if ways else ""}""")  # noqa: E501
    report.say("\n\n".join([tables.ways_table(some), *lines]))
    for way in (MINE, MINE + TOLD, PEAK):
        report.say(f"### {way[0].upper()}{way[1:]}\n\n{tables.table(some, way)}")
    if ways:
        for told, title in ((False, "Median errors in cents, not told the note"), (True, "Median errors, note told")):
            report.say(f"### {title}\n\n{tables.medians(some, told)}")
    return some


def octaves_part(report: Report, given: argparse.Namespace, some: Sequence[Heard]) -> None:
    """Octaves, and the ratios they belong to.

    Args:
        report: to be added to.
        given: what is asked for.
        some: notes heard.
    """
    seeds = range(given.first, given.first + 3 * given.count)
    found = [one for both in runs(octaves_listening.interval_heard, seeds, report.minutes("octaves")) for one in both]
    ratios = tables.ratios(some, found)
    report.say(f"## Setwright beside the peak of the spectrum\n\nMedian errors; Setwright is told nothing.\n\n{ratios}")
    report.say(f"### Octave interval, {len(found) // 2} strings\n\n{tables.ways_table(found)}")


def bound_part(report: Report) -> None:
    """Errors beside the least that noise allows.

    Args:
        report: to be added to.
    """
    some = list(runs(bound_listening.beside, bound_listening.tasks(NOISES), report.minutes("bound")))
    report.say(f"""## The least that noise allows

Root mean square error over that of the Cramér-Rao bound: white noise, notes of 2 s. The bound uses all of the note, and
its glide is free.

{bound_listening.table(some)}""")


def recordings_part(report: Report) -> None:
    """Recorded notes of real strings.

    Args:
        report: to be added to.
    """
    ways, _ = rivals_listening.usable()
    tasks, lines = recordings_listening.tasks(recordings_listening.RIVAL in ways)
    begun = time.monotonic()
    heard_all = runs(recordings_listening.intervals, tasks, report.minutes("recordings"))
    some = [one for several in heard_all for one in several]
    ratios = " and ".join(str(ratio) for ratio in recordings_listening.RATIOS)
    report.say(f"""## Recordings of real strings

{len({(one.package, one.note) for one in some})} of {len(tasks)} recorded notes, each heard as it is and resampled by {ratios}, {_since(begun)}.
Error is how far the interval between both is off the known ratio.""")  # noqa: E501
    for line in lines:
        report.say(line)
    if some:
        report.say(recordings_listening.table(some))
        report.say(f"Farthest off, Setwright, not told the note:\n\n{recordings_listening.worst(some)}")


def takes_part(report: Report, given: argparse.Namespace) -> None:
    """Whole takes.

    Args:
        report: to be added to.
        given: what is asked for.
    """
    begun = time.monotonic()
    seeds = range(given.first, given.first + given.takes)
    some = list(runs(takes_listening.heard, seeds, report.minutes("takes")))
    report.say(f"""## Takes

{len(some)} takes of 40 to 60 notes with slips, talk, knocks and pegs turned, from seed {given.first}, {_since(begun)}.
A note left in doubt does not count as right.""")
    report.say(takes_listening.table(some))
    report.say(f"What was not told rightly:\n\n{takes_listening.misses(some)}")


def _beside(given: argparse.Namespace) -> str:
    return f" Other libraries heard the first {given.beside} of each kind." if given.beside else ""


def _since(begun: float) -> str:
    return f"{(time.monotonic() - begun) / 60.0:.1f} minutes"


def written(page: Path, parts: Sequence[str], words: Sequence[str]) -> None:
    """Put the report on its page.

    Args:
        page: of the docs.
        parts: of the report.
        words: of the command line.
    """
    asked = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=rivals_listening.ROOT, capture_output=True, text=True, check=False
    )
    commit = f" with the code of commit {asked.stdout.strip()}" if asked.returncode == 0 else ""
    head = f"""# How well notes are heard

Written by `./dev bench listening {" ".join(words)}`{commit}. What the words mean:
[physics/listening.md](physics/listening.md). Libraries and their versions: `requirements/rivals.txt`."""
    page.write_text("\n\n".join([head, *parts]) + "\n", encoding="utf-8")


def main(words: Sequence[str]) -> int:
    """Run, print and write.

    Args:
        words: of the command line.
    Returns: 0.
    """
    given = arguments(words)
    wanted = asked_for(given)
    report = Report(time.monotonic() + 60.0 * given.minutes, list(wanted))
    some = notes_part(report, given) if "notes" in wanted else []
    if "octaves" in wanted:
        octaves_part(report, given, some)
    if "bound" in wanted:
        bound_part(report)
    if "recordings" in wanted:
        recordings_part(report)
    if "takes" in wanted:
        takes_part(report, given)
    if some:
        report.say(f"""## Where Setwright was farthest off

Not told the note.

{tables.worst(some)}

{tables.refusals(some)}""")
    if given.write:
        written(PAGE, report.parts, words)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
