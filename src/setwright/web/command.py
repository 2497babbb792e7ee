"""setwright bench: the bench app in the browser."""

from __future__ import annotations

import click

from setwright.bench.network import PORT, checked_address
from setwright.cli.asked import say
from setwright.cli.shop_options import shop_option
from setwright.errors import InputError
from setwright.web.serving import serve, serve_network


@click.command("bench")
@shop_option
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0: any that is free.")
@click.option("--shop-network", is_flag=True, help="Serve benches of the shop's network that were let in, over TLS.")
@click.option(
    "--address", "addresses", multiple=True, metavar="IP",
    help="With --shop-network: the machine's address there; otherwise all it has in networks of a house.",
)  # fmt: skip
def command(at: str | None, port: int, shop_network: bool, addresses: tuple[str, ...]) -> None:
    """Open the shop in the browser: the whole job on a tablet or a screen beside the instrument.

    The pages are served to this machine only, or with --shop-network to every bench that was let in with setwright
    shop pair.
    """
    if not at:
        raise InputError("no shop is named; give --shop FOLDER, or make one first with setwright shop new FOLDER.")
    if shop_network:
        serve_network(at, port, [checked_address(one) for one in addresses], say)
        return
    if addresses:
        raise InputError("--address goes with --shop-network; without it the pages are served to this machine only.")
    serve(at, port, say)
