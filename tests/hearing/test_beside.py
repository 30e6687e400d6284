"""The model's process: the same answers as without it; killed, late or damaged it is lost by name, and in time."""

from __future__ import annotations

import os
import signal
import time

import pytest

from assistant.hearing import beside
from assistant.hearing.beside import Late, ModelLost, ScorerProcess
from tests.hearing.neural_made import folder, said, scorer
from tests.hearing.voices import LEAD_IN, piece, table

TEXTS = said(*table(3))
PIECE = piece("flite:slt", "marigold proceed to next pass")


@pytest.fixture(scope="module")
def process():
    """One for all that don't end it, since loading it takes longer than they do."""
    made = ScorerProcess(folder(), LEAD_IN)
    yield made
    made.close()


def test_it_measures_what_is_measured_here(process):
    here = scorer().measure(PIECE, TEXTS)
    process.begin(PIECE, TEXTS)
    there = process.measured(PIECE, TEXTS)
    assert there.number == here.number and there.free == here.free
    assert there.measures == pytest.approx(here.measures, abs=1.0)
    assert process.cpu_s > 0


def test_a_piece_that_was_begun_and_is_not_wanted_does_not_answer_for_the_next(process):
    process.begin(piece("flite:slt", "how many more to go"), TEXTS)
    found = process.measured(PIECE, TEXTS)
    assert TEXTS[found.number].text == "proceed to next pass"


def test_other_texts_are_sent_on(process):
    assert process.measured(PIECE, TEXTS).number is not None
    assert process.measured(PIECE, TEXTS[-1:]).measures.get("fit", -99) < -10


def test_what_was_made_ready_is_not_sent_again(process, monkeypatch):
    process.prepare(TEXTS)
    sent, send = [], process._send
    monkeypatch.setattr(process, "_send", lambda *message: (sent.append(message[0]), send(*message)))
    assert process.measured(PIECE, TEXTS).number is not None and sent == ["piece"]


def test_a_killed_process_is_lost_at_once_and_by_name():
    process = ScorerProcess(folder(), LEAD_IN)
    os.kill(process.pid, signal.SIGKILL)
    with pytest.raises(ModelLost, match="has stopped"):
        for _ in range(3):
            process.measured(PIECE, TEXTS)
    process.close()


def test_where_somebody_waits_a_late_answer_is_not_waited_for(monkeypatch):
    process = ScorerProcess(folder(), LEAD_IN, live=True)
    try:
        os.kill(process.pid, signal.SIGSTOP)
        with pytest.raises(Late):
            process.measured(PIECE, TEXTS)
        os.kill(process.pid, signal.SIGCONT)
        monkeypatch.setattr(beside, "LATE_S", beside.LONGEST_S)  # a busy machine would be late again
        found = process.measured(piece("flite:slt", "how many more to go"), TEXTS)
        assert TEXTS[found.number].text == "how many more to go", "the late answer is not taken for the next one"
    finally:
        os.kill(process.pid, signal.SIGCONT)
        process.close()


def test_where_nobody_waits_it_may_take_its_time(process):
    os.kill(process.pid, signal.SIGSTOP)
    process.begin(PIECE, TEXTS)
    time.sleep(2 * beside.LATE_S)
    os.kill(process.pid, signal.SIGCONT)
    assert process.measured(PIECE, TEXTS).number is not None


def test_another_file_than_the_limits_were_set_on_is_not_used(tmp_path):
    for path in folder().iterdir():
        (tmp_path / path.name).symlink_to(path)
    (tmp_path / "tokenizer.bin").unlink(missing_ok=True)
    (tmp_path / "tokenizer.bin").write_bytes(b"\x01a")
    with pytest.raises(ModelLost, match="tokenizer.bin is another file"):
        ScorerProcess(tmp_path, LEAD_IN)


def test_it_ends_with_its_owner(process):
    pid = process.pid
    process.close()
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
