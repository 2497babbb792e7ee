"""What wants a look about a set, each in one sentence."""

from __future__ import annotations

from setwright.bench.strings import Change, Flag, Measured, StringSheet
from setwright.cli.words import number
from setwright.units.pitch import A4
from setwright.units.show import LengthStyle, System, show_length, show_value

COVER = 1.96  # 95 % of a Gaussian
TENTH = 1.5  # N, gives a place after the point in lb and in N
FANNED = 1e-4  # m between the lengths of the strings of a board
COMPENSATED = 12e-3  # m, what saddles and tilt make sounding lengths differ by on one scale at most
HARDLY = 0.01  # share of the pull before, below which neck and bridge hardly notice


def banded(one: Measured, system: System) -> str:
    """A force with what holds 95 of 100."""
    return number(one.value, "force", system, COVER * one.sd)


def pull(newtons: float, system: System) -> str:
    """A force without a band, to a tenth."""
    return show_value(newtons, "force", system, TENTH)


def thickness(metres: float, system: System) -> str:
    """A thickness as gauges are written: thou, or hundredths of a millimetre."""
    return show_length(metres, system, style="thou" if system == "inch" else "mm")


def flag_sentence(flag: Flag, system: System) -> str:
    """One flag in words.

    Args:
        flag: not one of breaking, which the sheet's remarks tell.
        system: "inch" or "mm".
    Returns: one sentence.
    """
    who = f"String {flag.string} ({flag.gauge})"
    if flag.kind == "slack":
        pulls, least = pull(flag.value, system), pull(flag.limit, system)
        return (
            f"{who} is too slack: it pulls {pulls}, usual sets at least {least}; take a thicker one or a longer scale."
        )
    if flag.kind == "answers to the finger":
        return (
            f"{who} goes {flag.value:.0f} c sharp when its path grows by {show_length(2e-5, 'mm')}, as under a hard "
            f"finger, {flag.limit:.0f} c is the limit: finger and bar pull it out of tune; "
            + ("a longer scale helps." if flag.gauge.rstrip().casefold().endswith("w") else "a wound one answers less.")
        )
    if flag.kind == "too thick for the slot":
        wide, thick = thickness(flag.limit, system), thickness(flag.value, system)
        return f"{who} is {thick} thick and its slot {wide} wide: it will bind; widen the slot or take a thinner one."
    if flag.kind == "thicker":
        more = thickness(flag.value, system)
        return f"{who} is {more} thicker than the {flag.was} that was on: the nut slot may bind; see that it moves."
    kind = flag.kind.removeprefix("now ")
    before = "plain" if kind == "wound" else "wound"
    return (
        f"String {flag.string} was {before} ({flag.was}) and is now {kind} ({flag.gauge}): octave and nut want setting."
    )


def change_sentence(change: Change, system: System) -> str:
    """The change of the pull of all strings in words."""
    other = "the set that was on" if change.same_board else "the other set"
    if abs(change.share) < HARDLY:
        return f"All together pull as {other}, {banded(change.before, system)}, within 1 %."
    size = Measured(abs(change.total.value), change.total.sd)
    which = "more" if change.total.value > 0.0 else "less"
    told = f"All together pull {banded(size, system)} ({100.0 * abs(change.share):.0f} %) {which} than {other}"
    if not change.same_board:
        return f"{told}."
    return f"{told}: neck and bridge will move; read relief, height and gap again."


def _thicker(flags: list[Flag], system: System) -> str:
    """Several strings that are thicker than before, in one sentence."""
    each = [f"{one.string} ({one.gauge} for {one.was})" for one in flags]
    least, most = (thickness(pick(one.value for one in flags), system) for pick in (min, max))
    by = least if least == most else f"{least} to {most}"
    return (
        f"Strings {', '.join(each[:-1])} and {each[-1]} are {by} thicker: the nut slots may bind; see that they move."
    )


def about_sentences(sheet: StringSheet, system: System) -> list[str]:
    """What the figures rest on, where it is not the usual: another reference, a fan of scales.

    Args:
        sheet: the set.
        system: "inch" or "mm".
    Returns: sentences.
    """
    out = []
    if sheet.reference != A4:
        out.append(f"Notes are named by A4 = {show_value(sheet.reference, 'pitch')}.")
    lengths = [line.length for line in sheet.lines]
    straight = FANNED if sheet.title.startswith("Strings at") else COMPENSATED
    if max(lengths) - min(lengths) > straight:
        style: LengthStyle = "thou" if system == "inch" else "mm"
        each = ", ".join(show_length(one, system, 2.5e-4, style=style).split()[0] for one in lengths)
        out.append(f"Sounding lengths from string 1: {each} {'in' if system == 'inch' else 'mm'}.")
    return out


def sheet_sentences(sheet: StringSheet, system: System) -> list[str]:
    """Everything that wants a look about a set.

    Args:
        sheet: the set.
        system: "inch" or "mm".
    Returns: sentences.
    """
    alone = [one for one in sheet.flags if one.kind not in ("near breaking", "thicker")]
    thicker = [one for one in sheet.flags if one.kind == "thicker"]
    out = [*sheet.remarks, *(flag_sentence(one, system) for one in alone)]
    if len(thicker) == 1:
        out.append(flag_sentence(thicker[0], system))
    elif thicker:
        out.append(_thicker(thicker, system))
    return out if sheet.change is None else [*out, change_sentence(sheet.change, system)]
