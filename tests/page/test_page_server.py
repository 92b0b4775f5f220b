"""The server as a stranger sees it, and as the page does."""

from __future__ import annotations

import json
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import numpy as np
import pytest
from prism_body import APOTHEM, LENGTH, SIDE, prism

from unwrap.errors import BadInput
from unwrap.page.opening import job_for
from unwrap.page.server import Serving
from unwrap.page.uploads import safe_name


@pytest.fixture
def page(serving: Serving):
    parts = urlsplit(serving.address)
    with httpx.Client(
        base_url=serving.address, headers={"Origin": f"{parts.scheme}://{parts.netloc}"}
    ) as client:
        yield client


def state(page: httpx.Client) -> dict:
    return page.get("state").json()


def add_side(page: httpx.Client, **more: object) -> httpx.Response:
    asked = {"revision": state(page)["revision"], "what": "add region", "name": "side"}
    return page.post("change", json=asked | {"values": {"at": [0, APOTHEM, 0]} | more})


def settled(page: httpx.Client) -> dict:
    events = 0
    for _ in range(60):
        now = state(page)
        if all(region["key"] == region["doneKey"] for region in now["regions"]):
            return now
        events = page.get(f"news?after={events}", timeout=30).json()["events"]
    raise AssertionError("the pieces were not worked out")


# ------------------------------------------------------------------ strangers


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Host": "evil.example"}, 421),
        ({"Host": "localhost:{port}"}, 421),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
    ],
)
def test_other_pages_and_other_names_are_refused(
    serving: Serving, headers: dict[str, str], status: int
) -> None:
    headers = {key: value.format(port=serving.port) for key, value in headers.items()}
    assert httpx.get(serving.address + "state", headers=headers).status_code == status


def test_without_the_token_there_is_nothing(serving: Serving) -> None:
    for path in ("", "state", "wrong/state", "../state", "%2e%2e/state"):
        assert httpx.get(f"http://127.0.0.1:{serving.port}/{path}").status_code == 404


def test_a_change_needs_an_origin(serving: Serving) -> None:
    assert httpx.post(serving.address + "change", json={}).status_code == 403


def test_only_the_loopback_address_is_listened_on(serving: Serving) -> None:
    assert serving._socket.getsockname()[0] == "127.0.0.1"


def test_every_answer_forbids_foreign_scripts(page: httpx.Client) -> None:
    for address in ("", "state", "static/page.js", "nothing"):
        policy = page.get(address).headers["content-security-policy"]
        assert "default-src 'none'" in policy and "script-src 'self'" in policy and "unsafe" not in policy


@pytest.mark.parametrize(
    "name", ["../job.toml", "..%2Fjob.toml", "....//job.toml", "/etc/passwd", "C:%5Cx", ""]
)
def test_no_address_leads_out_of_the_folder(page: httpx.Client, name: str) -> None:
    for address in (f"static/{name}", f"made/{name}"):
        answer = page.get(address)
        assert answer.status_code >= 400
        assert b"[job]" not in answer.content and b"root:" not in answer.content


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("side.SVG", "side.svg"),
        ("..\\..\\a b.svg", "a_b.svg"),
        ("/etc/x.svg", "x.svg"),
        ("a;rm -rf.svg", "a_rm_-rf.svg"),
    ],
)
def test_names_of_dropped_files(given: str, kept: str) -> None:
    assert safe_name(given, {".svg"}) == kept


@pytest.mark.parametrize("given", [".svg", "a.exe", "", "svg", "../.."])
def test_names_that_are_none(given: str) -> None:
    with pytest.raises(BadInput):
        safe_name(given, {".svg"})


# ------------------------------------------------------------------ the job


def test_a_region_lies_where_it_was_clicked(page: httpx.Client) -> None:
    picked = page.post("pick", json={"origin": [5, 100, 1], "direction": [0, -1, 0]}).json()
    assert picked["at"] == pytest.approx([5, APOTHEM, 1], abs=1e-3)
    assert add_side(page).status_code == 200
    now = settled(page)
    assert now["regions"][0]["area"] == pytest.approx(LENGTH * SIDE, rel=1e-6)
    data = page.get("region/side").content
    size, corners, border, details = np.frombuffer(data[:16], "<u4")
    whole = np.unpackbits(np.frombuffer(data[16 : 16 + size], "u1"))
    assert (whole.sum(), corners, border, details) == (2, 0, 4, 0)


def test_a_trimmed_region_comes_with_its_split_faces(page: httpx.Client) -> None:
    add_side(page, within={"x": [-10, 20]})
    data = page.get("region/side").content
    size, corners = np.frombuffer(data[:8], "<u4")
    whole, rest = data[16 : 16 + size], data[16 + size :]
    triangles = np.frombuffer(rest[: 12 * corners], "<f4").reshape(-1, 3, 3)
    area = 0.5 * np.linalg.norm(
        np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1
    )
    assert not any(whole)
    assert area.sum() == pytest.approx(30 * SIDE, rel=1e-5)


def test_pointing_goes_both_ways(page: httpx.Client) -> None:
    add_side(page)
    settled(page)
    there = page.post("point", json={"at": [12, APOTHEM, 2]}).json()
    back = page.post("point", json={"name": "side", "flat": there["flat"]}).json()
    assert there["name"] == "side"
    assert back["at"] == pytest.approx([12, APOTHEM, 2], abs=1e-4)
    other = page.post("point", json={"at": [0, APOTHEM, 2]}).json()
    assert np.linalg.norm(np.subtract(there["flat"], other["flat"])) == pytest.approx(12, abs=1e-4)


def test_the_job_file_is_written_at_once_and_keeps_its_comments(page: httpx.Client, job: Path) -> None:
    add_side(page)
    text = job.read_text()
    assert 'name = "side"' in text
    assert "# A prism to try the page on." in text and "# any name" in text


def test_undo_and_redo_survive_the_program(job: Path) -> None:
    for round_ in range(2):
        with Serving(job) as serving:
            origin = {"Origin": serving.address[: serving.address.index("/", 8)]}
            with httpx.Client(base_url=serving.address, headers=origin) as page:
                if round_ == 0:
                    add_side(page)
                    continue
                revision = state(page)["revision"]
                assert page.post("step", json={"revision": revision, "steps": -1}).json()["regions"] == []
                assert "[[region]]" not in job.read_text()
                redone = page.post("step", json={"revision": revision + 1, "steps": 1}).json()
                assert [region["name"] for region in redone["regions"]] == ["side"]


def test_a_stale_page_changes_nothing(page: httpx.Client, job: Path) -> None:
    stale = state(page)["revision"]
    add_side(page)
    text = job.read_text()
    answer = page.post("change", json={"revision": stale, "what": "remove region", "name": "side"})
    assert answer.status_code == 409 and "Another window" in answer.json()["error"]
    assert job.read_text() == text


def test_another_program_s_change_is_shown_and_not_overwritten(page: httpx.Client, job: Path) -> None:
    revision = state(page)["revision"]
    job.write_text(job.read_text().replace('"prism"  ', '"by hand"'))
    asked = {"revision": revision, "what": "set section", "section": "film", "values": {"state": "set"}}
    answer = page.post("change", json=asked)
    assert answer.status_code == 409 and "Another program" in answer.json()["error"]
    assert '"by hand"' in job.read_text()
    now = state(page)
    assert now["name"] == "by hand" and now["canUndo"]


def test_a_spoilt_job_file_is_said_and_can_be_undone(page: httpx.Client, job: Path) -> None:
    state(page)
    good = job.read_text()
    job.write_text("[job\n")
    now = state(page)
    assert "TOML" in now["error"]
    page.post("step", json={"revision": now["revision"], "steps": -1})
    assert job.read_text() == good


def test_an_impossible_change_is_one_sentence_and_changes_nothing(page: httpx.Client, job: Path) -> None:
    text = job.read_text()
    for values in ({"at": "here"}, {"at": [0, 0, 0], "crease": -4}, {"at": [0, 0, 0], "colour": "red"}):
        asked = {"revision": state(page)["revision"], "what": "add region", "name": "x", "values": values}
        answer = page.post("change", json=asked)
        assert answer.status_code == 400
        assert "Traceback" not in answer.text and 'region]] 1 "x"' in answer.json()["error"]
    assert job.read_text() == text


@pytest.mark.parametrize(
    "sent",
    [b"", b"{", b"[]", b"\xff\xfe", b'{"revision": 1e999}', b'{"revision":0,"what":7}', b"[" * 100_000],
)
def test_the_server_survives_anything_sent(page: httpx.Client, sent: bytes) -> None:
    for address in (
        "change",
        "step",
        "try",
        "pick",
        "point",
        "body?name=a.stl&revision=0",
        "artwork?name=a.svg&revision=0",
    ):
        answer = page.post(address, content=sent)
        assert 400 <= answer.status_code < 500, address
        assert len(answer.json()["error"].splitlines()) == 1
    assert state(page)["name"] == "prism"


def test_a_body_is_taken_in_under_a_safe_name(page: httpx.Client, job: Path) -> None:
    bigger = prism().apply_scale(2.0).export(file_type="stl")
    revision = state(page)["revision"]
    answer = page.post(f"body?revision={revision}&name=..%2Fbigger%20one.stl", content=bigger)
    assert answer.status_code == 200
    assert answer.json()["source"]["file"] == "bigger_one.stl"
    assert (job.parent / "bigger_one.stl").read_bytes() == bigger
    assert answer.json()["body"]["high"][0] == pytest.approx(LENGTH)


def test_what_is_no_body_is_not_kept(page: httpx.Client, job: Path) -> None:
    before = sorted(path.name for path in job.parent.iterdir())
    answer = page.post(f"body?revision={state(page)['revision']}&name=a.stl", content=b"solid nothing")
    assert answer.status_code == 400 and "a.stl" in answer.json()["error"]
    assert sorted(path.name for path in job.parent.iterdir()) == before


def test_a_drawing_that_is_none_is_refused(page: httpx.Client, job: Path) -> None:
    bomb = b'<!DOCTYPE a [<!ENTITY b "cccccccc">]><html>&b;</html>'
    answer = page.post(f"artwork?revision={state(page)['revision']}&name=a.svg&view=left", content=bomb)
    assert answer.status_code == 400 and "SVG" in answer.json()["error"]
    assert not (job.parent / "a.svg").exists()


def test_a_body_alone_gets_a_first_job(tmp_path: Path) -> None:
    (tmp_path / "prism.stl").write_bytes(prism().export(file_type="stl"))
    path = job_for(tmp_path / "prism.stl")
    assert path.name == "prism.toml"
    path.write_text(path.read_text() + "# mine\n")
    assert job_for(tmp_path / "prism.stl") == path and path.read_text().endswith("# mine\n")
    (tmp_path / "not.stl").write_text("nothing")
    with pytest.raises(BadInput):
        job_for(tmp_path / "not.stl")
    assert not (tmp_path / "not.toml").exists()


def test_two_windows_follow_each_other(page: httpx.Client) -> None:
    events = state(page)["events"]
    add_side(page)
    news = page.get(f"news?after={events}", timeout=30).json()
    assert news["revision"] == state(page)["revision"]
    assert json.dumps(news)
