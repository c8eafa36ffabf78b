"""The frame rate that is said for a file."""

import typer

from sequencer.timebase.rate import Rate, parse_rate


def rate_of(given: str) -> Rate:
    """Return the rate of an option. Error: BadParameter that lists those there are."""
    try:
        return parse_rate(given)
    except ValueError as fault:
        raise typer.BadParameter(str(fault)) from fault
