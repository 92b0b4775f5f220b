from __future__ import annotations

from pathlib import Path

import pytest
from prism_body import JOB, prism

from unwrap.page.server import Serving


@pytest.fixture
def job(tmp_path: Path) -> Path:
    (tmp_path / "prism.stl").write_bytes(prism().export(file_type="stl"))
    path = tmp_path / "job.toml"
    path.write_text(JOB)
    return path


@pytest.fixture
def serving(job: Path):
    with Serving(job) as running:
        yield running
