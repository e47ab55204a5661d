"""A shop's prices: what it says, what the rules say instead, and every mistake with its place."""

from __future__ import annotations

import re

import pytest

from reasoner.measure.frozen import read_frame
from reasoner.repair.prices import example, prices_of, shop_of, usual, usual_shop
from reasoner.rulebook.problem import problem_text
from tests.repair.cars import SHIPPED, book


def test_the_example_says_nothing_as_it_is_written() -> None:
    assert shop_of(example(book()).encode(), "s.yaml", book()) == (usual_shop(book()), ())


def test_the_example_can_be_used_line_by_line() -> None:
    """With every # taken away it says what the rules say, a tool that is not there excepted."""
    lines = example(book()).splitlines()
    start = lines.index("") + 1
    text = "\n".join(line.removeprefix("# ") for line in lines[start:])
    found, problems = shop_of(text.encode(), "s.yaml", book())
    assert found is not None and not problems
    rules, prices = usual(book()), found.prices
    assert (prices.hour, prices.comeback, prices.within) == (rules.hour, rules.comeback, rules.within)
    assert (prices.currency, prices.parts) == ("EUR", rules.parts)
    common = {tool.name for tool in book().tools.values() if tool.common}
    assert set(found.lacking) == common and set(found.tools or ()) == book().tools.keys() - common
    assert found.car["layout"] == "inline 4" and text.splitlines()[found.lines["hour"] - 1].startswith("hour: ")


@pytest.mark.parametrize(
    ("text", "car"),
    [
        ("car: V6 port", {"layout": "v6", "injection": "port"}),
        (
            "car: {layout: V 6, model year: 2014}",
            {"layout": "V 6", "model year": "2014"},
        ),
    ],
)
def test_the_usual_car_in_one_line_or_by_keys(text: str, car: dict[str, str]) -> None:
    found, problems = shop_of(text.encode(), "s.yaml", book())
    assert found is not None and not problems and found.car == car and found.lines == {"car": 1}
    assert found.tools is None and found.prices == usual(book())


def test_no_uncommon_tools_is_not_the_same_as_nothing_said() -> None:
    found, _ = shop_of(b"tools: []", "s.yaml", book())
    assert found is not None and found.tools == ()


def test_what_is_not_said_is_the_rules() -> None:
    found, _ = prices_of(b"hour: 90\n", "shop.yaml", book())
    rules = usual(book())
    assert found is not None and found.said == {"hour"}
    assert found.parts == rules.parts and (found.comeback, found.within) == (rules.comeback, rules.within)
    assert rules.parts["direct-injector"] == book().parts["direct-injector"].money and not rules.said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("car: V7 turbo", "is no layout"),
        ("car: V6 purple", '"purple" is not clear of a car'),
        ("car: {layout: V 6, injektion: port}", 'a vehicle has no "injektion"'),
        ("car: [V6]", "this is a list"),
        ("tools: [smoke-machin]", 'did you mean "smoke-machine"?'),
        ("tools: smoke-machine", "write [smoke-machine]"),
        ("tool: [smoke-machine]", 'did you mean "tools"?'),
        ("nothing", "there is no key here"),
    ],
)
def test_mistakes_in_settings(text: str, said: str) -> None:
    found, problems = shop_of(text.encode(), "s.yaml", book())
    assert found is None
    assert said in "\n".join(map(problem_text, problems)) and str(problems[0].place).startswith("s.yaml:1:")


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
    assert said in "\n".join(map(problem_text, problems)) and str(problems[0].place).startswith("shop.yaml:1:")


def test_the_settings_and_the_frame_in_the_readme_are_read() -> None:
    readme = (SHIPPED.parent / "README.md").read_text(encoding="utf-8")
    found, problems = shop_of(readme.split("```yaml\n")[1].split("```")[0].encode(), "README.md", book())
    assert found is not None and not problems
    assert found.tools == ("smoke-machine", "low-pressure-gauge") and found.prices.parts["direct-injector"] == 310
    frame = read_frame(" ".join(re.findall(r"`f (P0172 rpm [^`]*)`", readme)[0].split()))
    assert not frame.unread and not frame.wrong and not frame.odd and len(frame.values) == 9
