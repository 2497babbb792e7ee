"""From files to traits: what is typed goes first, the rest comes from the patterns, and the demo jobs hang together."""

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from setwright.errors import InputError
from setwright.instrument.assemble import assemble, untouched
from setwright.instrument.catalogue import bridge_kinds
from setwright.instrument.files import instrument_from_bytes
from setwright.instrument.geometry import tilt_for_gap, tilt_limits
from setwright.instrument.jobfile import read_job
from setwright.instrument.predict import balance_at, predict, string_heights, tune, tune_at
from setwright.instrument.prior import draw, vary
from setwright.instrument.string_sets import gauge
from setwright.instrument.traits import Traits

EXAMPLES = Path(__file__).parents[2] / "examples"
JOBS = sorted(p.name for p in EXAMPLES.glob("*.job.toml"))
TENS = [gauge(t) for t in (".010", ".013", ".017", ".026w", ".036w", ".046w")]
SHORT = '[instrument]\nname = "t"\nscale = "25.5 in"\n[bridge]\nkind = "{}"\n'
PER_STRING = {"strings", "nut", "bridge.saddle_aft", "bridge.saddle_up", "bridge.saddle_z", "bridge.anchor_aft"}


def made(text, gauges=TENS):
    return assemble(instrument_from_bytes(text.encode(), "t.instrument.toml"), gauges)


def two_post(more=""):
    return made(SHORT.format("two-post knife edge") + more)


def gauges_for(strings):
    return [gauge(f".{10 + 4 * i:03d}" if i < 3 else f".{10 + 10 * i:03d}w") for i in range(strings)]


@pytest.mark.parametrize("kind", bridge_kinds())
@pytest.mark.parametrize("strings", [4, 6, 7])
def test_every_pattern_makes_a_whole_instrument(kind, strings):
    text = SHORT.format(kind).replace("scale", f"strings = {strings}\nscale")
    traits = made(text, gauges_for(strings)).traits
    assert traits.string_count == strings
    for group in (getattr(traits, f.name) for f in fields(Traits)):
        for f in fields(group):
            value = getattr(group, f.name)
            if isinstance(value, np.ndarray):
                assert np.isfinite(value).all(), f.name
                assert value.dtype == np.float64
    assert traits.bridge.saddle_up.shape == traits.nut.slot.shape == traits.strings.axial.shape == (strings,)
    assert traits.springs.rate.shape == traits.springs.hook_z.shape == traits.springs.claw_z.shape == (5,)
    assert (np.diff(traits.nut.z) > 0).all()
    assert (np.diff(traits.bridge.saddle_z) > 0).all()
    assert traits.bridge.pivot_y.shape == traits.bridge.rear_z.shape == traits.claw.travel.shape == (2,)


@pytest.mark.parametrize("kind", bridge_kinds())
def test_saddles_stand_where_strings_have_their_usual_height(kind):
    count = 4 if "bass" in kind else 6
    traits = made(SHORT.format(kind), TENS[:count]).traits
    still, bow = untouched(traits), np.array(0.014)
    got = string_heights(traits, still, np.array(0.0), bow, (12,))[..., 0].ravel()
    low, high = (2.0e-3, 2.6e-3) if "bass" in kind else (1.6e-3, 2.0e-3)
    assert got == pytest.approx(np.linspace(low, high, count), abs=1e-7)


def test_signs_and_places():
    bridge, claw, springs = (getattr(two_post().traits, name) for name in ("bridge", "claw", "springs"))
    assert bridge.pivot_x == pytest.approx(0.6477 - 0.0124)
    assert bridge.saddle_aft[0] == pytest.approx(0.0124 + 0.0016)
    assert bridge.rear_up < 0
    assert bridge.anchor_up[0] < 0
    assert bridge.front_aft < 0
    assert bridge.block_aft_point == pytest.approx([0.0125, -0.040])
    assert bridge.height_range == pytest.approx([-0.003, 0.004])
    assert claw.wall_x == pytest.approx(bridge.pivot_x - 0.085)
    assert claw.y == pytest.approx(-0.0314)
    assert springs.hook_up == pytest.approx([-0.0382] * 5)
    assert springs.patterns[3] == (0, 2, 4)
    assert bridge.height_lead == pytest.approx(0.5e-3)
    assert two_post().traits.neck.joint_x == pytest.approx(0.6477 * (1 - 2 ** (-16 / 12)))


def test_ways_to_say_where_the_saddles_are():
    by_aft = two_post('saddle_aft = "15 mm"\n').traits.bridge
    compensation = np.mean([1.6, 2.2, 3.1, 1.9, 2.7, 3.6]) * 1e-3
    assert by_aft.pivot_x + by_aft.saddle_aft.mean() == pytest.approx(0.6477 + compensation)
    by_pivot = two_post('pivot_place = "634 mm"\n').traits.bridge
    assert by_pivot.pivot_x == pytest.approx(0.634)
    assert by_pivot.saddle_aft[0] == pytest.approx(0.6477 + 0.0016 - 0.634)
    both = two_post('pivot_place = "634 mm"\nsaddle_aft = "15 mm"\n').traits.bridge
    assert (float(both.pivot_x), both.saddle_aft[3]) == pytest.approx((0.634, 0.015))


def test_a_typed_saddle_height_stands():
    assert two_post('saddle_height = "9 mm"\n').traits.bridge.saddle_up == pytest.approx([0.009] * 6)


def test_typed_values_bring_their_own_uncertainty():
    got = two_post('mass = "300 g"\n[springs]\nrate = "3.2 N/mm ± 0.1 N/mm"\nhook_depth = "39 mm"\n')
    parts = {part.name: part for part in got.prior.parts}
    assert parts["springs.rate"].sd == pytest.approx(0.1 / 3.2)
    assert parts["springs.rate"].source == "typed: t.instrument.toml, line 8, springs.rate"
    assert parts["springs.hook_up"].sd == pytest.approx(1e-3 / np.sqrt(12))  # half a millimetre either way
    assert parts["bridge.mass"].sd == pytest.approx(1 / np.sqrt(12) / 300)
    assert parts["springs.initial"].source.startswith("catalogue: ")
    stated = {(s.table, s.key): s for s in got.stated}
    assert stated["springs", "rate"].typed
    assert not stated["springs", "initial_pull"].typed
    assert stated["springs", "initial_pull"].text == "12 N ± 2.4 N"


def test_a_trait_typed_with_its_uncertainty_is_learned_too():
    more = 'string_spread = "52 mm ± 0.5 mm"\ncavity_rear = "26 mm ± 1 mm"\nanchor_aft = "20 mm"\n'
    names = {part.name: part for part in two_post(more).prior.parts}
    assert names["bridge.saddle_z"].kind == "factor"
    assert names["bridge.saddle_z"].sd == pytest.approx(0.5 / 52)
    assert names["bridge.cavity_aft"].sd == pytest.approx(1e-3)
    assert "bridge.anchor_aft" not in names


def test_what_is_uncertain_by_itself():
    names = [part.name for part in two_post().prior.parts]
    assert len(names) == len(set(names)) == 36
    each = {n.partition("[")[0] for n in names}
    assert each == {
        "strings.axial", "strings.unit_mass", "nut.behind", "neck.bending", "neck.string_line", "bridge.pivot_y",
        "bridge.saddle_up", "bridge.rear_aft", "bridge.mass", "bridge.centre_aft", "bridge.centre_up", "springs.rate",
        "springs.initial", "springs.free", "springs.hook_aft", "springs.hook_up", "claw.wall_x",
        "playing.finger_place", "playing.finger_depth", "playing.pluck_place", "playing.pluck_force",
    }  # fmt: skip
    assert two_post().prior.covariance.shape == (36, 36)


def test_a_locked_nut_hides_what_is_behind_it_and_a_fixed_bridge_its_springs():
    locked = {p.path for p in made(SHORT.format("double-locking knife edge")).prior.parts}
    assert "nut.behind" not in locked
    fixed = {p.path for p in made(SHORT.format("fixed, six saddles")).prior.parts}
    assert fixed == {
        "strings.axial", "strings.unit_mass", "nut.behind", "neck.bending", "neck.string_line", "bridge.saddle_up",
        "playing.finger_place", "playing.finger_depth", "playing.pluck_place", "playing.pluck_force",
    }  # fmt: skip


def test_every_uncertain_trait_can_be_drawn():
    got = two_post('[neck]\nangle = "0.5 deg ± 0.1 deg"\n')
    some = vary(got.traits, got.prior, draw(got.prior, 5, np.random.default_rng(1)))
    assert some.bridge.saddle_up.shape == (5, 6)
    assert np.ptp(some.springs.rate[:, 0]) > 0
    assert np.ptp(some.neck.angle) > 0


def test_the_number_of_strings_must_agree():
    with pytest.raises(InputError, match=r"t.instrument.toml: the set has 4 strings, t has 6; mend one of them\."):
        made(SHORT.format("two-post knife edge"), TENS[:4])


# --- the demo jobs hang together ---


def found_state(name):
    """Job, nominal traits with the heights as found, and settings as found, strings off."""
    job = read_job(EXAMPLES / name)
    got = assemble(job.instrument, job.found.strings)
    traits = got.traits
    places = np.zeros(traits.springs.rate.size)
    if job.found.springs:
        places[list(traits.springs.patterns[job.found.springs])] = 1.0
    settings = replace(untouched(traits), springs=places)
    if job.found.claw_distance:
        settings = replace(settings, claw=np.array([one.si for one in job.found.claw_distance]))
    hertz = np.array([one.si for one in job.found.tuning])
    tilt = 0.0
    if job.found.bridge == "decked":
        tilt = float(tilt_limits(traits, settings)[0])
    elif job.found.rear_gap:
        tilt = float(tilt_for_gap(traits, settings, np.array(np.mean([one.si for one in job.found.rear_gap]))))
    return job, with_heights(job, traits, settings, hertz, tilt), settings, hertz, tilt


def with_heights(job, traits, settings, hertz, tilt):
    """Saddles moved so that the heights come out as read (two rounds of a rule of three)."""
    want = np.array([one.si for one in job.found.string_height.amounts])
    for _ in range(4):
        state = tune_at(traits, settings, hertz, tilt).state
        now = string_heights(traits, settings, state.tilt, state.bow, (job.found.string_height.fret,))[0, :, 0]
        traits = replace(traits, bridge=replace(traits.bridge, saddle_up=traits.bridge.saddle_up + 2.0 * (want - now)))
    return traits


def found_floating():
    """Jobs whose plate floats as found; a decked one does not balance at its gap."""
    return [n for n in JOBS if n != "kestrel-float.job.toml" and read_job(EXAMPLES / n).instrument.bridge.knife_edge]


@pytest.mark.parametrize("name", found_floating())
def test_a_floating_bridge_found_balances_at_the_gap_found(name):
    """The claw read and the claw that balances differ by less than the prior allows: 1.5 mm of claw covers one standard
    uncertainty of rate, pull and free length together."""
    job, traits, settings, hertz, tilt = found_state(name)
    answer = balance_at(traits, settings, hertz, tilt)
    assert answer.reached.all()
    assert answer.settings.claw.mean() == pytest.approx(settings.claw.mean(), abs=1.5e-3)
    assert predict(traits, answer.settings).rear_gap.mean() == pytest.approx(job.found.rear_gap[0].si, abs=2e-5)


@pytest.mark.parametrize("name", JOBS)
def test_relief_and_heights_found_are_what_the_instrument_shows(name):
    job, traits, settings, hertz, tilt = found_state(name)
    held = tune_at(traits, settings, hertz, tilt)
    got = string_heights(traits, settings, held.state.tilt, held.state.bow, (12,))[0, :, 0]
    assert got == pytest.approx([one.si for one in job.found.string_height.amounts], abs=2e-5)
    assert 0.005 < float(held.state.bow[0]) < 0.02


def test_kestrel_lies_on_its_deck_and_a_shim_brings_the_strings_down():
    job, traits, settings, hertz, tilt = found_state("kestrel-float.job.toml")
    found = tune(traits, settings, hertz, start=tilt)
    assert found.state.tilt[0] == pytest.approx(tilt)
    assert found.state.contact[0] > 0.05
    gap = np.array(job.want.rear_gap.si)
    want = np.array([one.si for one in job.want.string_height.amounts])
    room = job.found.saddle_room.down[0].si
    fits = {}
    for strip in (0.0, *(s.thickness.si for s in job.shop.shims if s.thickness.written.text != ".015 in")):
        shimmed = replace(settings, strip=np.array(strip))
        done = balance_at(traits, shimmed, hertz, float(tilt_for_gap(traits, shimmed, gap)))
        heights = predict(traits, done.settings).height(12)
        down = 2.0 * (heights - want).max()  # of the saddle, about twice what it is at fret 12
        fits[round(strip / 25.4e-6)] = bool(done.reached[0]) and down <= room + 0.5e-3
    assert fits == {0: False, 10: False, 20: True, 30: True}  # .015 is on the edge of the tolerance


def test_knot_cannot_be_done_with_what_there_is():
    job, traits, settings, _, _ = found_state("knot-too-weak.job.toml")
    heavy = replace(traits, strings=assemble(job.instrument, job.want.strings).traits.strings)
    hertz = np.array([one.si for one in job.want.tuning])
    tilt = float(tilt_for_gap(traits, settings, np.array(job.want.rear_gap.si)))
    answer = balance_at(heavy, settings, hertz, tilt)
    assert answer.settings.claw.mean() < traits.claw.travel[0] - 3e-3


def test_lapwing_has_the_pull_only_when_it_stands_higher():
    job, traits, settings, hertz, tilt = found_state("lapwing-pull.job.toml")
    third = job.want.up_bend.string - 1

    def pull(at):
        rest = balance_at(traits, settings, hertz, at)
        low = float(tilt_limits(traits, settings)[0])
        up = predict(traits, replace(rest.settings, block=np.array(0.0)), start=low)
        return 1200.0 * np.log2(up.pitch[third] / hertz[third])

    high = float(tilt_for_gap(traits, settings, np.array(job.want.rear_gap.si)))
    assert pull(tilt) < 200.0
    assert pull(high) > 100.0 * job.want.up_bend.semitones
