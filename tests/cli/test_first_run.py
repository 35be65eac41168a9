"""``matdb start``: from nothing to a first answer; back, skip, stop and go on later."""

import io

import pytest

import matdb

RING = ("1", "14", "5,5", "7", "gel", "30 OO", "")
CAMERA = ("620", "4", "9000", "50", "80x60", "110x80x60")
GROMMET = ("grommet", "13", "4.2", "3.5mm", "", "2", "7", "M3", "silicone", "40A", "soft feet")


@pytest.fixture
def run(matdb_says, monkeypatch, tmp_path):
    """Answers typed in on a store that is not there yet; the place of the store."""
    store = tmp_path / "new.sqlite"
    monkeypatch.setenv("MATDB_STORE", str(store))

    def typed(*answers):
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{each}\n" for each in answers)))
        return matdb_says("start")

    typed.store = store
    return typed


def kept(run):
    with matdb.open_store(run.store) as store:
        parts = [(part.name, part.material, part.form.to_dict()) for part in store.parts()]
        return parts, store.mountings(), [each.reading for each in store.readings()]


@pytest.mark.parametrize(
    "answers",
    [
        (*RING, "", *CAMERA, "-10..25", "-18", "45", "", "25,3Hz", "0,8", "8", "yes"),
        (*GROMMET, "", *CAMERA, "", "23C", "3turns", "155g", "31Hz", "", "yes"),
    ],
    ids=("ring", "grommet"),
)
@pytest.mark.slow
def test_from_nothing_to_a_first_answer_in_25_prompts(run, answers):
    assert len(answers) <= 25
    told = run(*answers)
    assert told.code == 0
    parts, (camera,), (reading,) = kept(run)
    assert len(parts) == 1
    assert (camera.mass_kg, camera.count, camera.rpm_full) == (0.62, 4, 9000.0)
    assert reading.mass_kg == 0.155
    assert "logged reading 1" in told.out
    assert "--cautions." in told.out
    assert f'matdb bench "{parts[0][0]}"' in told.out


def test_without_a_reading_and_a_camera_the_label_answers(run):
    told = run(*RING, "", "skip", "", "skip")
    assert (told.code, told.err) == (0, "")
    (part,), mountings, readings = kept(run)
    assert part == ("ring 14x5.5x7", "gel 30OO", matdb.Ring(14, 5.5, 7).to_dict())
    assert mountings == readings == []
    assert "ring 14x5.5x7 unsqueezed, axial at 30 Hz: " in told.out


@pytest.mark.parametrize(("answers", "kg"), [(("no", "0.62kg", "", "", "", "", ""), 0.62), (("yes",), 620.0)])
def test_a_camera_that_cannot_be_meant_is_asked_about(run, answers, kg):
    """Told in full, with what was typed as usual answers; stored as it is where it is meant."""
    told = run(*RING, "", "620kg", *CAMERA[1:], *answers, "stop")
    assert "mass of 620000 g: hardly what a camera stands on" in told.out
    assert [each.mass_kg for each in kept(run)[1]] == [kg]


def test_the_sketches_read_at_60_columns(run, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    told = run("stop")
    drawn = told.out.partition("Which is most like yours")[0].splitlines()
    assert max(map(len, drawn)) <= 60
    assert sum(line.strip()[-1:].isalpha() for line in drawn) >= 9


def test_bad_input_asks_again_with_a_line(run):
    told = run("10", "ring", "wide", "14", "25", "7", "back", "5", "7", "foam", "gel", "hard", "", "", "stop")
    assert told.code == 0
    assert kept(run)[0] == [("ring 14x5x7", "gel", matdb.Ring(14, 5, 7).to_dict())]
    for word in ("'10'", "'wide'", "'foam'", "'hard'"):
        assert told.out.count(word) == 1


def test_stop_keeps_what_was_told_and_the_next_start_goes_on(run):
    assert run("1", "14", "stop").code == 0
    assert kept(run) == ([], [], [])
    assert run(*RING, "", "620", "4", "stop").code == 0
    assert [len(each) for each in kept(run)] == [1, 0, 0]
    told = run("2", "10", "8", "gel 30OO", "", "", *CAMERA, "stop")
    assert told.code == 0
    parts, _, _ = kept(run)
    assert [part[0] for part in parts] == ["pad 10x8", "ring 14x5.5x7"]
    assert {part[1] for part in parts} == {"gel 30OO"}
    # An input that ends early keeps as much.
    assert run().code == 0
    assert kept(run)[0] == parts


def test_back_over_a_part_takes_it_back_and_offers_what_was_typed(run):
    told = run(*RING, "back", "", "", "", "8", "", "", "", "stop")
    assert "part 'ring 14x5.5x7' is removed" in told.out
    assert [part[0] for part in kept(run)[0]] == ["ring 14x5.5x8"]


@pytest.mark.parametrize(
    ("rotor", "speeds"), [(("4200..8000",), (4200, 8000)), (("920kv 4s", "50"), None), (("8000", ""), None)]
)
def test_rotors_are_told_as_the_builder_knows_them(run, rotor, speeds):
    run(*RING, "", "620", "", *rotor, "", "", "stop")
    (camera,) = kept(run)[1]
    assert speeds is None or (camera.rpm_idle, camera.rpm_full) == speeds
    assert 0 < camera.rpm_idle < camera.rpm_full
