"""What a sound check starts from: what earlier ones have kept. Its results: `tests/commands/test_soundcheck.py`."""

from __future__ import annotations

import io
from pathlib import Path

from assistant.hearing import own_scores
from assistant.hearing.soundcheck import Taken
from assistant.hearing.soundcheck_run import earlier_scores, saw_noise


def test_what_an_earlier_check_left_broken_is_begun_anew_and_said(tmp_path: Path) -> None:
    """Otherwise the remedy that the message names, another sound check, would fail because of the same file."""
    (tmp_path / own_scores.FILE).write_bytes(b"broken")
    (tmp_path / "noise.json").write_text("broken")
    out = io.StringIO()
    assert earlier_scores(tmp_path, out).texts == ()
    taken = Taken("any")
    assert saw_noise(taken, tmp_path, out) == (None, None)
    assert "starting again without them" in out.getvalue() and "going on without the saw's noise" in out.getvalue()
