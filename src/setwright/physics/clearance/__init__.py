"""Clearance: what a plucked or bent string touches, which fret stands high, and the shapes of neck and board behind it.

Equations are numbered in docs/physics-clearance.md. Stops are the places a string can end at towards the nut: stop 0 is
the nut slot, stop n the crown of fret n. Heights are to the UNDERSIDE of the string.
"""

from setwright.physics.clearance.beam import deflection_one_couple as deflection_one_couple
from setwright.physics.clearance.beam import greatest_one_couple as greatest_one_couple
from setwright.physics.clearance.beam import mid_one_couple as mid_one_couple
from setwright.physics.clearance.beam import mid_two_couples as mid_two_couples
from setwright.physics.clearance.bends import bend_displacement as bend_displacement
from setwright.physics.clearance.bends import bend_map as bend_map
from setwright.physics.clearance.bends import bend_rise as bend_rise
from setwright.physics.clearance.bends import radius_for_bend as radius_for_bend
from setwright.physics.clearance.cone import board_under_string as board_under_string
from setwright.physics.clearance.cone import hollow_under_string as hollow_under_string
from setwright.physics.clearance.cone import radius_for_straight_strings as radius_for_straight_strings
from setwright.physics.clearance.cone import radius_from_sagitta as radius_from_sagitta
from setwright.physics.clearance.cone import radius_square_to_string as radius_square_to_string
from setwright.physics.clearance.cone import sagitta as sagitta
from setwright.physics.clearance.cone import string_places as string_places
from setwright.physics.clearance.envelope import dip as dip
from setwright.physics.clearance.envelope import pluck_amplitude as pluck_amplitude
from setwright.physics.clearance.envelope import pluck_force as pluck_force
from setwright.physics.clearance.level import FretHeights as FretHeights
from setwright.physics.clearance.level import crown_cut as crown_cut
from setwright.physics.clearance.level import fret_heights as fret_heights
from setwright.physics.clearance.level import off_line as off_line
from setwright.physics.clearance.pairs import Least as Least
from setwright.physics.clearance.pairs import Sensitivity as Sensitivity
from setwright.physics.clearance.pairs import clearance_map as clearance_map
from setwright.physics.clearance.pairs import hardest_pluck as hardest_pluck
from setwright.physics.clearance.pairs import least as least
from setwright.physics.clearance.pairs import least_uncertainty as least_uncertainty
from setwright.physics.clearance.pairs import rise_to_clear as rise_to_clear
from setwright.physics.clearance.pairs import sensitivity as sensitivity
from setwright.physics.clearance.profile import crown_line as crown_line
from setwright.physics.clearance.profile import fall_away as fall_away
from setwright.physics.clearance.profile import lean_height as lean_height
