"""What a shop promises, once for every engine: SQLite in a folder and a real PostgreSQL."""

from __future__ import annotations

import hashlib
import io
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime

import pytest

from setwright.errors import FileFormatError, InputError, StaleEditError
from setwright.instrument.carried import Belief, Believed
from setwright.metrology.reading import Convention, Place
from setwright.records import specifications, supplies
from setwright.records.documents import belief_before, belief_from, document, keep_belief, keep_document
from setwright.records.edits import add, edit, get
from setwright.records.jobs import add_job, files_of
from setwright.records.journal import append as append_to_file
from setwright.records.journal import from_bytes, read_journal
from setwright.records.journal_text import parse
from setwright.records.kept import append, journal_of, text_of
from setwright.records.rows import Instrument, Owner, Person, Visit
from setwright.records.shop import new_shop, open_shop
from tests.records.photos import JPEG

WHEN = datetime(2026, 11, 25, 15, 0, 1)
AN_ID = "01m8nyfb571rf9gw3hkb8va4kb"


def entry(words, when=WHEN, **more):
    verb, text = words.split(" ", 1)
    return parse(verb, text, when, **more)


@pytest.fixture
def job(shop, files):
    with shop.writing("Bo") as work:
        return add_job(work, files, "Ada Lark")


def test_a_new_shop_opens_again_with_its_name(fresh):
    with new_shop(fresh, "Öland & Söhne #1") as shop:
        made = shop.id, shop.name
    with open_shop(fresh) as shop:
        assert (shop.id, shop.name) == made
        assert shop.name == "Öland & Söhne #1"


def test_a_shop_is_not_made_twice(at):
    with pytest.raises(InputError, match="already"):
        new_shop(at, "Again")
    with open_shop(at) as shop:
        assert shop.name == "Weir Lane Bench"


def test_the_files_of_a_job_come_back_as_they_were(shop, files, job):
    with shop.reading() as work:
        visit = get(work, Visit, job.visit.id)
        assert text_of(work, visit) == files.journal
        assert document(work, visit.job_file) == files.job
        assert document(work, visit.instrument_file) == files.instrument
        assert (visit.job_name, visit.instrument_name) == (files.job_name, files.instrument_name)
        assert visit.came == "2026-11-25 14:31:07"
        assert visit.wish.startswith("Wants the arm")
        assert get(work, Owner, job.owner.id).name == "Ada Lark"


def test_entries_from_columns_are_those_of_the_text(shop, files, job):
    with shop.reading() as work:
        found_job, found = files_of(work, job.visit)
    read = from_bytes(files.journal, files.journal_name)
    assert found == read
    assert len(found.entries) == 5
    assert len(found.torn) == 2
    assert found.entries[1].struck_by == 7
    assert found_job.title == "Kestrel: decked to floating"


def test_appending_gives_the_very_text_a_file_gets(shop, files, job, tmp_path):
    path = tmp_path / files.journal_name
    path.write_bytes(files.journal)
    words = (
        "read octave error string 2 = -2.5 c", "did tune string 3 to 194.9 Hz, heard 194.95 Hz", "strike 5 wrong way",
        'note "buzz, Ö"', 'read pitch string 1 = 329.6 Hz, recorded "a b.wav" sha256 ' + "ab" * 32,
        "read wedge loose = no", "did springs 4", "did wedge in at 2.6 mm, props", "read humidity = 45 %",
        "read string height string 1 at fret 12 with a capo on 1 = 1.6 mm ± 0.1 mm slack, face down, wedge in",
        "read pitch string 3 harmonic fret 12 = 392.0 Hz",
    )  # fmt: skip
    for i, one in enumerate(words):
        given = entry(one, WHEN.replace(minute=i), who="" if i % 2 else "Ada Lark")
        with_file = append_to_file(path, given)
        with shop.writing() as work:
            with_shop = append(work, job.visit.id, given)
        assert replace(with_file.entry, line=0) == with_shop.entry
        assert with_file.set_aside == with_shop.set_aside
    with shop.reading() as work:
        visit = get(work, Visit, job.visit.id)
        assert text_of(work, visit) == path.read_bytes()
        assert journal_of(work, visit) == read_journal(path)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("strike 99 no such", "no entry #99"), ("strike 7 a strike", "strikes another"),
        ("strike 3 twice", "struck already, by #7"), ("strike 4 torn", "no entry #4"),
    ],
)  # fmt: skip
def test_strikes_that_strike_nothing_are_refused(shop, job, words, said):
    with pytest.raises(InputError, match=said), shop.writing() as work:
        append(work, job.visit.id, entry(words))
    with shop.reading() as work:
        assert len(journal_of(work, job.visit).entries) == 5


def test_words_that_do_not_say_the_entry_are_refused(shop, job):
    with pytest.raises(InputError, match="do not say"), shop.writing() as work:
        append(work, job.visit.id, replace(entry("read rear gap = 2.6 mm"), text="rear gap = 2.7 mm"))


def test_a_closed_visit_takes_no_entry_until_it_is_open(shop, job):
    with shop.writing() as work:
        closed = edit(work, job.visit, state="closed", handed_back="2026-11-26 10:00:00")
    with pytest.raises(InputError, match="closed"), shop.writing() as work:
        append(work, job.visit.id, entry("note more"))
    with shop.writing() as work:
        edit(work, closed, state="open")
        assert append(work, job.visit.id, entry("note more")).entry.number == 8
    with pytest.raises(InputError, match="open or closed"), shop.writing() as work:
        edit(work, get(work, Visit, job.visit.id), state="lost")


@pytest.mark.parametrize("table", ["entry", "specification", "specification_item", "stock_movement"])
def test_what_only_grows_refuses_to_be_changed(shop, job, table):
    with shop.writing() as work:
        part = supplies.add_part(work, "strip shim .020 in")
        supplies.move_stock(work, part.id, 10, "came")
        specifications.specify(work, "house", [GAP])
    for words in ("UPDATE {} SET number = 7", "DELETE FROM {}"):
        said = words.format(table).replace("number", "reason" if table == "stock_movement" else "number")
        with pytest.raises(InputError, match=f"{table} is only added to"), shop.writing() as work:
            work.connection.exec_driver_sql(said)
    with pytest.raises(InputError, match=r"is only added to|near"), shop.writing() as work:
        work.connection.exec_driver_sql(f"TRUNCATE {table} CASCADE")


def test_the_same_owner_with_the_same_file_brings_the_same_instrument(shop, files, job):
    with shop.writing() as work:
        again = add_job(work, replace(files, journal=b""), "Ada Lark")
        other = add_job(work, files, "Bo Wren")
        nobody = add_job(work, files)
        named = add_job(work, replace(files, instrument=files.instrument + b"\n# new\n"), "", job.instrument.id)
    assert (again.known, again.instrument.id, again.visit.number) == (True, job.instrument.id, 2)
    assert again.owner == job.owner
    assert not other.known
    assert not nobody.known
    assert nobody.owner is None
    assert (named.known, named.visit.number, named.owner) == (True, 3, job.owner)
    with pytest.raises(InputError, match="somebody else"), shop.writing() as work:
        add_job(work, files, "Bo Wren", job.instrument.id)


def test_an_owner_of_a_name_two_have_is_not_guessed(shop, files, job):
    with shop.writing() as work:
        add(work, Owner("", 1, "Ada Lark", "another", "", work.now, ""))
    with pytest.raises(InputError, match="two owners named Ada Lark"), shop.writing() as work:
        add_job(work, files, "Ada Lark")


def test_a_full_journal_takes_no_more(shop, files):
    with shop.writing() as work:
        made = add_job(work, replace(files, journal=b"2026-11-25 15:00  #999999  note  the last\n"))
    with pytest.raises(InputError, match="is full"), shop.writing() as work:
        append(work, made.visit.id, entry("note more"))


def test_only_text_is_kept_as_a_document(shop):
    with shop.writing() as work:
        for raw in (b"\xff", b"a\0b"):
            with pytest.raises(FileFormatError, match="UTF-8"):
                keep_document(work, raw, "x.toml")
        assert keep_document(work, "ö\r\n".encode(), "x") == keep_document(work, "ö\r\n".encode(), "y")


def test_a_job_that_cannot_be_read_leaves_nothing(shop, files):
    for part, bad in (
        ("job", b"[job]\n"), ("job", b"\0"), ("instrument", b"\xff\xfe"), ("journal", b"2026 nonsense\n"),
        ("job_name", "../x.job.toml"), ("journal_name", "a\\b"),
    ):  # fmt: skip
        with pytest.raises(InputError), shop.writing() as work:
            add_job(work, replace(files, **{part: bad}), "Ada Lark")
    with shop.reading() as work:
        for table in ("owner", "instrument", "visit", "entry", "change"):
            assert work.connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar() == 0


def test_a_stale_edit_is_refused_and_shows_both(shop, job):
    with shop.writing("Bo") as work:
        first = edit(work, job.owner, contact="01 23")
    with pytest.raises(StaleEditError) as refused, shop.writing("Cy") as work:
        edit(work, job.owner, contact="45 67")
    said = str(refused.value)
    assert "by Bo" in said
    assert "'01 23' there and '45 67' here" in said
    assert (refused.value.theirs, refused.value.ours) == ({"contact": "01 23"}, {"contact": "45 67"})
    with shop.reading() as work:
        assert get(work, Owner, job.owner.id) == first
        assert first.version == 2


def test_edits_keep_what_was_before_and_who(shop, job):
    with shop.writing("Bo") as work:
        one = edit(work, job.instrument, serial="K-77", colour="Rötlich")
        assert edit(work, one, serial="K-77") == one
    with shop.reading() as work:
        rows = work.connection.exec_driver_sql(
            "SELECT who, version, before, after FROM change WHERE table_name = 'instrument' ORDER BY version"
        ).all()
    assert tuple(rows[1]) == ("Bo", 2, '{"colour":"","serial":""}', '{"colour":"Rötlich","serial":"K-77"}')
    assert len(rows) == 2


@pytest.mark.parametrize("changes", [{"version": 9}, {"id": "x"}, {"name": " "}, {"owner": AN_ID}, {"name": "a\nb"}])
def test_edits_that_make_no_sense_are_refused(shop, job, changes):
    with pytest.raises(InputError), shop.writing() as work:
        edit(work, job.instrument, **changes)


def test_rows_are_found_by_the_end_of_their_id(shop, job):
    with shop.reading() as work:
        assert get(work, Visit, job.visit.id[-6:]) == job.visit
        for bad in ("", "abc", "%%%%", AN_ID, "zzzzzz"):
            with pytest.raises(InputError):
                get(work, Instrument, bad)


def test_rows_are_found_by_what_they_are_called(shop, job):
    with shop.writing("Bo") as work:
        named = edit(work, job.instrument, serial="SM 0417")
        assert get(work, Instrument, "SM 0417") == get(work, Instrument, named.name) == named
        assert get(work, Owner, "Ada Lark", lock=True).id == get(work, Owner, " ada LARK").id == named.owner
        other = add(work, replace(named, id="", serial=""))
        assert get(work, Instrument, "SM 0417") == named  # one alone has this number
        with pytest.raises(InputError, match=r"2 instruments are meant by '.*; write the whole id of one: "):
            get(work, Instrument, other.name)
        for nobody in ("", "Ada Lar", "da lark", "%Lark", "x"):
            with pytest.raises(InputError, match=r"no owner .* setwright shop owners lists what there is"):
                get(work, Owner, nobody)


def test_people_come_and_go(shop):
    with shop.writing() as work:
        bo = add(work, Person("", 1, "Bo", "2020-01-01", None))
        gone = edit(work, bo, until="2026-01-01")
    with shop.reading() as work:
        assert get(work, Person, bo.id) == gone


GAP = specifications.Item("rear gap", Place(), Convention(), "length", 2.4e-3, 2.15e-3, 2.65e-3, "mm", "2.4 ± 0.25 mm")
RELIEF = specifications.Item(
    "relief", Place(), Convention(1, 17, 8), "length", None, None, 0.3e-3, "mm", "up to 0.3 mm", "common practice"
)


def test_a_new_version_of_a_specification_leaves_the_old_one(shop, job):
    with shop.writing("Bo") as work:
        first = specifications.specify(work, "house", [GAP, RELIEF])
        second = specifications.specify(work, "house", [replace(GAP, high=3e-3)], "wider")
        edit(work, job.visit, specification=first.id)
    with shop.reading() as work:
        assert specifications.specification(work, first.id) == first
        assert [one.number for one in specifications.specifications(work)] == [2, 1]
        assert second.items[0].high == 3e-3
    for bad in ([], [replace(GAP, low=9.0)], [replace(GAP, nominal=float("nan"))], [replace(GAP, what="")]):
        with pytest.raises(InputError), shop.writing() as work:
            specifications.specify(work, "house", bad)
    with pytest.raises(InputError, match="no specification"), shop.reading() as work:
        specifications.specification(work, AN_ID)


def test_stock_is_the_sum_of_its_movements(shop, job):
    with shop.writing("Bo") as work:
        part = supplies.add_part(work, "strip shim .020 in")
        assert supplies.add_part(work, "strip shim .020 in") == part
        assert supplies.move_stock(work, part.id, 10, "came") == 10
        assert supplies.move_stock(work, part.id, -3, "used", job.visit.id) == 7
        assert supplies.move_stock(work, part.id, 1, "returned", job.visit.id) == 8
        assert supplies.move_stock(work, part.id, -1, "counted") == 7
        for count, reason, visit in (
            (0, "came", None), (-1, "came", None), (1, "used", job.visit.id), (-1, "used", None), (1, "found", None),
            (3, "returned", job.visit.id), (1, "came", job.visit.id),
        ):  # fmt: skip
            with pytest.raises(InputError):
                supplies.move_stock(work, part.id, count, reason, visit)
        with pytest.raises(InputError, match="no part"):
            supplies.move_stock(work, AN_ID, 1, "came")
    with shop.reading() as work:
        assert [one.stock for one in supplies.parts(work)] == [7]
        assert [one.stock for one in supplies.parts(work, job.visit.id)] == [-2]


def test_files_are_kept_once_by_their_content(shop, job):
    large = bytes(range(256)) * 10_000  # more than one piece
    with shop.writing("Bo") as work:
        photo = supplies.attach(work, "photo", "as found.jpg", io.BytesIO(JPEG), visit=job.visit.id)
        supplies.attach(work, "photo", "again.jpg", io.BytesIO(JPEG), instrument=job.instrument.id)
        other = supplies.attach(work, "other", "dump", io.BytesIO(large), visit=job.visit.id)
        empty = supplies.attach(work, "other", "nothing", io.BytesIO(b""), visit=job.visit.id)
    assert photo.sha256 == hashlib.sha256(JPEG).hexdigest()
    assert photo.media_type == "image/jpeg"
    with shop.reading() as work:
        assert b"".join(supplies.content(work, photo.sha256)) == JPEG
        assert b"".join(supplies.content(work, other.sha256)) == large
        assert b"".join(supplies.content(work, empty.sha256)) == b""
        assert supplies.attachments(work, visit=job.visit.id) == (photo, other, empty)
        assert len(supplies.attachments(work, instrument=job.instrument.id)) == 1
        assert work.connection.exec_driver_sql("SELECT count(*) FROM content").scalar() == 3


@pytest.mark.parametrize(
    ("kind", "name", "raw"),
    [
        ("photo", "text.jpg", b"hello"), ("photo", "half.jpg", JPEG[:50]), ("photo", "sound.wav", b"RIFF0000WAVE"),
        ("recording", "a.wav", JPEG), ("sheet", "a.pdf", b"PDF"), ("photo", "../a.jpg", JPEG), ("photo", "a\\b", JPEG),
        ("film", "a.jpg", JPEG), ("photo", "", JPEG),
    ],
)  # fmt: skip
def test_a_file_that_is_not_of_its_kind_is_refused(shop, job, kind, name, raw):
    with pytest.raises((InputError, FileFormatError)), shop.writing() as work:
        supplies.attach(work, kind, name, io.BytesIO(raw), visit=job.visit.id)
    with pytest.raises(InputError), shop.writing() as work:
        supplies.attach(work, "photo", "a.jpg", io.BytesIO(JPEG))
    with shop.reading() as work:
        assert supplies.attachments(work, visit=job.visit.id) == ()


def test_steps_climate_and_sheets_are_kept(shop, job):
    with shop.writing("Bo") as work:
        first = supplies.plan_step(work, job.visit.id, {"do": "claw", "turns": 1.375})
        second = supplies.plan_step(work, job.visit.id, {"do": "tune"})
        supplies.step_done(work, first.id)
        air = supplies.note_climate(work, "2026-11-25 14:00:00", 294.15, 0.45, "21 C, 45 %", job.visit.id)
        paper = supplies.hand_over(work, job.visit.id, "owner", {"found": ["ä"]}, "ab" * 32)
        for wrong in (
            lambda: supplies.step_done(work, first.id),
            lambda: supplies.note_climate(work, "2026-11-25 14:00:00", None, None, ""),
            lambda: supplies.note_climate(work, "2026-11-25 14:00:00", 21.0, None, "21"),
            lambda: supplies.note_climate(work, "2026-11-25 14:00:00", None, 45.0, "45"),
            lambda: supplies.hand_over(work, job.visit.id, "poster", {}, "ab" * 32),
            lambda: supplies.hand_over(work, job.visit.id, "owner", {}, "short"),
            lambda: supplies.hand_over(work, job.visit.id, "owner", {"x": float("nan")}, "ab" * 32),
        ):
            with pytest.raises(InputError):
                wrong()
    with shop.reading() as work:
        kept = supplies.steps(work, job.visit.id)
        assert [one.advice for one in kept] == [first.advice, second.advice]
        assert [one.number for one in kept] == [1, 2]
        assert kept[0].done is not None
        assert kept[1].done is None
        assert supplies.climate(work, job.visit.id) == (air,) == supplies.climate(work)
        assert supplies.sheets(work, job.visit.id) == (paper,)


def test_all_of_a_writing_is_kept_or_nothing(shop, job):
    def interrupted():
        with shop.writing() as work:
            append(work, job.visit.id, entry("note more"))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        interrupted()
    with shop.reading() as work:
        assert len(journal_of(work, job.visit).entries) == 5


def test_a_reading_sees_one_state_while_others_write(shop, job):
    with shop.reading() as work:
        before = text_of(work, job.visit)
        with shop.writing() as other:
            append(other, job.visit.id, entry("note more"))
        assert text_of(work, job.visit) == before
        assert work.connection.exec_driver_sql("SELECT count(*) FROM entry").scalar() == 5


def test_a_reading_cannot_write(shop, job):
    with pytest.raises(InputError, match="cannot be opened for writing"), shop.reading() as work:
        append(work, job.visit.id, entry("note more"))


def believed_of(*deviations: float) -> Belief:
    size = len(deviations)
    traits = tuple(Believed(f"springs.rate[{i}]", "factor", 1_400.0 + 1.0 / 3.0, 0.05) for i in range(size))
    return Belief(3, traits, deviations, tuple((x,) * size for x in (1.0, 0.1, 2e-8)[:size]))


def test_what_is_believed_comes_back_to_the_last_digit(shop, job):
    belief = believed_of(0.1, -2.0 / 3.0, 1e-300)
    with shop.writing("Bo") as work:
        kept = edit(work, job.visit, belief=keep_belief(work, belief))
        for bad in (
            replace(belief, deviations=(1.0,)), replace(belief, deviations=(1.0, 2.0, float("inf"))),
            replace(belief, covariance=belief.covariance[:2]), Belief(3, (), (), ()),
        ):  # fmt: skip
            with pytest.raises(InputError):
                keep_belief(work, bad)
    with shop.reading() as work:
        assert belief_from(work, get(work, Visit, kept.id).belief) == belief
        with pytest.raises(FileFormatError, match="missing"):
            document(work, "ab" * 32)
        with pytest.raises(FileFormatError, match="is no belief"):
            belief_from(work, job.visit.job_file)


def test_a_visit_begins_with_what_the_last_closed_one_before_it_left(shop, job, files):
    with shop.writing("Bo") as work:
        visits = [job.visit, *(add_job(work, files, instrument=job.instrument.id).visit for _ in range(3))]
        assert belief_before(work, visits[3]) is None
        for visit, state, back, what in (
            (visits[0], "closed", "2024-11-25T14:31:07.000Z", 0.1),
            (visits[1], "closed", "2025-11-25T14:31:07.000Z", 0.2), (visits[2], "open", None, 0.3),
        ):  # fmt: skip
            edit(work, visit, state=state, handed_back=back, belief=keep_belief(work, believed_of(what)))
    with shop.reading() as work:
        assert belief_before(work, visits[0]) is None
        first, years = belief_before(work, visits[1])
        assert (first.deviations, years) == ((0.1,), pytest.approx(2.0, abs=0.002))
        for later in visits[2:]:  # the third is open: what it left once holds no more
            found, years = belief_before(work, later)
            assert (found.deviations, years) == ((0.2,), pytest.approx(1.0, abs=0.002))


def at_once(act, benches):
    """Several benches do the same at the same moment; what each got."""
    start = threading.Barrier(benches)

    def one(number):
        start.wait()
        return act(number)

    with ThreadPoolExecutor(benches) as pool:
        return list(pool.map(one, range(benches)))


def test_benches_that_write_at_once_take_turns(at, shop, files, job):
    def bench(number):
        with open_shop(at) as other:
            for i in range(10):
                with other.writing(f"bench {number}") as work:
                    append(work, job.visit.id, entry(f"note {i} of {number}"))

    at_once(bench, 4)
    with shop.reading() as work:
        notes = journal_of(work, job.visit).entries[5:]
    assert [one.number for one in notes] == list(range(8, 48))
    assert sorted(one.text for one in notes) == sorted(f"{i} of {n}" for i in range(10) for n in range(4))


def test_of_edits_at_once_one_is_kept_and_the_others_are_told(at, shop, job):
    def bench(number):
        with open_shop(at) as other:
            try:
                with other.writing(f"bench {number}") as work:
                    edit(work, job.owner, contact=f"number {number}")
            except StaleEditError as error:
                return str(error)
        return number

    found = at_once(bench, 4)
    (kept,) = (one for one in found if isinstance(one, int))
    with shop.reading() as work:
        assert get(work, Owner, job.owner.id).contact == f"number {kept}"
    assert all(f"by bench {kept}" in one for one in found if isinstance(one, str))


def test_the_same_job_photo_and_part_at_once_are_one(at, shop, files):
    def bench(_number):
        with open_shop(at) as other, other.writing() as work:
            made = add_job(work, files, "Ada Lark")
            supplies.attach(work, "photo", "a.jpg", io.BytesIO(JPEG), visit=made.visit.id)
            specifications.specify(work, "house", [GAP])
            return made.owner.id, made.instrument.id, supplies.add_part(work, "spring").id

    assert len(set(at_once(bench, 4))) == 1
    with shop.reading() as work:
        assert [one.number for one in specifications.specifications(work)] == [4, 3, 2, 1]
        assert work.connection.exec_driver_sql("SELECT count(*) FROM content").scalar() == 1
        assert work.connection.exec_driver_sql("SELECT max(number) FROM visit").scalar() == 4


def test_the_same_file_at_once_is_kept_once(at, shop, job):
    def bench(_number):
        with open_shop(at) as other, other.writing() as work:
            return supplies.attach(work, "photo", "a.jpg", io.BytesIO(JPEG), visit=job.visit.id).sha256

    assert len(set(at_once(bench, 4))) == 1
    with shop.reading() as work:
        assert len(supplies.attachments(work, visit=job.visit.id)) == 4
        assert b"".join(supplies.content(work, hashlib.sha256(JPEG).hexdigest())) == JPEG
