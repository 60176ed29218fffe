"""A fit as bytes and back, without code inside.

Promises: loading gives the same predictions; bytes of another kind are refused.
Format: an npz archive: arrays of the fit, the table as an Arrow stream, and one JSON text.
Not here: files (the caller's business).
"""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import asdict, replace
from typing import Any

import numpy as np
import polars as pl

from hangtab.worth.errors import StoredFitError
from hangtab.worth.fitting import Report
from hangtab.worth.habits import Habits
from hangtab.worth.noise import NoiseTable
from hangtab.worth.problem import make_problem
from hangtab.worth.sheet import sheet_of
from hangtab.worth.spec import Spec
from hangtab.worth.state import State

FORMAT = "hangtab worth 2"
ARRAYS = ("logs", "weight", "zeta", "information", "held")


def pack(state: State, report: Report) -> bytes:
    """Bytes of a fit."""
    table = io.BytesIO()
    state.problem.sheet.frame.write_ipc_stream(table, compression="zstd")
    about = {"format": FORMAT, "spec": state.problem.spec.to_dict(), "report": asdict(report), "nu": state.noise.nu}
    about["habits"] = state.problem.habits.to_dict()
    arrays: dict[str, Any] = {name: getattr(state, name) for name in ARRAYS}
    arrays |= {"noise_upper": state.noise.upper, "noise_values": state.noise.values}
    arrays["table"] = np.frombuffer(table.getvalue(), np.uint8)
    arrays["about"] = np.frombuffer(json.dumps(about).encode(), np.uint8)
    out = io.BytesIO()
    np.savez(out, allow_pickle=False, **arrays)
    return out.getvalue()


def unpack(data: bytes) -> tuple[State, Report]:
    """The fit that `pack` wrote."""
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in archive.files}
        about = json.loads(arrays["about"].tobytes())
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile) as e:
        raise StoredFitError("These bytes are not a stored fit", mend="Fit again.") from e
    if about.get("format") != FORMAT:
        raise StoredFitError(f"A stored fit of another format: {about.get('format')!r}", mend="Fit again.")
    spec = Spec.from_dict(about["spec"])
    frame = pl.read_ipc_stream(io.BytesIO(arrays["table"].tobytes()))
    problem = replace(make_problem(spec, sheet_of(frame, spec)), habits=Habits.from_dict(about["habits"]))
    noise = NoiseTable(float(about["nu"]), arrays["noise_upper"], arrays["noise_values"])
    state = State(problem, noise=noise, **{name: arrays[name] for name in ARRAYS})
    report = about["report"] | {"warnings": tuple(about["report"]["warnings"])}
    return state, Report(**report)
