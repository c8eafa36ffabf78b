"""The cautions that every document which leaves this program shows, word for word."""

CAUTIONS = (
    "Motorised rigs crush, trap and drop things. The program is not a safety device: a hard-wired emergency stop that "
    "cuts motor power, in reach of a person who watches the rig, is required whatever the software does. Follow local "
    "codes and the set's responsible person; rigging over people, vehicles and powered lifts are for licensed people."
)
