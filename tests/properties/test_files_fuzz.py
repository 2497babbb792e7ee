"""Whatever bytes are in a file, reading it ends in a job or in one sentence; nan and infinity never get through."""

import math
from dataclasses import fields, is_dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from setwright.errors import SetwrightError
from setwright.instrument.assemble import assemble
from setwright.instrument.document import from_bytes
from setwright.instrument.fields import Field
from setwright.instrument.files import InstrumentFile, instrument_from_bytes
from setwright.instrument.jobfile import job_from_bytes
from setwright.instrument.locate import key_lines
from setwright.instrument.quantities import QUANTITIES, read_quantity
from setwright.instrument.schema import LAYOUTS
from setwright.instrument.string_sets import gauge
from tests.examples import examples

EXAMPLES = Path(__file__).parents[2] / "examples"
INSTRUMENTS = sorted(EXAMPLES.glob("*.instrument.toml"))
JOBS = sorted(EXAMPLES.glob("*.job.toml"))
KESTREL = instrument_from_bytes((EXAMPLES / "kestrel.instrument.toml").read_bytes(), "kestrel.instrument.toml")
OFTEN = examples(150, suppress_health_check=[HealthCheck.too_slow])

WORDS = st.sampled_from(
    [
        "nan",
        "inf",
        "-inf",
        "1e999",
        "-1",
        "0",
        '"nan mm"',
        '"1e400 mm"',
        '"-5 mm"',
        '"6 mm"',
        '"1/0 in"',
        '"±"',
        '""',
        "[]",
        "{}",
        "[[]]",
        "true",
        '"fret 99"',
        '"2 ± nan mm"',
        '"E4"',
        "1979-05-27",
        '"' + "9" * 70 + ' mm"',
        "0x1F",
        '"\\u0000"',
        "[1, 2, 3]",
        "{ value = 1 }",
        '{ value = "1 mm", sure = true }',
        "9" * 40,
    ]
)
BYTES = st.binary(min_size=1, max_size=6)


def numbers(value, path=""):
    """Every float in a tree of dataclasses."""
    if isinstance(value, float):
        yield path, value
    elif is_dataclass(value) and not isinstance(value, type):
        for f in fields(value):
            yield from numbers(getattr(value, f.name), f"{path}.{f.name}")
    elif isinstance(value, dict) or hasattr(value, "items"):
        for key, inner in value.items():
            yield from numbers(inner, f"{path}[{key}]")
    elif isinstance(value, tuple | list):
        for i, inner in enumerate(value):
            yield from numbers(inner, f"{path}[{i}]")


def assembled(instrument):
    """Assemble what was accepted; every trait must be finite."""
    sizes = (".010", ".013", ".017", ".026w", ".036w", ".046w", ".056w", ".064w", ".070w", ".080w", ".085w", ".090w")
    try:
        got = assemble(instrument, [gauge(text) for text in sizes[: instrument.strings]])
    except SetwrightError:
        return
    for group in (getattr(got.traits, f.name) for f in fields(got.traits)):
        for f in fields(group):
            value = getattr(group, f.name)
            assert not isinstance(value, np.ndarray) or np.isfinite(value).all(), f.name
    assert all(0.0 < part.sd < math.inf for part in got.prior.parts)


def read(raw, name):
    """Read as the name says; return the result, or None when it was refused in one sentence."""
    try:
        got = instrument_from_bytes(raw, name) if ".instrument." in name else job_from_bytes(raw, name, KESTREL)
    except SetwrightError as error:
        text = str(error)
        assert text
        assert "\n" not in text
        assert name in text, f"no file named in: {text}"
        return None
    assert all(math.isfinite(number) for _, number in numbers(got)), [
        p for p, n in numbers(got) if not math.isfinite(n)
    ]
    if isinstance(got, InstrumentFile):
        assembled(got)
    return got


@OFTEN
@given(path=st.sampled_from(INSTRUMENTS + JOBS), data=st.data())
def test_changed_bytes(path, data):
    raw = bytearray(path.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(raw) - 1))
        length = data.draw(st.integers(0, 12))
        raw[at : at + length] = data.draw(BYTES)
    read(bytes(raw), path.name)


@OFTEN
@given(path=st.sampled_from(INSTRUMENTS + JOBS), data=st.data())
def test_changed_values(path, data):
    lines = path.read_text(encoding="utf-8").split("\n")
    keys = [i for i, line in enumerate(lines) if " = " in line and line.count("[") == line.count("]")]
    for i in data.draw(st.lists(st.sampled_from(keys), min_size=1, max_size=3)):
        lines[i] = f"{lines[i].partition(' = ')[0]} = {data.draw(WORDS)}"
    read("\n".join(lines).encode(), path.name)


@OFTEN
@given(path=st.sampled_from(INSTRUMENTS + JOBS), data=st.data())
def test_lines_lost_doubled_and_moved(path, data):
    lines = path.read_text(encoding="utf-8").split("\n")
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(lines) - 1))
        line = lines.pop(at)
        for _ in range(data.draw(st.integers(0, 2))):
            lines.insert(data.draw(st.integers(0, len(lines))), line)
    read("\n".join(lines).encode(), path.name)


@OFTEN
@given(raw=st.binary(max_size=400), name=st.sampled_from(["x.instrument.toml", "x.job.toml"]))
def test_any_bytes(raw, name):
    assert read(raw, name) is None


def _one(item: Field):
    """Mostly sensible text for a field, in the kind of thing it takes."""
    texts = st.sampled_from(
        [
            "6 mm",
            "1.6 mm ± 0.1 mm",
            "E4",
            "2 c",
            "3.5 N/mm",
            "12 N",
            "M3",
            "fret 16",
            "1 deg",
            "80 %",
            "300 g",
            "2 N m",
            "300 N m2",
            "0.01 per m",
            "11 ppm/K",
            "20 C",
            "0.1",
            "25.5 in",
        ]
    )
    return texts.map(repr_toml) | WORDS


def repr_toml(text):
    return '"' + text + '"'


@OFTEN
@given(kind=st.sampled_from(["instrument", "job"]), data=st.data())
def test_any_toml_of_known_fields(kind, data):
    """Documents made of known tables and fields with values of every sort."""
    parts = []
    for table in LAYOUTS[kind].tables:
        if data.draw(st.booleans()) or table.required:
            parts.append(f"[{table.name}]")
            for item in table.fields:
                if item.required or data.draw(st.integers(0, 3)) == 0:
                    value = data.draw(_structured(item))
                    parts.append(f"{item.key} = {value}")
    read("\n".join(parts).encode(), f"x.{kind}.toml")


def _structured(item: Field):
    if item.kind in QUANTITIES:
        return _one(item) | st.lists(_one(item), max_size=6).map(lambda v: "[" + ", ".join(v) + "]")
    if item.kind == "choice":
        return st.sampled_from([f'"{c}"' for c in item.choices]) | WORDS
    if item.kind in ("count", "fret"):
        return st.integers(int(item.low), int(item.high)).map(str) | WORDS
    if item.kind == "gauges":
        return st.just('[".010", ".013", ".017", ".026w", ".036w", ".046w"]') | WORDS
    if item.inner:
        inner = st.fixed_dictionaries({f.key: _structured(f) for f in item.inner}).map(
            lambda d: "{ " + ", ".join(f"{k} = {v}" for k, v in d.items()) + " }"
        )
        return inner | inner.map(lambda text: f"[{text}]") | WORDS
    if item.key == "kind":
        return st.sampled_from(['"two-post knife edge"', '"usual"', '"bolt-on maple"', '"fixed, six saddles"'])
    return st.just('"words"') | WORDS


@OFTEN
@given(
    text=st.text(max_size=30) | st.from_regex(r"[0-9.,/± a-zA-Z%+-]{0,20}", fullmatch=True),
    kind=st.sampled_from(QUANTITIES),
)
def test_any_text_for_a_quantity(text, kind):
    try:
        written, band = read_quantity(text, kind, "x")
    except SetwrightError:
        return
    assert math.isfinite(written.si)
    assert math.isfinite(written.resolution_si)
    assert band is None or (math.isfinite(band) and band > 0.0)


def _paths(value, path=()):
    yield path
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _paths(inner, (*path, key))
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from _paths(inner, (*path, i))


@pytest.mark.parametrize("path", INSTRUMENTS + JOBS, ids=lambda p: p.name)
def test_every_key_of_the_examples_has_its_line(path):
    """The line found must hold the key's own text."""
    raw = path.read_bytes()
    document = from_bytes(raw, path.name)
    text = raw.decode().split("\n")
    for place in _paths(document.data):
        assert place in document.lines
        keys = [part for part in place if isinstance(part, str)]
        if place and isinstance(place[-1], str):
            assert keys[-1] in text[document.lines[place] - 1]


KEYS = st.from_regex(r"[a-z_-]{1,5}", fullmatch=True) | st.text("a\"'\\ .é]#=", min_size=1, max_size=4)
LEAVES = (
    st.integers()
    | st.booleans()
    | st.text("ab\"'\\ \n#[]{}=,", max_size=6)
    | st.floats(allow_nan=False, allow_infinity=False)
)


def _quoted(text):
    plain = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{plain}"'


def _toml(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, list):
        return "[" + ",\n  ".join(_toml(v) for v in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_quoted(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    return repr(value)


@OFTEN
@given(
    st.dictionaries(
        KEYS,
        st.recursive(
            LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3), max_leaves=8
        ),
        max_size=4,
    )
)
def test_every_key_of_any_toml_is_found(tree):
    text = "\n".join(f"{_quoted(k)} = {_toml(v)} # tail" for k, v in tree.items())
    data = from_bytes(text.encode(), "x").data
    lines = key_lines(text)
    assert set(_paths(data)) <= set(lines)
