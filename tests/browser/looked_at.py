"""What is wrong with a page for eyes, fingers and screen readers: found in the browser, by the rules of the standard.

WCAG 2.2: contrast 4.5 to 1 for text (1.4.3), 3 to 1 for large text; no loss at 320 CSS pixels (1.4.10); labels (1.3.1,
4.1.2); one h1 and headings without gaps (1.3.1). Targets of 44 pixels are those of 2.5.5
(level AAA). Words of a drawing lie on its paper and not on each other.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

RULES = Path(__file__).with_suffix(".js").read_text(encoding="utf-8")


def faults(page: Any) -> list[str]:
    """What is wrong with the page that is shown.

    Args:
        page: of Playwright.
    Returns: one line for each fault.
    """
    found: list[str] = page.evaluate(RULES)
    return found
