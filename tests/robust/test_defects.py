"""Each defect on each sample: mended, or reported with its place, and never a surprise."""

from pathlib import Path

import defects
import numpy as np
import pytest

from unwrap.body import load_body
from unwrap.body.health import check_health
from unwrap.body.skin import outside_faces
from unwrap.errors import BadInput

MESHES = Path(__file__).parents[2] / "meshes"
SAMPLES = {
    "tank_engine.stl": {},
    "road_tanker.obj": {"units": "in", "front": "+z", "up": "+y"},
    "railcar.stl": {},
}


@pytest.fixture(scope="module", params=SAMPLES)
def sample(request):
    path = MESHES / request.param
    if not path.exists():
        pytest.skip(f"{request.param} is not built")
    return load_body(path, **SAMPLES[request.param])


def volume(body):
    a, b, c = np.moveaxis(body.corners, 1, 0)
    return float(np.einsum("md,md->", a, np.cross(b, c)) / 6)


def load_with(defect, sample, tmp_path, seed=7):
    v, f = defect(sample.vertices, sample.faces, np.random.default_rng(seed))
    # Numbers survive in OBJ; STL gives every face corners of its own in single precision.
    path = tmp_path / (
        "shell.obj" if len(v) > 3 * len(f) - 1 or defect is defects.loose_vertices else "shell.stl"
    )
    (defects.write_obj if path.suffix == ".obj" else defects.write_stl)(path, v, f)
    return load_body(path)


@pytest.mark.parametrize("defect", defects.MENDED, ids=lambda d: d.__name__)
def test_mended(sample, defect, tmp_path):
    body = load_with(defect, sample, tmp_path)
    was, now = check_health(sample), check_health(body)
    assert len(now.open_edges) <= len(was.open_edges)
    assert len(now.unlike_edges) <= len(was.unlike_edges)
    assert len(now.branching_edges) <= len(was.branching_edges)
    assert now.shells == was.shells
    assert body.areas.sum() == pytest.approx(sample.areas.sum(), rel=1e-4)
    assert volume(body) == pytest.approx(volume(sample), rel=2e-3)
    assert np.abs(body.bounds - sample.bounds).max() < 0.006
    if defect not in (defects.shuffled, defects.loose_vertices, defects.trembling):
        assert body.repairs


@pytest.mark.parametrize("defect", defects.REPORTED, ids=lambda d: d.__name__)
def test_reported(sample, defect, tmp_path):
    body = load_with(defect, sample, tmp_path)
    was, now = check_health(sample), check_health(body)
    worse = [
        len(getattr(now, name)) - len(getattr(was, name))
        for name in ("open_edges", "branching_edges", "crossings")
    ]
    expected = {
        defects.holed: worse[0] >= 25,
        defects.finned: worse[0] >= 10 and worse[1] >= 10,
        defects.with_a_box_pushed_in: worse[2] > 0 and now.shells > was.shells,
        defects.with_a_sheet_inside: worse[0] >= 4,
    }
    assert expected[defect]
    assert any("at (" in line for line in now.lines())


@pytest.mark.parametrize("defect", [defects.holed, defects.with_a_sheet_inside], ids=lambda d: d.__name__)
def test_the_outside_of_the_sound_part_stays(defect, tmp_path):
    sample = load_body(MESHES / "railcar.stl")
    body = load_with(defect, sample, tmp_path)
    before = {tuple(np.round(c, 3)) for c in sample.corners[outside_faces(sample)].mean(axis=1)}
    after = {tuple(np.round(c, 3)) for c in body.corners[outside_faces(body)].mean(axis=1)}
    assert len(before & after) > 0.97 * len(before)


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.999])
@pytest.mark.parametrize("name", SAMPLES)
def test_cut_off(name, share, tmp_path):
    data = (MESHES / name).read_bytes()
    path = tmp_path / name
    path.write_bytes(data[: int(share * len(data))].rstrip())
    if name.endswith(".obj") and share >= 0.5:
        # An OBJ says nowhere how many faces it should have; what can be seen is said.
        assert any("cut off" in repair for repair in load_body(path, **SAMPLES[name]).repairs)
        return
    with pytest.raises(BadInput, match=name):
        load_body(path)
