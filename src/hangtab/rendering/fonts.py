"""Fonts: where the faces of the look lie on this machine.

Promises: Fira Sans as static files (a variable font draws no text in charts), Fira Code for raw sources; both under
the SIL Open Font License, out of their own installed packages and never copied into the project.
Reads: the packages fontpkg_fira_sans and fontpkg_fira_code. Gives: paths, by the name under which a page asks for them.
Not here: serving them (web) or registering them with a drawing library (the maker of that drawing).
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType

_SANS = ("Light", "Regular", "Italic", "Medium", "SemiBold")


def sans_folder() -> Path:
    """Return the folder of Fira Sans, static files only, to register with a chart or print maker."""
    return Path(str(files("fontpkg_fira_sans") / "files"))


@cache
def faces() -> MappingProxyType[str, Path]:
    """Return each face's file by its served name, `FiraSans-Light.ttf` and so on.

    Fira Code comes as one variable file; a browser sets it at the weight that the style sheet states.

    >>> sorted(faces())[:2], all(path.is_file() for path in faces().values())
    (['FiraCode-Regular.ttf', 'FiraSans-Italic.ttf'], True)
    """
    found = {f"FiraSans-{style}.ttf": sans_folder() / f"FiraSans-{style}.ttf" for style in _SANS}
    found["FiraCode-Regular.ttf"] = Path(str(files("fontpkg_fira_code") / "files" / "FiraCode[wght].ttf"))
    return MappingProxyType(found)
