"""The cautions that the program always shows. It refuses to shorten them."""

from ui.language import translate


def cautions() -> str:
    """Return them as sentences."""
    return translate(
        "cautions",
        "Motorised rigs crush, trap and drop things. This program is not a safety device: a hard-wired emergency stop "
        "that cuts motor power, in reach of a person who watches the rig, is required whatever the software does. "
        "Follow local codes and the set's responsible person; rigging over people, vehicles and powered lifts are for "
        "licensed people.",
    )
