"""Cautions: where the work can hurt, in the words that every command uses."""

from __future__ import annotations

#: Once in the output of whatever might be taken for a permission.
ESTIMATE = "This is an estimate, never an airworthiness approval."

#: Before flying what was chosen.
FLIGHT = (
    "Hold the payload with a second line that does not depend on the rubber: a part can tear or slip out.",
    "Take the propellers off for every trial on the bench or in the hand.",
    "Flex cold parts by hand before flight: rubber near its glass transition cracks instead of bending.",
    "Check the screws again after 24 hours and in the cold: rubber creeps, sets and shrinks.",
)

#: At the bench.
BENCH = (
    "Oven and freezer: wear gloves, stay below the material's service temperature, and never share an oven with food.",
    "Secure weights and keep feet and fingers from under them.",
)
