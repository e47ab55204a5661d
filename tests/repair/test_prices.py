"""A shop's prices: what it says, what the rules say instead, and every mistake with its place."""

from __future__ import annotations

import pytest

from reasoner.repair.prices import EXAMPLE, prices_of, usual
from reasoner.rulebook.problem import show
from tests.repair.cars import book


def test_the_example_is_read() -> None:
    found, problems = prices_of(EXAMPLE.encode(), "shop.yaml", book())
    assert found is not None and not problems
    assert (found.currency, found.hour, found.comeback, found.within, found.watch) == ("EUR", 85, 200, 20000, 1000)
    assert found.parts["direct-injector"] == 310 and found.access == {"replace-injector": 150}
    assert found.said >= {"hour", "direct-injector", "replace-injector", "comeback"}


def test_what_is_not_said_is_the_rules() -> None:
    found, _ = prices_of(b"hour: 90\n", "shop.yaml", book())
    rules = usual(book())
    assert found is not None and found.said == {"hour"}
    assert found.parts == rules.parts and (found.comeback, found.within) == (rules.comeback, rules.within)
    assert rules.parts["direct-injector"] == book().parts["direct-injector"].money and not rules.said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("hours: 90", 'did you mean "hour"?'),
        ("hour: 90 EUR", "write the number alone: 90"),
        ("parts: {direct-injectors: 310}", 'did you mean "direct-injector"?'),
        ("access minutes: {replace-injector: 2 h}", "write 120"),
        ("comeback within: 20000", "say the unit"),
        ("hour: -5", "at least 0"),
        ("parts: 310", "wanted here"),
    ],
)
def test_mistakes(text: str, said: str) -> None:
    found, problems = prices_of(text.encode(), "shop.yaml", book())
    assert found is None
    assert said in "\n".join(map(show, problems)) and str(problems[0].place).startswith("shop.yaml:1:")
