"""`stagefx blind plan`: how many trials, how many right, and what could be missed."""

from __future__ import annotations

import click

from ... import options


@click.command(short_help="Trials, pass mark, power, and what the test could miss.")
@options.protocol
@click.option(
    "--able",
    type=click.FloatRange(0.0, 1.0),
    default=0.7,
    show_default=True,
    metavar="SHARE",
    help="Share of trials that the listener to be found gets right.",
)
@click.option(
    "--trials",
    type=click.IntRange(min=1),
    metavar="N",
    help="How many; the first number with a power of 0.8 if left out.",
)
@click.option("--simulate", is_flag=True, help="Run the plan with simulated listeners as well.")
@options.seed
@options.as_json
def command(
    protocol: str, able: float, trials: int | None, simulate: bool, seed: int, as_json: bool
) -> None:
    """Say how many trials a blind test needs, and what it could miss.

    Fix the number before the first answer, and keep to it.
    """
    from stagefx.blind.planning import plan

    planned = plan(protocol, able=able, trials=trials)
    simulation = None
    if simulate:
        from stagefx.blind.simulation import simulate_plan

        simulation = simulate_plan(planned, seed=seed)
    from ...output import paper, print_json

    if as_json:
        more = {} if simulation is None else {"simulation": simulation.as_json()}
        print_json({**planned.as_json(), **more})
    else:
        from ...printing.blind import print_plan

        print_plan(paper(), planned, simulation)
