"""What a test needs from the machine: skipped where it is missing, but not where checks must be whole."""

import importlib.util
import os
import shutil

import pytest


def needs(program: str) -> None:
    """Skip the running test where `program` is not installed; under CI=true, where it must be, fail it instead."""
    if shutil.which(program) is not None:
        return
    if os.environ.get("CI") == "true":
        pytest.fail(f"{program} is not installed; .ci/run installs what the tests need")
    pytest.skip(f"{program} is not installed")


def needs_module(name: str) -> None:
    """Skip the running test where the package `name` is not installed; under CI=true, where it must be, fail it."""
    if importlib.util.find_spec(name) is not None:
        return
    if os.environ.get("CI") == "true":
        pytest.fail(f"{name} is not installed; .ci/run installs what the tests need")
    pytest.skip(f"{name} is not installed")
