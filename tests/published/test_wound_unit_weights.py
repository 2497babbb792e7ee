"""Unit weights of wound strings as the catalogue works them out from core, wrap and packing.

Expected values: D'Addario, "A complete technical reference for fretted instrument string tensions", unit weights from
memory, turned into kg/m; the packing of the catalogue was chosen with them in view, so that this shows the fit of one
smooth curve, not a prediction. Independent of that: tensions on a D'Addario EXL116 packet (read second hand, github
flothesof/posts, 2014), turned into unit weight by T = 4 L^2 f^2 mu at 25.5 in.

Tolerance 5 %: editions and makers differ by that much, which is also the uncertainty the catalogue states.
"""

import numpy as np

from setwright.instrument.catalogue import string_set
from setwright.instrument.string_sets import gauge

GUITAR = {
    ".017w": 0.00098647, ".018w": 0.00110987, ".019w": 0.00124059, ".020w": 0.00133845, ".021w": 0.00148096,
    ".022w": 0.00164008, ".024w": 0.00193884, ".026w": 0.00226278, ".028w": 0.00261905, ".030w": 0.003078,
    ".032w": 0.00345498, ".034w": 0.00385554, ".036w": 0.00427948, ".038w": 0.00472718, ".039w": 0.00498809,
    ".042w": 0.00576437, ".044w": 0.00628279, ".046w": 0.0068246, ".048w": 0.00738998, ".049w": 0.00768143,
    ".052w": 0.00859129, ".054w": 0.00961437, ".056w": 0.01028583, ".059w": 0.01146321, ".060w": 0.01188305,
}  # fmt: skip
BASS = {
    ".040w": 0.00523631, ".045w": 0.00665031, ".050w": 0.00829735, ".055w": 0.00978902, ".060w": 0.01188269,
    ".065w": 0.01420941, ".070w": 0.01664684, ".075w": 0.01874604, ".080w": 0.02071935, ".085w": 0.02387646,
    ".090w": 0.02683642, ".095w": 0.03024229, ".100w": 0.03208845, ".105w": 0.03542931, ".110w": 0.04061616,
    ".120w": 0.04469492, ".125w": 0.04907548, ".130w": 0.05392053, ".135w": 0.05642118, ".145w": 0.06486085,
}  # fmt: skip
PACKET = {".030w": 0.00304132, ".042w": 0.00560738, ".052w": 0.00825286}
PLAIN = {".009": 0.00032037, ".010": 0.00039555, ".013": 0.0006686, ".017": 0.00114327, ".026": 0.00267423}
CHART = "D'Addario string tension reference, unit weights"


def _unit_mass(table, **more):
    return string_set([gauge(text, **more) for text in table]).unit_mass


def test_wound_guitar_strings_from_memory(judged):
    want = np.array(list(GUITAR.values()))
    wrong = _unit_mass(GUITAR, wrap="nickel")
    judged("wound guitar strings", want, _unit_mass(GUITAR), 0.05 * want, "kg/m", CHART, "MEMORY", wrong=wrong)


def test_wound_bass_strings_from_memory(judged):
    want = np.array(list(BASS.values()))
    wrong = _unit_mass(BASS, wrap="nickel")
    judged("wound bass strings", want, _unit_mass(BASS), 0.05 * want, "kg/m", CHART, "MEMORY", wrong=wrong)


def test_wound_strings_of_a_packet(judged):
    want = np.array(list(PACKET.values()))
    wrong = _unit_mass([".032w", ".044w", ".054w"])
    source = "D'Addario EXL116 packet, tensions in kgf, github flothesof/posts 20141110"
    judged("wound strings of a packet", want, _unit_mass(PACKET), 0.05 * want, "kg/m", source, "READ", wrong=wrong)


def test_plain_strings_from_memory(judged):
    """0.2 %: the rounding of the chart's last digit is 0.04 %, the rest is the spread the catalogue states."""
    want = np.array(list(PLAIN.values()))
    wrong = _unit_mass([".0095", ".0105", ".0135", ".018", ".027"])
    judged("plain strings", want, _unit_mass(PLAIN), 0.002 * want, "kg/m", CHART, "MEMORY", wrong=wrong)
