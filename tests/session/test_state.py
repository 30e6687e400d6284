"""States are copied by a quicker way than the standard library's."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.session.state import CHECKS, CUTTING, Opening, Question, State, changed
from tests.session.jobs import job


@pytest.mark.parametrize(
    ("old", "changes"),
    [
        (State(), {}),
        (State(n=3, job=job(), cuts=(1, 0)), {"n": 4, "at": 2.5, "mode": CUTTING, "opening": Opening(2, CUTTING)}),
        (Opening(2, CHECKS, question=Question("back", 1, 2)), {"out_at": 3.0, "question": None}),
    ],
)
def test_what_is_changed_is_as_the_standard_library_makes_it(old: State | Opening, changes: dict[str, object]) -> None:
    was = replace(old)
    new = changed(old, changes)
    assert new == replace(old, **changes)
    assert old == was, "the old one is left as it was"


def test_nothing_is_changed_that_is_not_there() -> None:
    with pytest.raises(TypeError, match="State has no marks"):
        changed(State(), {"n": 1, "marks": ()})
