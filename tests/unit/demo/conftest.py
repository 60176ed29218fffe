"""Two worlds: a whole one for shapes, a small one for all else. Each is written once."""

import pytest

from hangtab.catalogue.reading import read_catalogue
from hangtab.demo import write_world

SMALL = 0.05


@pytest.fixture(scope="session")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    write_world(folder)
    return folder


@pytest.fixture(scope="session")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    write_world(folder, scale=SMALL)
    return folder


@pytest.fixture(scope="session")
def catalogue(small):
    root = small / "catalogue"
    return read_catalogue({str(p.relative_to(root)): p.read_bytes() for p in root.rglob("*") if p.is_file()})
