"""The questions that make a shop file: what is asked, what is taken for an answer, and that none is lost."""

from __future__ import annotations

from collections.abc import Iterator

from assistant.plans.new_shop import Answers, with_usual
from assistant.plans.new_shop_questions import ask_all


class Scripted:
    """Answers the questions from a list, and keeps what was shown."""

    def __init__(self, *replies: str):
        self.replies: Iterator[str] = iter(replies)
        self.shown: list[str] = []
        self.asked: list[str] = []

    def ask(self, question: str) -> str:
        self.asked.append(question)
        reply = next(self.replies, None)
        if reply is None:
            raise EOFError
        return reply

    def answers(self, given: Answers | None = None, key: tuple[str, str] | None = None) -> Answers:
        return with_usual(ask_all(given or Answers(), self.ask, self.shown.append, lambda: key))


def test_enter_takes_what_is_offered() -> None:
    script = Scripted("", "", "", "", "", "none", "", "3.2", "")
    assert script.answers() == with_usual(Answers(pedal_key="none", kerf_printed="3.2"))
    assert '"outside": the reference edge touches' in "\n".join(script.shown)


WRONG_THEN_RIGHT = ("furlong", "inches", "wheel", "hand", "16 teeth", "16 tpi", "1.5", "125", "up", "r", "middle", "in")


def test_a_wrong_answer_is_explained_and_asked_again_and_nothing_is_lost() -> None:
    script = Scripted(*WRONG_THEN_RIGHT, "q", "f13", "wide", "1/8", "perhaps", "n")
    found = script.answers()
    assert found == with_usual(
        Answers("in", "handwheel", "", "", "16", "125", "", "right", "inside", "f13", "", "1/8", "", "no")
    )
    said = [line for line in script.shown if line.startswith("  ") and "got" in line]
    assert [line.split("got ")[1].split(")")[0].strip('"') for line in said] == [
        "furlong", "wheel", "16 teeth", "1.5", "up", "middle", "q", "wide", "perhaps",
    ]  # fmt: skip
    assert len(script.asked) == len(WRONG_THEN_RIGHT) + 6


def test_a_minus_goes_back_and_the_next_questions_follow_the_new_answer() -> None:
    script = Scripted("-", "mm", "steps", "-", "readout", "0.005", "left", "outside", "none", "", "-", "3.1", "yes")
    assert script.answers() == with_usual(Answers(unit="mm", resolution="0.005", pedal_key="none", kerf="3.1"))


def test_what_nobody_can_guess_is_asked_until_it_is_answered() -> None:
    script = Scripted("mm", "steps", "", "0", "400", "", "", "none", "", "", "3", "")
    assert script.answers() == with_usual(
        Answers(carriage="steps", steps_per_mm="400", pedal_key="none", kerf_printed="3")
    )


def test_given_answers_are_not_asked() -> None:
    script = Scripted("left", "", "none", "")
    given = Answers(unit="mm", carriage="readout", resolution="0.01", kerf="3.18")
    assert script.answers(given) == with_usual(Answers(pedal_key="none", kerf="3.18"))
    assert [question.split(",")[0].split(":")[0] for question in script.asked] == [
        "The stop",
        "Zero",
        "The pedal",
        "Voice",
    ]


def test_the_pedal_is_pressed_and_one_that_is_not_heard_is_asked_again() -> None:
    given = with_usual(Answers(kerf="3"))
    asked = Answers(**{name: getattr(given, name) for name in given.__slots__ if name != "pedal_key"})
    assert Scripted("press").answers(asked, ("b", "046d:0001")).pedal_device == "046d:0001"
    assert Scripted("", "f14").answers(asked, None).pedal_key == "f14"
