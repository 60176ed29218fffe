"""A fit made beside the server: the command of the same program in a process of its own.

Promises at most one at a time, and that a failed one says why. Not here: taking up the new fit (desk).
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path
from typing import IO

_SAID = 300  # characters of its last words that are kept


class Refit:
    """The fit of one book."""

    def __init__(self, book: Path, who: str) -> None:
        """Nothing runs yet."""
        self._command = (sys.executable, "-m", "hangtab", "fit", "--book", str(book), "--who", who)
        self._running: subprocess.Popen[bytes] | None = None
        self._words: IO[bytes] | None = None
        self._problem = ""

    def start(self) -> None:
        """Begin, unless one is under way."""
        if self.running():
            return
        self._problem = ""
        self._words = tempfile.TemporaryFile()  # noqa: SIM115 - closed when the process has ended
        self._running = subprocess.Popen(  # noqa: S603 - the words are this module's own
            self._command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=self._words
        )

    def running(self) -> bool:
        """Whether one is under way."""
        if self._running is None:
            return False
        code = self._running.poll()
        if code is None:
            return True
        self._end(code)
        return False

    def problem(self) -> str:
        """Why the last one failed, empty when it did not."""
        self.running()
        return self._problem

    def _end(self, code: int) -> None:
        self._running = None
        if self._words is None:
            return
        self._words.seek(0)
        said = self._words.read().decode("utf-8", "replace").strip()
        self._words.close()
        self._words = None
        if code:
            self._problem = said[-_SAID:] or f"it ended with code {code}"
