"""setwright bar-test: does it come back to pitch, and if not, what holds it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import click

from setwright.cli.asked import json_option, say, say_json, source_of, visit_options
from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.bench.bar_test import BarTest

KINDS = {"stretch": "stretched or slipped", "slot": "held at nut, tree or saddle", "knife": "knife edge, post or block"}
ANSWERS = {"yes": "more than the tolerance", "perhaps": "perhaps more", "no": ""}


@click.command("bar-test")
@click.argument("job", required=False)
@click.option("--dive", metavar="LIST", required=True, help='After a dive and return: "-3 -4 -9 ..." in cents.')
@click.option("--pull", metavar="LIST", required=True, help='After a pull and return: "2 3 6 ..." in cents.')
@click.option("--before", metavar="LIST", help="Before, in cents off the note, or in hertz; left out: 0 cents.")
@click.option("--hertz", is_flag=True, help="All lists are in hertz; --before is then needed.")
@click.option("--sd", type=float, default=0.5, help="Standard uncertainty of one reading, in cents.")
@click.option("--tolerance", type=float, default=2.0, help="What counts as back at pitch, in cents.")
@visit_options
@json_option
def command(
    job: str | None,
    dive: str,
    pull: str,
    before: str | None,
    hertz: bool,
    sd: float,
    tolerance: float,
    visit: str | None,
    shop: str | None,
    as_json: bool,
) -> None:
    """Say whether the floating bridge found in JOB comes back to pitch, and if not, what holds it.

    One quoted list per option, from string 1, the thinnest.
    """
    import numpy as np

    from setwright.bench.bar_test import bar_test
    from setwright.bench.data import document
    from setwright.bench.journals import job_from

    read = job_from(source_of(job, visit, shop))
    if hertz and before is None:
        raise InputError("--hertz needs --before, the pitches in hertz before the test; write it.")
    base = None if before is None else numbers(before, "--before", hertz)
    off = [np.array(against(numbers(text, name, hertz), base, name, hertz))
           for text, name in ((dive, "--dive"), (pull, "--pull"))]  # fmt: skip
    result = bar_test(read, off[0], off[1], sd, tolerance)
    if as_json:
        say_json(document("bar_test", result))
        return
    say(told(result))


def numbers(text: str, name: str, hertz: bool) -> list[float]:
    """The numbers of a list.

    Args:
        text: as typed, parted by blanks or commas.
        name: of its option.
        hertz: whether they are pitches, 15 to 1500 Hz.
    Returns: the numbers [c or Hz].
    Raises: InputError.
    """
    out = []
    for word in text.replace("−", "-").replace(",", " ").split():
        try:
            value = float(word)
        except ValueError:
            raise InputError(
                f'{name}: {word!r} is no number; write one per string from string 1, for instance "-3 -4 -9".'
            ) from None
        if not math.isfinite(value) or (hertz and not 15.0 <= value <= 1500.0):
            allowed = "15 to 1500 Hz" if hertz else "a finite number of cents"
            raise InputError(f"{name}: {word} is not {allowed}; check it.")
        out.append(value)
    return out


def against(values: list[float], base: list[float] | None, name: str, hertz: bool) -> list[float]:
    """Cents against before.

    Args:
        values: as read [c or Hz].
        base: before, None for nought [c or Hz].
        name: of their option.
        hertz: whether both are pitches.
    Returns: differences [c].
    Raises: InputError where the lists differ in length.
    """
    if base is None:
        return values
    if len(values) != len(base):
        raise InputError(f"{name}: {len(values)} readings, and --before has {len(base)}; write one per string in both.")
    if hertz:
        return [1200.0 * math.log2(now / was) for now, was in zip(values, base, strict=True)]
    return [now - was for now, was in zip(values, base, strict=True)]


def told(result: BarTest) -> str:
    """The answer in words.

    Args:
        result: of the bar test.
    Returns: lines of text.
    """
    verdict = "comes back to pitch" if result.comes_back else "does not come back to pitch"
    lines = [f"{result.title}: {verdict} (within {result.tolerance:g} c)", ""]
    lines.append("string   dive   pull")
    lines += [f"{i:>6} {d:>+6.1f} {p:>+6.1f}" for i, (d, p) in enumerate(zip(result.dive, result.pull, strict=True), 1)]
    lines += ["", "What holds it, cents ± standard uncertainty:"]
    shown = [c for c in result.diagnosis.causes if c.matters != "no" or c.string is None]
    for one in shown:
        where = "plate" if one.string is None else f"string {one.string}"
        text = f"  {where}: {KINDS[one.kind]} {one.cents:.1f} ± {one.sd:.1f} c"
        lines.append(f"{text}, {ANSWERS[one.matters]}" if ANSWERS[one.matters] else text)
    lines += ["", *(f"{i}. {remedy}" for i, remedy in enumerate(result.remedies, 1))]
    return "\n".join([*lines, *result.remarks, *result.cautions])
