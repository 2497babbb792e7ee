"""setwright bench: the bench app in the browser."""

from __future__ import annotations

import click

from setwright.cli.asked import say
from setwright.cli.shop_options import shop_option
from setwright.errors import InputError
from setwright.web.serving import PORT, serve


@click.command("bench")
@shop_option
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0: any that is free.")
def command(at: str | None, port: int) -> None:
    """Open the shop in the browser: the whole job on a tablet or a screen beside the instrument.

    The pages are served to this machine only.
    """
    if not at:
        raise InputError("no shop is named; give --shop FOLDER, or make one first with setwright shop new FOLDER.")
    serve(at, port, say)
