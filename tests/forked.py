"""The program in a process of its own, forked off one that has imported it already.

Starting Python and importing the program takes most of what a rehearsed run takes, and hundreds of tests would pay for
it. What is forked is a process as real as what is started: its own folder, environment, streams and exit code, killed
as any other. Three things differ: a variable that Python itself reads as it starts has no effect, hashes are those of
the process it was forked off, so that an order that hangs on them is the same in every run, and at the end no module is
cleared up. A test of any of these starts Python itself.
"""

from __future__ import annotations

import atexit
import contextlib
import functools
import gc
import importlib
import json
import os
import pkgutil
import runpy
import select
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
AVAILABLE = hasattr(os, "pidfd_open")  # on Linux
LONGEST_REQUEST = 1 << 18
FDS = 4  # where to say how it ended, then the three standard streams
NATIVE = ("numpy", "pocketsphinx", "sqlite3")  # what the program imports only where it needs it


class Child:
    """A forked program. returncode: None until `wait` has returned; as in `subprocess`, -N for signal N."""

    def __init__(
        self,
        words: Sequence[str],
        cwd: Path,
        env: Mapping[str, str],
        *,
        stdout: int,
        stderr: int = 2,
        module: str = "assistant",
    ):
        """`python -m MODULE WORDS`, with nothing on its standard input; stdout, stderr: file descriptors."""
        self.returncode: int | None = None
        self._says, theirs = socket.socketpair()
        request = json.dumps({"module": module, "words": list(words), "cwd": str(cwd), "env": dict(env)}).encode()
        with theirs, open(os.devnull, "rb") as nothing:
            socket.send_fds(_server(), [request], [theirs.fileno(), nothing.fileno(), stdout, stderr])
        self._lines = self._says.makefile("r", encoding="ascii")
        self.pid = int(self._lines.readline())  # an empty line: the server is gone

    def kill(self) -> None:
        """SIGKILL, whether it has ended or not: it is not reaped before that was said."""
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)

    def wait(self, timeout: float | None = None) -> int:
        """Raises: TimeoutError when it goes on for longer than this many seconds."""
        if self.returncode is None:
            self._says.settimeout(timeout)
            self.returncode = int(self._lines.readline())
            self._lines.close()
            self._says.close()
        return self.returncode


def run(words: Sequence[str], cwd: Path, env: Mapping[str, str], timeout: float) -> tuple[int, str, str]:
    """One from its start to its end: exit code, standard output, standard error.

    It has ended, and so has everything that writes into its output. timeout: seconds that it may write nothing for.
    Raises: TimeoutError, with what it had written; it is killed then.
    """
    out, into_out = os.pipe()
    err, into_err = os.pipe()
    child = Child(words, cwd, env, stdout=into_out, stderr=into_err)
    os.close(into_out)
    os.close(into_err)
    written: dict[int, bytes] = {out: b"", err: b""}
    still = [out, err]
    try:
        while still:
            ready, _, _ = select.select(still, [], [], timeout)
            if not ready:
                raise TimeoutError(f"{words} wrote nothing for {timeout} s; until then: {written}")
            for fd in ready:
                data = os.read(fd, 65536)
                written[fd] += data
                if not data:
                    still.remove(fd)
        code = child.wait(timeout)
    except BaseException:
        child.kill()
        child.wait()
        raise
    finally:
        os.close(out)
        os.close(err)
    return code, written[out].decode(), written[err].decode()


@functools.cache
def _server() -> socket.socket:
    """One a process of tests, begun when it is first needed."""
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    with theirs:
        command = [sys.executable, "-m", "tests.forked", str(theirs.fileno())]
        # Pipes as its children have, since Python asks once what a stream can do, when it starts. And no threads of
        # numpy's: what has threads is not forked.
        pipe, env = subprocess.PIPE, {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
        process = subprocess.Popen(
            command, cwd=ROOT, env=env, pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL, stdout=pipe, stderr=pipe
        )

    def end() -> None:
        ours.close()
        process.communicate()

    atexit.register(end)
    return ours


# --- the process that is forked from


def _serve(requests: socket.socket) -> dict[str, Any] | None:
    """In each child: what it was asked for, with its streams in place. In the server: None, at the end of the tests."""
    running: dict[int, tuple[int, int]] = {}  # a handle of a child: its id, and where to say how it ended
    while True:
        ready, _, _ = select.select([requests, *running], [], [])
        for handle in set(ready) & running.keys():
            pid, says = running.pop(handle)
            os.write(says, f"{os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])}\n".encode())
            os.close(says)
            os.close(handle)
        if requests not in ready:
            continue
        message, fds, _, _ = socket.recv_fds(requests, LONGEST_REQUEST, FDS)
        if not message:
            return None
        says, *streams = fds
        pid = os.fork()
        if pid == 0:
            for number, fd in enumerate(streams):
                os.dup2(fd, number)
            for fd in (*fds, *(fd for handle, (_, other) in running.items() for fd in (handle, other))):
                os.close(fd)
            requests.close()
            return dict(json.loads(message))
        running[os.pidfd_open(pid)] = (pid, says)
        os.write(says, f"{pid}\n".encode())
        for fd in streams:
            os.close(fd)


if __name__ == "__main__":
    for name in NATIVE:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    package = importlib.import_module("assistant")
    for module in pkgutil.walk_packages(package.__path__, "assistant."):
        if not module.name.endswith(".__main__"):
            importlib.import_module(module.name)
    # For good: a child that looked through it once, if only as it ends, would copy all of it.
    gc.freeze()
    try:
        asked = _serve(socket.socket(fileno=int(sys.argv[1])))
    except KeyboardInterrupt:  # meant for the tests, and their end is ours
        asked = None
    if asked is None:
        sys.exit()
    os.environ.clear()
    os.environ.update(asked["env"])
    os.chdir(asked["cwd"])
    sys.path[0] = asked["cwd"]
    sys.argv[1:] = asked["words"]
    code: Any = 0
    try:
        runpy.run_module(asked["module"], run_name="__main__", alter_sys=True)
    except SystemExit as end:
        code = end.code or 0
    sys.stdout.flush()
    sys.stderr.flush()
    if not isinstance(code, int):
        sys.exit(code)
    # What the interpreter does last, but for clearing its memory up: it would copy all of it for that.
    threading._shutdown()  # type: ignore[attr-defined]
    atexit._run_exitfuncs()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code & 0xFF)
