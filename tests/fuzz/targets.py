"""Every target of fuzzing, by name. A decoder that takes bytes from outside has one here."""

from tests.fuzz import answered, heard, named, obeyed, opened, taken
from tests.fuzz.target import Target

TARGETS: dict[str, Target] = {
    one.name: one for module in (heard, answered, obeyed, named, opened, taken) for one in module.TARGETS
}
