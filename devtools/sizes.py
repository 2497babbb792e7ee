"""The size report: files, functions and classes that have grown past the point where a reader can hold them."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

FOLDERS = ("src", "devtools", "tests", "benchmarks")
FILE_LINES = 500
TEST_FILE_LINES = 600
FUNCTION_LINES = 60
PUBLIC_METHODS = 20


def too_large(root: Path) -> Iterator[str]:
    """One sentence for each file, function and class over its size."""
    for folder in FOLDERS:
        for path in sorted((root / folder).rglob("*.py")):
            yield from _in_file(path.relative_to(root), path.read_text(encoding="utf-8"))


def _in_file(path: Path, text: str) -> Iterator[str]:
    limit = TEST_FILE_LINES if path.parts[0] == "tests" else FILE_LINES
    lines = len(text.splitlines())
    if lines > limit:
        yield f"{path}: {lines} lines, at most {limit}: split the file"
    for node in ast.walk(ast.parse(text, str(path))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            if length > FUNCTION_LINES:
                yield f"{path}:{node.lineno}: {node.name} has {length} lines, at most {FUNCTION_LINES}: split it"
        elif isinstance(node, ast.ClassDef):
            public = sum(
                isinstance(part, ast.FunctionDef | ast.AsyncFunctionDef) and part.name[0] != "_" for part in node.body
            )
            if public > PUBLIC_METHODS:
                yield f"{path}:{node.lineno}: {node.name} has {public} public methods, at most {PUBLIC_METHODS}"


def main(root: Path) -> int:
    """Print the report; 1 when something is too large."""
    found = list(too_large(root))
    for line in found:
        print(line)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(Path.cwd()))
