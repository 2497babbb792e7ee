"""Reader, schema and documentation say the same of every field, and the examples pass all three."""

import re
import tomllib
from pathlib import Path

import jsonschema
import pytest

from setwright.errors import InputError
from setwright.instrument.fields import Field
from setwright.instrument.files import read_instrument
from setwright.instrument.jobfile import job_from_bytes, read_job
from setwright.instrument.quantities import QUANTITIES, read_quantity
from setwright.instrument.reading import EXAMPLES as WRITTEN
from setwright.instrument.schema import LAYOUTS, schema, with_tables
from setwright.instrument.string_sets import STRING_FIELDS

ROOT = Path(__file__).parents[2]
INSTRUMENTS = sorted((ROOT / "examples").glob("*.instrument.toml"))
JOBS = sorted((ROOT / "examples").glob("*.job.toml"))
PAGE = (ROOT / "docs" / "file-formats.md").read_text(encoding="utf-8")
VALIDATORS = {kind: jsonschema.Draft202012Validator(schema(kind)) for kind in LAYOUTS}


def kind_of(path):
    return path.name.split(".")[-2]


@pytest.mark.parametrize("kind", LAYOUTS)
def test_the_schema_is_one(kind):
    jsonschema.Draft202012Validator.check_schema(schema(kind))
    assert schema(kind)["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_there_is_no_other_file():
    with pytest.raises(InputError, match="there is no file of kind 'plan'; there are: instrument, job"):
        schema("plan")


@pytest.mark.parametrize("path", INSTRUMENTS + JOBS, ids=lambda p: p.name)
def test_the_examples_are_valid_by_schema_and_reader(path):
    assert list(VALIDATORS[kind_of(path)].iter_errors(tomllib.loads(path.read_text(encoding="utf-8")))) == []
    assert (read_instrument if path in INSTRUMENTS else read_job)(path)


def test_the_demo_jobs_are_these():
    assert [p.name.split(".")[0] for p in JOBS] == [
        "curlew-low",
        "dunlin-heavier",
        "kestrel-float",
        "knot-too-weak",
        "lapwing-pull",
        "plover-dive",
        "sanderling-lower",
        "wigeon-reradius",
    ]


@pytest.mark.parametrize("text", re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL))
def test_the_examples_of_the_page_are_valid(text):
    data = tomllib.loads(text)
    kind = "job" if "job" in data else "instrument"
    assert list(VALIDATORS[kind].iter_errors(data)) == []
    if kind == "job":
        assert job_from_bytes(text.encode(), "page", read_instrument(ROOT / "examples" / "kestrel.instrument.toml"))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('title = "Kestrel', 'tilte = "Kestrel'),
        ("[found]", "[fund]"),
        ('rear_gap = "2.6 mm ± 0.25 mm"', "rear_gap = 2.6"),
        ('bridge = "decked"', 'bridge = "deckd"'),
        ("springs = 3", "springs = 9"),
        ("hold = [1, 17]", "hold = [1]"),
        ('thickness = ".015 in"', 'thick = ".015 in"'),
        ('".026w"', "26"),
        ('rear_gap = "0 mm ± 0.05 mm"', 'rear_gap = ["0 mm", "0 mm", "0 mm"]'),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(old, new):
    text = (ROOT / "examples" / "kestrel-float.job.toml").read_text(encoding="utf-8")
    assert old in text
    assert list(VALIDATORS["job"].iter_errors(tomllib.loads(text.replace(old, new, 1))))


def walk(fields, path=()):
    for item in fields:
        yield (*path, item.key), item
        yield from walk(item.inner, (*path, item.key))


def everything():
    for kind, layout in LAYOUTS.items():
        for table in layout.tables:
            for path, item in walk(table.fields, (table.name,)):
                yield kind, path, item


def test_every_field_is_in_the_schema_and_no_other():
    def keys(node, path=()):
        for name, inner in node.get("properties", {}).items():
            yield (*path, name)
            yield from keys(inner.get("items", inner), (*path, name))

    for kind, layout in LAYOUTS.items():
        want = {path for k, path, _ in everything() if k == kind} | {(t.name,) for t in layout.tables}
        assert set(keys(schema(kind))) == want


def test_every_field_is_on_the_page():
    for _, path, _ in everything():
        assert f"| `{'.'.join(path[1:])}` |" in PAGE, path
    for item in STRING_FIELDS:
        assert f"| `{item.key}` |" in PAGE


def test_the_tables_of_the_page_are_as_the_fields_are():
    assert with_tables(PAGE) == PAGE
    assert with_tables("no marks") == "no marks"


def test_every_field_is_described():
    for _, path, item in everything():
        assert isinstance(item, Field)
        assert item.doc.endswith("."), path
        assert item.low <= item.high, path
        assert item.usual is None or item.low <= item.usual[0] < item.usual[1] <= item.high, path


@pytest.mark.parametrize("kind", QUANTITIES)
def test_every_kind_has_an_example_that_can_be_read(kind):
    written, band = read_quantity(WRITTEN[kind], kind)
    assert written.si != 0.0
    assert band is None


@pytest.mark.parametrize(
    ("text", "kind", "si", "band"),
    [
        ("2 N m ± 0.5 N m", "moment", 2.0, 0.5),
        ("10 lb in", "moment", 1.129848, None),
        ("300 ± 30 N m2", "rigidity", 300.0, 30.0),
        ("-0.002 per m", "curvature", -0.002, None),
        ("260 ppm/K ± 40 ppm/K", "expansion", 2.6e-4, 4e-5),
        ("M3 ± 0.01 mm", "lead", 0.5e-3, 1e-5),
        ("#6-32", "lead", 0.79375e-3, None),
        ("15 tpi", "lead", 1.693333e-3, None),
        ("1.6 mm", "lead", 1.6e-3, None),
        ("fret 12", "place", 0.5, None),
        ("393 mm ± 1 mm", "place", 0.393, 1e-3),
        ("0.2 ± 0.05", "number", 0.2, 0.05),
    ],
)
def test_kinds_only_files_know(text, kind, si, band):
    """Threads: ISO 261 coarse M3 0.5 mm; unified and counted ones 25.4 mm over the count. Pound-inch 0.1129848 N m."""
    written, half = read_quantity(text, kind)
    assert written.si == pytest.approx(si)
    assert half == (None if band is None else pytest.approx(band))
