"""Messages between places and hub over a dask scheduler's queues.

Promises: a place waits for its answer and for nothing else; when the fit is stopped it stops waiting. A place begun
anew has a line of its own, so answers meant for its lost forerunner do not reach it.
Not here: what is asked (place.py) and answered (hub.py).
"""

from __future__ import annotations

import asyncio
import pickle
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from hangtab.worth.errors import Cancelled, WorthError
from hangtab.worth.far.hub import Asked, Hub
from hangtab.worth.progress import Step

PATIENCE = 5  # seconds for a scheduler to answer
LONGEST = "1h"  # for the other places: a lost one may have to begin anew
LOOK = 0.05  # seconds between two looks at what the workers do
STEP, STOP, BYE = "step", "stop", "bye"


def connect(scheduler: str) -> Any:  # noqa: ANN401 - dask has no types
    """A client of the scheduler; WorthError if dask is not installed or nobody answers."""
    try:
        from distributed import Client  # noqa: PLC0415 - an extra
        from distributed.comm import connect as knock  # noqa: PLC0415
    except ImportError as e:
        raise WorthError("Fits over a cluster need dask", mend="pip install 'hangtab[cluster]'") from e

    async def answers() -> None:
        comm = await knock(scheduler, timeout=PATIENCE)
        await comm.close()

    try:
        # A client that finds nobody leaves a traceback on the terminal; so somebody else asks first.
        asyncio.run(answers())
        return Client(scheduler, set_as_default=False)
    except (OSError, ValueError) as e:
        raise WorthError(
            "No scheduler answers", where=scheduler,
            mend="Start one with 'dask scheduler' and workers with 'dask worker ADDRESS', or correct the address.",
        ) from e  # fmt: skip


@dataclass(frozen=True)
class Lines:
    """Names of the queues of one fit; goes to the workers."""

    name: str

    @contextmanager
    def open(self, place: int) -> Iterator[Line]:
        """The line of one place, from inside its task, which gives its thread back to the worker while it waits."""
        from distributed import Queue, get_client, get_worker, secede  # noqa: PLC0415

        client = get_client()
        own = f"{self.name}-{place}-{get_worker().address}-{threading.get_ident()}"
        secede()
        yield Line(place, own, Queue(f"{self.name}-up", client), Queue(own, client))


@dataclass(frozen=True)
class Line:
    """One place's line to the hub and back."""

    place: int
    name: str
    up: Any
    down: Any

    def send(self, asked: Asked) -> bytes:
        """Ask, and wait for the answer. Raises Cancelled when the fit is stopped."""
        self.up.put([self.name, asked.place, asked.step, asked.how, asked.what, asked.payload])
        while True:
            step, answer = self.down.get(timeout=LONGEST)
            if answer is None:
                raise Cancelled("The fit was stopped")
            if step == asked.step:
                return bytes(answer)

    def tell(self, step: Step) -> None:
        """Report progress."""
        self.up.put([self.name, self.place, -1, STEP, "", pickle.dumps(step)])


class Meeting:
    """The hub's side: a thread that takes questions and gives answers as long as the fit lives."""

    def __init__(self, client: Any, on_step: Callable[[Step], None]) -> None:  # noqa: ANN401
        """Nothing is asked yet."""
        self.client = client
        self.lines = Lines(f"hangtab-{client.id}")
        self.hub = Hub(0)
        self._on_step = on_step
        self._failure: BaseException | None = None
        self._thread: threading.Thread | None = None
        self._look = threading.Event()

    def begin(self, places: int) -> None:
        """Wait for the questions of so many places."""
        from distributed import Queue  # noqa: PLC0415

        self.hub = Hub(places)
        self._up = Queue(f"{self.lines.name}-up", self.client)
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        from distributed import Queue  # noqa: PLC0415

        waiting: dict[int, tuple[Any, int]] = {}
        stopped = False
        while True:
            line, place, number, how, what, payload = self._up.get()
            if how == BYE:
                return
            try:
                if how == STEP:
                    self._on_step(pickle.loads(payload))  # noqa: S301 - our own workers
                    continue
                stopped |= how == STOP
                if how != STOP:
                    waiting[place] = (Queue(line, self.client), number)
                if not stopped:
                    self._answer(Asked(place, number, how, what, bytes(payload)), waiting)
            except BaseException as e:  # noqa: BLE001 - raised again where somebody waits
                self._failure, stopped = e, True
            if stopped:
                for queue, _ in waiting.values():
                    queue.put([-1, None])
                waiting.clear()

    def _answer(self, asked: Asked, waiting: dict[int, tuple[Any, int]]) -> None:
        before = len(self.hub.moved)
        answer = self.hub.ask(asked)
        if answer is None:
            return
        # What is new is told to all; what a place begun anew asks again, to it alone.
        told = list(waiting.values()) if len(self.hub.moved) > before else [waiting[asked.place]]
        for queue, step in told:
            if step == asked.step:
                queue.put([step, answer])

    def wait(self, futures: list[Any], *, gather: bool = True) -> list[Any]:
        """Results of the futures (or nothing), in order. Raises what went wrong, first of all what is no echo of it."""
        while any(f.status == "pending" for f in futures):
            if self._failure is not None or any(f.status in {"error", "cancelled"} for f in futures):
                break
            self._look.wait(LOOK)
        failures = [f.exception() for f in futures if f.status == "error"]
        if self._failure is not None or failures:
            self._say(STOP)
            raise self._failure or next((e for e in failures if not isinstance(e, Cancelled)), failures[0])
        return list(self.client.gather(futures)) if gather else []

    def _say(self, what: str) -> None:
        if self._thread is not None:
            self._up.put(["", -1, -1, what, "", b""])

    def close(self) -> None:
        """End the workers' waiting, the thread and the client."""
        self._say(STOP)
        self._say(BYE)
        if self._thread is not None:
            self._thread.join()
        self.client.close()
