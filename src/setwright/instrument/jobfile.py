"""The job file: as found, as wanted, what the shop has and how far one may go, checked and completed by defaults."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from setwright.frozen import frozen
from setwright.instrument.belief import Belief
from setwright.instrument.document import Document, from_bytes, from_path
from setwright.instrument.files import InstrumentFile, read_instrument
from setwright.instrument.job_checks import check_found, check_pitches, check_shop, check_want, tuning_of
from setwright.instrument.job_fields import LAYOUT
from setwright.instrument.quantities import Amount, amount
from setwright.instrument.reading import Values, read_document
from setwright.instrument.settings import FEWEST, Fewest
from setwright.instrument.string_sets import Gauge
from setwright.units.pitch import A4

Pair = tuple[Amount, Amount]  # treble, bass
GAP_TOLERANCE = 0.25e-3  # m
HEIGHT_TOLERANCE = 0.25e-3  # m; common practice, no source
RELIEF_TOLERANCE = 0.0254 * 0.002  # m
PITCH_TOLERANCE = "2 c"
OCTAVE_TOLERANCE = 2.0  # cents; common practice, no source
PEAK = "50 c"
STRESS = "80 %"
ROOM_TEMPERATURE = 293.15  # K
SHELF = (".010 in", ".015 in", ".020 in", ".030 in")


@frozen
class Shim:
    """A shim: kind "strip", "wedge" or "flat", thickness, and how many there are."""

    kind: str
    thickness: Amount
    count: int = 1


@frozen
class SpringStock:
    """Springs that could be added."""

    kind: str
    count: int


@frozen
class StringHeights:
    """Fret crown to underside of the open string. amounts: (S), from the thinnest."""

    fret: int
    amounts: tuple[Amount, ...]


@frozen
class Relief:
    """Gap under a string held at two frets, read at a third."""

    value: Amount
    hold: tuple[int, int]
    read: int


@frozen
class SaddleRoom:
    """How far the saddles can still go, (S) from the thinnest; None where it was not read."""

    up: tuple[Amount, ...] | None
    down: tuple[Amount, ...] | None


@frozen
class UpBend:
    """How far the arm must pull a string up."""

    string: int
    semitones: int


@frozen
class Stroke:
    """A stroke that has to stay clean; None: the player's own."""

    force: Amount | None  # N, square to the board
    place: Amount | None  # share of the open string from the saddle


@frozen
class Found:
    """As found. Bands are standard uncertainties; None: not read."""

    strings: tuple[Gauge, ...]
    tuning: tuple[Amount, ...]  # Hz
    state: str
    bridge: str
    springs: int
    claw_distance: Pair | None
    rear_gap: Pair | None
    shims: tuple[Shim, ...]
    string_height: StringHeights | None
    relief: Relief | None
    pitches: tuple[Amount, ...] | None  # Hz
    octave: tuple[Amount, ...] | None  # cents, (S) from the thinnest
    pivot_height: Pair | None
    saddle_room: SaddleRoom
    attitude: str
    temperature: float  # K


@frozen
class Want:
    """As wanted. Bands are tolerances; None: as found, or free."""

    strings: tuple[Gauge, ...]
    tuning: tuple[Amount, ...]  # Hz
    bridge: str
    rear_gap: Amount | None
    level: bool  # plate parallel to the body top
    gap_tolerance: float  # m, of the rear gap, level plate included
    string_height: StringHeights | None
    radius: Amount | None
    relief: Relief | None
    pitch_tolerance: Amount  # cents
    octave: Amount | None  # cents; None: aimed at, not demanded
    up_bend: UpBend | None
    attitude: str
    clean: Stroke | None = None  # no string may touch a fret ahead under this stroke; None: not asked for
    fewest: Fewest = FEWEST[0]  # what the way to pitch is chosen for, where a plate floats


@frozen
class Shop:
    """What is in reach."""

    shims: tuple[Shim, ...]
    springs: tuple[SpringStock, ...]


@frozen
class Limits:
    """How far one may go on the way."""

    peak: Amount  # cents above the final pitch
    stress: Amount  # share of the breaking load


@frozen
class Job:
    """One job: file, title, wish, instrument, found, want, shop, limits. learned: what an earlier visit in the same
    shop had learned when it ended, years_since ago; None where there is none."""

    file: str
    title: str
    wish: str
    notes: str
    instrument_path: str  # as written
    instrument: InstrumentFile
    found: Found
    want: Want
    shop: Shop
    limits: Limits
    learned: Belief | None = None
    years_since: float = 0.0


def read_job(path: Path | str) -> Job:
    """Read a job file and the instrument file it names.

    Args:
        path: where it is.
    Returns: the job.
    Raises: FileFormatError, InputError: one sentence with file, line and field.
    """
    document = from_path(Path(path))
    tables = read_document(document, LAYOUT)
    name = tables["job"]["instrument"]
    if name.strip() != name or "\0" in name:
        name = name.strip().replace("\0", "")
    return job_from(document, tables, read_instrument(Path(path).parent / name))


def job_from_bytes(raw: bytes, name: str, instrument: InstrumentFile) -> Job:
    """Read a job from the bytes of its file, for an instrument read already.

    Args:
        raw: TOML in UTF-8.
        name: what messages call it.
        instrument: the instrument.
    Returns: the job.
    Raises: FileFormatError, InputError.
    """
    document = from_bytes(raw, name)
    return job_from(document, read_document(document, LAYOUT), instrument)


def job_from(document: Document, tables: dict[str, Values], instrument: InstrumentFile) -> Job:
    """Check a job's tables against its instrument and fill in every default.

    Args:
        document: the file, for messages.
        tables: as `reading.read_document` returns them.
        instrument: the instrument.
    Returns: the job.
    Raises: FileFormatError, InputError.
    """
    job = tables["job"]
    check_found(document, tables["found"], instrument)
    found = _found(document, tables["found"], instrument)
    if found.pitches is not None:
        check_pitches(document, found.pitches, found.tuning)
    check_want(document, tables["want"], tables["found"], instrument)
    check_shop(document, tables["shop"])
    return Job(
        file=document.name,
        title=job["title"],
        wish=job.get("wish", ""),
        notes=job.get("notes", ""),
        instrument_path=job["instrument"],
        instrument=instrument,
        found=found,
        want=_want(document, tables["want"], tables["found"], found, instrument),
        shop=_shop(tables["shop"]),
        limits=_limits(tables["limits"]),
    )


def _found(document: Document, given: Values, instrument: InstrumentFile) -> Found:
    knife = instrument.bridge.knife_edge
    bridge = given.get("bridge", "floating" if knife else "fixed")
    gap = _pair(given.get("rear_gap"))
    if gap is None and bridge == "decked":
        flat = amount("0 mm ± 0.05 mm", "length")
        gap = (flat, flat)
    room = given.get("saddle_room", {})
    return Found(
        strings=given["strings"],
        tuning=tuning_of(document, given, "found", instrument),
        state=given.get("state", "at pitch"),
        bridge=bridge,
        springs=given.get("springs", 3 if knife else 0),
        claw_distance=_pair(given.get("claw_distance")),
        rear_gap=gap,
        shims=tuple(_shim(one) for one in given.get("shims", ())),
        string_height=_heights(given.get("string_height"), instrument.strings, None),
        relief=_relief(given.get("relief"), None),
        pitches=given.get("pitches"),
        octave=_each(given.get("octave"), instrument.strings),
        pivot_height=_pair(given.get("pivot_height")),
        saddle_room=SaddleRoom(*(_each(room.get(way), instrument.strings) for way in ("up", "down"))),
        attitude=given.get("attitude", "playing"),
        temperature=given["temperature"][0].si if "temperature" in given else ROOM_TEMPERATURE,
    )


def _want(document: Document, given: Values, was: Values, found: Found, instrument: InstrumentFile) -> Want:
    bridge = given.get("bridge", found.bridge)
    gap = _single(given.get("rear_gap"))
    level = "plate" in given
    if gap is None and not level and bridge in ("floating", "blocked"):
        if bridge == found.bridge and found.rear_gap is not None:
            treble, bass = found.rear_gap
            gap = Amount(0.5 * (treble.si + bass.si), GAP_TOLERANCE, False, treble.written)
        else:
            level = True
    tolerance = gap.band if gap is not None and gap.stated else GAP_TOLERANCE
    return Want(
        strings=given.get("strings", found.strings),
        tuning=_wanted_tuning(document, given, was, found, instrument),
        bridge=bridge,
        rear_gap=None if gap is None else _toleranced(gap, GAP_TOLERANCE),
        level=level,
        gap_tolerance=tolerance,
        string_height=_heights(given.get("string_height"), instrument.strings, HEIGHT_TOLERANCE),
        radius=_single(given.get("radius")),
        relief=_relief(given.get("relief"), RELIEF_TOLERANCE),
        pitch_tolerance=_single(given.get("pitch_tolerance")) or amount(PITCH_TOLERANCE, "cents"),
        octave=None if "octave" not in given else _toleranced(given["octave"][0], OCTAVE_TOLERANCE),
        up_bend=_bend(given.get("up_bend")),
        attitude=given.get("attitude", "playing"),
        clean=_stroke(given.get("stroke", {})) if given.get("clean") else None,
        fewest=given.get("fewest", FEWEST[0]),
    )  # fmt: skip


def _wanted_tuning(
    document: Document, given: Values, was: Values, found: Found, instrument: InstrumentFile
) -> tuple[Amount, ...]:
    """The wanted tuning; with another reference alone, the found one moved to it."""
    if "tuning" in given:
        reference = {"reference": was["reference"]} if "reference" in was else {}
        return tuning_of(document, {**reference, **given}, "want", instrument)
    if "reference" not in given:
        return found.tuning
    ratio = given["reference"][0].si / (was["reference"][0].si if "reference" in was else A4)
    return tuple(replace(one, si=one.si * ratio) for one in found.tuning)


def _shop(given: Values) -> Shop:
    shelf = tuple(Shim("strip", amount(text, "length")) for text in SHELF)
    shims = tuple(_shim(one) for one in given["shims"]) if "shims" in given else shelf
    if "springs" not in given:
        return Shop(shims, (SpringStock("usual", 2),))
    return Shop(shims, tuple(SpringStock(one.get("kind", "usual"), one.get("count", 1)) for one in given["springs"]))


def _limits(given: Values) -> Limits:
    return Limits(
        peak=_single(given.get("peak")) or amount(PEAK, "cents"),
        stress=_single(given.get("stress")) or amount(STRESS, "ratio"),
    )


def _single(given: tuple[Amount, ...] | None) -> Amount | None:
    return None if given is None else given[0]


def _pair(given: tuple[Amount, ...] | None) -> Pair | None:
    return None if given is None else (given[0], given[-1])


def _each(given: tuple[Amount, ...] | None, strings: int) -> tuple[Amount, ...] | None:
    if given is None or len(given) == strings:
        return given
    return given * strings


def _toleranced(one: Amount, tolerance: float | None) -> Amount:
    """The amount with a default tolerance where none was written (None: keep what the writing implies)."""
    if one.stated or tolerance is None:
        return one
    return Amount(one.si, tolerance, False, one.written, one.gauge)


def _shim(given: Values) -> Shim:
    return Shim(given.get("kind", "strip"), given["thickness"][0], given.get("count", 1))


def _heights(given: Values | None, strings: int, tolerance: float | None) -> StringHeights | None:
    if given is None:
        return None
    if "values" in given:
        amounts = tuple(given["values"])
    else:
        treble, bass = given["treble"][0], given["bass"][0]
        amounts = tuple(_between(treble, bass, i / (strings - 1)) for i in range(strings))
    return StringHeights(given.get("fret", 12), tuple(_toleranced(one, tolerance) for one in amounts))


def _between(treble: Amount, bass: Amount, share: float) -> Amount:
    """A height between the outer strings, on a straight line."""
    nearer = treble if share < 0.5 else bass
    si = treble.si + share * (bass.si - treble.si)
    band = treble.band + share * (bass.band - treble.band)
    return Amount(si, band, treble.stated and bass.stated, nearer.written, nearer.gauge)


def _relief(given: Values | None, tolerance: float | None) -> Relief | None:
    if given is None:
        return None
    hold = given.get("hold", (1, 17))
    return Relief(_toleranced(given["value"][0], tolerance), (hold[0], hold[1]), given.get("read", 8))


def _bend(given: Values | None) -> UpBend | None:
    return None if given is None else UpBend(given.get("string", 3), given["semitones"])


def _stroke(given: Values) -> Stroke:
    return Stroke(_single(given.get("force")), _single(given.get("place")))
