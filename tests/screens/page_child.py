"""A bench page in a separate process that the test kills. It prints its port and pairing code, then waits."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

from tests.screens.page_made import made


def main(folder: str, port: str) -> None:
    with made(Path(folder), port=int(port)) as one:
        print(json.dumps({"port": one.port, "code": one.page.codes.begin()}), flush=True)
        time.sleep(60)


if __name__ == "__main__":
    main(*sys.argv[1:])
