"""Which packages of an extra are missing, by what is asked for and what is installed."""

from sequencer.shell.extras import lacking

# Source: Python packaging, core metadata 2.1, Requires-Dist, as builders write it
NEEDS = (
    "numpy>=2.0",
    "No-Such.Package>=1; python_version < '3.99' and extra == 'lamps'",
    'pytest>=8; extra == "lamps"',
    "another-that-is-not_there [fast] ; extra == 'boats'",
)


def test_only_what_is_missing_of_the_extra_is_named() -> None:
    assert lacking("lamps", NEEDS) == ("No-Such.Package",)
    assert lacking("boats", NEEDS) == ("another-that-is-not_there",)
    assert lacking("quay", NEEDS) == ()
    assert lacking("", NEEDS) == ()


def test_what_this_program_asks_for_is_known_by_itself() -> None:
    # the tests' own extra is what runs them
    assert "pytest" not in lacking("test")
