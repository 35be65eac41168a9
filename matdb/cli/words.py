"""``matdb words``: a builder's glossary of what the screens say."""

from __future__ import annotations

from typing import Annotated, Final

from matdb.advice.requirement import VERDICTS
from matdb.checks import one_of
from matdb.cli.options import JsonOption, arg
from matdb.cli.screen import document, show
from matdb.fields import named
from matdb.mounting.record import FOOTAGE, LOAD_FACTORS

_FOLLOW: Final = FOOTAGE["as flown"][1]

#: What the screens say, and what that means.
WORDS: Final = {
    "isolates": "keeps the rotors' shake from the camera: at every rotor speed little of the airframe's motion gets "
    "through.",
    "follows": "turns and tilts with the craft: the mount is stiff enough for what the pilot does.",
    "natural frequency": "how fast the camera swings on its mounts when tapped, in swings a second (Hz); the stiffer "
    f"the mount, the higher. Well below the rotors it isolates; from {_FOLLOW:g} times the fastest manoeuvre on it "
    "follows.",
    "stiffness": "the force that presses or pulls one part by a millimetre, in N/mm; cold makes it higher.",
    "modulus": "the stiffness of the material itself, whatever its shape, in MPa.",
    "damping ratio": "how soon a swing dies: 0.05 rings on for long, 0.2 is gone after two or three swings.",
    "decrement": "the same as read at the bench: the natural logarithm of one swing over the next.",
    "ring-down": "a reading: put a mass on the part, tap it, note how fast it rings and how it dies.",
    "deflection": "a reading: put a mass on the part, note how far it sinks.",
    "roll, pitch, yaw": "the camera tips sideways, nods, turns: what a picture shows most.",
    "vertical, lateral, longitudinal": "the craft shakes up and down, sideways, fore and aft: what of that turns the "
    "camera, through a centre of gravity off the isolators' plane.",
    "lets through": "the share of the craft's shake that turns the camera at a rotor's frequency; less is better.",
    "misses": "the share of the craft's own turn that the camera does not follow; less is better.",
    "allowed": "the most that a requirement stands; beyond it the part fails there.",
    "too stiff, too soft": "lets too much through; misses too much. 'May be': at one end of what is known of the part.",
    "px rms": "by how many pixels that moves the picture of a measured airframe, all its frequencies together.",
    "isolators": "the parts that carry the camera, equal ones, each with its share of the mass.",
    "axial, shear, radial, lateral": "the direction of a part: along its screw or length, or across it.",
    "squeezed": "how far the screw presses a part, from first touch.",
    "set and creep": "what rubber loses of its squeeze over weeks: lift-off is judged after, stiffness told before.",
    "strain": "how far a half is pressed, as a share of its height; 'pressed too far' beyond what rubber stands.",
    "travel": "how far a part can still move until it bottoms out.",
    "buckles, buckling": "a slender leg leans over under its load, or a thin ring wall folds, and carries it no more.",
    "service range": "the temperatures that the material is made for; 'outside its service range' beyond them.",
    "best compromise": "where nothing holds everything: what fails least.",
    "expected": "of hours or temperatures: each counted by how sure the part then flown is to hold.",
    "swap": "the temperature at which another part of a set takes over.",
    "footage": "what becomes of the pictures: shown 'as flown', which asks for following first; or 'stabilised' "
    "afterwards, which asks for the fast shake gone.",
    "up and down only": "roll, pitch and yaw could not be judged, since the mounting does not say where the isolators "
    "sit, or a part not how stiff it is sideways.",
    "first touch": "the screw is turned until both halves of a grommet touch and nothing is pressed yet; turns count "
    "from there.",
    "spacer": "a sleeve on the screw, between the washers, that stops the screw at that squeeze.",
    "lift-off": "in flight one half of a grommet lifts off (loses touch with the plate): it rattles.",
    "bottoms out": "a manoeuvre presses the part further than its rubber can go.",
    "load factor": f"weight as felt in flight over weight at rest, {LOAD_FACTORS[0]:g} to {LOAD_FACTORS[1]:g} without "
    "other word.",
    "brackets": "7 (5-9): likely 7, and with 95 % certainty 5 to 9.",
    "measured": "readings of the material speak for that temperature.",
    "guessed": "beyond the coldest or warmest reading: what the material is likely to do there.",
    "rests on its label only": "nothing of the material was read: the brackets tell how far off it may be, from "
    "twofold for plain rubber to tenfold for a soft gel; one ring-down tells far more.",
    "sure": "how likely it is that everything holds, at every temperature asked for: "
    + "; ".join(f"'{word}' from {least:.0%}" for least, word in VERDICTS[:-1])
    + f"; else '{VERDICTS[-1][1]}'.",
}


def words(
    word: Annotated[str | None, arg("[WORD]", "Only what has this in its name.")] = None, as_json: JsonOption = False
) -> None:
    """Tell what the words on the screens mean."""
    found = {name: text for name, text in WORDS.items() if word is None or word.casefold() in name}
    if not found:
        one_of("WORD", word, WORDS)
    if as_json:
        document("words", {"words": named(found)})
        return
    for name, text in found.items():
        show(f"{name}: {text}")
