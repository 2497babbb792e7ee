"""Lengths in settings are those at the reference temperature, lengths in rigs those at the present one."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setwright
from setwright.instrument.geometry import build_rig, string_growth, with_lengths
from setwright.instrument.predict import tune, with_pegs
from setwright.instrument.traits import Array, array
from setwright.planning.solve import as_batch
from tests.judges.usual import HERTZ, usual_settings, usual_traits

TRAITS = usual_traits()
WARM, COLD = 308.15, 278.15  # K


def lengths(settings_count: int) -> Array:
    made = 0.8 + 0.01 * np.arange(6.0 * settings_count).reshape(settings_count, 6)
    made[-1, 2] = np.nan
    return made


@pytest.mark.parametrize("kelvin", [COLD, 293.15, WARM])
@pytest.mark.parametrize("count", [0, 1, 3])
def test_pegs_carried_to_a_rig_and_back_are_the_same(count: int, kelvin: float) -> None:
    plain = replace(usual_settings(), temperature=kelvin)
    settings = replace(as_batch(plain, count), unstretched=lengths(count)) if count else plain
    settings = settings if count else replace(settings, unstretched=lengths(1)[0])
    rig = build_rig(TRAITS, settings)
    grown = 1.0 + 11.5e-6 * (kelvin - 293.15)
    assert rig.unstretched == pytest.approx(np.atleast_2d(settings.unstretched) * grown, rel=1e-12, nan_ok=True)
    back = with_lengths(TRAITS, settings, rig.unstretched).unstretched
    assert back == pytest.approx(np.atleast_2d(settings.unstretched), rel=1e-14, nan_ok=True)
    assert float(string_growth(TRAITS, settings)) == pytest.approx(grown, rel=1e-12)


@pytest.mark.parametrize("kelvin", [COLD, WARM])
def test_a_tuned_string_holds_the_same_length_in_both(kelvin: float) -> None:
    tuned = tune(TRAITS, replace(usual_settings(), temperature=kelvin), HERTZ)
    assert tuned.settings.unstretched.shape == (6,)
    again = with_pegs(TRAITS, tuned.settings, build_rig(TRAITS, tuned.settings), tuned.state)
    assert again.unstretched == pytest.approx(tuned.settings.unstretched, rel=1e-14)


def test_every_instrument_of_a_batch_grows_by_its_own_expansion() -> None:
    thermal = replace(TRAITS.thermal, string_expansion=array([1.0e-5, 1.2e-5]))
    traits = replace(TRAITS, thermal=thermal)
    settings = replace(as_batch(usual_settings(), 2), unstretched=np.full((2, 6), 0.8), temperature=WARM)
    rig = build_rig(traits, settings)
    assert rig.unstretched[:, 0] / 0.8 - 1.0 == pytest.approx([15e-5, 18e-5], rel=1e-9)
    assert with_lengths(traits, settings, rig.unstretched).unstretched == pytest.approx(np.full((2, 6), 0.8), rel=1e-15)


def from_settings(argument: ast.expr) -> bool:
    """Whether an expression takes `unstretched` of something that is called settings."""
    names = [
        node.value for node in ast.walk(argument) if isinstance(node, ast.Attribute) and node.attr == "unstretched"
    ]
    last = [one.attr if isinstance(one, ast.Attribute) else getattr(one, "id", "") for one in names]
    return any(name != "rig" for name in last)


def test_no_code_hands_the_lengths_of_settings_to_a_rig() -> None:
    """`build_rig` has the settings' pegs already; `pegs_fixed` wants lengths as warm as the rig."""
    calls = [
        (path.name, node)
        for path in sorted(Path(next(iter(setwright.__path__))).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "pegs_fixed"
    ]
    assert len(calls) > 5
    assert not [f"{name}:{call.lineno}" for name, call in calls if from_settings(call.args[1])]
