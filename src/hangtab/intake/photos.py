"""Photos beside a source: found by the relative name that a page or a cell gives, kept as the hash of their bytes."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from urllib.parse import unquote

from hangtab.domain.evidence import ReadField


def photo_field(name: str, where: str, beside: Mapping[str, bytes]) -> ReadField:
    """The field of a photo: the hash when the photo is there, else the name as it was given."""
    data = _find(unquote(name.strip()), beside)
    if data is None:
        return ReadField("photo", name.strip()[:500], where, 0.0)
    return ReadField("photo", hashlib.sha256(data).hexdigest(), f"{where}, {name.strip()[:200]}")


def _find(name: str, beside: Mapping[str, bytes]) -> bytes | None:
    tail = name.partition("?")[0].removeprefix("./")
    if tail in beside:
        return beside[tail]
    base = tail.replace("\\", "/").rpartition("/")[2]
    return next((d for n, d in beside.items() if base and n.replace("\\", "/").rpartition("/")[2] == base), None)
