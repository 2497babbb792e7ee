"""A job once more: what of last time goes into the draft, and what does not."""

from __future__ import annotations

import tomllib
from pathlib import Path

from setwright.bench.again import draft
from setwright.records.found_left import Key, Summed, Told, Value
from setwright.records.history import AsLast
from setwright.records.rows import Visit

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
HELD = '{"capo":null,"hold_high":17,"hold_low":1,"read_at":8,"straightedge":false}'


def last(name, values=(), job=None):
    raw = (EXAMPLES / f"{name}.job.toml").read_bytes() if job is None else job.encode()
    home = tomllib.loads(raw.decode())["job"]["instrument"]
    visit = Visit("", 1, "", 3, "closed", "floating", "2025-01-15 09:00:00", None, None, "", f"{name}.job.toml", home,
                  "", "", "", b"")  # fmt: skip
    sums = Summed(tuple(Value(key, None, Told(si, 1e-5, 4)) for key, si in values), 1, 1, 6, 40, None)
    return AsLast(visit, raw, (EXAMPLES / home).read_bytes(), sums)


def key(what, string=0, fret=0, side="", convention="", attitude="playing"):
    return Key(what, string, fret, side, False, convention, attitude, "length")


def found(made):
    return tomllib.loads(made.job.decode())["found"]


def test_sides_heights_and_relief_as_left_stand_as_found():
    heights = [(key("string height", s, 12), 1.5e-3 + 1e-4 * s) for s in range(1, 7)]
    odd = [(key("string height", 1, 1), 4e-4), (key("rear gap", attitude="upright"), 9e-3)]
    sides = [(key("rear gap", side="bass"), 2.5e-3), (key("rear gap", side="treble"), 2.7e-3)]
    made = draft(last("kestrel-float", [*odd, *sides, *heights, (key("relief", convention=HELD), 2e-4)]))
    now = found(made)
    assert now["rear_gap"] == ["2.700 mm ± 0.010 mm", "2.500 mm ± 0.010 mm"]
    assert now["string_height"]["fret"] == 12
    assert now["string_height"]["values"][5] == "2.100 mm ± 0.010 mm"
    assert now["relief"] == {"value": "0.200 mm ± 0.010 mm", "hold": [1, 17], "read": 8}
    assert (now["bridge"], now["springs"]) == ("floating", 3)
    assert "saddle_room" not in now
    assert "claw_distance" not in now
    assert len(made.remarks) == 1
    was = tomllib.loads((EXAMPLES / "kestrel-float.job.toml").read_text())
    whole = tomllib.loads(made.job.decode())
    assert {name: whole[name] for name in ("want", "shop", "limits")} == {
        name: was[name] for name in ("want", "shop", "limits")
    }
    assert "wish" not in whole["job"]


def test_every_example_gives_a_draft_that_reads():
    for path in EXAMPLES.glob("*.job.toml"):
        made = draft(last(path.name.removesuffix(".job.toml")))
        assert not any("needs a hand" in one for one in made.remarks), (path, made.remarks)
        assert any("nothing was read as left" in one for one in made.remarks)


def test_a_decked_plate_has_no_gap_and_one_that_only_dives_is_blocked():
    text = (EXAMPLES / "kestrel-float.job.toml").read_text()
    gap = [(key("rear gap"), 1e-3)]
    for wanted, now in (("decked", "decked"), ("dive-only", "blocked")):
        start, end = text.split("[want]\n", 1)
        end = end.replace('bridge = "floating"', f'bridge = "{wanted}"').replace('rear_gap = "2.6 mm ± 0.25 mm"\n', "")
        made = found(draft(last("kestrel-float", gap, f"{start}[want]\n{end}")))
        assert made["bridge"] == now
        assert ("rear_gap" in made) == (wanted != "decked")


def test_a_draft_that_does_not_read_says_so():
    text = (EXAMPLES / "kestrel-float.job.toml").read_text().replace('peak = "50 c"', "peak = true")
    made = draft(last("kestrel-float", job=text))
    assert "peak = true" in made.job.decode()
    assert any("needs a hand" in one for one in made.remarks)
