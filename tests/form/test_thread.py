"""Pitches of screws."""

import pytest

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
