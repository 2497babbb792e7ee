"""Reading a drawing back: its paths, rectangles and words, and where words lie over each other."""

import re
import xml.etree.ElementTree as ET

from setwright.sheets import ink

SVG = "{http://www.w3.org/2000/svg}"
TAGS = {f"{SVG}{name}" for name in ("svg", "title", "desc", "style", "rect", "text", "path")}
# mean advance of letters and of figures over the size of the type, in the widest of the usual families, as a browser
# laid these very words out; a box reaches 0.76 above and 0.22 below the base line
LETTER, FIGURE, ABOVE, BELOW = 0.51, 0.64, 0.76, 0.22


def root_of(svg):
    return ET.fromstring(svg.encode())


def words(svg):
    return [one.text or "" for one in root_of(svg).iter(f"{SVG}text")]


def paths(svg, weight=None, dashed=None, colour=None):
    """Points of every path that is like this."""
    out = []
    for one in root_of(svg).iter(f"{SVG}path"):
        if weight is not None and one.get("stroke-width") != ink.place(weight):
            continue
        if dashed is not None and (one.get("stroke-dasharray") == "2 1.2") is not dashed:
            continue
        if colour is not None and colour not in (one.get("fill"), one.get("stroke")):
            continue
        out.append([tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", one.get("d"))])
    return out


def rects(svg):
    """Left, top, width, height of every slot."""
    every = root_of(svg).iter(f"{SVG}rect")
    return [tuple(float(one.get(key)) for key in ("x", "y", "width", "height")) for one in every if one.get("x")]


def boxes(svg):
    """Words with the box they take: left, top, right, bottom [mm]."""
    out = []
    for one in root_of(svg).iter(f"{SVG}text"):
        size, x, y = (float(one.get(key)) for key in ("font-size", "x", "y"))
        long = size * sum(FIGURE if c.isdigit() else LETTER for c in one.text or "")
        left = x - {"middle": 0.5, "end": 1.0}.get(one.get("text-anchor"), 0.0) * long
        out.append((one.text or "", left, y - ABOVE * size, left + long, y + BELOW * size))
    return out


def over_each_other(svg):
    """Pairs of words whose boxes share more than a hair."""
    found, out = boxes(svg), []
    for i, (a, l0, t0, r0, b0) in enumerate(found):
        for b, l1, t1, r1, b1 in found[i + 1 :]:
            if min(r0, r1) - max(l0, l1) > 0.3 and min(b0, b1) - max(t0, t1) > 0.3:
                out.append((a, b))
    return out


def sound(svg):
    """Everything that holds for any drawing."""
    root = root_of(svg)
    assert {one.tag for one in root.iter()} <= TAGS
    assert root.get("viewBox").isascii()
    width, height = map(float, root.get("viewBox").split()[2:])
    assert root.get("width") == f"{root.get('viewBox').split()[2]}mm"
    assert not re.search(r"href|url\(|@import|\b(nan|inf)\b", svg)
    assert svg.count("://") == 1  # the name of the format
    for path in paths(svg):
        assert all(0.0 <= x <= width and 0.0 <= y <= height for x, y in path), path
    for one, left, top, right, bottom in boxes(svg):
        assert left >= 0.0, one
        assert top >= 0.0, one
        assert right <= width + 0.1, one
        assert bottom <= height, one
    assert over_each_other(svg) == []
