"""setwright schema: the JSON Schema of a file."""

from __future__ import annotations

import click

from setwright.cli.asked import say_json


@click.command("schema")
@click.argument("kind", type=click.Choice(["instrument", "job"]))
def command(kind: str) -> None:
    """Print the JSON Schema (draft 2020-12) of a file, as it stands once its TOML is read."""
    from setwright.instrument.schema import schema

    say_json(schema(kind))
