"""Screw leads against turns.

Metric pitches: ISO 261 (READ in a thread chart). Unified: ASME B1.1, 25.4 mm over threads per inch (#4-40 from memory).
Pivot screw: one turn of a 1/16 in lead lifts by 2/32 in, common practice, no source.
"""

import numpy as np

from setwright.physics import frets

INCH = 0.0254


def test_pivot_screw_turn(judged):
    """1e-9 in: arithmetic only; a lead of 1/16 in is what the practice says."""
    got = frets.screw_rise(1.0, INCH / 16.0) / INCH
    wrong = frets.screw_rise(1.0, INCH / 18.0) / INCH
    judged("rise of a pivot per turn", 2.0 / 32.0, got, 1e-9, "in", "one turn is 2/32 in", "PRACTICE", wrong=wrong)
    assert frets.screw_turns(2.0 / 32.0 * INCH, INCH / 16.0) == 1.0


def test_turns_for_a_millimetre(judged):
    """M3 x 0.5: two turns. #4-40: 1 mm over 0.635 mm. #4-48: over 0.52917 mm. 1e-4 turn: the printed digits."""
    leads = np.array([0.5e-3, INCH / 40.0, INCH / 48.0])
    got = frets.screw_turns(1e-3, leads)
    source = "ISO 261 (READ) and ASME B1.1 (from memory) pitches 0.5, 0.635, 0.52917 mm"
    judged("turns for 1 mm", [2.0, 1.0 / 0.635, 1.0 / 0.52917], got, 1e-4, "1", source, "MEMORY", wrong=got[::-1])
