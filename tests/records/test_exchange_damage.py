"""An exported shop that is damaged, newer or made up is refused in one sentence, and nothing is imported."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import shutil
from pathlib import Path

import pytest
from sqlalchemy import func, select

from setwright.errors import FileFormatError, InputError
from setwright.records import exchange_import, supplies
from setwright.records.exchange import export, over
from setwright.records.exchange_import import import_shop
from setwright.records.shop import new_shop, open_shop
from setwright.records.tables import METADATA
from tests.records.conftest import ENGINES
from tests.records.make_released import fill

RAW = b"a photo that is none"
SHA256 = hashlib.sha256(RAW).hexdigest()
CONTENT = f"contents/{SHA256[:2]}/{SHA256}"


@pytest.fixture(scope="module")
def exported(tmp_path_factory):
    """A small shop in its layout, on the disk once."""
    import io

    home = tmp_path_factory.mktemp("exported")
    with new_shop(home / "shop", "Weir Lane Bench") as shop:
        fill(shop)
        with shop.writing() as work:
            visit = work.connection.exec_driver_sql("SELECT id FROM visit").scalar()
            supplies.attach(work, "other", "dump", io.BytesIO(RAW), visit=visit)
        export(shop, home / "out")
    return home / "out"


@pytest.fixture
def out(exported, tmp_path):
    shutil.copytree(exported, tmp_path / "out")
    return tmp_path / "out"


def said_of(out, place):
    """The one sentence an import is refused with; nothing is left of it."""
    with pytest.raises(InputError) as refused:
        import_shop(out, place)
    text = str(refused.value)
    assert text.endswith(".")
    assert "\n" not in text
    assert len(text) < 500
    return text


def refused(out, place):
    text = said_of(out, place)
    assert not Path(place).exists()
    return text


def lines_of(out, table):
    return (out / "tables" / f"{table}.jsonl").read_bytes().split(b"\n")[:-1]


def put(out, table, lines, end=b"\n"):
    """Write a table anew, and a manifest that agrees with it."""
    raw = b"\n".join(lines) + end if lines else b""
    (out / "tables" / f"{table}.jsonl").write_bytes(raw)
    told = json.loads((out / "manifest.json").read_text("utf-8"))
    told["tables"][table] = {"rows": len(lines), "sha256": hashlib.sha256(raw).hexdigest()}
    told["sha256"] = over({name: one["sha256"] for name, one in told["tables"].items()})
    (out / "manifest.json").write_text(json.dumps(told), "utf-8")


def changed(out, table, **fields):
    """Change fields of the first line of a table; the hashes agree with it."""
    first, *rest = lines_of(out, table)
    line = json.dumps({**json.loads(first), **fields}, ensure_ascii=True).encode()
    put(out, table, [line, *rest])


def manifest(out, **fields):
    told = json.loads((out / "manifest.json").read_text("utf-8"))
    (out / "manifest.json").write_text(json.dumps({**told, **fields}), "utf-8")


def test_it_is_read_when_it_is_whole(out, tmp_path):
    assert import_shop(out, tmp_path / "shop").name == "Weir Lane Bench"
    put(out, "owner", lines_of(out, "owner"))
    assert import_shop(out, tmp_path / "again").files == 1


@pytest.mark.parametrize("name", ["manifest.json", "tables/entry.jsonl", "tables/shop.jsonl", CONTENT])
def test_a_file_that_is_missing_is_named(out, tmp_path, name):
    (out / name).unlink()
    text = refused(out, tmp_path / "shop")
    assert name in text
    assert "missing" in text or "no such file" in text


@pytest.mark.parametrize("name", ["tables/entry.jsonl", "tables/owner.jsonl", CONTENT])
def test_one_letter_that_differs_is_seen(out, tmp_path, name):
    raw = (out / name).read_bytes()
    at = raw.rindex(b"a")
    (out / name).write_bytes(raw[:at] + b"b" + raw[at + 1 :])
    assert name.rpartition("/")[2] in refused(out, tmp_path / "shop")


@pytest.mark.parametrize("name", ["tables/entry.jsonl", CONTENT])
@pytest.mark.parametrize("left", [-1, -7, 0])
def test_half_a_file_is_seen(out, tmp_path, name, left):
    raw = (out / name).read_bytes()
    (out / name).write_bytes(raw[:left])
    text = refused(out, tmp_path / "shop")
    assert "cut off" in text or "not the file" in text


def test_half_a_line_is_seen_though_the_hashes_agree(out, tmp_path):
    put(out, "entry", lines_of(out, "entry"), end=b"")
    assert "tables/entry.jsonl, line 4: the line has no end, the file is cut off" in refused(out, tmp_path / "shop")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b"", "no JSON"), (b"{", "no JSON"), (b"[" * 100_000, "no JSON"), (b"[]", "no JSON object"),
        (b"\xff{}", "UTF-8"),
        (b'{"id":1,"id":1}', "stands twice in it"), (b"{}", "the field 'contact' is missing"),
        (b'{"id":NaN}', "NaN is no number"), (b'{"a\x00":1}', "no JSON"), (b"9" * 5_000, "no JSON"),
    ],
)  # fmt: skip
def test_a_line_that_is_no_row_is_named(out, tmp_path, line, said):
    put(out, "owner", [line, *lines_of(out, "owner")])
    text = refused(out, tmp_path / "shop")
    assert "tables/owner.jsonl, line 1: " in text
    assert said in text


@pytest.mark.parametrize(
    ("table", "fields", "said"),
    [
        ("owner", {"nickname": "x"}, "field 'nickname' is not known"), ("owner", {"name": None}, "no text"),
        ("owner", {"name": "a\0b"}, "no letter"), ("owner", {"name": "\ud83d"}, "no letter"),
        ("owner", {"version": "1"}, "no whole number"), ("owner", {"version": 2**40}, "no whole number"),
        ("owner", {"version": True}, "no whole number"), ("owner", {"version": 1.0}, "no whole number"),
        ("owner", {"id": "../../etc"}, "field id cannot be"), ("entry", {"harmonic": 0}, "no true or false"),
        ("entry", {"value_si": "1"}, "no number"), ("entry", {"value_si": 10**400}, "too large"),
        ("entry", {"before": "not base64!"}, "no base64"), ("entry", {"before": "ä"}, "no base64"),
        ("visit", {"job_name": "../job.toml"}, "job_name cannot be"), ("visit", {"journal_name": "a\\b"}, "cannot be"),
        ("attachment", {"name": "/etc/passwd"}, "name cannot be"), ("instrument", {"file_name": ".."}, "cannot be"),
        ("document", {"text": "another"}, "not the one of its hash"), ("visit", {"job_name": ""}, "cannot be"),
        ("content", {"sha256": "../../../etc/passwd"}, "sha256 cannot be"), ("content", {"size": 3}, "hash and size"),
    ],
)  # fmt: skip
def test_a_field_that_is_not_what_it_must_be_is_named(out, tmp_path, table, fields, said):
    changed(out, table, **fields)
    text = refused(out, tmp_path / "shop")
    assert said in text
    assert "nothing was imported" in text


def test_numbers_too_large_to_be_one_are_refused(out, tmp_path):
    lines = lines_of(out, "climate")
    put(out, "climate", [lines[0].replace(b"294.15", b"1e999")])
    assert "too large for a number" in refused(out, tmp_path / "shop")


def test_whole_numbers_where_others_may_stand_are_taken(out, tmp_path):
    changed(out, "climate", temperature=294, humidity=0)
    import_shop(out, tmp_path / "shop")
    with open_shop(tmp_path / "shop") as shop, shop.reading() as work:
        assert supplies.climate(work)[0].temperature == 294.0


def test_rows_twice_or_out_of_order_are_named(out, tmp_path):
    found = lines_of(out, "entry")
    for lines in ([found[0], *found], found[::-1]):
        put(out, "entry", lines)
        assert "line 2: the row stands twice or out of order" in refused(out, tmp_path / "shop")


@pytest.mark.parametrize("engine", ENGINES)
def test_rows_that_name_no_other_are_refused(out, fresh, engine):
    put(out, "person", [])
    assert lines_of(out, "person_role")
    if engine == "sqlite":
        assert "would name no other" in refused(out, fresh + "-0")  # somebody's role
    put(out, "person_role", [])
    put(out, "stock_movement", [])
    put(out, "part", [])
    import_shop(out, fresh)  # nobody names those
    put(out, "owner", [])
    other = fresh + "-2" if engine == "sqlite" else None
    if other:
        assert "would name no other" in refused(out, other)


@pytest.mark.slow
def test_on_postgresql_nothing_is_left_either(out, server, tmp_path):
    url = server.url(server.new())
    put(out, "owner", [])
    assert "names another one that does not exist; nothing was written" in said_of(out, url)
    changed(out, "shop", more="x")
    assert "not known" in said_of(out, url)
    with pytest.raises(FileFormatError, match="there is no shop in it"):
        open_shop(url)
    new_shop(url, "Empty").close()
    (out / CONTENT).write_bytes(b"other")
    said_of(out, url)
    with open_shop(url) as shop, shop.reading() as work:
        assert shop.name == "Empty"
        counts = [
            work.connection.execute(select(func.count()).select_from(one)).scalar() for one in METADATA.sorted_tables
        ]
    assert sum(counts) == 1


def test_an_empty_shop_stays_empty_with_its_name(out, tmp_path):
    new_shop(tmp_path / "shop", "Empty").close()
    manifest(out, contents={"files": 2, "bytes": len(RAW)})
    assert "number of contents" in said_of(out, tmp_path / "shop")
    with open_shop(tmp_path / "shop") as shop, shop.reading() as work:
        assert shop.name == "Empty"
        assert work.connection.exec_driver_sql("SELECT count(*) FROM entry").scalar() == 0
    assert [one for one in (tmp_path / "shop" / "content").rglob("*") if one.is_file()] == []
    manifest(out, contents={"files": 1, "bytes": len(RAW)})
    assert import_shop(out, tmp_path / "shop").files == 1


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"layout": "another"}, "no manifest"), ({"version": 2}, "of version '2' of the layout, version 1 is read"),
        ({"schema": None}, "name of the schema"), ({"tables": []}, "tables are missing"),
        ({"contents": 1}, "contents are missing"),
        ({"contents": {"files": "1", "bytes": 2}}, "not what they must be"), ({"owner": "me"}, "not what they must be"),
        ({"sha256": "0" * 64}, "is not that of the hashes it lists"), ({"tables": {"owner": 1}}, "table 'owner'"),
        ({"tables": {"owner": {"rows": -1, "sha256": "0" * 64}}}, "table 'owner'"),
        ({"schema": "9001"}, "those of schema 9001, this Setwright"),
    ],
)  # fmt: skip
def test_a_manifest_that_is_none_is_refused(out, tmp_path, fields, said):
    manifest(out, **fields)
    assert said in refused(out, tmp_path / "shop")


def test_a_newer_schema_names_the_command(out, tmp_path):
    manifest(out, schema="9001")
    assert "pip install --upgrade setwright" in refused(out, tmp_path / "shop")


@pytest.mark.parametrize("raw", [b"", b"{", b"\xff", b'{"layout": "setwright shop", "layout": "setwright shop"}'])
def test_a_manifest_that_is_no_json_is_refused(out, tmp_path, raw):
    (out / "manifest.json").write_bytes(raw)
    assert "manifest.json: " in refused(out, tmp_path / "shop")


def test_tables_nobody_knows_are_refused(out, tmp_path):
    told = json.loads((out / "manifest.json").read_text("utf-8"))
    entry = {"rows": 0, "sha256": hashlib.sha256(b"").hexdigest()}
    for tables in (
        {**told["tables"], "ghost": entry},
        {name: one for name, one in told["tables"].items() if name != "sheet"},
    ):
        manifest(out, tables=tables, sha256=over({name: one["sha256"] for name, one in tables.items()}))
        assert "'ghost' is not known" in refused(out, tmp_path / "shop") or "'sheet' is missing" in refused(
            out, tmp_path / "shop"
        )
    manifest(out, tables=told["tables"], sha256=told["sha256"])
    (out / "tables" / "more.jsonl").write_bytes(b"")
    assert "'more' is not known" in refused(out, tmp_path / "shop")


def test_two_shops_in_one_are_refused(out, tmp_path):
    (line,) = lines_of(out, "shop")
    more = json.loads(line) | {"id": "7zzzzzzzzzzzzzzzzzzzzzzzzz"}
    put(out, "shop", [line, json.dumps(more).encode()])
    assert "there are 2 rows of the shop itself" in refused(out, tmp_path / "shop")
    put(out, "shop", [])
    assert "there are 0 rows of the shop itself" in refused(out, tmp_path / "shop")


@pytest.mark.parametrize("name", ["tables/owner.jsonl", CONTENT])
def test_a_link_out_of_the_folder_is_not_followed(out, tmp_path, name):
    elsewhere = tmp_path / "elsewhere"
    (out / name).rename(elsewhere)
    (out / name).symlink_to(elsewhere)
    assert f"{name} leads out of the folder" in refused(out, tmp_path / "shop")


def test_a_pipe_in_place_of_a_file_is_not_waited_for(out, tmp_path):
    (out / "tables" / "owner.jsonl").unlink()
    os.mkfifo(out / "tables" / "owner.jsonl")
    assert "tables/owner.jsonl is missing" in refused(out, tmp_path / "shop")


def test_a_line_without_end_is_not_read_into_memory(out, tmp_path, monkeypatch):
    monkeypatch.setattr(exchange_import, "LONGEST", 100)
    assert "line 1: the line has no end" in refused(out, tmp_path / "shop")


def test_a_full_disk_leaves_nothing(out, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("setwright.records.content.os.fsync", full)
    assert "no space left on device" in refused(out, tmp_path / "shop")


def test_places_that_are_taken_are_refused(out, tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine").touch()
    assert "not empty" in said_of(out, tmp_path / "full")
    assert (tmp_path / "full" / "mine").exists()
    assert "is no folder" in said_of(tmp_path / "nowhere", tmp_path / "shop")
    (tmp_path / "empty").mkdir()
    changed(out, "owner", name=None)
    said_of(out, tmp_path / "empty")
    assert list((tmp_path / "empty").iterdir()) == []


def test_bytes_are_base64_of_rfc_4648(out):
    found = [json.loads(one) for one in lines_of(out, "entry")]
    assert base64.b64decode(found[0]["before"]) == b"# by hand\n"  # what stands before the first entry of that journal
