"""The file of a journal and the journal of a visit are twins: the same entries, the same text, whatever is in them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from setwright.errors import InputError
from setwright.records.jobs import add_visit
from setwright.records.journal import append as append_to_file
from setwright.records.journal import from_bytes
from setwright.records.journal_text import parse
from setwright.records.kept import append, journal_of, put_text, text_of
from setwright.records.overview import instruments, visits
from setwright.records.shop import new_shop
from tests.records.make_released import fill

WORDS = (
    ("read", "rear gap = 2.6 mm"), ("read", "rear gap bass = 2.5/32 in with rule 1/32 in, at pitch, on its back"),
    ("read", "pitch string 3 = -1.5 c"), ("read", "pitch string 6 fret 12 = 164.8 Hz ± 0.3 c reached from above"),
    ("read", "relief under a straightedge on 1 and 17, read at 8 = .010 in"), ("did", "claw bass out 1/8 turn"),
    ("did", "strings changed to .010 .013 .017 .026w .036w .046w"), ("did", "rod tighter 1/4 turn"),
    ("did", "flat shim in .010 in"), ("did", "step neck off"), ("did", "nut locked"), ("note", "Größe 12 % \"so\""),
    ("read", "rear gap = 9 mm sure"), ("did", "bar down and let go"), ("read", "temperature = 68 F"),
)  # fmt: skip
AROUND = (b"", b"\n", b"# by hand\n", b"  \r\n", b"# \xff\xfe\n", b"2026-11-25 14:34  #4  did  cla  [torn]\n", b"\t\n")
ENDS = (b"", b"\n", b"2026-11-25 1", b"  ", b"# half a remark", b"2026-11-25 14:34:00  #77  note  torn")


@st.composite
def texts(draw):
    """Journals as hands, editors and power cuts leave them."""
    out, number, when = draw(st.sampled_from((b"", b"\xef\xbb\xbf"))), 0, datetime(2026, 11, 25, 14)
    for _ in range(draw(st.integers(0, 6))):
        out += draw(st.sampled_from(AROUND))
        number += draw(st.integers(1, 3))
        when += timedelta(seconds=draw(st.integers(-50, 5_000)))
        verb, words = draw(st.sampled_from(WORDS))
        who = draw(st.sampled_from(("", " by Ada", ' by "Bo Lark"')))
        end = draw(st.sampled_from(("\n", "\r\n", "  \n")))
        out += f"{when:%Y-%m-%d %H:%M}  #{number}{who}  {verb} {words}{end}".encode()
        if draw(st.booleans()):
            out += f"{when:%Y-%m-%d %H:%M:%S} #{number + 1} strike #{number}: wrong\n".encode()
            number += 1
    return out + draw(st.sampled_from(AROUND)) + draw(st.sampled_from(ENDS))


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("twins")
    with new_shop(folder / "shop", "Weir Lane Bench") as shop:
        fill(shop)
        with shop.reading() as work:
            (visit,) = visits(work, instruments(work)[0].id)
        yield shop, visit, folder / "j.journal.txt"


@pytest.mark.slow
@settings(max_examples=60)
@given(raw=texts(), more=st.lists(st.sampled_from((*WORDS, ("strike", "1 wrong"))), max_size=3))
def test_texts_entries_and_what_is_added_are_the_same(home, raw, more):
    shop, like, path = home
    path.write_bytes(raw)
    with shop.writing() as work:
        visit = add_visit(work, replace(like, id="", number=0, tail=b"", journal_name=path.name, specification=None))
        visit = put_text(work, visit, raw)
        assert text_of(work, visit) == raw
        assert journal_of(work, visit) == from_bytes(raw, path.name)
        for verb, words in more:
            entry = parse(verb, words, datetime(2026, 12, 1, 9, 30))
            try:
                added = append(work, visit.id, entry)
            except InputError:
                continue
            in_file = append_to_file(path, entry)
            assert (added.entry, added.set_aside) == (replace(in_file.entry, line=0), in_file.set_aside)
            visit = replace(visit, tail=b"")
        assert text_of(work, visit) == path.read_bytes()
        assert journal_of(work, visit) == from_bytes(path.read_bytes(), path.name)
