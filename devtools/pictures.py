"""Pictures of every page on a phone, a tablet and a laptop, and the page of the documentation that shows them."""

from __future__ import annotations

import io
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from devtools import walk
from devtools.serving import CHROMIUM, FLAGS, Serving

FOLDER, PAGE = "docs/pictures", "docs/pictures.md"
WIDTHS = {"phone": (390, 844), "tablet": (820, 1180), "laptop": (1280, 800)}
SHOWN = "tablet"  # in the page itself; the others behind links
TALLEST = 2000  # pixels of a picture; what stands below is left off
QUALITY = 40  # of WebP
LARGEST = 6_000_000  # bytes of all pictures
PATIENCE = 180_000  # ms
TURN = 150  # ms, until a page of another width is drawn
LOADED = """() => Promise.all([...document.querySelectorAll("img[loading=lazy]")].map((one) => {
    one.loading = "eager";
    return one.decode().catch(() => null); }))"""
HEAD = """# Pictures

Every page of the bench app in an invented shop, made by `./dev pictures`: the same each time but for ids. A picture
ends after 2000 pixels. Looked at one by one before each release, for what a technician would not like.

"""


def slug(name: str) -> str:
    """A name of a file from the name of a page."""
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")


def small(picture: bytes) -> bytes:
    """A picture as WebP, cut at `TALLEST`.

    Args:
        picture: PNG.
    Returns: WebP.
    """
    from PIL import Image

    with Image.open(io.BytesIO(picture)) as whole:
        out = io.BytesIO()
        whole.convert("RGB").crop((0, 0, whole.width, min(whole.height, TALLEST))).save(out, "WEBP", quality=QUALITY)
        return out.getvalue()


def listed(names: list[str]) -> str:
    """The page of the documentation.

    Args:
        names: of the pages, in the order they are shown.
    Returns: Markdown.
    """
    lines = [HEAD.strip(), ""]
    for name in names:
        others = ", ".join(f"[{one}](pictures/{slug(name)}-{one}.webp)" for one in WIDTHS if one != SHOWN)
        lines += [
            f"## {name[:1].upper()}{name[1:]}",
            "",
            f"{others}",
            "",
            f"![{name}](pictures/{slug(name)}-{SHOWN}.webp)",
            "",
        ]
    return "\n".join(lines)


def take(
    browser: Any, serving: Serving, shop: walk.Shop, keep: Callable[[str, str, bytes], None], only: Sequence[str] = ()
) -> list[str]:
    """Look at every page in every width.

    Args:
        browser: Chromium, by Playwright.
        serving: the bench of the shop, started.
        shop: as made.
        keep: takes the name of a page, that of a width, and a PNG.
        only: beginnings of names; none: every page.
    Returns: names of the pages that were looked at, in their order.
    """
    context = browser.new_context(color_scheme="light", reduced_motion="reduce")
    page = signed(context.new_page(), serving.address)
    names = []

    def look(stop: walk.Stop) -> None:
        if only and not stop.name.startswith(tuple(only)):
            return
        settled(page, serving.address + stop.path)
        for size, (width, height) in WIDTHS.items():
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_timeout(TURN)
            keep(stop.name, size, page.screenshot(full_page=True, animations="disabled"))
        names.append(stop.name)

    for stop in walk.stops(shop, page, serving.address):
        look(stop)
    for stop in walk.add_states(shop):
        look(stop)
    return names


def signed(page: Any, address: str) -> Any:
    """A page of somebody who has said who they are."""
    page.set_default_timeout(PATIENCE)
    page.goto(f"{address}/who")
    page.fill("#name", "Mara")
    with page.expect_navigation():
        page.click("text=This is me")
    return page


def settled(page: Any, address: str) -> None:
    """Open a page, and wait until nothing of it is still being worked out.

    Args:
        page: of Playwright.
        address: whole.
    """
    page.goto(address)
    page.wait_for_selector("body:not([data-reload=soon])")
    page.evaluate(LOADED)
    page.wait_for_timeout(TURN)


def if_missing(source: str, target: str) -> None:
    """Copy a file where none is.

    Args:
        source: of it.
        target: where to.
    """
    if not Path(target).exists():
        shutil.copyfile(source, target)


def main(root: Path, only: Sequence[str] = ()) -> int:
    """Make all pictures anew, and their page.

    Args:
        root: of the project.
        only: beginnings of names of pages, e.g. "step, kestrel"; their pictures alone are made anew, the others and
            the page stay.
    Returns: 0; 1 where they cannot be made or are too large, with a sentence.
    """
    if CHROMIUM is None:
        print("Chromium is not installed (as root: apt-get install chromium).")
        return 1
    from playwright.sync_api import sync_playwright

    scratch = Path(tempfile.gettempdir(), "setwright-pictures")  # one name, since a page shows where the shop is
    shutil.rmtree(scratch, ignore_errors=True)
    with sync_playwright() as play:
        fresh = Path(scratch, "pictures")
        fresh.mkdir(parents=True)
        shop = walk.make(Path(scratch, "shop"))
        serving = Serving(shop.at, Path(scratch, "state"))
        serving.start()
        try:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))

            def keep(name: str, size: str, picture: bytes) -> None:
                (fresh / f"{slug(name)}-{size}.webp").write_bytes(small(picture))
                if size == SHOWN:
                    print(f"  {name}", flush=True)

            names = take(browser, serving, shop, keep, only)
            browser.close()
        finally:
            serving.stop()
        if only and not names:
            print(f"no page begins with {' or '.join(only)}; the names stand in {PAGE}.")
            return 1
        if only:
            shutil.copytree(root / FOLDER, fresh, dirs_exist_ok=True, copy_function=if_missing)
        total = sum(one.stat().st_size for one in fresh.iterdir())
        if total > LARGEST:
            print(f"the pictures have {total / 1e6:.1f} MB, at most {LARGEST / 1e6:.0f}; lower QUALITY or TALLEST.")
            return 1
        shutil.rmtree(root / FOLDER, ignore_errors=True)
        shutil.copytree(fresh, root / FOLDER)
    shutil.rmtree(scratch)
    if not only:
        (root / PAGE).write_text(listed(names), encoding="utf-8")
    print(f"{len(names)} pages, {total / 1e6:.1f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path.cwd(), sys.argv[1:]))
