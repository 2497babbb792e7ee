"""Questions to the shop's records, each one function: what was, what changed, what is outside, how well it is held."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from setwright.bench.again import Draft, draft
from setwright.bench.shop import opened
from setwright.errors import InputError, SetwrightError
from setwright.frozen import frozen
from setwright.metrology.reading import Convention
from setwright.metrology.repeatability import Study, balanced, study
from setwright.records import history, statistics
from setwright.records.found_left import Key
from setwright.records.history import Judged, Since
from setwright.records.shop import Shop, Work
from setwright.records.specifications import Specification
from setwright.records.statistics import Held, KindYield, Season
from setwright.records.summaries import Progress, refresh
from setwright.records.summaries import unsummed as outdated

__all__ = [
    "Again", "Held", "Judged", "Key", "KindYield", "Overview", "Progress", "Season", "Since", "Studied", "again",
    "capability", "fresh", "gauges", "known", "life", "names", "outside", "overview", "place_of", "season", "seasons",
    "since_last", "sum_up", "unsummed", "yields",
]  # fmt: skip


@frozen
class Studied:
    """How alike people read a thing. cells: the readings; trials: how many of each cell the study could use."""

    cells: history.Cells
    trials: int
    study: Study


@frozen
class Again:
    """The same job once more. written: paths, empty where none was asked for."""

    last: history.AsLast
    draft: Draft
    written: tuple[str, ...]


@frozen
class Overview:
    """What all visits tell. held, season: the answer, or why there is none; held is None where none was asked for."""

    outside: tuple[Judged, ...]
    yields: tuple[KindYield, ...]
    held: tuple[Specification, tuple[Held, ...]] | SetwrightError | None
    season: tuple[Season, ...] | SetwrightError


@contextmanager
def fresh(at: str | None, progress: Progress | None = None) -> Iterator[tuple[Shop, Work]]:
    """A shop whose summaries are up to date, for questions about all visits.

    Args:
        at: folder or URL.
        progress: told how many visits are summed up, of how many, where any are to be; what it raises ends the work.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop:
        refresh(shop, progress=progress)
        with shop.reading() as work:
            yield shop, work


def unsummed(at: str | None, most: int | None = None) -> int:
    """How many closed visits are not summed up as they are now.

    Args:
        at: folder or URL of the shop.
        most: up to how many they are counted, None for all.
    Returns: how many.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return outdated(work, most)


def sum_up(at: str | None, progress: Progress | None = None) -> int:
    """Sum up the closed visits that are not, as a question about all visits does first.

    Args:
        at: folder or URL of the shop.
        progress: as for `fresh`.
    Returns: how many were.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop:
        return refresh(shop, progress=progress)


def overview(at: str | None, what: str, specification: str = "", unsure: bool = False) -> Overview:
    """All that is told of the visits of a shop together.

    Args:
        at: folder or URL of the shop.
        what: was read ("relief"), for how it moves between visits.
        specification: name of the one that is held, "" for none.
        unsure: of readings left outside those that are not certain too.
    Returns: the answers.
    Raises: InputError, FileFormatError where the shop cannot be read.
    """
    held: tuple[Specification, tuple[Held, ...]] | SetwrightError | None = None
    moving: tuple[Season, ...] | SetwrightError
    with fresh(at) as (_, work):
        if specification:
            try:
                held = statistics.held(work, specification)
            except InputError as error:
                held = error
        try:
            moving = statistics.season(work, known(what))
        except InputError as error:
            moving = error
        return Overview(history.outside(work, unsure=unsure), statistics.yields(work), held, moving)


def life(at: str | None, instrument: str) -> history.Life:
    """An instrument with all its visits.

    Args:
        at: folder or URL of the shop.
        instrument: its id, or the end of it.
    Returns: its life.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return history.life(work, instrument)


def since_last(at: str | None, instrument: str, visit: str = "") -> Since:
    """What changed between a visit and the one before.

    Args:
        at: folder or URL of the shop.
        instrument: its id, or the end of it; "" where the visit is named.
        visit: the later one, "" for the last.
    Returns: what changed.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return history.since_last(work, instrument, visit)


def outside(
    at: str | None, visit: str = "", unsure: bool = False, progress: Progress | None = None
) -> tuple[Judged, ...]:
    """Readings outside the house specification.

    Args:
        at: folder or URL of the shop.
        visit: all that one visit is held to; "" for what closed visits left outside.
        unsure: of closed visits those that are not certain too.
        progress: as for `fresh`.
    Returns: the lines.
    Raises: InputError, FileFormatError.
    """
    if visit:
        with opened(at) as shop, shop.reading() as work:
            return history.held_to(work, visit)
    with fresh(at, progress) as (_, work):
        return history.outside(work, unsure=unsure)


def season(at: str | None, what: str, instrument: str = "", progress: Progress | None = None) -> tuple[Season, ...]:
    """How a reading moves between visits.

    Args:
        at: folder or URL of the shop.
        what: was read ("relief").
        instrument: its id, or the end of it; "" for all.
        progress: as for `fresh`.
    Returns: the answer, one for each kind of value.
    Raises: InputError, FileFormatError.
    """
    with fresh(at, progress) as (_, work):
        home = history.life(work, instrument).instrument.id if instrument else None
        return statistics.season(work, known(what), home)


def seasons(at: str | None, instrument: str) -> tuple[Season, ...]:
    """How everything that is read and kept of one instrument moves between its visits.

    Args:
        at: folder or URL of the shop.
        instrument: its id, or the end of it.
    Returns: the answers, in the order of `names`, one for each kind of value.
    Raises: InputError, FileFormatError.
    """
    order = names()
    with fresh(at) as (_, work):
        found = statistics.seasons(work, history.life(work, instrument).instrument.id)
    return tuple(sorted((one for one in found if one.what in order), key=lambda one: order.index(one.what)))


def yields(at: str | None, progress: Progress | None = None) -> tuple[KindYield, ...]:
    """First-pass yield, rounds and minutes by kind of job.

    Args:
        at: folder or URL of the shop.
        progress: as for `fresh`.
    Returns: the lines.
    Raises: InputError, FileFormatError.
    """
    with fresh(at, progress) as (_, work):
        return statistics.yields(work)


def capability(
    at: str | None, name: str = "", number: int | None = None, progress: Progress | None = None
) -> tuple[Specification, tuple[Held, ...]]:
    """How well the shop holds a house specification.

    Args:
        at: folder or URL of the shop.
        name: of the specification, "" where there is only one.
        number: its version, None for the newest.
        progress: as for `fresh`.
    Returns: the specification, and a line for each limit.
    Raises: InputError, FileFormatError.
    """
    with fresh(at, progress) as (_, work):
        return statistics.held(work, name, number)


def gauges(at: str | None, what: str, instrument: str = "", visit: str = "") -> Studied:
    """How alike people read the same places.

    Args:
        at: folder or URL of the shop.
        what: was read ("string height").
        instrument: its id, or the end of it, for all its visits; "" where one visit is named.
        visit: its id, or the end of it.
    Returns: the study.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        found = history.cells(work, known(what), instrument, visit)
    values = balanced(found.values)
    return Studied(found, int(values.shape[2]), study(values, found.width))


def again(at: str | None, instrument: str, kind: str | None = None, folder: str | None = None) -> Again:
    """The last job on an instrument once more, as a draft.

    Args:
        at: folder or URL of the shop.
        instrument: its id, or the end of it.
        kind: of job, None for any.
        folder: where the draft's files go, None to write none.
    Returns: the draft; nothing of the shop is changed.
    Raises: InputError, FileFormatError; no file is left then.
    """
    with opened(at) as shop, shop.reading() as work:
        last = history.as_last_time(work, instrument, kind)
    made = draft(last)
    return Again(last, made, _written(made, folder) if folder is not None else ())


def names() -> tuple[str, ...]:
    """What is read and kept, by name.

    Returns: the names `season` and `gauges` take.
    """
    from setwright.records.worth import SPOILED

    return tuple(SPOILED)


def known(what: str) -> str:
    """A name of something read, in small letters.

    Args:
        what: as typed.
    Returns: the name.
    Raises: InputError naming those there are.
    """
    from setwright.records.worth import SPOILED

    said = " ".join(what.split()).casefold()
    if said not in SPOILED:
        raise InputError(f"{what[:40]!r} is nothing that is read and kept; there are: {', '.join(SPOILED)}.")
    return said


def place_of(key: Key) -> dict[str, object]:
    """Where and how something was read, as JSON can hold it.

    Args:
        key: of the reading.
    Returns: plain data.
    """
    how = Convention(**json.loads(key.convention)) if key.convention else Convention()
    return {
        "what": key.what, "string": key.string or None, "fret": key.fret or None, "side": key.side,
        "harmonic": key.harmonic, "convention": asdict(how), "attitude": key.attitude, "kind": key.kind,
    }  # fmt: skip


def _written(made: Draft, folder: str) -> tuple[str, ...]:
    """Both files, or none."""
    home = Path(folder)
    files = {home / made.job_name: made.job, home / made.instrument_name: made.instrument}
    done: list[Path] = []
    try:
        home.mkdir(parents=True, exist_ok=True)
        for path, raw in files.items():
            with path.open("xb") as handle:
                done.append(path)
                handle.write(raw)
    except OSError as error:
        for path in done:
            path.unlink(missing_ok=True)
        if isinstance(error, FileExistsError):
            raise InputError(f"{error.filename} is there already; name a new folder.") from None
        raise InputError(f"{folder}: cannot be written: {(error.strerror or str(error)).lower()}.") from None
    return tuple(str(path) for path in done)
