"""The file of the journal: added to and never rewritten, whatever was left in it."""

import os
import subprocess
import sys
import time
from dataclasses import replace
from datetime import datetime

import pytest

from setwright.errors import FileFormatError, InputError, QuestionableError
from setwright.records import journal
from setwright.records.entries import live
from setwright.records.journal import Journal, append, entries, from_bytes, read_journal
from setwright.records.journal_text import parse

WHEN = datetime(2026, 11, 25, 14, 31, 7, 123456)
FIRST = b"2026-11-25 14:31:07  #1  did   claw in 1 turn\n"


def note(text="a", verb="note"):
    return parse(verb, text, WHEN)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "dunlin.journal.txt"


def test_no_file_is_an_empty_journal(path):
    assert read_journal(path) == Journal()
    assert not path.exists()


def test_entries_come_back_as_kept(path):
    kept = [append(path, note(text)).entry for text in ("a", "b ± c")]
    assert entries(path) == tuple(kept)
    assert [(one.number, one.line, one.when.microsecond) for one in kept] == [(1, 1, 0), (2, 2, 0)]
    assert path.read_text(encoding="utf-8").endswith("  #2  note  b ± c\n")


def test_a_struck_entry_is_marked_and_does_not_count(path):
    for text in ("a", "b"):
        append(path, note(text))
    append(path, note("1 slip", "strike"))
    found = entries(path)
    assert [one.struck_by for one in found] == [3, None, None]
    assert [one.text for one in live(found)] == ["b"]


def test_two_who_strike_the_same_entry_do_no_harm(path):
    append(path, note())
    for _ in range(2):
        append(path, note("1 slip", "strike"))
    assert [one.struck_by for one in entries(path)] == [2, None, None]


def test_nothing_before_the_end_ever_changes(path):
    before = b""
    for text in ("a", "b"):
        append(path, note(text))
        after = path.read_bytes()
        assert after.startswith(before)
        before = after
        with path.open("ab") as file:
            file.write(b"2026-11-25 14:3")
        before = path.read_bytes()


@pytest.mark.parametrize(
    ("left", "shown"),
    [
        (b"2026-11-25 14:31:08  #2  read  rear ga", "2026-11-25 14:31:08  #2  read  rear ga"),
        (b"2026-11-25 14:31:08  #2  strike #1: wro", "2026-11-25 14:31:08  #2  strike #1: wro"),
        (b"2026-11-25 14:31:08  #2  note  b \xc2", "2026-11-25 14:31:08  #2  note  b \ufffd"),
        (b"\x00\x00", "\ufffd\ufffd"),
    ],
)
def test_a_torn_last_line_is_told_and_set_aside(path, left, shown):
    path.write_bytes(FIRST + left)
    found = read_journal(path)
    assert [one.number for one in live(found.entries)] == [1]
    assert [(one.line, one.text, one.ended) for one in found.torn] == [(2, shown, False)]
    assert "line 2: the last line has no line end" in found.remarks[0]
    kept = append(path, note("after"))
    assert kept.set_aside
    assert path.read_bytes().startswith(FIRST + left + b"  [torn]\n")
    found = read_journal(path)
    assert [one.text for one in found.entries] == ["claw in 1 turn", "after"]
    assert found.entries[1].line == kept.entry.line == 3
    assert [(one.line, one.text, one.ended) for one in found.torn] == [(2, shown, True)]
    assert found.remarks == ()


def test_the_number_of_a_torn_line_is_not_used_again(path):
    path.write_bytes(FIRST + b"2026-11-25 14:31:08  #7  no")
    assert append(path, note()).entry.number == 8


def test_a_torn_line_cannot_be_struck(path):
    path.write_bytes(FIRST + b"2026-11-25 14:31:08  #7  no")
    for _ in range(2):
        with pytest.raises(InputError, match="no entry #7"):
            append(path, note("7 torn", "strike"))
        append(path, note())


def test_blanks_left_at_the_end_are_ended_without_a_word(path):
    path.write_bytes(FIRST + b"  ")
    assert append(path, note()).set_aside == ""
    assert [one.number for one in entries(path)] == [1, 2]


def test_what_editors_leave(path):
    path.write_bytes(b"\xef\xbb\xbf# by hand\r\n\r\n" + FIRST.replace(b"\n", b"\r\n") + b"# a #99 is a remark\n")
    assert [(one.number, one.line) for one in entries(path)] == [(1, 3)]
    assert append(path, note()).entry.number == 2


REFUSED = [
    (b"claw in\n", FileFormatError, "line 2: 'claw in' is no entry"),
    (FIRST, FileFormatError, "line 2: #1 comes after #1; numbers rise, write #2"),
    (FIRST.replace(b"#1", b"#2").replace(b"claw", b"clwa"), FileFormatError, "did you mean 'claw'"),
    (b"2026-11-25 14:31:07  #2  strike #9: x\n", FileFormatError, "no entry #9 before it"),
    (b"2026-11-25 14:31:07  #2  strike #2: x\n", FileFormatError, "no entry #2 before it"),
    (b"2026-11-25 14:31:07  #2  note  \xff\n", FileFormatError, "line 2: it is not text in UTF-8"),
    (b"2026-11-25 14:31:07  #2  did  rod tighter 1 turn\n", QuestionableError, "line 2: rod by '1 turn'"),
    (
        b"2026-11-25 14:31:07  #2  strike #1: x\n2026-11-25 14:31:07  #3  strike #2: x\n",
        FileFormatError,
        "line 3: #2 strikes another",
    ),
]


@pytest.mark.parametrize(("line", "kind", "part"), REFUSED)
def test_bad_lines_are_refused_with_file_and_line(line, kind, part):
    with pytest.raises(kind) as caught:
        from_bytes(FIRST + line, "dunlin.journal.txt")
    assert str(caught.value).startswith("dunlin.journal.txt, line ")
    assert part in str(caught.value)


def test_a_bad_line_does_not_keep_the_bench_from_writing(path):
    path.write_bytes(b"2026-11-25 14:31:07  #4  did  clwa in 1 turn\n")
    assert append(path, note()).entry.number == 5


def test_a_clock_put_back_is_told():
    line = b"2026-11-25 14:30:00  #2  note  x\n"
    assert "line 2: #2 is earlier than #1" in from_bytes(FIRST + line, "j").remarks[0]


def test_entries_whose_words_say_something_else_are_refused(path):
    entry = parse("did", "claw in 1 turn", WHEN)
    with pytest.raises(InputError, match="do not say what the entry holds"):
        append(path, replace(entry, way="out"))
    assert path.read_bytes() == b""


def test_strike_of_nothing(path):
    with pytest.raises(InputError, match="no entry #1"):
        append(path, note("1 slip", "strike"))


def test_a_place_that_cannot_be_read_or_written(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for place in (tmp_path, tmp_path / "pipe"):
        with pytest.raises(FileFormatError, match="a folder or a device"):
            read_journal(place)
        with pytest.raises(InputError, match="a folder or a device"):
            append(place, note())
    for place in (tmp_path / "none" / "a.journal.txt", tmp_path / ("a" * 300)):
        with pytest.raises(InputError, match="cannot be written"):
            append(place, note())
    with pytest.raises(FileFormatError, match="cannot be read: file name too long"):
        read_journal(tmp_path / ("a" * 300))


def test_a_file_that_cannot_be_read(path, monkeypatch):
    def refused(_):
        raise PermissionError(13, "Permission denied")

    path.write_bytes(FIRST)
    monkeypatch.setattr(type(path), "read_bytes", refused)
    with pytest.raises(FileFormatError, match="cannot be read: permission denied"):
        read_journal(path)


@pytest.mark.parametrize("text", [b"# Title\n\nSome words.\n", b"[job]\nname = 1\nx"])
def test_a_file_of_other_text_is_left_alone(path, text):
    path.write_bytes(text)
    with pytest.raises(InputError, match="no entry of a journal"):
        append(path, note())
    assert path.read_bytes() == text


def test_remarks_and_torn_lines_alone_may_begin_a_journal(path):
    path.write_bytes(b"# by hand\n2026-11-2")
    assert append(path, note()).set_aside == "2026-11-2"
    assert append(path, note()).entry.number == 2


def test_a_full_disk_is_told(path, monkeypatch):
    append(path, note())
    write = os.write
    monkeypatch.setattr(journal.os, "write", lambda handle, line: write(handle, line[:20]))
    with pytest.raises(InputError, match="only a part of the line"):
        append(path, note("lost"))
    monkeypatch.undo()
    assert append(path, note("again")).set_aside.startswith("2026-11-25 14:31:07")
    assert [one.text for one in entries(path)] == ["a", "again"]


def test_full_journals(path, monkeypatch):
    path.write_bytes(FIRST.replace(b"#1", b"#999999"))
    with pytest.raises(InputError, match="is full"):
        append(path, note())
    monkeypatch.setattr(journal, "LARGEST", 10)
    with pytest.raises(FileFormatError, match="are no journal"):
        read_journal(path)


def test_a_file_put_in_its_place_while_waiting_is_the_one_written(path, monkeypatch):
    path.write_bytes(FIRST)
    lock, waits = journal.fcntl.flock, []

    def replaced_meanwhile(handle, how):
        lock(handle, how)
        waits.append(handle)
        if len(waits) == 1:
            other = path.with_suffix(".new")
            other.write_bytes(FIRST.replace(b"#1", b"#5"))
            other.replace(path)
        if len(waits) == 2:
            path.unlink()

    monkeypatch.setattr(journal.fcntl, "flock", replaced_meanwhile)
    assert append(path, note()).entry.number == 1
    assert len(waits) == 3
    assert [one.text for one in entries(path)] == ["a"]


WRITER = """
import sys
from datetime import datetime
from pathlib import Path
from setwright.records.journal import append
from setwright.records.journal_text import parse
name, count = sys.argv[2], int(sys.argv[3])
print("ready", flush=True)
sys.stdin.readline()
for i in range(count):
    kept = append(Path(sys.argv[1]), parse("note", f"{name} {i} " + "x" * 300, datetime.now(), name))
    print(kept.entry.number, flush=True)
"""


def start(path, name, count):
    words = [sys.executable, "-c", WRITER, str(path), name, str(count)]
    return subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def finish(writer):
    """The numbers it has told since, once it has ended."""
    with writer:
        return [int(number) for number in writer.stdout.read().split()]


@pytest.mark.slow
def test_several_writers_never_mix_lines_or_repeat_numbers(path):
    names, count = ("Ada", "Ben", "Cai", "Dee"), 40
    writers = [start(path, name, count) for name in names]
    for one in writers:
        assert one.stdout.readline() == "ready\n"
    for one in writers:
        one.stdin.write("go\n")
        one.stdin.flush()
    told = {name: finish(one) for name, one in zip(names, writers, strict=True)}
    found = read_journal(path)
    assert [one.number for one in found.entries] == list(range(1, len(names) * count + 1))
    assert found.torn == ()
    for name in names:
        mine = [one for one in found.entries if one.who == name]
        assert [one.number for one in mine] == told[name]
        assert [one.text for one in mine] == [f"{name} {i} " + "x" * 300 for i in range(count)]


@pytest.mark.slow
@pytest.mark.parametrize("delay", [0.0, 0.005, 0.01, 0.03, 0.1])
def test_a_writer_killed_in_the_middle_loses_nothing_it_has_told(path, delay):
    writer = start(path, "Ada", 100_000)
    assert writer.stdout.readline() == "ready\n"
    writer.stdin.write("go\n")
    writer.stdin.flush()
    told = [int(writer.stdout.readline())]
    time.sleep(delay)
    writer.kill()
    told += finish(writer)
    found = read_journal(path)
    numbers = [one.number for one in found.entries]
    assert numbers[: len(told)] == told
    assert len(numbers) <= len(told) + 1
    after = append(path, note("after")).entry
    assert entries(path)[-1] == after
    assert after.number == len(numbers) + len(found.torn) + 1
