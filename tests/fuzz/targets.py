"""Every target of fuzzing, by name. A decoder that takes bytes from outside has one here."""

from tests.fuzz import answered, heard, opened, taken
from tests.fuzz.target import Target

TARGETS: dict[str, Target] = {
    one.name: one for one in (*heard.TARGETS, *answered.TARGETS, *opened.TARGETS, *taken.TARGETS)
}
