"""A phone on the camera: mass, centre and inertia of both together, summed over small cubes."""

import numpy as np
import pytest

import matdb
from matdb.mounting.phone import PHONE_KG, with_phone


def camera(**more):
    return matdb.Mounting(name="c", mass_kg=0.41, count=4, rpm_idle=6000, rpm_full=9000, spread_mm=(80, 60), **more)


def cubes(box, mass, centre, n=24):
    axes = [(np.arange(n) + 0.5) / n * side - side / 2 for side in box]
    places = np.stack(np.meshgrid(*axes, indexing="ij"), -1).reshape(-1, 3) + centre
    return places, np.full(len(places), mass / len(places))


def test_camera_and_phone_are_one_body():
    laden = with_phone(camera(box_mm=(90, 70, 60), centre_mm=(1, 2, 3)))
    parts = [cubes((90, 70, 60), 0.41, (1, 2, 3)), cubes((150, 75, 8), PHONE_KG, (1, 2, 3 + 30 + 4))]
    places, masses = (np.concatenate(each) for each in zip(*parts, strict=True))
    centre = masses @ places / masses.sum()
    assert laden.mass_kg == pytest.approx(masses.sum())
    np.testing.assert_allclose(laden.centre_mm, centre)
    rel = places - centre
    squares = masses @ rel**2
    np.testing.assert_allclose(laden.main.inertia[:3], squares.sum() - squares, rtol=0.003)


def test_a_box_and_its_inertia_carry_it_alike_and_a_weightless_sensor_changes_nothing():
    box = camera(box_mm=(90, 70, 60))
    same = camera(inertia_kg_mm2=box.main.inertia)
    np.testing.assert_allclose(with_phone(box).main.inertia, with_phone(same).main.inertia)
    assert with_phone(box, 0.0) == box
    assert with_phone(camera()).mass_kg == pytest.approx(0.61)


def test_it_lies_on_the_package_that_flies():
    other = matdb.CameraPackage(name="tele", mass_kg=0.9, box_mm=(120, 80, 80))
    laden = with_phone(camera(box_mm=(90, 70, 60), packages=(other,)), 0.1, "tele")
    assert (laden.mass_kg, laden.package("tele").mass_kg) == (0.41, 1.0)
    with pytest.raises(matdb.InputError, match="phone"):
        with_phone(camera(), 20.0)
