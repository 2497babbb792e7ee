"""An owner can have all their data, or be forgotten: the name is gone from every byte, the history stays."""

from __future__ import annotations

import io
import json
import subprocess
import tomllib
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from setwright.errors import InputError
from setwright.records import privacy, supplies
from setwright.records.check import check
from setwright.records.documents import document
from setwright.records.edits import add, edit, get
from setwright.records.entries import live
from setwright.records.exchange import export
from setwright.records.exchange_import import import_shop
from setwright.records.jobs import JobFiles, add_job, files_of, job_of
from setwright.records.journal_text import parse
from setwright.records.kept import append, journal_of
from setwright.records.personal import blanker, in_bytes, toml
from setwright.records.privacy import export_owner, forget_owner, wipe
from setwright.records.rows import Instrument, Owner, Visit
from setwright.records.shop import open_shop
from setwright.records.summaries import refresh
from setwright.records.tables import ATTACHMENT, CHANGE, METADATA, VISIT_SUMMARY
from tests.records.photos import JPEG

NAME, CONTACT = "Zoë Quillfeather", "zoe@quill.example, +00 555 010 99"
TRACES = ("Quillfeather", "quillfeather", "zoe@quill", "555 010 99", "surprise for her brother")
WHEN = datetime(2026, 11, 25, 16)
PHOTO = JPEG.replace(b"\x12\xff", b"\x55\xff")
SOUND = b"RIFF\x04\0\0\0WAVE" + b"zoe"


def named(files: JobFiles) -> JobFiles:
    """A job in which the owner's name stands wherever a hand may have put it."""
    job = files.job.decode().replace('wish = "', f'wish = "A surprise for her brother, says {NAME}. ')
    job = job.replace("[found]", f'notes = "Call {NAME} at zoe@quill.example"\n# {NAME} was here\n[found]')
    instrument = f"# of {NAME}\n" + files.instrument.decode().replace('name = "', f"name = \"{NAME}'s ")
    return replace(
        files, job=job.encode(), instrument=instrument.encode(), job_name="zoë-quillfeather.job.toml",
        journal=files.journal.replace(b"# Kestrel", f"# {NAME}".encode()) + f" #9 {NAME}".encode(),
    )  # fmt: skip


@pytest.fixture
def job(shop, files):
    """Two owners, each with an instrument and a visit; the first one's name is everywhere."""
    with shop.writing("Bo") as work:
        other = add_job(work, replace(files, job_name="other.job.toml"), "Ada Lark")
        supplies.attach(work, "photo", "other.jpg", io.BytesIO(JPEG), visit=other.visit.id)
        owner = add(work, Owner("", 1, NAME, "", "", work.now, ""))
        edit(work, owner, contact=CONTACT, note=f"{NAME} likes it low")
        made = add_job(work, named(files), NAME)
        add_job(work, named(files), NAME)
        edit(work, get(work, Visit, made.visit.id), wish=f"Lower, for {NAME}; a surprise for her brother")
        edit(work, made.instrument, serial="Q-7", colour=f"as {NAME.upper()} wants")
        for words in (
            f"note told {NAME} it buzzes", "note pocket is cracked", f"strike 2 {NAME} held it",
            'read pitch string 1 = 329.6 Hz, recorded "Zoë_Quillfeather 1.wav" sha256 ' + "ab" * 32,
        ):  # fmt: skip
            verb, text = words.split(" ", 1)
            append(work, made.visit.id, parse(verb, text, WHEN))
        for kind, name, raw in (
            ("photo", f"{NAME}.jpg", PHOTO), ("photo", "shared.jpg", JPEG), ("recording", f"{NAME}.wav", SOUND),
            ("sheet", "sheet.pdf", b"%PDF-" + NAME.encode()), ("other", "letter", NAME.encode()),
        ):  # fmt: skip
            supplies.attach(work, kind, name, io.BytesIO(raw), visit=made.visit.id)
        supplies.attach(work, "photo", "front.jpg", io.BytesIO(PHOTO), instrument=made.instrument.id)
        supplies.hand_over(work, made.visit.id, "owner", {"owner": NAME}, "ab" * 32)
        supplies.plan_step(work, made.visit.id, {"do": "claw", "why": f"{NAME} said so"})
        part = supplies.add_part(work, "strip shim .020 in")
        supplies.move_stock(work, part.id, -1, "used", made.visit.id)
        supplies.note_climate(work, "2026-11-25 14:00:00", 294.15, 0.45, "21 C, 45 %", made.visit.id)
    return made


def everything(shop):
    """All that is in the tables, as one text."""
    with shop.reading() as work:
        rows = [row for one in METADATA.sorted_tables for row in work.connection.execute(select(one))]
    return "\n".join(
        value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value) for row in rows for value in row
    )


def history(shop, visit):
    """What was read and done, as plain data."""
    with shop.reading() as work:
        entries = live(journal_of(work, get(work, Visit, visit)).entries)
    return [replace(one, text="", recording="", line=0) for one in entries if one.verb in ("read", "did")]


def found_in(text):
    return [one for one in TRACES if one in text]


def test_a_forgotten_owner_is_in_no_row_and_the_history_stays(shop, job):
    assert set(found_in(everything(shop))) == set(TRACES)
    before = history(shop, job.visit.id)
    done = forget_owner(shop, NAME, "Bo")
    assert found_in(everything(shop)) == []
    assert done.done
    assert (done.instruments, done.visits) == (1, 2)
    assert done.counts == {
        "wishes": 2, "sheets": 1, "notes": 2, "remarks between entries": 3, "photos": 3, "printed sheets": 1,
        "other files": 1, "notes of changes": 4,
    }  # fmt: skip
    assert done.notes_left == 5
    assert check(shop).problems == ()
    assert history(shop, job.visit.id) == before
    assert len(before) == 3
    with shop.reading() as work:
        instrument = get(work, Instrument, job.instrument.id)
        visit = get(work, Visit, job.visit.id)
        assert (instrument.owner, visit.wish, instrument.serial) == (None, "", "Q-7")
        assert instrument.version == job.instrument.version + 2
        assert "[owner]" in instrument.colour
        read, journal = files_of(work, visit)
        assert read.wish == ""
        assert [one.text for one in journal.entries if one.verb == "note"] == [
            "told [owner] it buzzes", "pocket is cracked",
        ]  # fmt: skip
        assert [one.name for one in supplies.attachments(work, visit=visit.id)] == ["[owner].wav"]
        assert supplies.parts(work, visit.id)[0].stock == -1
        assert len(supplies.climate(work, visit.id)) == 1
        with pytest.raises(InputError, match="no owner"):
            get(work, Owner, NAME)
        last = work.connection.execute(select(CHANGE).where(CHANGE.c.row == visit.id).order_by(CHANGE.c.version)).all()
        assert (last[-1].who, last[-1].before, last[-1].after) == ("Bo", "{}", '{"wish":""}')


def texts(shop, visit):
    """Job file and instrument file of a visit, read as plain data."""
    with shop.reading() as work:
        kept = get(work, Visit, visit)
        return [tomllib.loads(document(work, one).decode()) for one in (kept.job_file, kept.instrument_file)]


@pytest.mark.parametrize("notes", [False, True])
def test_the_files_of_the_job_are_the_same_but_for_words(shop, job, notes):
    was, instrument = texts(shop, job.visit.id)
    forget_owner(shop, NAME, notes=notes)
    now, after = texts(shop, job.visit.id)
    assert now["job"].get("notes") == (None if notes else "Call [owner] at [owner]")
    assert "wish" not in now["job"]
    assert {**now, "job": {**was["job"]}} == was
    assert {key: now["job"][key] for key in ("title", "instrument")} == {
        key: was["job"][key] for key in ("title", "instrument")
    }  # fmt: skip
    assert after == {**instrument, "instrument": {**instrument["instrument"], "name": "[owner]'s Kestrel"}}
    with shop.reading() as work:
        assert job_of(work, get(work, Visit, job.visit.id)).title == was["job"]["title"]


def test_an_instrument_file_without_the_name_stays_to_the_letter(shop, files):
    with shop.writing() as work:
        made = add_job(work, files, NAME)
    forget_owner(shop, NAME)
    with shop.reading() as work:
        visit = get(work, Visit, made.visit.id)
        assert document(work, visit.instrument_file) == files.instrument
        assert visit.instrument_file == made.visit.instrument_file
    assert check(shop).problems == ()


def test_words_that_grow_too_long_go_altogether(shop, files):
    with shop.writing() as work:
        made = add_job(work, files, "Al")
        append(work, made.visit.id, parse("note", "Al " * 160, WHEN))
        append(work, made.visit.id, parse("strike", "2 " + "Al " * 160, WHEN))
    forget_owner(shop, "Al")
    with shop.reading() as work:
        entries = journal_of(work, get(work, Visit, made.visit.id)).entries
    assert [one.text for one in entries[-2:]] == ["removed", "#2: removed"]
    assert check(shop).problems == ()


def test_an_instrument_that_came_back_to_its_owner_is_theirs(shop, job):
    with shop.writing() as work:
        lent = edit(work, get(work, Instrument, job.instrument.id), owner=get(work, Owner, "Ada Lark").id)
        edit(work, lent, owner=job.owner.id)
    assert forget_owner(shop, NAME).instruments == 1
    assert found_in(everything(shop)) == []


def test_the_other_owner_keeps_everything(shop, job, tmp_path):
    with shop.reading() as work:
        other = get(work, Owner, "Ada Lark")
    mine = export_owner(shop, other.id, tmp_path / "before")
    forget_owner(shop, NAME)
    again = export_owner(shop, "Ada Lark", tmp_path / "after")
    assert again.sha256 == mine.sha256
    assert again.files == 1


def test_notes_go_when_that_is_asked_for(shop, job):
    done = forget_owner(shop, NAME, notes=True)
    assert done.notes_left == 0
    with shop.reading() as work:
        visit = get(work, Visit, job.visit.id)
        journal = journal_of(work, visit)
    notes = [one.text for one in journal.entries if one.verb in ("note", "strike")]
    assert notes == ["#3: removed", "removed", "removed", "#2: removed"]
    assert visit.tail == b""
    assert journal.torn == ()
    assert check(shop).problems == ()
    with shop.writing() as work:
        append(work, visit.id, parse("note", "goes on", WHEN))
    assert check(shop).problems == ()


def test_photos_stay_where_that_is_asked_for(shop, job):
    forget_owner(shop, NAME, keep_photos=True)
    with shop.reading() as work:
        kept = [(one.kind, one.name) for one in supplies.attachments(work, visit=job.visit.id)]
        assert kept == [
            ("photo", "[owner].jpg"), ("photo", "shared.jpg"), ("recording", "[owner].wav"), ("other", "letter")
        ]  # fmt: skip
    assert check(shop).problems == ()


def test_a_look_changes_nothing(shop, job):
    before = everything(shop)
    found = forget_owner(shop, NAME, notes=True, really=False)
    assert not found.done
    assert found.counts["notes"] == 5
    assert everything(shop) == before
    assert check(shop).problems == ()


def test_the_guards_are_up_again(shop, job):
    forget_owner(shop, NAME)
    for words in ("UPDATE entry SET text = 'x'", "DELETE FROM entry"):
        with pytest.raises(InputError, match="only added to"), shop.writing() as work:
            work.connection.exec_driver_sql(words)
    assert check(shop).problems == ()


def test_what_fails_half_way_leaves_everything_and_the_guards(shop, job, monkeypatch):
    before = everything(shop)

    def broken(*_):
        raise InputError("half way.")

    with monkeypatch.context() as patched:
        patched.setattr("setwright.records.forgetting._documents", broken)
        with pytest.raises(InputError, match="half way"):
            forget_owner(shop, NAME)
    assert everything(shop) == before
    assert check(shop).problems == ()
    with pytest.raises(InputError, match="only added to"), shop.writing() as work:
        work.connection.exec_driver_sql("DELETE FROM entry")


def traces_on_disk(folder):
    return {
        (path.name, one)
        for path in folder.rglob("*")
        if path.is_file()
        for one in TRACES
        if one.encode() in path.read_bytes() or one.encode("utf-16-le") in path.read_bytes()
    }


@pytest.mark.parametrize("engine", ["sqlite"])
def test_the_bytes_are_gone_from_every_file_of_the_folder(shop, job, engine, at):
    with open_shop(at) as other, other.reading() as work:
        get(work, Visit, job.visit.id)
    assert {one for _, one in traces_on_disk(Path(at))} == set(TRACES)
    done = forget_owner(shop, NAME)
    assert traces_on_disk(Path(at)) == set()
    assert not any("Another bench" in one for one in done.remarks)
    assert [one for one in Path(at).rglob("content/*/*") if one.read_bytes() == PHOTO] == []
    assert len([one for one in Path(at).rglob("content/*/*") if one.is_file()]) == 2


@pytest.mark.parametrize("engine", ["sqlite"])
def test_a_bench_that_reads_meanwhile_is_waited_out_later(shop, job, engine, at, monkeypatch):
    monkeypatch.setattr(privacy, "_WAIT", 50)
    (Path(at) / "shop-before-0000-20260101-000000.sqlite").touch()
    with open_shop(at) as other, other.reading() as work:
        get(work, Visit, job.visit.id)
        done = forget_owner(shop, NAME)
        assert "run setwright shop wipe" in done.remarks[0]
        assert "shop-before-0000-20260101-000000.sqlite was made before" in done.remarks[1]
        assert not wipe(shop)
    with open_shop(at) as other, other.writing():
        assert not wipe(shop)
    assert wipe(shop)
    assert traces_on_disk(Path(at)) == set()


@pytest.mark.parametrize("engine", ["sqlite"])
def test_a_file_that_cannot_be_written_anew_is_told(shop, engine, monkeypatch):
    monkeypatch.setattr(privacy, "_WAIT", ")")
    with pytest.raises(InputError, match="what was deleted may still stand in the file"):
        wipe(shop)


@pytest.mark.slow  # it needs a server
@pytest.mark.parametrize("engine", ["postgresql"])
def test_on_a_server_a_dump_holds_no_trace(shop, job, engine, at, server):
    done = forget_owner(shop, NAME)
    assert "write-ahead log" in done.remarks[0]
    dump = subprocess.run(["pg_dump", f"--dbname={at}"], capture_output=True, check=True).stdout
    assert len(dump) > 10_000
    assert found_in(dump.decode("utf-8", "replace")) == []


def test_an_owner_gets_all_that_is_theirs_and_nothing_else(shop, job, tmp_path, fresh):
    done = export_owner(shop, NAME, tmp_path / "out")
    import_shop(tmp_path / "out", str(tmp_path / "theirs"))
    assert done.rows["person"] == 0
    assert json.loads((tmp_path / "out" / "manifest.json").read_text("utf-8"))["owner"] == job.owner.id
    with open_shop(tmp_path / "theirs") as theirs:
        said = everything(theirs)
        assert set(found_in(said)) == set(TRACES)
        assert "Ada Lark" not in said
        assert check(theirs).problems == ()
        with theirs.reading() as work, shop.reading() as home:
            visit = get(work, Visit, job.visit.id)
            assert visit == get(home, Visit, job.visit.id)
            assert files_of(work, visit) == files_of(home, visit)
            assert supplies.attachments(work, visit=visit.id) == supplies.attachments(home, visit=visit.id)
    whole = export(shop, tmp_path / "whole")
    assert done.rows["entry"] < whole.rows["entry"]
    assert done.files == 5


def test_an_instrument_that_changed_hands_keeps_the_new_owner(shop, job, files):
    with shop.writing("Bo") as work:
        buyer = get(work, Owner, "Ada Lark")
        edit(work, get(work, Instrument, job.instrument.id), owner=buyer.id)
    with shop.writing("Bo") as work:
        later = add_job(work, replace(files, job_name="later.job.toml"), instrument=job.instrument.id)
        edit(work, later.visit, wish="mine now")
    with shop.reading() as work:
        former = get(work, Owner, NAME).id
    done = forget_owner(shop, NAME)
    assert (done.instruments, done.visits) == (0, 2)
    said = everything(shop)
    assert former not in said
    with shop.reading() as work:
        assert get(work, Instrument, job.instrument.id).owner == buyer.id
        assert get(work, Visit, job.visit.id).wish == ""
        assert get(work, Visit, later.visit.id).wish == "mine now"
    assert check(shop).problems == ()


def test_what_is_worked_out_from_their_visits_is_worked_out_anew(shop, job):
    with shop.writing("Bo") as work:
        edit(work, get(work, Visit, job.visit.id), state="closed", handed_back="2026-11-26", kind=f"for {NAME}")
    assert refresh(shop) == 1
    forget_owner(shop, NAME)
    assert found_in(everything(shop)) == []
    assert refresh(shop) == 1
    with shop.reading() as work:
        assert work.connection.execute(select(VISIT_SUMMARY.c.kind)).scalars().all() == ["for [owner]"]


def test_owners_are_found_by_name_or_id(shop, job):
    with shop.writing() as work:
        assert get(work, Owner, f" {NAME} ").id == get(work, Owner, job.owner.id[-8:]).id == job.owner.id
        twin = add(work, Owner("", 1, NAME, "", "", work.now, ""))
        with pytest.raises(InputError, match=f"2 owners are meant by.*{twin.id}"):
            get(work, Owner, NAME)
        for said in ("Nobody", "0000", "%%%%", "'; --", "", "a\0b"):
            with pytest.raises(InputError, match="there is no owner"):
                get(work, Owner, said)
    assert forget_owner(shop, twin.id).instruments == 0
    with shop.reading() as work:
        assert get(work, Owner, NAME).id == job.owner.id


@pytest.mark.parametrize(
    ("name", "contact", "text", "left"),
    [
        ("Al", "", "Al said: metal, Al-ice, AL.", "[owner] said: metal, [owner]-ice, [owner]."),
        ("Ada  Lark", "", "ada lark, Ada\nLark, ada_lark.wav, Adalark, XAda Lark",
         "[owner], [owner], [owner].wav, Adalark, XAda Lark"),
        ("A.+*(", "", "A.+*( and A..+", "[owner] and A..+"),
        ("Bo", "x@y.example; 555 01", "x@y.example or 555 01 or 555 012", "[owner] or [owner] or 555 012"),
        ("Bo", "n/a", "n/a", "[owner]"),
    ],
)  # fmt: skip
def test_names_go_where_they_stand_as_words(name, contact, text, left):
    change = blanker(Owner("", 1, name, contact, "", "", ""))
    assert change(text) == left
    assert in_bytes(b"\xff " + text.encode(), change) == b"\xff " + left.encode()


VALUES = st.recursive(
    st.text(max_size=8) | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=6,
)


@pytest.mark.slow
@given(data=st.dictionaries(st.text(max_size=4), VALUES, max_size=5))
def test_toml_spelled_anew_reads_as_the_same(data):
    assert tomllib.loads(toml(data)) == data


def test_toml_of_the_examples_reads_as_the_same():
    found = sorted((Path(__file__).resolve().parents[2] / "examples").glob("*.toml"))
    assert len(found) > 4
    for path in found:
        said = tomllib.loads(path.read_text("utf-8"))
        assert tomllib.loads(toml(said)) == said
    assert tomllib.loads(toml({"a": float("inf"), "b": date(2026, 1, 2)})) == {"a": float("inf"), "b": date(2026, 1, 2)}


def test_attachments_of_the_instrument_itself_go_too(shop, job):
    forget_owner(shop, NAME)
    with shop.reading() as work:
        assert supplies.attachments(work, instrument=job.instrument.id) == ()
        assert len(work.connection.execute(select(ATTACHMENT)).all()) == 2
