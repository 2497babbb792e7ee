"""setwright balance, as the bench types it."""

from __future__ import annotations

import pytest

from setwright.cli.balance_asked import turned
from tests.cli.conftest import EXAMPLES
from tests.cli.midway import job_midway

LAPWING = EXAMPLES / "lapwing-pull.job.toml"


@pytest.fixture
def told(ask):
    """A card: no line over 80 columns."""

    def asked(*words):
        code, out, err = ask("balance", *words, "--samples", "32")
        assert (code, err) == (0, ""), (out, err)
        assert max(map(len, out.splitlines())) <= 80
        return out

    return asked


def test_a_card_tells_both_states_and_why(told):
    out = told(LAPWING, "--claw", "+1/8")
    for part in ("from        as found", "claw        in 1/8 turn, then", "PEGS LEFT ALONE", "EVERY STRING AT PITCH",
                 "wanted 4.00 ± 0.25 mm", "plate       Floats", "arm up", "moment", "2.00 mm now"):  # fmt: skip
        assert part in out, part
    assert out.rstrip().endswith("- Turn both screws alike, and leave thread in the wood.")


@pytest.mark.slow
def test_everything_of_the_page_is_an_option(told):
    out = told(
        LAPWING, "--claw", "-1/4", "--claw-bass", "+1/8", "--springs", "1,2,3", "--pivots", "+1/8", "--tuning",
        "standard -1", "--strings", ".010 .013 .017 .026w .036w .046w", "--attitude", "on its back",
        "--temperature", "25 C", "--units", "inch",
    )  # fmt: skip
    for part in ("Claw: treble out 1/4 turn, bass out 1/8 turn".removeprefix("Claw: "), "3, at places 1, 2, 3", " in",
                 "on its back", "1 D#4", "Never turn a pivot", "Protect your eyes", "lbf"):  # fmt: skip
        assert part in out, part
    assert "PEGS LEFT ALONE" not in out


def test_from_where_the_journal_has_it(told, tmp_path):
    out = told(job_midway(tmp_path))
    assert "as believed after #" in out
    assert "The wedge is taken to be out." in out


def test_as_json(data):
    found = data("balance", LAPWING, "--samples", "32", "--springs", "+1")
    assert found["springs"] == [1, 2, 4, 5]
    assert found["alone"]["rest"] in ("floats", "lower stop")
    assert found["retuned"]["down"][5]["value"] is None  # slack
    assert found["gap"] == pytest.approx([4e-3, 0.25e-3])


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ((EXAMPLES / "sanderling-lower.job.toml",), "does not tilt"),
        ((LAPWING, "--claw", "99"), "more than 40 turns"),
        ((LAPWING, "--springs", "-9"), "leaves fewer than none"),
        ((LAPWING, "--strings", ".010"), "are no set"),
        ((LAPWING, "--tuning", "x" * 300), "longer than 200 letters"),
        ((), "name a JOB"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(ask, words, why):
    code, out, err = ask("balance", *words)
    assert (code, out) == (2, "")
    assert why in err


def test_turns_as_fields_hold_them():
    assert [turned(t) for t in (0.0, 0.375, -1.25, 2.0, 0.01, -0.03125)] == ["", "+3/8", "-1 1/4", "+2", "", "-1/32"]
