"""A suggested set: the best of the shelf, and the same whatever is scaled out."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from setwright.bench.string_feel import equal_feel, same_feel, shelf
from setwright.bench.string_flags import change
from setwright.bench.strings import string_sheet
from setwright.bench.tunings import standard_tuning
from setwright.instrument.string_sets import gauge
from tests.examples import examples

TENS = [gauge(t) for t in (".010", ".013", ".017", ".026w", ".036w", ".046w")]
PITCH = standard_tuning(6, 0.648)


@examples(10)
@given(st.floats(40.0, 110.0), st.floats(-5.0, 2.0), st.floats(0.60, 0.72))
def test_no_gauge_of_its_kind_comes_nearer(pull, shift, scale):
    hertz = PITCH * 2 ** (shift / 12)
    made = equal_feel(pull, hertz, np.full(6, scale))
    for i, choice in enumerate(made.choices):
        kind = [one for one in shelf(False) if one.wound == choice.take.wound and one.diameter < 2.0e-3]
        tension = [line.tension.value for line in string_sheet(kind, np.full(len(kind), hertz[i]), scale).lines]
        assert np.abs(np.array(tension) - pull).min() >= abs(choice.take.tension.value - pull) - 1e-9


@examples(10)
@given(st.floats(0.62, 0.70))
def test_pitch_and_scale_count_only_together(scale):
    """T depends on L f: a set that is put on a scale shorter by a share and tuned higher by the same stays."""
    was = string_sheet(TENS, PITCH, 0.648)
    new = same_feel(was, PITCH * 0.648 / scale, np.full(6, scale))
    assert [one.take.gauge for one in new.choices] == [one.text for one in TENS]


@examples(10)
@given(st.floats(-4.0, 4.0), st.floats(-4.0, 4.0))
def test_a_change_and_its_reverse_cancel(a, b):
    one, other = (string_sheet(TENS, PITCH * 2 ** (n / 12), 0.648) for n in (a, b))
    there, back = change(one, other), change(other, one)
    assert abs(there.total.value + back.total.value) < 1e-9
    assert abs(there.total.sd - back.total.sd) < 1e-9
