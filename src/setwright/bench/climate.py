"""Temperature and humidity of the shop's air, as they were read."""

from __future__ import annotations

from datetime import datetime

from setwright.bench.shop import opened
from setwright.errors import InputError
from setwright.records import supplies
from setwright.records.edits import get
from setwright.records.rows import Visit
from setwright.records.supplies import Climate
from setwright.units.read import read_ratio, read_temperature
from setwright.units.show import System, show_value

SHOWN_TO = {"temperature": 0.5, "ratio": 0.01}  # K and share; common practice, no source


def note_climate(
    at: str | None, temperature: str = "", humidity: str = "", visit: str = "", who: str = "",
    when: datetime | None = None,
) -> Climate:  # fmt: skip
    """Keep a reading of the air.

    Args:
        at: folder or URL.
        temperature: with its unit, "21 C" or "70 F"; "" where it was not read.
        humidity: "45 %"; "" where it was not read.
        visit: id, or the end of it, where it belongs to one.
        who: read it.
        when: by the clock of the bench; None for now.
    Returns: the reading.
    Raises: InputError, UnitError for what is no such reading; FileFormatError.
    """
    warm = read_temperature(temperature, "temperature").si if temperature.strip() else None
    damp = read_ratio(humidity, "humidity").si if humidity.strip() else None
    written = ", ".join(one for one in (temperature.strip(), humidity.strip()) if one)
    at_time = (when or datetime.now()).isoformat(sep=" ", timespec="seconds")
    with opened(at) as shop, shop.writing(who) as work:
        return supplies.note_climate(work, at_time, warm, damp, written, visit or None)


def climate_of(at: str | None, visit: str = "") -> tuple[Climate, ...]:
    """Readings of the air in the order of time.

    Args:
        at: folder or URL.
        visit: id, or the end of it: only those of it.
    Returns: the readings.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return supplies.climate(work, get(work, Visit, visit).id if visit else None)


def air_of(words: str) -> tuple[str, str]:
    """Temperature and humidity apart, from words as they are said.

    Args:
        words: "21 C, 45 %", in any order, one of them or both.
    Returns: temperature and humidity, "" where it is not said.
    Raises: InputError for anything else.
    """
    parts = [one.strip() for one in words.replace(" and ", ",").split(",") if one.strip()]
    damp = [one for one in parts if one.endswith("%")]
    warm = [one for one in parts if not one.endswith("%")]
    if not parts or len(damp) > 1 or len(warm) > 1:
        raise InputError(f"{words[:40]!r} is no reading of the air; write for instance 21 C, 45 %.")
    return "".join(warm), "".join(damp)


def shown(one: Climate, system: System = "mm") -> tuple[str, str]:
    """A reading in the reader's units.

    Args:
        one: the reading.
        system: "inch" for degrees Fahrenheit, "mm" for Celsius.
    Returns: temperature and humidity as text, "" where it was not read.
    """
    warm, damp = one.temperature, one.humidity
    return (
        "" if warm is None else show_value(warm, "temperature", system, SHOWN_TO["temperature"]),
        "" if damp is None else show_value(damp, "ratio", system, SHOWN_TO["ratio"]),
    )
