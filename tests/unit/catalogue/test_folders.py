"""A catalogue folder is read within bounds."""

import pytest

from hangtab.catalogue import read_catalogue
from hangtab.domain.errors import CatalogueError
from hangtab.storage import folders
from tests.unit.catalogue.files import as_bytes


def write(folder):
    for path, content in as_bytes().items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(content)


def test_a_folder_gives_its_files_by_posix_path(tmp_path):
    write(tmp_path)
    (tmp_path / "README.md").write_text("not a part")
    (tmp_path / ".hidden.csv").write_text("not a part")
    files = folders.catalogue_files(tmp_path)
    assert files == as_bytes()
    assert read_catalogue(files).digest == read_catalogue(as_bytes()).digest


def test_a_link_out_of_the_folder_is_not_followed(tmp_path):
    inside = tmp_path / "catalogue"
    inside.mkdir()
    write(inside)
    (tmp_path / "secret.csv").write_text("id,name\n")
    (inside / "flaws2.csv").symlink_to(tmp_path / "secret.csv")
    assert folders.catalogue_files(inside) == as_bytes()


def test_bounds_are_kept(tmp_path, monkeypatch):
    with pytest.raises(CatalogueError, match="No catalogue files"):
        folders.catalogue_files(tmp_path)
    with pytest.raises(CatalogueError, match="No catalogue folder"):
        folders.catalogue_files(tmp_path / "none")
    write(tmp_path)
    monkeypatch.setattr(folders, "MOST_BYTES", 300)
    with pytest.raises(CatalogueError, match="A file of"):
        folders.catalogue_files(tmp_path)
    monkeypatch.setattr(folders, "MOST_FILES", 3)
    with pytest.raises(CatalogueError, match="14 files in the folder"):
        folders.catalogue_files(tmp_path)
