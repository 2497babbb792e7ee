"""What the shop's history looks like as text: a card for each question."""

from __future__ import annotations

from collections.abc import Sequence

from setwright.bench.history import Again, Studied
from setwright.cli.history_terms import U, amount, count, limit_name, limits, name, names, short, shown, times
from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.metrology.capability import Index
from setwright.records.found_left import Change, Key
from setwright.records.history import Judged, Life, Past, Since
from setwright.records.specifications import Specification
from setwright.records.statistics import Held, KindYield, Quartiles, Season, Share, Slope
from setwright.units.show import System

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")  # fmt: skip
TITLE = 40  # signs of a name in a headline
COLUMN = 15


def life_lines(life: Life, system: System) -> list[str]:
    """An instrument with its visits.

    Args:
        life: it.
        system: of units.
    Returns: lines.
    """
    one = life.instrument
    about = " ".join(part for part in (one.maker, one.model, one.colour) if part)
    lines = [short(f"{one.name} {about}".strip(), 78), ""]
    lines += labelled("serial", one.serial, 0, COLUMN)
    lines += labelled("owner", life.owner.name if life.owner else "not known", 0, COLUMN)
    if not life.visits:
        return [*lines, "", *paragraph("It has no visit yet: setwright shop add-job JOB --instrument ID adds one.")]
    for past in life.visits:
        lines += section(_headline(past), _past(past, system))
    return lines


def _headline(past: Past) -> str:
    visit = past.visit
    return f"visit {visit.number}, {visit.came[:10]}, {short(visit.kind, TITLE) or 'no kind named'}, {visit.state}"


def _past(past: Past, system: System) -> list[str]:
    sums = past.sums
    told = []
    if sums.minutes is not None:
        told.append(f"{sums.minutes} min at work")
    if sums.rounds:
        told.append(f"one thing set up to {times(sums.rounds)}, claw {times(sums.claw_settings)}")
    if sums.humidity is not None:
        told.append(f"humidity {100.0 * sums.humidity:.0f} %")
    lines = labelled("visit", past.visit.id, 2, COLUMN - 2) + labelled("work", "; ".join(told), 2, COLUMN - 2)
    rows = [
        (name(one.key), shown(one.key, one.found, system), shown(one.key, one.left, system))
        for one in sorted(sums.values, key=lambda one: one.key)
    ]
    if not rows:
        return [*lines, *paragraph("Nothing was read that counts as found or as left.", 2)]
    left = "as left" if past.visit.state == "closed" else "last read"
    return [*lines, *columns([("", "as found", left), *rows])]


def since_lines(since: Since, system: System) -> list[str]:
    """What changed between two visits.

    Args:
        since: the changes.
        system: of units.
    Returns: lines.
    """
    before, now = since.before, since.now
    lines = paragraph(
        f"From visit {before.number} ({before.came[:10]}), as left, to visit {now.number} ({now.came[:10]}), as found"
    )
    seen = [one for one in since.changes if one.seen]
    still = [one for one in since.changes if not one.seen]
    rows = [
        (name(one.key), shown(one.key, one.before, system), shown(one.key, one.now, system), moved_words(one, system))
        for one in sorted(seen, key=lambda one: one.key)
    ]
    lines += section("changed", columns([("", "as left", "as found", "change"), *rows]) if rows else [])
    pairs = [
        (name(one.key), f"within {moved_words(one, system, True)}") for one in sorted(still, key=lambda one: one.key)
    ]
    lines += section("no change seen", columns(pairs) if pairs else [])
    lines += section("read only then", _names(since.only_before))
    lines += section("read only now", _names(since.only_now))
    if not since.changes:
        lines += ["", *paragraph(
            "Nothing was read at both in the same way: a change needs a reading as left and one as found of the same "
            "place, by the same convention, in the same attitude, in the journal."
        )]  # fmt: skip
    return [*lines, "", *paragraph("A change is told where it is more than twice its standard uncertainty.")]


def moved_words(one: Change, system: System, bound: bool = False) -> str:
    """A change with its band, or the bound within which none is seen.

    Args:
        one: the change.
        system: of units.
        bound: whether the bound is told.
    Returns: e.g. "+0.12 ± 0.05 mm".
    """
    kind = "cents" if one.key.kind == "pitch" else one.key.kind
    if bound:
        return amount(abs(one.change) + U * one.sd, kind, None, system).lstrip("+")
    return amount(one.change, kind, U * one.sd, system)


def _names(keys: Sequence[Key]) -> list[str]:
    return paragraph("; ".join(names(keys)), 2) if keys else []


def outside_lines(found: Sequence[Judged], visit: str, system: System) -> list[str]:
    """Readings against the house specification.

    Args:
        found: the lines.
        visit: the one visit they are of, "" for the shop.
        system: of units.
    Returns: lines.
    """
    if not found:
        return paragraph(
            "No closed visit left a reading outside its house specification. Visits count that are held to one, and "
            "readings of a kind and place it limits."
        )
    rows = [("came", "instrument", "", "as left", "limits", "")]
    for one in found:
        what = name(one.key) if one.key is not None else limit_name(one.limit)
        left = shown(one.key, one.left, system) if one.key is not None else "-"
        who = "" if visit else short(one.instrument, 16)
        rows.append((one.came[:10], who, what, left, limits(one.limit, system), one.verdict or "not read"))
    if visit:
        rows = [(row[2], row[3], row[4], row[5]) for row in rows]  # type: ignore[misc]
        return ["House specification, as left", "", *columns(rows), "", *_rule()]
    out = ["Left outside the house specification, the newest first", ""]
    for came, who, what, left, allowed, said in rows[1:]:
        out += [f"{came}  {who:<16}  {what}", f"{'':12}{left}, allowed {allowed}: {said}"]
    return [*out, "", *_rule()]


def _rule() -> list[str]:
    return paragraph("Inside or outside is said where U = 2 u leaves no doubt (ISO 14253-1).")


def season_lines(found: Sequence[Season], what: str, system: System) -> list[str]:
    """How a reading moves between visits.

    Args:
        found: the answers.
        what: was asked for.
        system: of units.
    Returns: lines.
    """
    if not found:
        return paragraph(
            f"Nothing can be told of {what} yet: it needs closed visits of one instrument, one after another, with the "
            "same place read as left at the one and as found at the next."
        )
    lines: list[str] = []
    for one in found:
        kind = "cents" if one.kind == "pitch" else one.kind
        head = f"{what}, from as left to as found at the next visit, {count(one.visits, 'visit')}"
        lines += ([""] if lines else []) + paragraph(head[0].upper() + head[1:])
        rows = [("found in", "visits", "mean change")]
        for month in one.months:
            half = None if month.sd is None else U * month.sd
            rows.append((MONTHS[month.month - 1], str(month.visits), amount(month.mean, kind, half, system)))
        lines += section("by month", columns(rows, right=(1,)))
        lines += section("trends", [
            *_trend("humidity", one.humidity, 0.1, "for 10 % more humidity", kind, system),
            *_trend("time", one.years, 1.0, "a year", kind, system),
        ])  # fmt: skip
    return [
        *lines,
        "",
        *paragraph("± is twice the standard uncertainty; the mean of all places at one visit counts once."),
    ]


def _trend(label: str, slope: Slope | None, step: float, words: str, kind: str, system: System) -> list[str]:
    if slope is None:
        need = "three visits or more with humidity noted at them and at those before" if label == "humidity" else (
            "three visits or more at different distances"
        )  # fmt: skip
        return labelled(label, f"not told: it needs {need}.", 2, COLUMN - 2)
    told = amount(step * slope.slope, kind, step * slope.half_width, system)
    seen = "" if slope.seen else "; no trend is seen"
    return labelled(label, f"{told} {words}, of {count(slope.visits, 'visit')}{seen}", 2, COLUMN - 2)


def yield_lines(found: Sequence[KindYield]) -> list[str]:
    """First-pass yield, rounds and minutes by kind of job.

    Args:
        found: the lines.
    Returns: lines.
    """
    if not found:
        return paragraph("No visit is closed yet, so there is nothing to count; a visit counts once it is closed.")
    lines = ["Closed visits by kind of job"]
    for one in found:
        judged = f"{one.judged} held to a house specification" if one.judged else "none held to a house specification"
        rows = labelled("visits", f"{one.visits}, {judged}", 2, 20)
        rows += labelled("all inside", share_words(one.inside), 2, 20) + labelled(
            "at first pass", share_words(one.first_pass), 2, 20
        )
        for label, of in (("rounds", one.rounds), ("claw settings", one.claw_settings), ("tunings", one.tunings),
                          ("minutes", one.minutes)):  # fmt: skip
            rows += labelled(label, spread_words(of), 2, 20)
        lines += section(short(one.kind, TITLE) or "no kind named", rows)
    return [*lines, "", *paragraph(
        "Rounds: how often the thing set most often was set. All inside: every limit read as left and proved inside; "
        "at first pass: so in one round. Minutes: first to last entry, pauses over two hours left out. Numbers are the "
        "median, with the quartiles in brackets; shares have their band of 95 %."
    )]  # fmt: skip


def share_words(one: Share | None) -> str:
    """A share with its band.

    Args:
        one: None of nothing.
    Returns: e.g. "3 of 4, 75 % (30 to 95 %)", "" for none.
    """
    if one is None:
        return ""
    return f"{one.some} of {one.of}, {100 * one.share:.0f} % ({100 * one.low:.0f} to {100 * one.high:.0f} %)"


def spread_words(one: Quartiles | None) -> str:
    """A median with its quartiles.

    Args:
        one: None where no visit has the number.
    Returns: e.g. "2 (1 to 3)", "" for none.
    """
    return "" if one is None else f"{one.median:.3g} ({one.low:.3g} to {one.high:.3g})"


def gauge_lines(found: Studied, system: System) -> list[str]:
    """How alike people read the same places.

    Args:
        found: the study.
        system: of units.
    Returns: lines.
    """
    study, kind = found.study, found.cells.kind
    head = f"{found.cells.what}: {study.parts} places, {study.people} people, {study.trials} trials each"
    lines = [*paragraph(head[0].upper() + head[1:]), *labelled("people", ", ".join(found.cells.people), 0, COLUMN)]
    rows = [("", "sd", "band of 95 %", "of variance")]
    for label, part in (
        ("repeatability (EV)", study.repeatability), ("reproducibility (AV)", study.reproducibility),
        ("  of it people", study.by_person), ("  of it interaction", study.interaction),
        ("both together (GRR)", study.both), ("between places (PV)", study.between_parts),
    ):  # fmt: skip
        ends = f"{amount(part.low, kind, None, system, False)} to {amount(part.high, kind, None, system, False)}"
        rows.append((label, amount(part.sd, kind, None, system, False), ends, f"{100 * part.share:.1f} %"))
    lines += section("standard deviations", columns(rows, right=(3,)))
    told = [
        ("GRR of total spread", f"{100 * study.of_total:.0f} %"),
        ("places told apart", f"{study.categories} kinds"),
    ]
    if study.of_tolerance is not None:
        told.insert(1, ("6 GRR of the tolerance", f"{100 * study.of_tolerance:.0f} %"))
    lines += section("what it means", columns(told))
    table = [("", "squares", "freedom", "F", "p")]
    for one in study.sources:
        f, p = ("" if one.f is None else f"{one.f:.2f}"), ("" if one.p is None else f"{one.p:.3f}")
        table.append((one.name, f"{one.squares:.3g}", str(one.freedom), f, p))
    lines += section("analysis of variance", columns(table, right=(1, 2, 3, 4)))
    how = "The interaction could not be told (p above 0.25) and is pooled with the trials. " if study.pooled else ""
    return [*lines, "", *paragraph(how + " ".join(one[0].upper() + one[1:] for one in study.remarks))]


def capability_lines(spec: Specification, found: Sequence[Held], system: System) -> list[str]:
    """How well the shop holds a specification.

    Args:
        spec: it.
        found: a line for each limit.
        system: of units.
    Returns: lines.
    """
    lines = paragraph(f"House specification {short(spec.name, TITLE)}, version {spec.number}, as left")
    for one in found:
        body = labelled("limits", limits(one.limit, system), 2, COLUMN - 2)
        body += labelled("read", f"{count(one.count, 'value')}, {one.beyond} past a limit", 2, COLUMN - 2)
        if one.capability is None:
            body += labelled("", "", 2) or labelled("not told", one.why, 2, COLUMN - 2)
        else:
            made, kind = one.capability, one.limit.kind
            spread = made.spread
            inner = (
                "" if spread.within is None else f", within a month {amount(spread.within, kind, None, system, False)}"
            )
            body += labelled("mean", amount(spread.mean, kind, None, system, False), 2, COLUMN - 2)
            body += labelled("sd", f"{amount(spread.sd, kind, None, system, False)}{inner}", 2, COLUMN - 2)
            for label, index in (("Cp", made.cp), ("Cpk", made.cpk), ("Pp", made.pp), ("Ppk", made.ppk)):
                body += labelled(label, index_words(index), 2, COLUMN - 2)
            body += labelled("outside", f"{hundred_words(made.outside)} expected", 2, COLUMN - 2)
            body += labelled("note", " ".join(made.remarks), 2, COLUMN - 2)
        lines += section(limit_name(one.limit), body)
    if not found:
        lines += ["", *paragraph("It limits nothing: its items name no low and no high value.")]
    return [*lines, "", *paragraph(
        "Cp, Cpk: by the spread within months; Pp, Ppk: by all of it; values taken as Gaussian, the gauge's spread is "
        "in them. In brackets the band of 95 %."
    )]  # fmt: skip


def index_words(one: Index | None) -> str:
    """An index with its band of 95 %.

    Args:
        one: None where it is not told.
    Returns: e.g. "1.33 (1.02 to 1.64)", "" for none.
    """
    return "" if one is None else f"{one.value:.2f} ({one.low:.2f} to {one.high:.2f})"


def hundred_words(share: float) -> str:
    """A share in a hundred.

    Args:
        share: 0 to 1.
    Returns: e.g. "1.2 %".
    """
    return "under 0.01 %" if share < 1e-4 else f"{100.0 * share:.2g} %"


def again_lines(found: Again) -> list[str]:
    """The draft of a job once more.

    Args:
        found: it.
    Returns: lines: the job file itself where none was written.
    """
    visit = found.last.visit
    if not found.written:
        return [found.draft.job.decode().rstrip("\n")]
    lines = paragraph(f"As at visit {visit.number}, {visit.came[:10]}: a draft")
    lines += section("written", [line for path in found.written for line in labelled("file", path, 2, COLUMN - 2)])
    return [*lines, "", *[line for one in found.draft.remarks for line in paragraph(one[0].upper() + one[1:])]]
