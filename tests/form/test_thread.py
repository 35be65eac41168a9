"""Pitches of screws."""

import dataclasses

import pytest

import matdb
from matdb.errors import InputError
from matdb.form.thread import COARSE_PITCH_MM, pitch_mm


# ISO 261 and ISO 724 coarse pitches (from memory).
@pytest.mark.parametrize(("thread", "pitch"), [("M2", 0.4), ("M2.5", 0.45), ("M3", 0.5), ("M4", 0.7), ("M5", 0.8)])
def test_coarse_threads(thread, pitch):
    assert pitch_mm(thread) == COARSE_PITCH_MM[thread] == pitch


def test_other_threads_give_their_pitch():
    assert pitch_mm("m3x0.35") == 0.35
    for bad in ("M7", "3", "M3x", "M3x4", "M3x-1", None):
        with pytest.raises(InputError):
            pitch_mm(bad)


def test_turns_or_a_squeeze_alike_and_what_a_pair_has_without_either():
    lower, upper = matdb.Ring(12, 4, 4, bonded=False), matdb.Ring(12, 4, 3, bonded=False)
    pair = matdb.GrommetPair(lower=lower, upper=upper, plate_mm=2.0, thread="M3")
    part = matdb.Part(name="pair", material="gel", form=pair)
    assert part.squeeze_at(turns=3.0) == part.squeeze_at(squeeze_mm=1.5) == (1.5, "asked")
    assert part.squeeze_at() == (0.7, "a tenth of its height")
    held = dataclasses.replace(pair, spacer_mm=8.0)
    assert matdb.Part(name="held", material="gel", form=held).squeeze_at() == (1.0, "spacer")
    ring = matdb.Part(name="ring", material="gel", form=lower)
    assert ring.squeeze_at() == (0.0, "none")
    with pytest.raises(matdb.InputError, match="thread"):
        ring.squeeze_at(turns=1.0)
    with pytest.raises(matdb.InputError, match="one of the two"):
        part.squeeze_at(squeeze_mm=1.0, turns=1.0)
