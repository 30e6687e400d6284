"""`kerfcall cut`, rehearsed, as a separate process."""

from __future__ import annotations

import socket
import wave
from collections import Counter
from pathlib import Path

from tests.commands.program import CHECKS, FIRST_CALL, SHOP, Workshop
from tests.plans.files import DEMO

WHOLE = (
    FIRST_CALL
    + """\
10 pedal tap
20 pedal tap
30 pedal hold
31 pedal hold
40 pedal tap
50 pedal tap
60 heard marigold saw is off and all are counted
"""
)


def test_a_whole_job_is_cut_and_finished(workshop: Workshop) -> None:
    done = workshop.cut(WHOLE)
    assert done.code == 0, done.err
    assert done.facts == [
        ("started",),
        ("setup_started", 1),
        ("check_opened", 1, "clamps"),
        ("check_confirmed", 1, "clamps", "voice"),
        ("check_opened", 1, "guard"),
        ("check_confirmed", 1, "guard", "voice"),
        ("check_opened", 1, "blade height"),
        ("check_confirmed", 1, "blade height", "voice"),
        ("setting_called", 1, 1),
        ("pass_cut", 1, 1, "pedal"),
        ("setting_called", 1, 2),
        ("pass_cut", 1, 2, "pedal"),
        ("check_opened", 1, "saw off"),
        ("check_confirmed", 1, "saw off", "pedal"),
        ("setup_done", 1),
        ("setup_started", 2),
        ("check_opened", 2, "clamps and guard"),
        ("check_confirmed", 2, "clamps and guard", "pedal"),
        ("setting_called", 2, 1),
        ("pass_cut", 2, 1, "pedal"),
        ("setting_called", 2, 2),
        ("pass_cut", 2, 2, "pedal"),
        ("check_opened", 2, "saw off"),
        ("check_confirmed", 2, "saw off", "voice"),
        ("setup_done", 2),
        ("finished",),
    ]


def test_what_is_said_in_a_whole_job(workshop: Workshop) -> None:
    said = workshop.cut(WHOLE).said
    assert said[0].startswith("Kerfcall never stops the saw.")
    assert said[5] == "Set the carriage, start the saw, cut, draw back clear and tap. Nine point one six."
    assert said[6] == "One two point zero two."
    assert said[7] == "Saw off and stopped? Count one."
    assert said[8].startswith("Setup two of two: long side, part A, end two down."), "the next board comes after that"
    assert said[-2] == "Saw off and stopped? Count one."
    assert said[-1] == "All cut. Isolate the saw and refit the riving knife and guard."


def test_a_setup_is_done_only_when_the_blade_had_time_to_stop_and_the_sockets_were_counted(
    workshop: Workshop,
) -> None:
    """The next board is not named until ten seconds, the default run-down, after the last tap."""
    cut = FIRST_CALL + "10 pedal tap\n20 pedal tap\n"
    early = workshop.cut(cut + "29.9 pedal hold\n60 pedal tap\n")
    assert early.facts[-1] == ("check_opened", 1, "saw off")
    assert "Not counted: the blade takes 10 seconds to stop. Wait, count, then confirm." in early.said
    assert not any(text.startswith("Setup two of two") for text in early.said)
    done = workshop.cut(cut + "30 pedal hold\n")
    assert done.facts[-4:-1] == [("check_confirmed", 1, "saw off", "pedal"), ("setup_done", 1), ("setup_started", 2)]


def test_a_longer_run_down_of_the_shop_file_is_waited_for(workshop: Workshop) -> None:
    workshop.write("shop.toml", SHOP + "run_down_s = 25\n")
    done = workshop.cut(FIRST_CALL + "10 pedal tap\n20 pedal tap\n30 pedal hold\n44.9 pedal hold\n45 pedal hold\n")
    confirmed = [line["at"] for line in done.lines if line["kind"] == "check_confirmed" and line["check"] == "saw off"]
    assert confirmed == [45.0], "not the hold 10 s after the last tap"


def test_tea_trays_with_the_default_checks_ask_twenty_three_times(workshop: Workshop) -> None:
    """Every question wears out the next one's hearing, so there are as few as safety lets there be."""
    workshop.write("shop.toml", 'unit = "mm"\n[blade]\nkerf = 3.18\n')
    gestures = [one for checks in (6, 2, 2, 2, 3, 2) for one in (*["hold"] * checks, *["tap"] * 14, "hold")]
    workshop.write("script.txt", "".join(f"{12 * n} pedal {one}\n" for n, one in enumerate(gestures, 1)))
    plan = str(DEMO / "tea-trays.toml")
    words = ("cut", plan, "--shop", "shop.toml", "--state", "state", "--rehearse", "script.txt")
    done = workshop.run(*words)
    assert done.code == 0, done.err
    names = [fact[2] for fact in done.facts if fact[0] == "check_opened"]
    assert Counter(names) == {
        "zero": 1,
        "edge and face": 6,
        "clamps": 1,
        "guard": 1,
        "clamps and guard": 5,
        "blade height": 1,
        "backing": 2,
        "saw off": 6,
    }
    assert len(names) == 23


def test_every_line_is_json_with_the_same_head_and_time_never_falls(workshop: Workshop) -> None:
    lines = workshop.cut(WHOLE).lines
    assert all({"at", "session", "type", "kind"} <= line.keys() for line in lines)
    assert {line["type"] for line in lines} == {"event", "fact", "effect"}
    times = [line["at"] for line in lines]
    assert times == sorted(times)


def test_facts_of_an_event_come_before_its_effects(workshop: Workshop) -> None:
    order = [line["type"] for line in workshop.cut(FIRST_CALL).lines]
    ranks = [{"event": 0, "fact": 1, "effect": 2}[kind] for kind in order]
    turns = "".join(map(str, ranks)).split("0")[1:]
    assert all(turn == "".join(sorted(turn)) for turn in turns)


def test_a_script_that_runs_out_leaves_the_session_open(workshop: Workshop) -> None:
    assert workshop.cut(FIRST_CALL).code == 1
    assert workshop.export()["state"] == "open"


def test_ended_early(workshop: Workshop) -> None:
    done = workshop.cut(FIRST_CALL + "10 heard marigold finish the session\n12 heard marigold affirm that is right\n")
    assert done.code == 1
    assert done.facts[-1] == ("ended_early", 1, 1)
    assert workshop.export()["state"] == "ended early"


def test_a_read_back_times_out_between_two_script_lines(workshop: Workshop) -> None:
    done = workshop.cut(FIRST_CALL + "10 pedal tap\n15 heard marigold return to previous\n31 pedal hold\n")
    assert ("stood_by",) in [fact[:1] for fact in done.facts], "the hold came after the question had become a no"
    assert not [fact for fact in done.facts if fact[0] == "stepped_back"]


def test_a_tap_too_soon_is_not_counted(workshop: Workshop) -> None:
    done = workshop.cut(FIRST_CALL + "6.9 pedal tap\n7 pedal tap\n")
    assert [fact for fact in done.facts if fact[0] == "pass_cut"] == [("pass_cut", 1, 1, "pedal")]


def test_words_that_are_no_phrase_are_shown_and_change_nothing(workshop: Workshop) -> None:
    done = workshop.cut("1 heard all clamps are secure\n2 heard open the window\n")
    assert [fact[0] for fact in done.facts] == ["started", "setup_started", "check_opened"]
    assert sum(line["kind"] == "not_heard" for line in done.lines) == 2


def test_the_export_agrees_with_what_was_printed(workshop: Workshop) -> None:
    done = workshop.cut(WHOLE)
    exported = workshop.export()
    printed = [(line["kind"], line.get("setup"), line.get("pass")) for line in done.lines if line["type"] == "fact"]
    assert [(r["kind"], r.get("setup"), r.get("pass")) for r in exported["records"]] == printed
    assert exported["state"] == "finished"


def test_a_script_may_press_the_terminals_keys(workshop: Workshop) -> None:
    """Gestures, phrases, a number typed key by key, one kept down that counts once, and leaving."""
    confirmed = "1 key h\n2 key h\n3 key h\n"
    cut = "10 key space\n10.3 key space\n20 key +\n21 key <\n"
    to_pass = "30 key g\n31 key 1\n32 key enter\n33 key y\n40 key q\n41 pedal tap\n"
    done = workshop.cut(confirmed + cut + to_pass)
    assert done.code == 1, done.err
    assert {fact[3] for fact in done.facts if fact[0] == "check_confirmed"} == {"keys"}
    assert [fact for fact in done.facts if fact[0] == "pass_cut"] == [("pass_cut", 1, 1, "keys")]
    assert [fact[0] for fact in done.facts].count("jumped") == 1
    voices = [line for line in done.lines if line["type"] == "effect" and line["kind"] == "set_voice"]
    assert [(line["loudness_db"], line["rate"]) for line in voices][-2:] == [(3, 175), (3, 156)]
    assert (done.lines[-1]["at"], workshop.export()["state"]) == (40, "open")


def test_a_scripts_keys_change_the_job(workshop: Workshop) -> None:
    """One more copy of the first setup's board, read back and confirmed."""
    copied = "1 key s\n2 key j\n2.2 key 1\n2.4 key k\n4 key y\n9 key q\n"
    done = workshop.cut(copied)
    assert done.code == 1, done.err
    assert [fact[0] for fact in done.facts].count("job_extended") == 1


def test_every_fault_of_plan_shop_script_and_options_at_once(workshop: Workshop) -> None:
    workshop.write("plan.toml", 'unit = "mm"\n[stock]\nwidth = -3\nthicknes = 10\n')
    workshop.write("shop.toml", 'unit = "mm"\n[blade]\nkerf = true\n')
    done = workshop.cut("soon pedal tap\n3 pedal kick\n", "--no-voice", "--speaker", "x.wav", "--loudspeaker", "x")
    assert done.code == 2 and done.out == ""
    for part in ("stock.width", "thicknes", "joint", "blade.kerf", "line 1", "line 2", "--no-voice", "--loudspeaker"):
        assert part in done.err, f"{part} is not among:\n{done.err}"


def test_a_phrase_that_could_be_taken_for_another_begins_no_session(workshop: Workshop) -> None:
    shop = (workshop.folder / "shop.toml").read_text("utf-8")
    workshop.write("shop.toml", shop + '[[phrases]]\nintent = "cut"\nadd = ["return to the previous"]\n')
    done = workshop.cut(FIRST_CALL)
    assert done.code == 2 and done.out == "" and workshop.sessions() == []
    assert 'shop.toml: phrases[1].add: sounds too much like "return to previous" for "back"' in done.err


def test_no_plan_no_shop_no_script(workshop: Workshop) -> None:
    done = workshop.run("cut", "none.toml", "--shop", "nowhere.toml", "--rehearse", "never.txt")
    assert done.code == 2
    assert all(name in done.err for name in ("none.toml", "nowhere.toml", "never.txt"))


def test_nothing_to_drive_it_is_said(workshop: Workshop) -> None:
    done = workshop.run("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--no-voice", "--no-pedal")
    assert done.code == 3
    assert "nothing can control the session" in done.err
    assert workshop.sessions() == []


def test_a_session_whose_page_can_not_be_served_leaves_nothing_in_the_journal(workshop: Workshop) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        words = ("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--page", "--port", port)
        done = workshop.run(*words, "--no-voice")
    assert done.code == 3 and port in done.err
    assert workshop.sessions() == []


def test_a_session_refused_after_another_leaves_that_one_alone(workshop: Workshop) -> None:
    assert workshop.cut(FIRST_CALL).code == 1
    begun = workshop.sessions()
    assert len(begun) == 1
    workshop.run("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--no-voice", "--no-pedal")
    assert workshop.sessions() == begun


def test_ears_without_a_microphone_drive_nothing(workshop: Workshop) -> None:
    """A recogniser is there, but no microphone, terminal or display: it must not wait for ever."""
    workshop.write("no-sound.conf", "")
    silent = {"ALSA_CONFIG_PATH": str(workshop.folder / "no-sound.conf"), "PULSE_SERVER": "unix:no-server"}
    done = workshop.run("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", **silent)
    assert done.code == 3, done.out
    assert "nothing can control the session" in done.err
    assert "work on" not in done.out


def test_announcements_are_written_to_the_speaker_file_in_order(workshop: Workshop, tmp_path: Path) -> None:
    """Every announcement sounds, one after another, as long as its events say; the file is as long as the session."""
    # Spaced so that no announcement is cut off: the longest take half a minute.
    times = iter(range(60, 1000, 60))
    script = "".join(f"{next(times)} heard marigold {answer}\n" for answer in CHECKS)
    script += "".join(
        f"{next(times)} pedal {gesture}\n" for gesture in ("tap", "tap", "hold", "hold", "tap", "tap", "hold")
    )
    done = workshop.cut(script, "--speaker", "said.wav")
    assert done.code == 0, done.err
    with wave.open(str(tmp_path / "said.wav"), "rb") as wav:
        rate, raw = wav.getframerate(), wav.readframes(wav.getnframes())
    started = {line["id"]: line["at"] for line in done.lines if line["kind"] == "speech_started"}
    ended = {line["id"]: (line["at"], line["how"]) for line in done.lines if line["kind"] == "speech_ended"}
    says = [(line["id"], line["text"]) for line in done.lines if line["type"] == "effect" and line["kind"] == "say"]
    assert list(started) == [id for id, _ in says], "in the order they were said"
    samples = memoryview(raw).cast("h")
    for id, text in says:
        begin, (end, how) = started[id], ended[id]
        assert how == "whole"
        words = len(text.split())
        assert 0.15 * words < end - begin < 1.0 * words + 1, f"{text!r} took {end - begin:.2f} s"
        piece = samples[round(begin * rate) : round(end * rate)]
        assert max(map(abs, piece)) > 3000, f"{text!r} is silent"
    assert len(samples) / rate >= max(end for end, _ in ended.values()) - 0.01


def test_speech_takes_its_time_in_real_time_only(workshop: Workshop) -> None:
    workshop.write("shop.toml", SHOP + "[voice]\nspeech_rate = 450\n")  # all of it is waited for

    def first_took(*more: str) -> float:
        done = workshop.cut("0.5 pedal double\n2 pedal tap\n", *more)
        times = {line["kind"]: line["at"] for line in done.lines if line.get("id") == "a4"}
        return float(times["speech_ended"] - times["speech_started"])

    assert first_took() == 0 < first_took("--real-time")


LINED_PLAN = """
title = "Small case"
unit = "mm"
[stock]
width = 45
thickness = 10
[joint]
layout = "lined"
finger = 15
[lining]
parts = ["A"]
thickness = 1.5
[[boards]]
name = "long side"
part = "A"
[[boards]]
name = "short side"
part = "B"
"""


LED_ON = "".join(f"{5 * n} pedal {('tap', 'double', 'hold')[n % 3]}\n" for n in range(1, 700))
"""In turn: a tap cuts, and a hold confirms. Where it stands by instead, the next tap asks what went wrong, the
double tap answers that nothing did, and the next hold carries on.
"""


def test_a_lined_joint_is_cut_in_two_stages_with_the_glue_in_between(workshop: Workshop) -> None:
    workshop.write("plan.toml", LINED_PLAN)
    script = LED_ON
    done = workshop.cut(script)
    assert done.code == 0, done.err
    setups = [(line["setup"]) for line in done.lines if line["kind"] == "setup_started"]
    assert setups == [1, 2, 3, 4]
    kinds = [fact[0] for fact in done.facts]
    ready = kinds.index("stage_ready")
    assert kinds.count("stage_ready") == 1
    assert ("setup_done", 2) in done.facts[:ready] and ("setup_done", 3) not in done.facts[:ready]
    settings = [index for index, fact in enumerate(done.facts) if fact[:2] == ("setting_called", 3)]
    assert ready < settings[0], "no final socket is cut before the glue is dry and trimmed"
    said = " ".join(done.said)
    assert "long side blank, part A blank" in said
    assert "Stage one is done. Glue each blank into its board" in said
    assert "Glue dry overnight" in said


def test_a_session_left_to_dry_is_resumed_the_next_day(workshop: Workshop) -> None:
    workshop.write("plan.toml", LINED_PLAN)
    script = LED_ON
    stopped = workshop.cut(script.replace("\n300 pedal", "\n300 interrupt\n300 pedal"))
    assert stopped.facts and stopped.facts[-1][0] != "finished"
    done = workshop.resume(script)
    assert done.code == 0
    exported = workshop.export()
    cut = [(r["setup"], r["pass"]) for r in exported["records"] if r["kind"] == "pass_cut"]
    assert len(cut) == len(set(cut)) and exported["state"] == "finished"
