"""The test joint before a job of which no joint is known: offered, skipped, cut, judged, and corrected."""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest

from assistant.__main__ import main
from assistant.commands.test_joint import OfferAnswer, choice, judge
from assistant.journal.store import Journal
from assistant.plans.intents import Intent, Mode
from assistant.plans.mishaps import Mishap
from assistant.plans.plan_file import read_both, read_plan
from assistant.plans.shop_writer import read_history
from assistant.plans.test_joint import build_test_joint
from assistant.session.announced import READING_S
from assistant.session.facts import Finished, Record, Started
from tests.commands.program import PLAN as ONE_PART
from tests.commands.program import SHOP, Done, Workshop
from tests.session.driver import UTC, Driver

MATE = '[[boards]]\nname = "short side"\npart = "B"\n'
PLAN = ONE_PART.replace("finger = 6", "finger = 6\nclearance = 0.1") + MATE
CHERRY = PLAN.replace("thickness = 10", 'thickness = 10\nspecies = "black cherry"')
KEPT_OUT = ["--no-voice", "--no-pedal"]
MISSING = "!! No joint is known that was cut with this blade with a clearance of 0.1 mm. To cut a test joint first: "
# A tap records what is called, a hold confirms what is asked. Where it stands by instead, the tap asks what went wrong,
# the double tap answers that nothing did, and the next hold carries on.
TAPS = "".join(f"{12 * n} pedal {('tap', 'double', 'hold')[n % 3]}\n" for n in range(1, 450))


@pytest.fixture(autouse=True)
def two_parts(workshop: Workshop) -> None:
    workshop.write("plan.toml", PLAN)


def report(workshop: Workshop, *words: str) -> None:
    done = workshop.run("calibrate", "fit", "--shop", "shop.toml", "--plan", "plan.toml", *words)
    assert done.code == 0, done.err


def live(workshop: Workshop) -> list[str]:
    """What a live run without a terminal says of earlier joints. It begins no session: nothing can control it."""
    done = workshop.run("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", *KEPT_OUT)
    assert done.code == 3 and "nothing can control the session" in done.err
    return [line for line in done.err.splitlines() if "joint" in line]


def kinds(done: Done) -> list[str]:
    return [fact[0] for fact in done.facts]


# Without a terminal.


def test_where_nobody_is_there_to_answer_a_line_says_what_is_missing(workshop: Workshop) -> None:
    assert live(workshop) == [f"{MISSING}kerfcall cut plan.toml --shop shop.toml --test-joint"]


def test_a_rehearsal_goes_on_as_ever(workshop: Workshop) -> None:
    done = workshop.cut("1 pedal tap\n")
    assert (kinds(done)[:2], done.err) == (["started", "setup_started"], "")


def test_skipping_is_one_answer_and_is_journalled_right_after_the_start(workshop: Workshop) -> None:
    done = workshop.cut("1 pedal tap\n", "--no-test-joint")
    assert kinds(done)[:3] == ["started", "test_joint_skipped", "setup_started"]
    assert done.err == ""
    exported = workshop.export()["records"]
    assert [record["kind"] for record in exported[:2]] == ["started", "test_joint_skipped"]
    shown = workshop.run("journal", "show", "--state", "state").out
    assert "test joint skipped: no joint of this blade, wood and clearance was known" in shown
    resumed = workshop.resume("1 pedal tap\n")
    assert resumed.code == 1 and "test_joint_skipped" not in kinds(resumed), "it is read back, and not written again"


def test_the_test_joint_is_a_session_of_its_own(workshop: Workshop) -> None:
    workshop.write("plan.toml", PLAN.replace("width = 18", "width = 60"))
    done = workshop.cut(TAPS, "--test-joint")
    assert done.code == 0, done.err
    assert "report" not in done.err, "no wood was cut"
    assert kinds(done)[-1] == "finished" and "test_joint_skipped" not in kinds(done)
    assert [fact for fact in done.facts if fact[0] == "setup_started"] == [("setup_started", 1), ("setup_started", 2)]
    assert "Setup one of two: test piece A, part A, end one down." in " ".join(done.said)
    assert "test piece B" in " ".join(done.said)
    (session,) = workshop.sessions()
    assert session["title"] == "Test joint: Small tray" and session["state"] == "finished"
    called = [record["setting"] for record in workshop.export()["records"] if record["kind"] == "setting_called"]
    boards = workshop.cut(TAPS)
    of_boards = [line["setting"] for line in boards.lines if line["kind"] == "setting_called" and line["setup"] == 1]
    assert called[:5] == of_boards[:5] != [], "the boards' own settings"


def test_what_is_known_is_neither_offered_nor_skipped(workshop: Workshop) -> None:
    report(workshop, "--too-tight", "0")
    assert live(workshop) == []
    done = workshop.cut("1 pedal tap\n", "--no-test-joint")
    assert (kinds(done)[:2], done.err) == (["started", "setup_started"], "")
    assert workshop.cut(TAPS, "--test-joint").code == 0, "it can always be cut"
    workshop.write("plan.toml", CHERRY)
    assert "this blade in black cherry with a clearance of 0.1 mm" in live(workshop)[0]


@pytest.mark.parametrize(
    ("words", "how"),
    [
        (("--too-tight", "0.05"), "was too tight by 0.05 mm"),
        (("--too-loose", "0.03"), "was too loose by 0.03 mm"),
        (("--gap", "0.16"), "had a gap of 0.16 mm"),
    ],
)
def test_a_joint_that_did_not_fit_is_named(workshop: Workshop, words: tuple[str, str], how: str) -> None:
    report(workshop, *words)
    assert live(workshop)[0].startswith(f"!! The last joint cut with this blade with a clearance of 0.1 mm {how}.")


LINED = PLAN.replace('layout = "even"', 'layout = "lined"').replace("= 6", "= 15").replace("= 18", "= 45")
LINED += '[lining]\nparts = ["A"]\nthickness = 1.5\n'


@pytest.mark.parametrize("plan", [ONE_PART, LINED], ids=["one part", "lined"])
def test_other_plans_get_no_offer(workshop: Workshop, plan: str) -> None:
    workshop.write("plan.toml", plan)
    done = workshop.cut("1 pedal tap\n", "--no-test-joint")
    assert kinds(done)[:2] == ["started", "setup_started"]
    assert live(workshop) == []
    refused = workshop.cut("1 pedal tap\n", "--test-joint")
    assert refused.code == 2
    assert "--test-joint: is only for joints of a part A and a part B, cut in one stage" in refused.err


def test_options_at_odds_are_named_among_all_faults(workshop: Workshop) -> None:
    workshop.write("shop.toml", "unit = 3\n")
    done = workshop.cut("1 pedal kick\n", "--test-joint", "--no-test-joint")
    assert done.code == 2 and "--test-joint: does another thing than --no-test-joint" in done.err
    assert "blade" in done.err and "line 1" in done.err


def test_a_history_that_can_not_be_read_costs_the_offer_alone(workshop: Workshop) -> None:
    workshop.write("shop.history.jsonl", "[]\n")
    assert live(workshop)[0].startswith("!! No earlier joint can be looked up: shop.history.jsonl, line 1 is damaged")
    done = workshop.cut("1 pedal tap\n", "--no-test-joint")
    assert kinds(done)[:2] == ["started", "setup_started"], "nobody knows whether there was anything to skip"


def test_the_kerfs_age_is_said_at_the_start(workshop: Workshop) -> None:
    never = "Kerf three point one eight millimetres, never measured; clearance zero point one millimetres."
    assert never in workshop.cut("1 pedal tap\n").said[0]
    spacings = ("5", "8", "12", "20", "30")
    readings = [f"{x}={float(x) - 3.18:.2f}" for x in spacings]
    words = [word for reading in readings for word in ("--reading", reading)]
    done = workshop.run("calibrate", "kerf", "--shop", "shop.toml", "--yes", *words)
    assert done.code == 0, done.err
    assert "Kerf three point one eight millimetres, measured today;" in workshop.cut("1 pedal tap\n").said[0]


# At a terminal.


class Bench:
    """Plan, shop and journal in a folder, and answers typed at a terminal."""

    def __init__(self, workshop: Workshop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
        self.folder, self._monkeypatch, self._capsys = workshop.folder, monkeypatch, capsys
        self.plan, self.shop = self.folder / "plan.toml", self.folder / "shop.toml"
        state = self.folder / "state"
        options: dict[str, Any] = {"plan": self.plan, "shop": self.shop, "state": state}
        self.args = argparse.Namespace(**options, test_joint=False, no_test_joint=False, rehearse=None, mic=None)

    def types(self, typed: str) -> None:
        class Terminal(io.StringIO):
            def isatty(self) -> bool:
                return True

        self._monkeypatch.setattr(sys, "stdin", Terminal(typed))

    @property
    def shown(self) -> str:
        return " ".join(self._capsys.readouterr().out.split())

    @property
    def said_aside(self) -> str:
        return " ".join(self._capsys.readouterr().err.split())

    def choose(self, typed: str) -> OfferAnswer:
        self.types(typed)
        return choice(self.args, *read_both(self.plan, self.shop))

    def cut_test_joint(self) -> None:
        """As though it had been cut just now."""
        job, _ = build_test_joint(*read_both(self.plan, self.shop))
        with Journal.open(self.folder / "state") as journal:
            session = journal.new_session(job.title, job.plan_digest, str(self.plan), "2026-11-25T10:00:00Z")
            facts = (Started(job), Finished())
            journal.append(
                session, [Record(n, float(n), "2026-11-25T10:00:00Z", fact) for n, fact in enumerate(facts, 1)]
            )

    def judge(self, typed: str) -> str:
        """What is shown after a test joint that was cut just now."""
        self.cut_test_joint()
        self.types(typed)
        judge(self.args, *read_both(self.plan, self.shop))
        return self.shown


@pytest.fixture
def bench(workshop: Workshop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Bench:
    return Bench(workshop, monkeypatch, capsys)


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("t\n", OfferAnswer.CUT),
        ("Test joint\n", OfferAnswer.CUT),
        ("s\n", OfferAnswer.SKIP),
        ("n\n", OfferAnswer.LEAVE),
        ("not now\n", OfferAnswer.LEAVE),
        ("perhaps\n\nskip\n", OfferAnswer.SKIP),
        ("", OfferAnswer.LEAVE),
    ],
)
def test_three_answers(bench: Bench, typed: str, wanted: OfferAnswer) -> None:
    assert bench.choose(typed) == wanted
    assert "Cut the test joint (t), skip it (s), or not now (n)?" in bench.shown


def test_the_offer_says_why_and_which_offcuts_it_takes(bench: Bench) -> None:
    bench.plan.write_text(CHERRY.replace("width = 18", "width = 60"), encoding="utf-8")
    bench.choose("n\n")
    shown = bench.shown
    assert "No joint is known that was cut with this blade in black cherry with a clearance of 0.1 mm." in shown
    assert "It is the first three fingers of A and B, at the same blade height and with the same backing" in shown
    assert "36 mm wide and at least 200 mm long" in shown
    bench.plan.write_text(CHERRY, encoding="utf-8")
    bench.choose("n\n")
    assert "It is the joint over its full width" in (shown := bench.shown) and "18 mm wide" in shown


def test_where_the_travel_ends_before_the_third_finger_the_boards_are_cut_all_the_same(bench: Bench) -> None:
    """In two halves; a test joint has only the first."""
    bench.plan.write_text(PLAN.replace("width = 18", "width = 44"), encoding="utf-8")
    shop = SHOP + "[carriage]\ntravel = [0, 24]\ndistance_piece = 22.5\n"
    bench.shop.write_text(shop, encoding="utf-8")
    assert bench.choose("t\n") == OfferAnswer.NOT_ASKED
    assert "does not reach the first three fingers" in bench.said_aside


def test_leaving_starts_no_session(bench: Bench) -> None:
    bench.types("n\n")
    words = ["cut", str(bench.plan), "--shop", str(bench.shop), "--state", str(bench.args.state)]
    assert main([*words, *KEPT_OUT]) == 1
    assert "-- No session was started." in bench.shown
    with Journal.open(bench.args.state) as journal:
        assert journal.sessions() == []


def test_ctrl_c_at_the_question_starts_none_either(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(_: str) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", stop)
    with pytest.raises(KeyboardInterrupt, match="no session was started"):
        bench.choose("")


def test_a_rehearsal_asks_nothing_at_a_terminal_either(bench: Bench) -> None:
    bench.args.rehearse = bench.folder / "script.txt"
    assert bench.choose("t\n") == OfferAnswer.NOT_ASKED
    assert bench.shown == ""


def test_a_test_joint_that_is_right_ends_the_offers(bench: Bench) -> None:
    shown = bench.judge("right\n")
    assert "Noted: Test joint: Small tray, right." in shown
    assert f"The test joint is right. Cut the boards with: kerfcall cut {bench.plan} --shop {bench.shop}" in shown
    (noted,) = read_history(bench.shop)
    assert (noted.data["session"], noted.data["written"], noted.data["kerf"]) == ("2026-11-25-1", "1/10", "159/50")
    assert bench.choose("") == OfferAnswer.NOT_ASKED and bench.shown == ""


def test_one_that_is_not_right_shows_the_old_and_the_new_clearance_and_changes_the_plan_on_a_yes(bench: Bench) -> None:
    before = bench.plan.read_text("utf-8")
    shown = bench.judge("tight 0.05\nno\n")
    assert 'Its plan has a clearance of 0.1 mm. In the next plan, write: clearance = "0.15 mm"' in shown
    assert (
        'Write clearance = "0.15 mm" into plan.toml (it is 0.1 mm)? Type yes or no: plan.toml was not changed.' in shown
    )
    assert bench.plan.read_text("utf-8") == before
    assert bench.choose("n\n") == OfferAnswer.LEAVE
    better = f"For a better clearance: kerfcall calibrate fit --plan {bench.plan} --shop {bench.shop}"
    assert f"was too tight by 0.05 mm. {better}" in bench.shown
    shown = bench.judge("tight 0.05 mm\nyes\n")
    assert 'plan.toml: joint.clearance = "0.15 mm". Cut another test joint with: kerfcall cut' in shown
    assert bench.plan.read_text("utf-8") == before.replace("clearance = 0.1", 'clearance = "0.15 mm"')
    assert bench.choose("n\n") == OfferAnswer.LEAVE, "no joint with this clearance is known yet"
    assert "The test joint is right." in bench.judge("right\n")
    assert bench.choose("") == OfferAnswer.NOT_ASKED
    wanted = {entry.data["wanted"] for entry in read_history(bench.shop)}
    assert wanted == {"1/10"}, "what is wanted stays the same"


def test_a_gap_is_measured(bench: Bench) -> None:
    shown = bench.judge("gap 0.16\nyes\n")
    assert "gap 0.16 mm" in shown and read_plan(bench.plan).joint.clearance * 100 == 4


def test_what_makes_no_sense_is_asked_again_and_nothing_is_lost(bench: Bench) -> None:
    shown = bench.judge("fine\ntight\nright 0.1\nloose 3 turns\ntight 5\nloose 0\n")
    assert shown.count("Please type right, tight LENGTH") == 3
    assert "--too-loose: this is not a length" in shown
    assert "--too-tight: is too much to correct with clearance" in shown
    assert "The test joint is right." in shown and len(read_history(bench.shop)) == 1


@pytest.mark.parametrize("typed", ["later\n", "", "tight 5\n"])
def test_it_can_be_reported_later(bench: Bench, typed: str) -> None:
    shown = bench.judge(typed)
    line = f"kerfcall calibrate fit --plan {bench.plan} --shop {bench.shop}"
    assert line in shown and read_history(bench.shop) == []
    assert main([*line.split()[1:], "--too-tight", "0"]) == 0
    assert bench.choose("") == OfferAnswer.NOT_ASKED


def test_a_plan_changed_meanwhile_is_left_alone_and_the_joint_is_noted_as_it_was_cut(bench: Bench) -> None:
    inches = CHERRY.replace('"mm"', '"in"').replace("clearance = 0.1", "clearance = 0.004")
    inches = inches.replace("= 18", "= 1.5").replace("= 6", "= 0.5").replace("= 10", "= 0.5")
    bench.plan.write_text(inches, encoding="utf-8")
    bench.cut_test_joint()
    plan, shop = read_both(bench.plan, bench.shop)
    bench.plan.write_text(PLAN, encoding="utf-8")
    bench.types("tight 0.002\nyes\n")
    judge(bench.args, plan, shop)
    assert "The plan has changed meanwhile" in bench.shown
    assert bench.plan.read_text("utf-8") == PLAN
    (noted,) = read_history(bench.shop)
    assert (noted.data["species"], noted.data["amount"], noted.data["written"]) == (
        "black cherry",
        "127/2500",
        "127/1250",
    )


def cut_with_kerf(bench: Bench, mishap: Mishap, figure: int, after: int = 1) -> None:
    """A test joint in whose session another kerf was given, in hundredths, after so many passes."""
    job, _ = build_test_joint(*read_both(bench.plan, bench.shop))
    driver = Driver(job)
    driver.cut(after)
    driver.heard(Intent.STAND_BY)
    driver.heard(Intent.MISHAP, str(mishap))
    driver.gesture("hold", after=10)
    driver.heard(Intent.FIGURE, figure)
    for _ in range(100):
        if driver.state.mode != Mode.FINISHED:
            driver.gesture("tap" if driver.state.effective_mode == Mode.CUTTING else "hold", after=12)
    assert driver.state.mode == Mode.FINISHED
    with Journal.open(bench.args.state) as journal:
        journal.append(journal.new_session(job.title, job.plan_digest, str(bench.plan), UTC), driver.records)


@pytest.mark.parametrize(("mishap", "figure", "kerf"), [(Mishap.BLADE, 300, "3"), (Mishap.KERF, 330, "3.3")])
def test_no_clearance_is_proposed_for_a_kerf_that_the_shop_file_has_not(
    bench: Bench, mishap: Mishap, figure: int, kerf: str
) -> None:
    cut_with_kerf(bench, mishap, figure, after=0)
    before = bench.plan.read_text("utf-8")
    bench.types("right\nyes\n")
    judge(bench.args, *read_both(bench.plan, bench.shop))
    shown = bench.shown
    assert f"began with the shop file's kerf, 3.18 mm, and ended with a kerf of {kerf} mm" in shown
    assert "counts for that session only, so no clearance is proposed" in shown
    assert f"kerfcall calibrate kerf --shop {bench.shop}" in shown
    assert f'under [blade]: kerf = "{kerf} mm"' in shown
    assert f"kerfcall cut {bench.plan} --shop {bench.shop} --test-joint" in shown
    assert "clearance =" not in shown and "How do they go together?" not in shown
    assert (bench.plan.read_text("utf-8"), read_history(bench.shop)) == (before, [])
    bench.shop.write_text(SHOP.replace("kerf = 3.18", f'kerf = "{kerf} mm"'), encoding="utf-8")
    report = f"calibrate fit --state {bench.args.state} --shop {bench.shop}"
    assert f"kerfcall {report}" in shown and main([*report.split(), "--too-tight", "0"]) == 0
    assert 'In the next plan, write: clearance = "0.1 mm"' in bench.shown
    assert bench.choose("") == OfferAnswer.NOT_ASKED, "the joint of this kerf is known"


@pytest.mark.parametrize(("mishap", "figure", "kerf"), [(Mishap.BLADE, 300, "3"), (Mishap.KERF, 330, "3.3")])
def test_a_joint_cut_by_two_kerfs_is_refused_unless_the_change_is_allowed(
    bench: Bench, mishap: Mishap, figure: int, kerf: str
) -> None:
    cut_with_kerf(bench, mishap, figure)
    bench.types("right\n")
    judge(bench.args, *read_both(bench.plan, bench.shop))
    shown = bench.shown
    assert f"ended with a kerf of {kerf} mm" in shown and "calibrate fit" not in shown
    report = ["calibrate", "fit", "--state", str(bench.args.state), "--shop", str(bench.shop), "--too-tight", "0"]
    assert main(report) == 2 and read_history(bench.shop) == []
    by = "0.18 mm" if mishap == Mishap.BLADE else "0.12 mm"
    why = bench.said_aside
    assert "the kerf changed while the last joint was cut, so its fit shows neither" in why
    assert f"3.18 mm, then {kerf} mm" in why and f'--most-change "{by}"' in why
    assert main([*report, "--most-change", "0.1"]) == 2 and main([*report, "--most-change", by]) == 0
    assert [entry.kind for entry in read_history(bench.shop)] == ["joint"]


def test_a_kerf_as_near_as_it_can_be_given_is_the_shop_files(bench: Bench) -> None:
    bench.shop.write_text(SHOP.replace("3.18", "3.184"), encoding="utf-8")
    cut_with_kerf(bench, Mishap.KERF, 318)
    bench.types("right\n")
    judge(bench.args, *read_both(bench.plan, bench.shop))
    assert "The test joint is right." in bench.shown


def test_without_a_terminal_another_kerf_is_named_as_well(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    cut_with_kerf(bench, Mishap.KERF, 330)
    monkeypatch.setattr(sys, "stdin", io.StringIO("right\n"))
    judge(bench.args, *read_both(bench.plan, bench.shop))
    assert "ended with a kerf of 3.3 mm" in bench.shown


def test_without_a_terminal_the_command_is_named(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("right\n"))
    judge(bench.args, *read_both(bench.plan, bench.shop))
    assert "calibrate fit --plan" in bench.shown and read_history(bench.shop) == []


# The real program at a real terminal.

QUICK = f"{SHOP}run_down_s = 0\n[pedal]\npass_takes_s = 1\n"
GAP_S = 0.8  # the same key sooner is auto-repeat


class Saw:
    """The program in a pseudo-terminal, in plain lines; the keys are pressed once they count."""

    def __init__(self, workshop: Workshop):
        self.folder = workshop.folder
        self.child: Any = None

    def cut(self) -> None:
        self.run("cut", "plan.toml", "--shop", "shop.toml", "--no-pedal")

    def run(self, *words: str) -> None:
        pexpect: Any = pytest.importorskip("pexpect", reason="a program at a terminal needs pexpect")
        kept = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
        self.child = pexpect.spawn(
            sys.executable,
            ["-m", "assistant", *words, "--state", "state", "--no-voice", "--plain"],
            cwd=self.folder,
            env=kept,
            encoding="utf-8",
            codec_errors="replace",
            timeout=60,
            dimensions=(50, 2000),
        )

    def until(self, text: str) -> str:
        self.child.expect_exact(text)
        return str(self.child.before)

    def types(self, answer: str, shown: str) -> None:
        self.child.sendline(answer)
        self.until(shown)

    def keys(self, *pairs: tuple[str, str]) -> None:
        """Each key, as soon as what it answers could be read, then what must be shown before the next."""
        for key, shown in pairs:
            time.sleep(max(GAP_S, READING_S + 0.4))
            self.child.send(key)
            self.until(shown)

    def code(self) -> int:
        self.child.expect(sys.modules["pexpect"].EOF)
        self.child.close()
        return int(self.child.exitstatus)


@pytest.fixture
def saw(workshop: Workshop) -> Iterator[Saw]:
    workshop.write("shop.toml", QUICK)
    made = Saw(workshop)
    yield made
    if made.child is not None:
        made.child.close(force=True)


QUESTION = "not now (n)? "
posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")
forks = pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")


@pytest.mark.long
@posix
@forks
def test_from_the_offer_to_the_boards(saw: Saw, workshop: Workshop) -> None:
    """Offered, cut, judged too tight, corrected, and offered again."""
    saw.cut()
    assert "No joint is known" in saw.until(QUESTION)
    saw.types("t", "Test joint: Small tray. Press ? for the keys.")
    saw.until("check: clamps,")
    saw.keys(("h", "check: guard,"), ("h", "check: blade height,"), ("h", "pass 1/2"), (" ", "pass 2/2"))
    saw.keys((" ", "check: saw off,"), ("h", "setup 2/2, check: clamps and guard,"), ("h", "pass 1/4"))
    saw.keys((" ", "pass 2/4"), (" ", "pass 3/4"), (" ", "pass 4/4"), (" ", "check: saw off,"), ("h", "All cut."))
    saw.until("How do they go together? ")
    saw.types("tight 0.05", 'Write clearance = "0.15 mm" into plan.toml (it is 0.1 mm)? ')
    saw.types("yes", 'plan.toml: joint.clearance = "0.15 mm".')
    assert saw.code() == 0
    assert json.loads((workshop.folder / "shop.history.jsonl").read_text("utf-8"))["kind"] == "joint"
    saw.cut()
    assert "with a clearance of 0.15 mm" in saw.until(QUESTION)
    saw.types("n", "No session was started.")
    assert saw.code() == 1


@posix
@forks
def test_it_is_skipped_with_one_answer(saw: Saw, workshop: Workshop) -> None:
    saw.cut()
    saw.until(QUESTION)
    saw.types("s", ": Small tray. Press ? for the keys.")
    saw.until("check: clamps,")
    saw.keys(("q", "stays open"))
    assert saw.code() == 1
    assert [record["kind"] for record in workshop.export()["records"][:2]] == ["started", "test_joint_skipped"]


@posix
@forks
def test_a_resumed_test_joint_says_how_to_report_it(saw: Saw, workshop: Workshop) -> None:
    """Its last check is all that is left to answer when it is come back to."""
    job, _ = build_test_joint(*read_both(workshop.folder / "plan.toml", workshop.folder / "shop.toml"))
    driver = Driver(job)
    while driver.asked != "saw off" or driver.state.setup == 1:
        if driver.state.effective_mode == "checks":
            driver.gesture("hold", after=10)
        else:
            driver.gesture("tap")
    with Journal.open(workshop.folder / "state") as journal:
        session = journal.new_session(job.title, job.plan_digest, str(workshop.folder / "plan.toml"), UTC)
        journal.append(session, driver.records)
    saw.run("resume", session)
    saw.until("are recorded as cut")
    saw.keys(("h", "check: saw off"), ("h", "All cut."))
    saw.until("--too-tight 0 if they are right")
    assert saw.code() == 0


@posix
@forks
def test_ctrl_c_at_the_offer(saw: Saw, workshop: Workshop) -> None:
    saw.cut()
    saw.until(QUESTION)
    saw.child.sendintr()
    saw.until("no session was started")
    assert saw.code() == 130
    assert workshop.sessions() == []
