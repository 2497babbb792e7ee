"""How many examples a property draws: as many as it asks for, and a fifth of them in the quick loop."""

from __future__ import annotations

from typing import Any

from hypothesis import settings

USUAL = 100  # examples of a property that asks for no number, with all tests
FEWEST = 5


def examples(many: int = USUAL, **more: Any) -> settings:
    """Settings of a property that is to draw so many examples.

    Args:
        many: with all tests; in the quick loop as much less as the loaded profile draws less than usual.
        more: as `hypothesis.settings` takes it.
    Returns: the settings, to decorate with.
    """
    share = settings().max_examples / USUAL
    return settings(max_examples=max(min(many, FEWEST), round(share * many)), **more)
