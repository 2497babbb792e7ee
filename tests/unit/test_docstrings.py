"""Every public function of setwright.physics names every argument in its docstring, numbers with a unit in brackets.

An argument's entry is "name: ..." at the start of a line and runs to the next entry; it must hold something like [N],
[m] or, without dimension, [1]. Arguments annotated as text, truth or one of our own records need their name only.
"""

import importlib
import inspect
import pkgutil
import re

import pytest

import setwright.physics

NUMBERS = re.compile(r"ArrayLike|\bfloat\b|\bint\b|\bArray\b|NDArray")
UNIT = re.compile(r"\[[^\]\n]+\]")


def functions():
    found = {}
    for info in pkgutil.walk_packages(setwright.physics.__path__, "setwright.physics."):
        module = importlib.import_module(info.name)
        for name, value in vars(module).items():
            if inspect.isfunction(value) and value.__module__ == info.name and not name.startswith("_"):
                found[f"{info.name.removeprefix('setwright.physics.')}.{name}"] = value
    return found


FUNCTIONS = functions()


def missing(function):
    text = inspect.getdoc(function) or ""
    faults = []
    for name, parameter in inspect.signature(function).parameters.items():
        head = rf"^[ ]+(?:\w+, )*{name}(?:, \w+)*: "
        entry = re.search(head + r"(.*(?:\n(?![ ]*\w+(?:, \w+)*: |\n).*)*)", text, re.MULTILINE)
        if entry is None:
            faults.append(f"{name} is not named")
        elif NUMBERS.search(str(parameter.annotation)) and not UNIT.search(entry[1]):
            faults.append(f"{name} has no unit")
    return faults


def test_there_is_something_to_check():
    assert len(FUNCTIONS) > 60


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_argument_has_name_and_unit(name):
    assert missing(FUNCTIONS[name]) == []


def test_the_check_itself_can_fail():
    def good(x: float, word: str) -> None:
        """Do.

        Args:
            x: (...) a length that needs
                two lines [m]
            word: which
        """

    def bad(x: float, y: float) -> None:
        """Do.

        Args:
            x: (...) no unit
            z: (...) [m] another
        """

    assert missing(good) == []
    assert missing(bad) == ["x has no unit", "y is not named"]
