"""A download's progress: one line on a terminal, a few lines elsewhere."""

from __future__ import annotations

import io

from assistant.screens.download_bar import BAR_CELLS, DownloadBar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_on_a_terminal_the_bar_stays_on_one_line_and_fills() -> None:
    out = Terminal()
    bar = DownloadBar(out)
    for done in (0, 500_000, 1_000_000):
        bar.show(done, 1_000_000)
    bar.end()
    bar.end()
    text = out.getvalue()
    assert text.count("\n") == 1 and text.endswith("\n")
    assert text.rsplit("\r", 1)[1] == f"[{'#' * BAR_CELLS}]   1.0 of 1.0 MB, 100 %\n"
