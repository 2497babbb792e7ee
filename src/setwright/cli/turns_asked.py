"""Options of commands that say what hands would turn."""

from __future__ import annotations

import click

from setwright.cli.asked import Command

TURNS = "TURNS"


def claw_options(command: Command) -> Command:
    """Give a command the options of the claw screws."""
    treble = click.option("--claw-treble", metavar=TURNS, help="The treble claw screw alone.")
    bass = click.option("--claw-bass", metavar=TURNS, help="The bass claw screw alone.")
    both = click.option("--claw", metavar=TURNS, help="Both claw screws: +1/2 is half a turn in, tighter.")
    return both(treble(bass(command)))


def pivot_options(command: Command) -> Command:
    """Give a command the options of the pivot screws."""
    treble = click.option("--pivot-treble", metavar=TURNS, help="The treble pivot screw alone.")
    bass = click.option("--pivot-bass", metavar=TURNS, help="The bass pivot screw alone.")
    both = click.option("--pivots", metavar=TURNS, help="Both pivot screws: +1/4 is a quarter turn up.")
    return both(treble(bass(command)))


def state_options(command: Command) -> Command:
    """Give a command the options of attitude and temperature."""
    warm = click.option("--temperature", metavar="DEGREES", help='Of strings and body: "28 C".')
    lies = click.option("--attitude", metavar="WORDS", help="playing, on its back, upright, face down.")
    return lies(warm(command))
