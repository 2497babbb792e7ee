"""setwright schema: the JSON Schema of a file."""

from __future__ import annotations

import click

from setwright.cli.asked import say_json


@click.command("schema")
@click.argument("kind", type=click.Choice(["instrument", "job", "shop"]))
def command(kind: str) -> None:
    """Print the JSON Schema (draft 2020-12) of a file, as it stands once its TOML is read.

    Of shop it is that of an exported shop: its manifest, and under $defs one line of each table.
    """
    if kind == "shop":
        from setwright.records.exchange_schema import schema as schema_of_shop

        say_json(schema_of_shop())
        return
    from setwright.instrument.schema import schema

    say_json(schema(kind))
