"""The tutorial's files, exactly as printed, make a line of thirty variants and more."""

import re
from pathlib import Path

from hangtab.catalogue import read_catalogue, variants
from hangtab.domain.subject import Packaging

PAGE = (Path(__file__).parents[3] / "docs" / "tutorial" / "write-a-line.md").read_text(encoding="utf-8")
FILE = re.compile(r"^`([\w/.-]+)`\n\n```(?:toml|csv)\n(.*?)^```", re.DOTALL | re.MULTILINE)
PYTHON = re.compile(r"^```python\n(.*?)^```", re.DOTALL | re.MULTILINE)


def printed_files():
    return {path: text.encode() for path, text in FILE.findall(PAGE)}


def test_every_block_is_a_named_file():
    assert len(printed_files()) == len(re.findall(r"^```(?:toml|csv)$", PAGE, re.MULTILINE)) == 6


def test_the_line_has_thirty_variants_and_more():
    found = list(variants(read_catalogue(printed_files())))
    carded = [v for v in found if v[1] is Packaging.CARDED]
    assert len(found) >= 30
    assert f"prints {len(carded)} carded variants and {len(found) - len(carded)} loose ones: {len(found)}." in PAGE


def test_it_is_written_by_hand_in_ten_minutes():
    # 40 words a minute is slow typing (common practice, no source); aliases, shares and quotes are typed like words.
    words = sum(len(re.findall(rb"[\w'-]+", text)) for text in printed_files().values())
    assert words <= 400


def test_the_page_reads_its_own_files(tmp_path, monkeypatch, capsys):
    for path, content in printed_files().items():
        file = tmp_path / "my-catalogue" / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    monkeypatch.chdir(tmp_path)
    (code,) = PYTHON.findall(PAGE)
    exec(compile(code, "write-a-line.md", "exec"), {})
    assert capsys.readouterr().out == "33\n"
