"""A shop goes out into a layout anyone can read and comes back the same, on either engine and from one to the other."""

from __future__ import annotations

import hashlib
import io
import json
import math
import shutil
import subprocess
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, insert, select

from setwright.errors import InputError
from setwright.records import exchange, exchange_schema, supplies
from setwright.records.check import check
from setwright.records.edits import add, edit
from setwright.records.exchange import EXPORTED, export
from setwright.records.exchange_import import import_shop
from setwright.records.exchange_schema import LEFT_OUT
from setwright.records.ids import spelled
from setwright.records.jobs import add_job
from setwright.records.kept import text_of
from setwright.records.rows import Owner, Visit, made_of
from setwright.records.shop import new_shop, open_shop
from setwright.records.tables import CLIMATE, METADATA, VISIT, VISIT_SUMMARY, VISIT_VALUE
from tests.records.make_released import fill

pytestmark = pytest.mark.slow

ODD = (
    "", " ", "\t\r\n", "'; --", '"\\/{}', "null", "\u0001\u001f\u007f", "\u2028\u2029", "e\u0301 \u00e9", "\ufeff",
    "\U0001f3b8\U0001f469\u200d\U0001f527", "\u202eright to left", "\ufdfa" * 30,
)  # fmt: skip
NUMBERS = (5e-324, 2.2250738585072014e-308, 0.1 + 0.2, math.nextafter(1.0, 2.0), 1e22, 1.7976931348623157e308)
LARGE = bytes(range(256)) * 9_000  # more than two pieces


@pytest.fixture
def filled(shop, files):
    """A shop with a row or more in every table, some of them odd."""
    fill(shop)
    with shop.writing("Bo") as work:
        job = add_job(work, files, "Zoë \U0001f3b8 O'Dell")
        for text in ODD:
            add(work, Owner("", 1, "x", "", text, work.now, ""))
        for number in NUMBERS:
            row = {"id": supplies.new_id(), "visit": None, "at": "", "temperature": number, "humidity": 0.0}
            work.connection.execute(insert(CLIMATE), {**row, "written": repr(number), "who": ""})
        work.connection.execute(insert(CLIMATE), {
            "id": supplies.new_id(), "visit": None, "at": "", "temperature": None, "humidity": -0.0, "written": "",
            "who": "",
        })  # fmt: skip
        supplies.attach(work, "other", "dump", io.BytesIO(LARGE), visit=job.visit.id)
        supplies.attach(work, "other", "nothing", io.BytesIO(b""), instrument=job.instrument.id)
        supplies.attach(work, "other", "again", io.BytesIO(LARGE), instrument=job.instrument.id)
    return shop


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(one.relative_to(folder)): one.read_bytes() for one in sorted(folder.rglob("*")) if one.is_file()}


def all_rows(shop):
    """Every row that an export tells; who may come in is not among them, and the rest is made anew."""
    with shop.reading() as work:
        return {
            one.name: [tuple(row) for row in work.connection.execute(select(one).order_by(*one.primary_key.columns))]
            for one in METADATA.sorted_tables
            if one.name not in LEFT_OUT or one in (VISIT_SUMMARY, VISIT_VALUE)
        }


def left_out_rows(shop):
    """Names of the tables that hold something an export never tells of who comes in."""
    made = {"content_part", VISIT_SUMMARY.name, VISIT_VALUE.name}
    with shop.reading() as work:
        return {
            name
            for name in set(LEFT_OUT) - made
            if work.connection.execute(select(func.count()).select_from(METADATA.tables[name])).scalar_one()
        }


def lines(folder: Path, table: str) -> list[dict[str, object]]:
    return [json.loads(one) for one in (folder / "tables" / f"{table}.jsonl").read_text("utf-8").split("\n")[:-1]]


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request, tmp_path):
    """A place where a shop can be made, of each engine whatever the first one is."""
    if request.param == "sqlite":
        return str(tmp_path / "target")
    server = request.getfixturevalue("server")
    return str(server.url(server.new()))


def test_from_any_engine_to_any_other_everything_comes_back(filled, target, tmp_path):
    first = export(filled, tmp_path / "first")
    read = import_shop(tmp_path / "first", target)
    assert (read.name, read.sha256, read.rows) == (filled.name, first.sha256, first.rows)
    assert (read.files, read.size) == (first.files, first.size) == (2, len(LARGE))
    with open_shop(target) as other:
        second = export(other, tmp_path / "second")
        assert check(other).problems == ()
        assert all_rows(other) == all_rows(filled)
        assert left_out_rows(filled) == {"pin", "pairing", "device", "sitting", "refused_try"}
        assert left_out_rows(other) == set()  # nobody comes in with what was exported
        with other.reading() as work:
            assert b"".join(supplies.content(work, hashlib.sha256(LARGE).hexdigest())) == LARGE
    assert second.sha256 == first.sha256
    assert files_in(tmp_path / "second") == files_in(tmp_path / "first")
    assert all(first.rows.values())


@pytest.mark.slow
def test_a_shop_that_was_read_goes_on(filled, files, target, tmp_path):
    export(filled, tmp_path / "out")
    import_shop(tmp_path / "out", target)
    with open_shop(target) as other:
        with other.reading() as work:
            rows = work.connection.execute(select(VISIT).where(VISIT.c.job_name == files.job_name)).all()
            texts = [text_of(work, made_of(Visit, row)) for row in rows]
        assert files.journal in texts
        with pytest.raises(InputError, match="only added to"), other.writing() as work:
            work.connection.exec_driver_sql("DELETE FROM entry")
        with other.writing("Bo") as work:
            assert add_job(work, files, "Zoë \U0001f3b8 O'Dell").known


def test_lines_are_sorted_and_hold_what_was_put_in(filled, tmp_path):
    export(filled, tmp_path / "out")
    for table in EXPORTED:
        found = lines(tmp_path / "out", table.name)
        assert all(list(one) == sorted(one) for one in found)
        keys = [tuple(one[name.name] for name in table.primary_key.columns) for one in found]
        assert keys == sorted(set(keys))
    assert {one["note"] for one in lines(tmp_path / "out", "owner")} >= set(ODD)
    climate = lines(tmp_path / "out", "climate")
    assert {one["temperature"] for one in climate} >= set(NUMBERS)
    assert all(math.copysign(1.0, one["humidity"]) == 1.0 for one in climate)


def test_every_line_and_the_manifest_are_as_the_schema_says(filled, tmp_path):
    export(filled, tmp_path / "out")
    schema = json.loads((tmp_path / "out" / "schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema == exchange_schema.schema()
    jsonschema.validate(json.loads((tmp_path / "out" / "manifest.json").read_text("utf-8")), schema)
    for name, node in schema["$defs"].items():
        judge = jsonschema.Draft202012Validator(node)
        found = lines(tmp_path / "out", name)
        assert found
        for one in found:
            judge.validate(one)
        for wrong in (
            {**found[0], "more": 1},
            {key: value for key, value in found[0].items() if key != "id"} | {"sha256": 1},
        ):
            assert not judge.is_valid(wrong)


def test_the_hash_is_the_one_a_shell_finds(filled, tmp_path):
    done = export(filled, tmp_path / "out")
    if shutil.which("sha256sum") is None:
        pytest.skip("sha256sum is not here")
    words = "cd out && LC_ALL=C sha256sum tables/*.jsonl | sha256sum"
    told = subprocess.run(["sh", "-c", words], cwd=tmp_path, capture_output=True, text=True, check=True).stdout
    assert told.split()[0] == done.sha256
    for path in (tmp_path / "out" / "contents").rglob("*/*"):
        assert hashlib.sha256(path.read_bytes()).hexdigest() == path.name


def test_one_change_anywhere_changes_the_hash(filled, tmp_path):
    before = export(filled, tmp_path / "before").sha256
    with filled.writing() as work:
        supplies.add_part(work, "one more")
    assert export(filled, tmp_path / "after").sha256 != before


def test_a_shop_with_nothing_in_it_is_filled(filled, at, engine, tmp_path, request):
    export(filled, tmp_path / "out")
    place = tmp_path / "empty"
    if engine == "postgresql":
        server = request.getfixturevalue("server")
        place = server.url(server.new())
    new_shop(place, "Another name").close()
    assert import_shop(tmp_path / "out", place).name == filled.name
    with open_shop(place) as shop:
        assert shop.id == filled.id
        assert all_rows(shop) == all_rows(filled)
        assert check(shop).problems == ()
        before = all_rows(shop)
    with pytest.raises(InputError, match="is not empty, there are rows in its table"):
        import_shop(tmp_path / "out", place)
    with open_shop(place) as shop:
        assert all_rows(shop) == before


@pytest.mark.slow
def test_an_export_of_an_older_schema_is_brought_up_to_date(filled, target, tmp_path, monkeypatch):
    from setwright.records.schema import VERSIONS, newest

    later = (*VERSIONS, Path(__file__).parent / "later")
    export(filled, tmp_path / "out")
    assert newest(later) != newest()
    import_shop(tmp_path / "out", target, later)
    with pytest.raises(InputError, match=f"schema {newest(later)}"):
        open_shop(target)


def manifest(folder, without=()):
    """Hashes by table, but of the tables left out."""
    told = json.loads((folder / "manifest.json").read_text("utf-8"))["tables"]
    return {name: one["sha256"] for name, one in told.items() if one["rows"] and name not in without}


LATER = ("audit", "person_role")  # tables that came with schema 0004


def as_exported_by(folder, schema):
    """An export with tables, columns and hashes of an older schema: what was believed stood with the instrument."""
    told = json.loads((folder / "manifest.json").read_text("utf-8"))
    for name in LATER:
        del told["tables"][name]
        (folder / "tables" / f"{name}.jsonl").unlink()
    for name, gone, more in (("instrument", (), {"belief": None, "prior": ""}), ("visit", ("belief",), {})):
        path = folder / "tables" / f"{name}.jsonl"
        rows = [json.loads(line) | more for line in path.read_text("utf-8").splitlines()]
        lines = [{key: row[key] for key in sorted(row) if key not in gone} for row in rows]
        text = "".join(json.dumps(one, ensure_ascii=False, separators=(",", ":")) + "\n" for one in lines)
        path.write_text(text, "utf-8")
        told["tables"][name]["sha256"] = hashlib.sha256(text.encode()).hexdigest()
    names = sorted(told["tables"])
    listed = "".join(f"{told['tables'][one]['sha256']}  tables/{one}.jsonl\n" for one in names)
    told |= {"schema": schema, "sha256": hashlib.sha256(listed.encode()).hexdigest()}
    (folder / "manifest.json").write_text(json.dumps(told), "utf-8")


@pytest.mark.slow
@pytest.mark.parametrize("schema", ["0001", "0002"])
def test_an_export_of_an_older_schema_is_read_into_todays_tables(filled, target, tmp_path, schema):
    with filled.writing() as work:  # no command of theirs had ever filled it
        for row in work.connection.execute(select(VISIT).where(VISIT.c.belief.is_not(None))).all():
            edit(work, made_of(Visit, row), belief=None)
    done = export(filled, tmp_path / "out")
    shutil.copytree(tmp_path / "out", tmp_path / "first")
    as_exported_by(tmp_path / "out", schema)
    assert import_shop(tmp_path / "out", target).sha256 != done.sha256
    with open_shop(target) as shop:
        assert check(shop).problems == ()
        assert all_rows(shop) == all_rows(filled) | {name: [] for name in LATER}
        export(shop, tmp_path / "again")
    assert manifest(tmp_path / "again") == manifest(tmp_path / "first", without=LATER)


def test_an_older_export_does_not_go_into_a_newer_shop(filled, tmp_path, monkeypatch):
    export(filled, tmp_path / "out")
    new_shop(tmp_path / "empty", "Empty").close()
    from setwright.records.schema import VERSIONS

    later = (*VERSIONS, Path(__file__).parent / "later")
    with pytest.raises(InputError, match="import it to a new place"):
        import_shop(tmp_path / "out", tmp_path / "empty", later)


def test_places_that_cannot_be_written_are_refused(filled, at, engine, tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "a").touch()
    (tmp_path / "file").touch()
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    for name, said in (
        ("full", "not empty"),
        ("file", "no folder"),
        ("link", "no folder"),
        ("no/where", "is no folder"),
    ):
        with pytest.raises(InputError, match=said):
            export(filled, tmp_path / name)
    with pytest.raises(InputError, match="no folder is named"):
        export(filled, Path("/"))
    if engine == "sqlite":
        with pytest.raises(InputError, match="lies in the shop itself"):
            export(filled, Path(at) / "out")
    (tmp_path / "empty").mkdir()
    export(filled, tmp_path / "empty")
    assert (tmp_path / "empty" / "manifest.json").is_file()


def test_an_export_that_fails_leaves_nothing(filled, at, engine, tmp_path, monkeypatch):
    before = sorted(tmp_path.iterdir())

    def full(_handle):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(exchange.os, "fsync", full)
        with pytest.raises(InputError, match="no space left on device; nothing was exported"):
            export(filled, tmp_path / "out")
    assert sorted(tmp_path.iterdir()) == before
    if engine == "sqlite":
        sha256 = hashlib.sha256(LARGE).hexdigest()
        (Path(at) / "content" / sha256[:2] / sha256).write_bytes(b"other")
        with pytest.raises(InputError, match=f"content {sha256} is damaged; nothing was exported"):
            export(filled, tmp_path / "out")
        assert sorted(tmp_path.iterdir()) == before


def test_an_export_is_of_one_moment(filled, at, tmp_path, monkeypatch):
    before = export(filled, tmp_path / "before")
    written, really = [], exchange._table

    def meanwhile(work, part, table, only):
        done = really(work, part, table, only)
        if len(written) < 3:
            with open_shop(at) as other, other.writing() as busy:
                written.append(supplies.add_part(busy, f"part {len(written)}"))
        return done

    monkeypatch.setattr(exchange, "_table", meanwhile)
    first = export(filled, tmp_path / "during")
    assert len(written) == 3
    assert first.sha256 == before.sha256
    assert export(filled, tmp_path / "after").sha256 != before.sha256


VALUES = {
    str: st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12),
    int: st.integers(-(2**31), 2**31 - 1),
    float: st.floats(allow_nan=False, allow_infinity=False),
    bool: st.booleans(),
    bytes: st.binary(max_size=12),
}


@pytest.mark.slow
@given(data=st.data(), table=st.sampled_from([one for one in EXPORTED if one.name in ("entry", "climate", "step")]))
def test_any_row_reads_as_it_was_written(data, table):
    given_ = {}
    for column in table.columns:
        enum = DEFS[table.name]["properties"][column.name].get("enum")
        value = st.sampled_from(enum) if enum else VALUES[column.type.python_type]
        given_[column.name] = data.draw(st.none() | value if column.nullable else value)
    if "id" in given_:
        given_["id"] = spelled(data.draw(st.integers(0, 2**127)))
    fields = exchange_schema.fields_of(table)
    line = fields.line([given_[name] for name in fields.names])
    assert line.count(b"\n") == 1
    row = exchange_schema.Reader(table).row(line)
    assert dict(zip(table.columns.keys(), row, strict=True)) == given_
    assert jsonschema.Draft202012Validator(DEFS[table.name]).is_valid(json.loads(line))


DEFS = exchange_schema.schema()["$defs"]


def test_a_number_that_is_none_is_not_exported(shop, tmp_path):
    with shop.writing() as work:
        row = {"id": supplies.new_id(), "visit": None, "at": "", "temperature": math.inf, "humidity": 0.5}
        work.connection.execute(insert(CLIMATE), {**row, "written": "", "who": ""})
    with pytest.raises(InputError, match="table climate: a row cannot be written"):
        export(shop, tmp_path / "out")
    assert not (tmp_path / "out").exists()
