"""Short words that several pages share."""

from __future__ import annotations

from setwright.bench.next_step import Next
from setwright.cli.advice_words import todo
from setwright.cli.words import spelled
from setwright.units.show import System


def next_words(found: Next, system: System) -> str:
    """The next step in one line.

    Args:
        found: the step.
        system: "inch" or "mm".
    Returns: words without a full stop.
    """
    if found.step is not None:
        return f"{spelled(found.step.title, system)}, step {found.count} of {found.of}"
    assert found.advice is not None
    return todo(found.advice, system, found.wanted, found.gauges)
