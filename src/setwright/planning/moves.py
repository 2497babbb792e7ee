"""The moves of the trade: what each needs, gives and undoes, what it disturbs, its minutes and its cautions.

The order of work is nowhere written down: order.py works it out from these rows. "common practice, no source".
"""

from __future__ import annotations

from setwright.frozen import frozen


@frozen
class Move:
    """One kind of move.

    needs: what must hold when it starts. gives: what holds after. ends: what no longer holds. disturbs: moves whose
    result it spoils, so that they come after it.
    """

    key: str
    title: str
    needs: tuple[str, ...] = ()
    gives: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    disturbs: tuple[str, ...] = ()
    minutes: float = 0.0
    cautions: tuple[str, ...] = ()
    stop_when: str = ""


EYES = "Protect your eyes: strings and springs fly."
LOCAL = "Local codes and licensed practice come first."

MOVES: tuple[Move, ...] = (
    Move(
        "read as found", "Read the instrument as found, before touching anything",
        gives=("as found is written down",), minutes=5.0,
        cautions=(
            "Stop and refer: cracks at neck joint or headstock, twisted neck, broken rod, studs moving in the wood.",
            LOCAL,
        ),
    ),
    Move(
        "relief", "Turn the truss rod", needs=("as found is written down", "strings at pitch"), gives=("relief set",),
        minutes=5.0, disturbs=("slacken", "saddles", "lengths", "claw", "tune", "octave"),
        cautions=(
            "Use the right key. An eighth of a turn at a time, a quarter at most; retune, wait, read again.",
            "Stop when the rod is hard, free or without effect: refer it.",
        ),
    ),
    Move(
        "protect", "Protect the finish under and behind the plate", gives=("finish protected",), minutes=1.0,
        needs=("as found is written down",),
    ),
    Move(
        "slacken", "Slacken all strings", needs=("as found is written down", "finish protected"),
        gives=("strings slack", "claw can be turned"), ends=("strings at pitch",), minutes=2.0,
        cautions=("Let down all strings a little at a time, so the plate comes down slowly. " + EYES,),
        stop_when="all strings hang loose and the plate rests on the body",
    ),
    Move(
        "unblock", "Take the block out", needs=("strings slack", "finish protected"), gives=("block out",), minutes=5.0,
        disturbs=("pivots", "hang springs", "claw", "saddles", "tune"),
        cautions=("Hold the bar while the block leaves; never let the plate snap back.",),
        stop_when="the plate rests on the body under its springs",
    ),
    Move(
        "strings off", "Take the old strings off", needs=("strings slack",), gives=("old strings off",), minutes=3.0,
        cautions=("Cut only slack strings; hold both ends. " + EYES,),
    ),
    Move(
        "unhook", "Unhook the springs", needs=("strings slack", "finish protected"), gives=("springs off",),
        ends=("springs hung",), minutes=2.0, cautions=("Hold each spring as it comes off the hook. " + EYES,),
    ),
    Move(
        "support neck", "Support the neck along its length", needs=("strings slack",), gives=("neck supported",),
        minutes=1.0,
    ),
    Move(
        "neck off", "Take the neck screws out crosswise, then lift the neck from its pocket",
        needs=("neck supported", "strings slack", "finish protected"), gives=("pocket open",), ends=("neck fast",),
        minutes=6.0, cautions=("The neck must be supported before its last screw leaves.",),
    ),
    Move(
        "shim", "Lay the shim in the pocket", needs=("pocket open",), gives=("shim laid",), minutes=4.0,
        disturbs=("pivots", "saddles", "claw", "tune", "octave"),
        cautions=("A shim must lie flat and clean; a bent or doubled one lets the tongue rise.",),
    ),
    Move(
        "neck on", "Set the neck back; screws crosswise snug, then an eighth of a turn more",
        needs=("shim laid", "pocket open", "neck supported"), gives=("neck fast",), ends=("pocket open",),
        minutes=6.0, cautions=("Screws that turn without biting: stop, the wood needs repair first.",),
        stop_when="all screws have had their last eighth; a straightedge over the last frets shows no rise",
    ),
    Move(
        "pivots", "Turn both pivot screws", needs=("strings slack", "springs off", "neck fast"),
        gives=("pivots set",), minutes=4.0, disturbs=("saddles", "claw", "tune", "wedge in", "octave"),
        cautions=("Never turn a pivot under string or spring tension: it ruins the knife edge.",),
        stop_when="a rule shows the same height at both pivots",
    ),
    Move(
        "hang springs", "Hook the springs", needs=("strings slack", "pivots set", "neck fast"),
        gives=("springs hung",), ends=("springs off",), minutes=3.0,
        disturbs=("claw", "tune"), cautions=(EYES,),
    ),
    Move(
        "claw", "Turn both claw screws", needs=("springs hung", "claw can be turned"), gives=("claw set",), minutes=1.0,
        disturbs=("tune",), cautions=("Turn both screws alike, and leave thread in the wood.",),
    ),
    Move(
        "wedge in", "Put the wedge under the rear edge",
        needs=("finish protected", "springs hung", "plate at rest", "block out"),
        gives=("plate wedged", "plate held", "claw can be turned"), minutes=0.5,
        cautions=("Lower the plate onto the wedge by the bar; never let it snap back.",),
    ),
    Move(
        "strings on", "Fit the new strings, slack",
        needs=("old strings off", "springs hung", "neck fast", "pivots set"), gives=("strings fitted",),
        minutes=8.0, disturbs=("tune",), cautions=(EYES,),
    ),
    Move(
        "saddles", "Set the saddles by their height screws, both screws of a saddle alike",
        needs=("strings slack", "strings fitted", "pivots set", "neck fast"), gives=("saddles set",), minutes=1.0,
        disturbs=("tune", "octave"),
        cautions=("Slacken the string before its saddle rises: a screw under full tension strips.",),
    ),
    Move(
        "lengths", "Move the saddles along by their length screws",
        needs=("strings slack", "strings fitted", "pivots set", "neck fast"), gives=("saddles along",), minutes=1.0,
        disturbs=("tune", "octave"), cautions=("Turn a length screw on a slack string only.",),
    ),
    Move(
        "block", "Block the plate both ways",
        needs=("springs hung", "finish protected", "plate at rest", "block out"),
        gives=("plate held", "plate as it shall stay"), minutes=10.0, disturbs=("tune",),
    ),
    Move(
        "tune", "Set each string once, in this order, to these pitches",
        needs=("strings fitted", "saddles set", "claw set", "plate held", "neck fast"), gives=("strings at pitch",),
        ends=("strings slack", "plate at rest"), cautions=("Keep your face away from strings coming up to pitch.",),
    ),
    Move(
        "claw to rest", "Turn both claw screws until the wedge falls free and the plate carries itself",
        needs=("strings at pitch", "plate wedged"), gives=("plate as it shall stay",), ends=("plate wedged",),
        minutes=2.0, disturbs=("read again",),
        cautions=("Keep a hand on the bar while the wedge leaves; never let the plate snap back.",),
    ),
    Move(
        "wedge out", "Take the wedge out", needs=("strings at pitch", "plate wedged"),
        gives=("plate as it shall stay",), ends=("plate wedged",), minutes=0.5,
        cautions=("Hold the bar while the wedge leaves; never let the plate snap back.",),
    ),
    Move(
        "read again", "Read gap, pitches and string heights", needs=("strings at pitch", "plate as it shall stay"),
        gives=("result known",), minutes=3.0, disturbs=("octave",),
    ),
    Move(
        "octave", "Set the octaves last, then test every fret, the bends and the bar",
        needs=("result known", "strings at pitch"), gives=("octaves set",), minutes=10.0,
    ),
)  # fmt: skip

BY_KEY = {move.key: move for move in MOVES}
