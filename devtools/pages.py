"""The docs check: links resolve, ./dev commands exist, every >>> example runs."""

from __future__ import annotations

import doctest
import re
import sys
from collections.abc import Iterator
from pathlib import Path

from devtools.main import COMMANDS

LINK = re.compile(r"(?<!!)\[[^\]]*\]\(([^)\s]+)\)|!\[[^\]]*\]\(([^)\s]+)\)")
FENCE = re.compile(r"^```.*?^```[ \t]*$", re.MULTILINE | re.DOTALL)
HEADING = re.compile(r"^#+\s+(.+?)\s*$", re.MULTILINE)
COMMAND = re.compile(r"\./dev ([a-z][a-z-]*)")


def pages(root: Path) -> list[Path]:
    """README.md and every page under docs/."""
    return [root / "README.md", *sorted((root / "docs").rglob("*.md"))]


def anchors(text: str) -> set[str]:
    """The anchors a Markdown page offers: its headings in lower case, words joined by hyphens."""
    found: dict[str, int] = {}
    result = set()
    for heading in HEADING.findall(FENCE.sub("", text)):
        slug = re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")
        count = found.get(slug, 0)
        found[slug] = count + 1
        result.add(f"{slug}-{count}" if count else slug)
    return result


def dead_links(root: Path) -> Iterator[str]:
    """One sentence for each link inside the project that leads nowhere."""
    for page in pages(root):
        for groups in LINK.findall(FENCE.sub("", page.read_text(encoding="utf-8"))):
            target = groups[0] or groups[1]
            if re.match(r"[a-z]+:", target):
                continue
            name, _, anchor = target.partition("#")
            path = (page.parent / name).resolve() if name else page
            if not path.exists():
                yield f"{page.relative_to(root)}: link to {target}: no such file"
            elif anchor and path.suffix == ".md" and anchor not in anchors(path.read_text(encoding="utf-8")):
                yield f"{page.relative_to(root)}: link to {target}: no such heading"


def unknown_commands(root: Path) -> Iterator[str]:
    """One sentence for each ./dev command on a page that ./dev does not know."""
    for page in pages(root):
        for name in COMMAND.findall(page.read_text(encoding="utf-8")):
            if name not in COMMANDS:
                yield f"{page.relative_to(root)}: ./dev {name}: there is no such command"


def failing_examples(root: Path) -> Iterator[str]:
    """One sentence for each page with >>> examples that do not give what the page shows; details are printed."""
    parser = doctest.DocTestParser()
    for page in pages(root):
        runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
        text = page.read_text(encoding="utf-8").replace("\n```", "\n\n```")  # an expected output ends at the fence
        test = parser.get_doctest(text, {}, page.name, str(page), 0)
        if test.examples and runner.run(test).failed:
            yield f"{page.relative_to(root)}: an example does not give what the page shows"


def main(root: Path) -> int:
    """Print what is wrong with the pages; 1 when something is."""
    found = [*dead_links(root), *unknown_commands(root), *failing_examples(root)]
    for line in found:
        print(line)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(Path.cwd()))
