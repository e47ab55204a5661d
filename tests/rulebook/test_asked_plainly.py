"""A question that is asked as yes or no has answers that say yes or no."""

from __future__ import annotations

import re

from reasoner.rulebook.model import At
from tests.shipped import book

ASKS_YES_OR_NO = {"Is", "Are", "Does", "Do", "Did", "Was", "Were", "Has", "Have", "Can", "Will"}
EITHER_OR = {"code-still-live", "not-as-built"}  # the question names its answers itself: `..., or longer ago?`


def test_a_yes_or_no_question_has_such_answers() -> None:
    asked = [c for c in book().checks.values() if c.ask.split()[0] in ASKS_YES_OR_NO and c.at is At.ENGINE]
    assert len(asked) > 40
    wrong = []
    for check in asked:
        words = {re.split(r"\W", outcome.text.lower(), maxsplit=1)[0] for outcome in check.outcomes}
        if check.name not in EITHER_OR and check.measure is None and not words <= {"yes", "no"}:
            wrong.append(check.name)
    assert wrong == []
