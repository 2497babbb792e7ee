"""Whatever is kept comes back; whatever is typed is kept or refused in words."""

from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given
from hypothesis import strategies as st

from setwright.errors import SetwrightError
from setwright.records.entries import live
from setwright.records.forms import FORMS
from setwright.records.journal import append, entries, from_bytes
from setwright.records.journal_text import line_of, parse, parse_line
from tests.examples import examples

TIMES = st.datetimes(datetime(2000, 1, 1), datetime(2099, 12, 31)).map(lambda when: when.replace(microsecond=0))
WORDS = [f"{verb} {form.shape.partition(' (')[0]}" for verb, forms in FORMS.items() for form in forms.values()]
PIECES = st.sampled_from(sorted({piece for words in WORDS for piece in words.split()} | {"sure", "#1", '"', ",", "±"}))


@given(st.sampled_from(["note", "read", "did", "strike", "red"]), st.text(max_size=60) | st.lists(PIECES).map(" ".join),
       TIMES, st.sampled_from(["", "Ada", "Ada B"]), st.booleans())  # fmt: skip
@examples(300)
def test_what_is_accepted_comes_back_and_the_rest_is_refused_in_words(verb, words, when, who, sure):
    entry, message = None, ""
    try:
        entry = parse(verb, words, when, who, sure)
    except SetwrightError as error:
        message = str(error)
    if entry is None:
        assert message[-1] in ".?"
        return
    line = line_of(entry).replace("  #0", "  #1", 1)
    back = parse_line(line)
    assert line_of(back) == line
    assert (back.text, back.value, back.place, back.who, back.when) == (
        entry.text,
        entry.value,
        entry.place,
        entry.who,
        entry.when,
    )


@given(st.binary(max_size=200) | st.lists(PIECES).map(lambda pieces: " ".join(pieces).encode()))
def test_any_bytes_are_read_or_refused_in_words(raw):
    message = "j, line 1"
    try:
        from_bytes(raw, "j")
    except SetwrightError as error:
        message = str(error)
    assert message.startswith("j, line ")


@given(st.integers(0, 400), st.lists(st.sampled_from(WORDS), min_size=1, max_size=4))
@examples(60)
def test_torn_anywhere_keeps_what_was_whole_and_takes_more(cut, lines):
    with TemporaryDirectory() as folder:
        path = Path(folder) / "j.journal.txt"
        for words in lines:
            append(path, parse(*words.split(maxsplit=1), datetime(2026, 11, 25)))
        raw = path.read_bytes()[:cut]
        path.write_bytes(raw)
        whole = raw.count(b"\n")
        assert len(entries(path)) == whole
        append(path, parse("note", "after", datetime(2026, 11, 25)))
        found = live(entries(path))
        assert len(found) == whole + 1
        assert found[-1].text == "after"
        assert [one.number for one in found] == sorted({one.number for one in found})
