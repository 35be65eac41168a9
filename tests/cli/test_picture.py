"""``matdb picture``: text in the terminal, files with --out, numbers with --json."""

import numpy as np
import pytest

import matdb

WORDS = {
    "modulus": ("modulus", "amber", "--temp", "-20C..40C", "--frequency", "20Hz"),
    "master": ("master", "amber"),
    "residuals": ("residuals", "amber"),
    "frequency": ("frequency", "cam", "--part", "0042", "--part", "ring 16x6x5", "--forecast", "-6C..14C"),
    "transmissibility": ("transmissibility", "cam", "0042", "--temp", "-5C", "--temp", "23C"),
    "squeeze": ("squeeze", "cam", "ring 16x6x5", "--temp", "-5C", "--pitch", "0.5mm"),
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", WORDS)
def test_every_kind_shows_as_text_and_as_numbers(kind, matdb_says):
    told = matdb_says("picture", *WORDS[kind])
    assert (told.code, told.err) == (0, "")
    assert len(told.out.splitlines()) > 12
    answer = matdb_says("picture", *WORDS[kind], "--json").json
    assert answer["command"] == f"picture {kind}"
    assert answer["chart"]["title"] in told.out
    for panel in answer["chart"]["panels"]:
        assert panel["y"] in told.out
        assert all(len(s["x"]) == len(s["y"]) for s in panel["series"])


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["png", "svg"])
def test_out_writes_a_file_and_guards_it(ending, matdb_says, tmp_path):
    target = tmp_path / f"a.{ending}"
    told = matdb_says("picture", "residuals", "amber", "--out", target)
    assert (told.code, told.out) == (0, f"written: {target}\n")
    before = target.read_bytes()
    again = matdb_says("picture", "residuals", "amber", "--out", target)
    assert again.code == 1
    assert "--force" in again.err
    assert matdb_says("picture", "residuals", "amber", "--out", target, "--force").code == 0
    assert target.read_bytes() == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("modulus", "nobody"), "there is no 'nobody'"),
        (("modulus", "amber", "--frequency", "30"), "unit"),
        (("modulus", "amber", "--out", "a.gif"), ".png or .svg"),
        (("residuals", "tan"), "matdb fit"),
        (("transmissibility", "cam", "0042"), "--temp"),
        (
            ("squeeze", "cam", "0042", "--temp", "-5C", "--temp", "5C", "--temp", "1C", "--temp", "2C", "--temp", "3C"),
            "1 to 4",
        ),
    ],
)
def test_refusals_are_one_line(words, says, matdb_says):
    told = matdb_says("picture", *words)
    assert told.code in (1, 2)
    assert told.out == ""
    assert says in told.err
    assert told.err.count("\n") == 1


def test_of_too_many_parts_the_five_that_suit_best_are_drawn(matdb_says, store):
    with matdb.open_store(store) as kept:
        more = [f"ring {k}" for k in range(5)]
        kept.add(
            [matdb.Part(name=name, material="amber", form=matdb.Ring(14, 5, 4 + k)) for k, name in enumerate(more)]
        )
        ranked = [row.part for row in kept.suit("cam", np.arange(-5.0, 6.0))]
    told = matdb_says("picture", "frequency", "cam", "--temp", "-5C..5C", "--json")
    assert (told.code, told.err) == (0, "")
    drawn = [series["label"].split(",")[0] for series in told.json["chart"]["panels"][0]["series"]]
    assert len(ranked) > 5
    assert drawn == ranked[:5]
    assert f"The 5 of {len(ranked)} parts that suit best; name others by --part." in told.json["warnings"]
    assert matdb_says("picture", "frequency", "cam", *(w for name in ranked[:6] for w in ("--part", name))).code == 2
