"""The job card: every number of the plan on it, 80 columns, both systems."""

import re
from dataclasses import replace

import pytest

from setwright.cli.card import card
from setwright.cli.layout import WIDTH
from tests.cli.fixtures import BEST, FIGURES, HEAD, PLAN, SECOND, STEPS, WAYS

SECTIONS = [
    "AS FOUND",
    "REMARKS",
    "THE WORK",
    "IN THE END",
    "WAYS TO BRING IT UP TO PITCH",
    "THE FINISHED BALANCE",
    "NEXT BEST",
    "WHAT WILL NOT DO",
    "WHAT WOULD NARROW IT MOST",
]


def shown(system="mm", plan=PLAN, everything=False):
    return card(plan, HEAD, system, everything)


def flat(text):
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("system", ["mm", "inch"])
@pytest.mark.parametrize("everything", [False, True])
def test_no_line_is_wider_than_80_columns_or_ends_in_blanks(system, everything):
    for line in shown(system, everything=everything).splitlines():
        assert len(line) <= WIDTH, line
        assert line == line.rstrip()


def test_the_sections_stand_in_the_order_of_reading():
    lines = shown().splitlines()
    assert [line for line in lines if line in SECTIONS] == SECTIONS


def test_every_caution_stands_at_its_step():
    text = shown()
    for count, step in enumerate(STEPS, 1):
        start = text.index(f"\n{count:>2}  {step.title[:20]}")
        following = text.find(f"\n{count + 1:>2}  ", start)
        here = flat(text[start:following])
        assert all(caution.rstrip(".") in here for caution in step.cautions)


@pytest.mark.parametrize(
    "part",
    [
        "lay in .020 in strip shim at the heel end",
        "1/4 turn up both pivot screws",
        "about 5/8 turn out both claw screws",
        "range from 3/8 to 7/8 turn out in 95 of 100 cases",
        "stop When string 3 is back at its own pitch.",
        "why Saddles stand at their bottom.",
        "2.60 mm rear gap",
        "E2 string 6 82.41 Hz",
        "E4 +10 c string 1 331.54 Hz",
        "C4 string 2 261.63 Hz, +100 c from its own pitch",
        "each string as it is set, within 2 c",
        "claw distance, treble screw: 13.7 mm; bass screw: 13.9 mm (hook line to cavity wall)",
        "rear gap: 2.60 ± 0.28 mm, good within 0.25 mm (at pitch, playing)",
        "every string within 2 c of its own pitch; string 2 is the least certain, ± 1.3 c",
        "line of the neck at the bridge: 0.00 → 1.90 mm (rises)",
        "at pitch, plate as it shall stand: - height, string 1, fret 12: 2.50 → 1.60 ± 0.04 mm",
        "an eighth of a turn in, before retuning: - rear gap: 2.60 → 2.10 mm - pitch, least of the strings: +4.4 c",
        "after one round: 36 in 100; after two: over 99 in 100",
        "about 45 min; each string tuned 2.8 times, at most 16 c above its final pitch",
        "height at fret 12 1.90 2.00 mm, from string 1",
        "preload 1.03 N m",
        "rear gap 2.60 ± 0.25 mm 2.6 ± 0.2 mm yes, 97",
        "height, string 1, fret 12 1.60 ± 0.25 mm 2.00 ± 0.04 mm NO, under 1",
        "height, string 2, fret 12 free 1.70 ± 0.04 mm",
        "at least 200 c 450 ± 130 c yes, over 99",
        "pitch, least certain: string 2 0 ± 2 c 0.0 ± 1.3 c yes, 71",
        "taken 8 1.2 +16 c 97 in 100",
        "closed 18 2.0 +257 c 31 in 100 a string would stand 257 c above",
        "open 12 2.0 0 c 31 in 100",
        "24 ± 3 N m/rad with the pegs left alone, 7.7 ± 2.2 N m/rad with every string brought back to pitch",
        "up until the rear edge meets the body, down until the block meets the rear cavity wall",
        "on its back +3 c, upright −4.5 c",
        "presses on the body with 0.31 N m; the first string to lift it, bent alone, does so after +210 c",
        "arm down, c −1270 slack -",
        "when string 1 breaks, c gone +83 slack",
        "tension, N 72.0 68.6 174.2",
        "pocket as found, 4 springs, pivots moved one round: 30 in 100; two rounds: 80 in 100; about 60 min",
        "5 of 96 combinations fail",
        "2 springs: claw at its end, 0.78 mm short (1 more alike)",
        "1 more kind of reason: --all shows all.",
        "spring rate: makes 57 % of the spread of the claw position; known to ± 29 % (catalogue). Hang a weight",
        "place of the claw's wall: makes 20 % of the spread of the claw position; known to ± 2.94 mm (typed).",
        "unit mass of the new strings: makes 10 %",
        "One thing is left out 2.00 mm.",
    ],
)
def test_what_the_plan_says_stands_on_the_card(part):
    assert part in flat(shown())


@pytest.mark.parametrize(
    "part",
    [
        "lay in .020 in strip shim",
        ".102 in rear gap",
        "height, string 1, fret 12: .063 ± .002 in, near 2/32 in, good within .010 in",
        "claw distance, treble screw: 35/64 in; bass screw: 35/64 in",
        "tension, lb 16.2 15.4 39.2",
        "known to ± .116 in",
        "12 ± 1 in",
        "claw at its end, .031 in short",
    ],
)
def test_the_inch_card_speaks_in_rules_and_thou(part):
    assert part in flat(shown("inch"))
    assert " mm" not in shown("inch")


def test_all_shows_every_failure_and_the_short_card_does_not():
    assert "fourth kind" in shown(everything=True)
    assert "claw at its end, 1.50 mm short" in flat(shown(everything=True))
    assert "fourth kind" not in shown()


def test_sections_without_content_are_left_out():
    bare = replace(BEST, figures=None, narrow=(), targets=(), ways=())
    text = shown(plan=replace(PLAN, best=bare, runner_up=None, rejected=(), remarks=(), found=()))
    assert [line for line in text.splitlines() if line in SECTIONS] == ["THE WORK", "NEXT BEST"]
    assert "No second combination holds." in text
    assert "work " not in text


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (replace(SECOND, chance_second=0.995), "As likely to land, but more work."),
        (replace(SECOND, chance_second=0.995, minutes=46.0), "As good within what is known."),
        (SECOND, "less likely to land"),
    ],
)
def test_the_runner_up_says_why_it_is_second(other, words):
    assert words in flat(shown(plan=replace(PLAN, runner_up=other)))


def test_a_peak_below_a_cent_is_none_and_a_floating_plate_presses_on_nothing():
    ways = (replace(WAYS[0], peak=0.2),)
    figures = replace(FIGURES, preload=None, lifts_at=None, attitude=())
    text = flat(shown(plan=replace(PLAN, best=replace(BEST, ways=ways, figures=figures))))
    assert "none above its final pitch" in text
    assert "presses" not in text
    assert "lying" not in text


def test_a_plate_no_bend_lifts_says_only_how_it_presses():
    text = flat(shown(plan=replace(PLAN, best=replace(BEST, figures=replace(FIGURES, lifts_at=(float("inf"),))))))
    assert "presses on the body with 0.31 N m" in text
    assert "bent alone" not in text
