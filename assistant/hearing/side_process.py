"""Starts a part of hearing in a process of its own, which is talked to over its standard streams, and ends it."""

from __future__ import annotations

import os
import subprocess
import sys

END_S = 1.0  # for the process to end by itself


def started(module: str) -> subprocess.Popen[bytes]:
    """A process that runs `serve()` of this module. It must end when its standard input does."""
    # A test's or an editable install's path to this package is perhaps in no environment variable.
    way = {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    return subprocess.Popen(
        [sys.executable, "-c", f"from {module} import serve; serve()"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=os.environ | way,
        # Ctrl-C goes to the terminal's whole process group, but this process must end with its pipe.
        start_new_session=True,
    )


def wait_for_end(process: subprocess.Popen[bytes]) -> None:
    """Waits until a process whose standard input is closed has ended, and ends it if it doesn't within `END_S`."""
    try:
        process.wait(END_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
