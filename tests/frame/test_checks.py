"""The size report and the docs check find what they are for."""

from __future__ import annotations

from pathlib import Path

import pytest

from devtools import pages, sizes, tables


def write(root: Path, name: str, text: str) -> None:
    path = root / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


def function(name: str, lines: int) -> str:
    return f"def {name}():\n" + "    x = 1\n" * (lines - 1)


def test_sizes_pass_at_the_limit(tmp_path: Path) -> None:
    write(tmp_path, "src/a.py", function("f", 60) + "x = 1\n" * 440)
    write(tmp_path, "tests/b.py", "x = 1\n" * 600)
    assert list(sizes.too_large(tmp_path)) == []
    assert sizes.main(tmp_path) == 0


def test_sizes_name_what_is_too_large(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, "src/a.py", "x = 1\n" * 501)
    write(tmp_path, "src/b.py", function("long", 61))
    methods = "".join(f"    def m{i}(self): ...\n" for i in range(21)) + "    def _own(self): ...\n"
    write(tmp_path, "src/c.py", "class Wide:\n" + methods)
    assert sizes.main(tmp_path) == 1
    said = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0] for line in said] == ["src/a.py", "src/b.py", "src/c.py"]
    assert "501 lines" in said[0]
    assert "long has 61" in said[1]
    assert "Wide has 21 public" in said[2]


GOOD = """# Two words

[there](docs/b.md#part-one) [self](#two-words) [out](https://example.org/x) `./dev test`

```python
>>> 1 + 1
2
```
"""


def test_good_pages_pass(tmp_path: Path) -> None:
    write(tmp_path, "README.md", GOOD)
    write(tmp_path, "docs/b.md", "## Part one\n\n```\n[not a link](nowhere.md)\n# not a heading\n```\n")
    assert pages.main(tmp_path) == 0


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("[x](gone.md)", "no such file"),
        ("[x](#gone)", "no such heading"),
        ("![x](gone.svg)", "no such file"),
        ("`./dev fly`", "no such command"),
        ("```python\n>>> 1 + 1\n3\n```\n", "an example does not give"),
    ],
)
def test_bad_pages_are_named(tmp_path: Path, text: str, complaint: str, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, "README.md", "# A\n\n" + text + "\n")
    assert pages.main(tmp_path) == 1
    assert complaint in capsys.readouterr().out


def test_anchors_repeat_with_a_number() -> None:
    assert pages.anchors("# Rear gap\n## `x`, y\n# Rear gap\n") == {"rear-gap", "x-y", "rear-gap-1"}


def test_the_tables_of_the_formats_page_are_written_into_it(tmp_path: Path) -> None:
    committed = (Path(__file__).resolve().parents[2] / tables.PAGE).read_text(encoding="utf-8")
    begin = next(line for line in committed.splitlines() if line.startswith("| "))
    write(tmp_path, tables.PAGE, committed.replace(begin, "| stale |"))
    tables.main(tmp_path)
    assert (tmp_path / tables.PAGE).read_text(encoding="utf-8") == committed
