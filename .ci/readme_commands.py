"""Prints the README's N-th `sh` block, so that CI runs what a reader would copy."""

import re
import sys
from pathlib import Path

blocks = re.findall(r"```sh\n(.*?)```", Path("README.md").read_text(encoding="utf-8"), re.S)
print(blocks[int(sys.argv[1]) - 1].strip())
