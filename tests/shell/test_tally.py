"""Percentiles from bins against numpy's own."""

import numpy as np

from sequencer.shell.tally import Tally


def test_percentiles_are_those_of_the_sample_to_a_bin() -> None:
    sample_ns = np.random.default_rng(1).exponential(50_000, 5000).astype(int)
    tally = Tally()
    for value in sample_ns.tolist():
        tally.add(value)
    parts = (0.5, 0.99, 0.999)
    truth = np.quantile(sample_ns / 1000, parts, method="inverted_cdf")
    assert np.all(np.abs(np.array(tally.percentiles(*parts)) - truth) <= 1.0)


def test_what_is_early_or_endless_stays_in_the_outer_bins() -> None:
    tally = Tally()
    tally.add(-5)
    tally.add(10**12)
    low, high = tally.percentiles(0.5, 1.0)
    assert low == 0
    assert high >= 10_000
