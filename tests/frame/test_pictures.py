"""Pictures of pages: names, size and the page that lists them; walks are filled in."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from devtools import pictures, walk

ROOT = Path(__file__).resolve().parents[2]


def test_a_picture_is_cut_and_small() -> None:
    out = io.BytesIO()
    Image.new("RGB", (390, 5000), "white").save(out, "PNG")
    with Image.open(io.BytesIO(pictures.small(out.getvalue()))) as kept:
        assert (kept.format, kept.size) == ("WEBP", (390, pictures.TALLEST))


def test_the_page_shows_every_picture_there_is_and_no_other() -> None:
    text = (ROOT / pictures.PAGE).read_text(encoding="utf-8")
    there = {one.name for one in (ROOT / pictures.FOLDER).iterdir()}
    assert there
    assert {name for name in there if f"(pictures/{name})" not in text} == set()
    assert sum((ROOT / pictures.FOLDER / name).stat().st_size for name in there) < pictures.LARGEST
    names = [line.removeprefix("## ").casefold() for line in text.splitlines() if line.startswith("## ")]
    assert {f"{pictures.slug(name)}-{size}.webp" for name in names for size in pictures.WIDTHS} == there
    assert text == pictures.listed([f"{name[:1].lower()}{name[1:]}" for name in names])


def test_pictures_of_some_pages_leave_the_others(tmp_path: Path) -> None:
    old, new = tmp_path / "old", tmp_path / "new"
    for folder, said in ((old, "old"), (new, "new")):
        folder.mkdir()
        (folder / "day-phone.webp").write_text(said)
    (old / "who-phone.webp").write_text("old")
    for one in ("day-phone.webp", "who-phone.webp"):
        pictures.if_missing(str(old / one), str(new / one))
    assert [(new / one).read_text() for one in ("day-phone.webp", "who-phone.webp")] == ["new", "old"]


@pytest.mark.parametrize(("name", "file"), [("step, kestrel, neck off", "step-kestrel-neck-off"), ("Day", "day")])
def test_names_of_files(name: str, file: str) -> None:
    assert pictures.slug(name) == file


def test_an_address_is_filled_and_what_is_missing_is_told() -> None:
    assert walk.filled("/visit/{visit}/take/{take}", {"visit": "a", "take": "b"}) == "/visit/a/take/b"
    with pytest.raises(LookupError, match=r"\{thing\} of /new/\{thing\}; add it in devtools/walk\.py"):
        walk.filled("/new/{thing}", {})
