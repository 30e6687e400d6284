"""The process as the system sees it: its standard streams, its file handles, and Ctrl-C.

Like `errors`, this may be imported from every room. Nothing here is done for a caller within a process, such as a test:
`begin` and `end` are for the program as a whole, and `shielded_from_ctrl_c` for those who start a process.
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

# What a session with voice, recogniser, microphone, pedal and view holds at once, and what it opens for a moment.
LEAST_HANDLES = 48
ENOUGH_HANDLES = 256
TOO_MANY = (errno.EMFILE, errno.ENFILE)
# What a write fails with; those of files come in their adapter's words, so that only standard output's come bare.
NOT_WRITTEN = (errno.ENOSPC, errno.EFBIG, errno.EIO, errno.EBADF, getattr(errno, "EDQUOT", errno.ENOSPC))
RAISED_AGAIN_AFTER_S = 0.01  # time for the destructor or callback that dropped it to return
stopped = threading.Event()  # by Ctrl-C, while nothing else minds the signal
COULD_NOT_RUN = 3  # as in `errors`
INTERRUPTED = 130  # as a shell has it of a program that Ctrl-C ended
CLOSED = "standard output is closed, so that nothing can be shown; leave out >&-, or send it to a file"
READER_GONE = "the reader of the output is gone; the rest of it was left out"


def begin() -> str:
    """Make the streams usable, and see that a Ctrl-C is never lost.

    Returns why the program can't run: without a standard output, or where too few files may be opened; else "".
    """
    sys.unraisablehook = _unraisable
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # not where the shell has it ignored
        signal.signal(signal.SIGINT, _stop)
    stdout_was_closed = _open_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A plan's names may hold letters that this terminal's encoding lacks: show their codes rather than fail.
            stream.reconfigure(errors="backslashreplace")
    if sys.stderr is not None:
        sys.stderr = _NeverFailingStream(sys.stderr)  # type: ignore[assignment]
    if stdout_was_closed:
        return CLOSED
    taken: list[int] = []
    try:
        with contextlib.suppress(OSError):
            while len(taken) < LEAST_HANDLES:
                taken.append(os.dup(2))  # the limit alone says nothing of how many are open already
    finally:
        for handle in taken:
            os.close(handle)
    if (free := len(taken)) < LEAST_HANDLES:
        return _too_few(f"only {free} more files may be opened here, and {LEAST_HANDLES} are needed")
    return ""


def _stop(number: int, frame: Any) -> None:
    stopped.set()
    while frame is not None:
        if frame.f_code is _unraisable.__code__:  # where it would be dropped once more
            _raise_ctrl_c_again()
            return
        frame = frame.f_back
    raise KeyboardInterrupt


def is_ctrl_c_in_disguise(error: Exception) -> bool:
    """Whether this came of a Ctrl-C that a library took for an error of its own, as a failing import."""
    return stopped.is_set() and any(isinstance(one, ImportError) for one in _with_causes(error))


def _too_few(what: str) -> str:
    return f"{what}; allow more, in this shell with: ulimit -n {ENOUGH_HANDLES}"


def _unraisable(it: Any) -> None:
    """Where Python would drop a Ctrl-C, in a destructor or a callback of the import system, it comes again."""
    if not (isinstance(it.exc_type, type) and issubclass(it.exc_type, KeyboardInterrupt)):
        sys.__unraisablehook__(it)
        return
    _raise_ctrl_c_again()


def _raise_ctrl_c_again() -> None:
    def later() -> None:
        time.sleep(RAISED_AGAIN_AFTER_S)
        os.kill(os.getpid(), signal.SIGINT)

    _thread.start_new_thread(later, ())  # unlike that of `threading`, it waits for nothing


def _open_closed_streams() -> bool:
    """Put the null device where a standard stream is closed. Returns whether standard output was.

    Else the next file opened would be taken for it, the journal for standard output.
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
    """Standard error, which may be full or its reader gone: what can't be written there ends nothing."""

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
    """What to say of an error that nobody else has put into words, and the exit code.

    finished: the command's own exit code, where only its last words could not be written. ends_early: the code where it
    was broken off because nobody reads what it shows.
    """
    if any(getattr(one, "errno", None) in TOO_MANY for one in _with_causes(error)):
        return _too_few("too many files are open"), COULD_NOT_RUN
    if isinstance(error, BrokenPipeError):
        return READER_GONE, ends_early if finished is None else finished
    why = error.strerror or str(error) or type(error).__name__
    if finished is not None or (error.filename is None and error.errno in NOT_WRITTEN):
        return f"standard output can't be written: {why}; the rest of it was left out", COULD_NOT_RUN
    return f"{error.filename}: {why}" if error.filename else why, COULD_NOT_RUN


def _with_causes(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__


def end(interrupted: bool) -> None:
    """No more words: neither a late Ctrl-C nor what a stream still holds is to bring a traceback.

    interrupted: by Ctrl-C. The process then ends here: a Ctrl-C that came while a module was made, of which Python
    keeps a note, would end it by the signal in place of its exit code.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except (OSError, ValueError):  # ValueError: closed
            _send_nowhere(stream)
    if interrupted:
        atexit._run_exitfuncs()  # terminals are restored, and children ended
        os._exit(INTERRUPTED)


def _send_nowhere(stream: Any) -> None:
    """What it holds goes nowhere, so that the interpreter's last flush succeeds."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


@contextlib.contextmanager
def shielded_from_ctrl_c() -> Iterator[None]:
    """A process started within does not see Ctrl-C from its first moment on.

    The terminal sends it to the whole group, and it is for us to end the process. As soon as it can, the process is to
    ignore the signal itself: a library may undo the mask.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()  # else multiprocessing starts it within, and unblocks the signal after that
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
