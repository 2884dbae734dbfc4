"""The search in a process of its own, with a hard stop: a solver that hangs costs only its time.

The child sends every better answer as soon as it has one; what has arrived when the time is over,
or when the child dies, is what is used. Each answer is a pickle behind its length; nobody but the
child writes to the pipe.
"""

import os
import pickle
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from queue import Empty, SimpleQueue
from typing import BinaryIO

from pipeline.planning.selection.instance import Chosen
from pipeline.planning.selection.search import Effort, Proposal, Table, search

_LENGTH = 8
_CODE = (
    "import sys; sys.path[:] = {path!r}; "
    "from pipeline.planning.selection.apart import child; child()"
)


def answers(table: Table, start: Chosen, effort: Effort, *, seconds: float) -> Iterator[Proposal]:
    """The answers of a child process, as they come, for at most so many seconds.

    Parameters
    ----------
    seconds : after which the child is killed.
    """
    ends = time.monotonic() + seconds
    process = subprocess.Popen(  # noqa: S603 - this interpreter and this module
        [sys.executable, "-c", _CODE.format(path=sys.path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=os.environ | {"OMP_NUM_THREADS": "1"},
    )
    found: SimpleQueue[Proposal | None] = SimpleQueue()
    given = pickle.dumps((table, start, effort))
    talker = threading.Thread(target=_talk, args=(process, given, found), daemon=True)
    talker.start()
    try:
        while True:
            try:
                answer = found.get(timeout=max(ends - time.monotonic(), 0.0))
            except Empty:
                return
            if answer is None:
                return
            yield answer
    finally:
        process.kill()
        process.wait()
        talker.join()


def _talk(
    process: "subprocess.Popen[bytes]", given: bytes, found: "SimpleQueue[Proposal | None]"
) -> None:
    """Give the child its task and pass on what it sends; None when it sends no more."""
    if process.stdin is None or process.stdout is None:
        found.put(None)
        return
    with process.stdout as sent:
        # a killed child's pipe is closed under our hands
        with suppress(OSError), process.stdin as task:
            task.write(given)
        while len(head := sent.read(_LENGTH)) == _LENGTH:
            size = int.from_bytes(head, "big")
            body = sent.read(size)
            if len(body) < size:
                break
            found.put(pickle.loads(body))  # noqa: S301 - from our own child alone
    found.put(None)


def child() -> None:
    """What the child does: read the task, search, send every answer."""
    table, start, effort = pickle.loads(sys.stdin.buffer.read())  # noqa: S301 - from our parent
    with os.fdopen(os.dup(sys.stdout.fileno()), "wb") as out:
        # HiGHS prints to the standard output in some builds: that must not reach the pipe.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        search(table, start, effort, lambda answer: _send(out, answer))


def _send(out: BinaryIO, answer: Proposal) -> None:
    body = pickle.dumps(answer)
    out.write(len(body).to_bytes(_LENGTH, "big") + body)
    out.flush()
