"""People, owners, instruments, parts and files are all found in one way, and refused in one way."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest

from setwright.errors import InputError
from setwright.records import supplies
from setwright.records.day import person_in
from setwright.records.edits import add, edit, get
from setwright.records.ids import LENGTH
from setwright.records.jobs import add_job
from setwright.records.rows import Instrument, Owner, Person, Visit

KINDS = ("person", "owner", "instrument", "part")


@pytest.fixture
def rows(shop, files):
    """What makes a row of that name of each kind, and what finds one; both give its id."""
    with shop.writing() as work:
        job = add_job(work, files, "Ada Lark")
        make = {
            "person": lambda name: add(work, Person("", 1, name, work.now, None)).id,
            "owner": lambda name: add(work, Owner("", 1, name, "", "", work.now, "")).id,
            "instrument": lambda name: add(work, replace(job.instrument, id="", name=name, serial="")).id,
            "part": lambda name: supplies.add_part(work, name).id,
        }
        find = {
            "person": lambda said: person_in(work, said).id,
            "owner": lambda said: get(work, Owner, said).id,
            "instrument": lambda said: get(work, Instrument, said).id,
            "part": lambda said: supplies.part_called(work, said),
        }
        yield work, job, make, find


@pytest.mark.parametrize("kind", KINDS)
def test_a_name_an_id_and_its_end_mean_the_same(rows, kind):
    _, _, make, find = rows
    first, other = make[kind]("Wren 50 % ß"), make[kind]("other")
    for said in ("Wren 50 % ß", "  Wren 50 % ß ", "WREN 50 % SS", first, first[-6:].upper(), first[-9:]):
        assert find[kind](said) == first
    assert find[kind]("other") == other


@pytest.mark.parametrize("kind", KINDS)
def test_letters_as_written_come_before_letters_alike_and_those_before_the_end_of_an_id(rows, kind):
    _, _, make, find = rows
    first = make[kind]("Shim")
    second = make[kind]("shim")
    named_as_it_ends = make[kind](first[-6:])
    assert (find[kind]("Shim"), find[kind]("shim")) == (first, second)
    assert find[kind](first[-6:]) == find[kind](first[-6:].upper()) == named_as_it_ends
    with pytest.raises(InputError, match=f"^2 .* are meant by 'SHIM'; write the whole id of one: {first}, {second}.$"):
        find[kind]("SHIM")


@pytest.mark.parametrize("kind", KINDS)
def test_nobody_is_one_sentence_with_the_command_that_lists_them(rows, kind):
    _, _, make, find = rows
    make[kind]("Wren")
    place = "who works here" if kind == "person" else "in this shop"
    lists = {"person": "people"}.get(kind, f"{kind}s")
    for said in ("", "  ", "Wre", "ren", "%", "W%", "_ren", "a\0b", "x" * 501, "0" * LENGTH, "'; --"):
        with pytest.raises(InputError) as refused:
            find[kind](said)
        assert str(refused.value) == (
            f"there is no {kind} {said[:40]!r} {place}; setwright shop {lists} lists what there is."
        )


def test_of_many_some_are_shown(rows):
    _, _, make, find = rows
    ids = sorted(make["owner"]("Finch") for _ in range(8))
    with pytest.raises(InputError) as refused:
        find["owner"]("Finch")
    assert str(refused.value).startswith("many owners are meant by 'Finch'; write the whole id of one: ")
    assert [one in str(refused.value) for one in ids] == [True] * 5 + [False] * 3


def test_who_left_is_meant_by_no_name(rows):
    work, _, make, find = rows
    gone = edit(work, get(work, Person, make["person"]("Bo")), until=work.now)
    for said in ("Bo", gone.id, gone.id[-8:]):
        with pytest.raises(InputError, match=r"there is no person .* who works here; setwright shop people lists"):
            find["person"](said)
        assert get(work, Person, said) == gone  # what they did still names them
    back = make["person"]("Bo")
    assert find["person"]("bo") == back


def test_visits_and_files_have_an_id_alone(rows):
    work, job, _, _ = rows
    kept = supplies.attach(work, "other", "words.txt", io.BytesIO(b"words"), visit=job.visit.id)
    assert supplies.attachment(work, kept.id[-8:]) == kept
    assert get(work, Visit, job.visit.id[-8:].upper()) == job.visit
    for noun, find in (("file", supplies.attachment), ("visit", lambda work, said: get(work, Visit, said))):
        for said in ("", "abc", "words.txt", "%%%%"):
            with pytest.raises(InputError, match=f"names no {noun}; write its id, or the last four signs of it"):
                find(work, said)
        with pytest.raises(InputError, match=f"there is no {noun} 'zzzzzzzz' in this shop; setwright shop "):
            find(work, "zzzzzzzz")
