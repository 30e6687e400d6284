"""The process as the system sees it: its standard streams, its file handles, and Ctrl-C.

Like `errors`, this module can be imported from every room. `begin` and `end` are for the program as a whole, so a
caller that runs commands inside its own process, such as a test, doesn't use them. `shielded_from_ctrl_c` is for code
that starts a process.
"""

from __future__ import annotations

import _thread
import atexit
import contextlib
import errno
import io
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any

# What a session with voice, recogniser, microphone, pedal and view keeps open, and what it opens for a moment.
LEAST_HANDLES = 48
ENOUGH_HANDLES = 256
TOO_MANY = (errno.EMFILE, errno.ENFILE)
# What a failed write raises. Adapters word their own file errors, so only those of standard output arrive here.
NOT_WRITTEN = (errno.ENOSPC, errno.EFBIG, errno.EIO, errno.EBADF, getattr(errno, "EDQUOT", errno.ENOSPC))
RAISED_AGAIN_AFTER_S = 0.01  # time for the destructor or callback that dropped it to return
stopped = threading.Event()  # set by a Ctrl-C that no other handler takes
START_S = 5.0  # for a process that another thread is starting as the program ends
COULD_NOT_RUN = 3  # as in `errors`
INTERRUPTED = 130  # the exit code that shells give a program ended by Ctrl-C
CLOSED = "standard output is closed, so nothing can be shown; leave out >&-, or redirect it to a file"
READER_GONE = "the program that read the output has ended; the rest was not written"


def begin() -> str:
    """Make the streams usable, and make sure that no Ctrl-C is lost.

    Returns why the program can't run: no standard output, or too few file handles; else "".
    """
    sys.unraisablehook = _unraisable
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # the shell may have set it to be ignored
        signal.signal(signal.SIGINT, _stop)
    stdout_was_closed = _open_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A plan's names may contain letters that this terminal's encoding lacks: show their codes, don't fail.
            stream.reconfigure(errors="backslashreplace")
    if sys.stderr is not None:
        sys.stderr = _NeverFailingStream(sys.stderr)  # type: ignore[assignment]
    if stdout_was_closed:
        return CLOSED
    taken: list[int] = []
    try:
        with contextlib.suppress(OSError):
            while len(taken) < LEAST_HANDLES:
                taken.append(os.dup(2))  # the limit alone doesn't say how many are open already
    finally:
        for handle in taken:
            os.close(handle)
    if (free := len(taken)) < LEAST_HANDLES:
        return _too_few(f"only {free} more files can be opened here, and {LEAST_HANDLES} are needed")
    return ""


def _stop(number: int, frame: Any) -> None:
    stopped.set()
    if _starting.in_main:
        _starting.late = True
        return
    while frame is not None:
        if frame.f_code is _unraisable.__code__:  # it would be dropped again here
            _raise_ctrl_c_again()
            return
        frame = frame.f_back
    raise KeyboardInterrupt


def is_ctrl_c_in_disguise(error: Exception) -> bool:
    """Whether a library took a Ctrl-C for an error of its own, such as a failed import."""
    return stopped.is_set() and any(isinstance(one, ImportError) for one in _with_causes(error))


def _too_few(what: str) -> str:
    return f"{what}; allow more in this shell with: ulimit -n {ENOUGH_HANDLES}"


def _unraisable(it: Any) -> None:
    """Raises a Ctrl-C again that Python would drop, in a destructor or a callback of the import system."""
    if not (isinstance(it.exc_type, type) and issubclass(it.exc_type, KeyboardInterrupt)):
        sys.__unraisablehook__(it)
        return
    _raise_ctrl_c_again()


def _raise_ctrl_c_again() -> None:
    def later() -> None:
        time.sleep(RAISED_AGAIN_AFTER_S)
        os.kill(os.getpid(), signal.SIGINT)

    _thread.start_new_thread(later, ())  # unlike a thread of `threading`, nothing waits for it


def _open_closed_streams() -> bool:
    """Opens the null device in place of each closed standard stream. Returns whether standard output was closed.

    Otherwise the next file opened would take its place: the journal would be standard output.
    """
    closed = []
    for handle in range(3):
        try:
            os.fstat(handle)
        except OSError:
            closed.append(handle)
            os.open(os.devnull, os.O_RDWR)  # the lowest that is free
            os.set_inheritable(handle, True)
    for handle, name, mode in ((0, "stdin", "r"), (1, "stdout", "w"), (2, "stderr", "w")):
        if handle in closed:
            setattr(sys, name, open(handle, mode, encoding="utf-8", closefd=False))  # noqa: SIM115
    return 1 in closed


class _NeverFailingStream:
    """Standard error, which may be full or have lost its reader: a failed write there must not end the program."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        with contextlib.suppress(OSError):
            self._stream.write(text)
            return len(text)
        _send_nowhere(self._stream)
        return len(text)

    def flush(self) -> None:
        with contextlib.suppress(OSError):
            self._stream.flush()
            return
        _send_nowhere(self._stream)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def explained(error: OSError, finished: int | None, ends_early: int) -> tuple[str, int]:
    """What to say about an error that no adapter has worded, and the exit code.

    finished: the command's own exit code, if only its last words could not be written. ends_early: the exit code if the
    command stopped because nobody reads its output.
    """
    if any(getattr(one, "errno", None) in TOO_MANY for one in _with_causes(error)):
        return _too_few("too many files are open"), COULD_NOT_RUN
    if isinstance(error, BrokenPipeError):
        return READER_GONE, ends_early if finished is None else finished
    why = error.strerror or str(error) or type(error).__name__
    if finished is not None or (error.filename is None and error.errno in NOT_WRITTEN):
        return f"standard output can't be written: {why}; the rest was not written", COULD_NOT_RUN
    return f"{error.filename}: {why}" if error.filename else why, COULD_NOT_RUN


def _with_causes(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__


def end(interrupted: bool) -> None:
    """Say no more: neither a late Ctrl-C nor unwritten output may show a traceback.

    interrupted: by Ctrl-C. The process then ends here. If Ctrl-C came while a module was being created, Python
    remembers it and would end the process by the signal instead of by its exit code.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except (OSError, ValueError):  # ValueError: closed
            _send_nowhere(stream)
    if interrupted:
        # A process still waiting for its orders when this one ends would say so, with a traceback.
        _starting.lock.acquire(timeout=START_S)
        atexit._run_exitfuncs()  # these restore terminals and end child processes
        os._exit(INTERRUPTED)


def _send_nowhere(stream: Any) -> None:
    """Discard what the stream still has to write, so that the interpreter's last flush succeeds."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


class _Starting:
    """lock: held while a process is started. in_main: by the main thread. late: Ctrl-C came meanwhile."""

    def __init__(self) -> None:
        self.lock = threading.RLock()
        self.in_main = self.late = False


_starting = _Starting()


@contextlib.contextmanager
def shielded_from_ctrl_c() -> Iterator[None]:
    """A process started inside this block never sees Ctrl-C, and the starting isn't broken off by it.

    The terminal sends Ctrl-C to the whole process group, and ending the child is our job. The child must also ignore
    the signal itself as soon as it can, because a library may undo the mask.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()  # otherwise multiprocessing starts it inside, and unblocks the signal afterwards
    with _starting.lock:
        # The mask is for the child. It doesn't keep the signal from us: any thread that doesn't block it can take it,
        # and Python then tells the main thread.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        _starting.in_main = threading.current_thread() is threading.main_thread()
        try:
            yield
        finally:
            _starting.in_main = False
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
            if _starting.late:
                _starting.late = False
                raise KeyboardInterrupt
