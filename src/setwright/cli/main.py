"""The command `setwright`: its subcommands, loaded when called, and what an error looks like."""

from __future__ import annotations

import gc
import json
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any, NoReturn

import click

from setwright import errors

COMMANDS = {
    "plan": ("setwright.cli.plan", "what to turn, which way, how much and in which order"),
    "predict": ("setwright.cli.predict", "what some turns would do to the instrument as found"),
    "balance": ("setwright.cli.try_balance", "a floating or decked balance tried out, from where the journal has it"),
    "notes": ("setwright.cli.notes", "the cents error of every note, and what each saddle would have to do"),
    "heights": ("setwright.cli.heights", "string heights at every fret, and relief by every way of reading it"),
    "clearance": ("setwright.cli.clearance", "where strokes and bends touch, and how low the strings can go"),
    "strings": ("setwright.cli.strings", "tension, strength and stretch of a set of strings"),
    "next": ("setwright.cli.next", "the one next step, by what the journal says was done and read"),
    "learned": ("setwright.cli.learned", "what the readings told of a floating bridge, and what would tell most next"),
    "hear": ("setwright.cli.hear", "the notes of a recording: string, fret, pitch, and what was not trusted"),
    "log": ("setwright.cli.log", "the journal of a job: what was done and read"),
    "sheet": ("setwright.cli.sheet", "the set-up sheet as PDF, for the owner, the shop and the case"),
    "bar-test": ("setwright.cli.bar_test", "whether the bar comes back to pitch, and if not, what holds it"),
    "practice": ("setwright.cli.practice", "an instrument to practise on, with nothing in hand"),
    "link": ("setwright.cli.link", "the whole job on an instrument that answers, over the line protocol"),
    "shop": ("setwright.cli.shop", "the shop's records: instruments, visits, journals, parts, photos"),
    "bench": ("setwright.web.command", "the bench app: the whole job in the browser, on this machine"),
    "history": ("setwright.cli.history", "what was, what changed, and how well the shop holds what it promises"),
    "schema": ("setwright.cli.schema", "JSON Schema of the instrument file, the job file or an exported shop"),
}
KINDS: dict[type[errors.SetwrightError], str] = {
    errors.NoPlanError: "no plan",
    errors.ContradictionError: "contradiction",
    errors.FileFormatError: "file",
    errors.QuestionableError: "questionable",
    errors.UnitError: "unit",
    errors.StaleEditError: "stale edit",
    errors.TooOftenError: "too often",
    errors.RangeError: "range",
    errors.InputError: "input",
}
RARELY = 100_000  # new objects between two searches for dead circles: a command ends before it has made many
USAGE = 2
STOPPED = 130


class Commands(click.Group):
    """A group that names its commands without loading them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names, in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load a command by name."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(COMMANDS[cmd_name][0]).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, about) for name, (_, about) in COMMANDS.items()])


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(package_name="setwright", message="setwright %(version)s")
def commands() -> None:
    """Set up a guitar or a bass: from the instrument as found to what the hand turns.

    Exit codes: 0 done, 2 something given cannot be used, 3 no plan exists.
    """


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and leave with its exit code."""
    gc.set_threshold(RARELY)
    given = sys.argv[1:] if arguments is None else list(arguments)
    code = run(given)
    gc.freeze()  # what is alive now is not searched for dead circles on the way out
    sys.exit(code)


def run(given: Sequence[str]) -> int:
    """Run the command line.

    Args:
        given: words after the program's name.
    Returns: exit code.
    """
    as_json = "--json" in given
    try:
        result: Any = commands.main(args=list(given), prog_name="setwright", standalone_mode=False)
    except errors.SetwrightError as error:
        kind = next(name for type_, name in KINDS.items() if isinstance(error, type_))
        misses = error.misses if isinstance(error, errors.NoPlanError) else ()
        return _refuse(as_json, kind, str(error), error.exit_code, misses)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return USAGE
    except click.ClickException as error:
        return _refuse(as_json, "usage", error.format_message(), USAGE)
    except click.Abort:
        return STOPPED
    return result if isinstance(result, int) else 0


def _refuse(as_json: bool, kind: str, message: str, code: int, misses: Sequence[tuple[str, str]] = ()) -> int:
    """Say what was wrong: one sentence, or one JSON document."""
    sentence = " ".join(message.split())
    if as_json:
        error: dict[str, object] = {"kind": kind, "message": sentence, "exit_code": code}
        if misses:
            error["misses"] = [{"label": label, "reason": reason} for label, reason in misses]
        click.echo(json.dumps({"error": error}, ensure_ascii=False))
    else:
        click.echo(f"setwright: {sentence}", err=True)
    return code
