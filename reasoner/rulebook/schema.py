"""For whoever writes rules: a JSON Schema for editors, and commented skeletons of a fault and of a check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from textwrap import fill

from reasoner.rulebook import shapes
from reasoner.rulebook.checks import CHECK_KINDS, MOST_AT_CYLINDERS, MOST_OUTCOMES
from reasoner.rulebook.entries import CODE, SECTIONS, SETTINGS_KEYS
from reasoner.rulebook.fields import ONE, REPLACE, RULE_NAME, object_of
from reasoner.rulebook.model import At, Sees
from reasoner.rulebook.problem import choices_of
from reasoner.rulebook.quantity import FREQUENCY_WORDS
from reasoner.rulebook.read import RULES_FORMAT
from reasoner.rulebook.shapes import JsonShape

# ---- A JSON Schema of rule files, for editors, put together from the reader's own tables of keys ---------------------
# It knows the shape of what may be written; the reader knows more (that names exist, that outcomes fit their check,
# that likelihoods add up), and has the last word. Draft 2020-12 (json-schema.org).

CLOSED = ("conditions", "tools")  # few and stable: a name that is not there is marked, as a slip is likelier


def schema(known: Mapping[str, Iterable[str]] | None = None) -> JsonShape:
    """The schema of one rule file. known: the names that are there already, by section.

    An entry of a known name may say only what it changes, and editors offer the names; every other entry must be whole.
    A condition or a tool that is not known is marked: whoever adds one makes the schema anew, from rules that have it.
    """
    there = {section: sorted(names) for section, names in (known or {}).items()}
    sections = {section: _section(section, there.get(section, [])) for section in SECTIONS}
    settings = object_of(SETTINGS_KEYS)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Rules of reasoner",
        "type": "object",
        "properties": {
            "format": {"enum": list(range(1, RULES_FORMAT + 1))},
            "settings": _partly(settings) if there else settings,
            **sections,
        },
        "additionalProperties": False,
        "$defs": {section: _name(section, there.get(section, [])) for section in SECTIONS}
        | {_changed(section): _partly(_entry(section)) for section in SECTIONS if there.get(section)},
    }


def _name(section: str, known: list[str]) -> JsonShape:
    names = [{"enum": known}] if known else []
    free = [] if known and section in CLOSED else [_pattern(section)]
    return {"description": f"the name of a {ONE[section]}", **shapes.either(*names, *free)}


def _pattern(section: str) -> JsonShape:
    return shapes.text_like((CODE if section == "codes" else RULE_NAME).pattern)


def _section(section: str, known: list[str]) -> JsonShape:
    """Entries by name; one of a known name by the shape that all of them share, said once (`$defs`)."""
    return {
        "type": "object",
        "propertyNames": _pattern(section) if section in CLOSED else {"$ref": f"#/$defs/{section}"},
        "properties": {name: {"$ref": f"#/$defs/{_changed(section)}"} for name in known},
        "additionalProperties": _entry(section),
    }


def _entry(section: str) -> JsonShape:
    return shapes.TEXT if section == "codes" else object_of(SECTIONS[section].keys)


def _changed(section: str) -> str:
    return f"changed-{section}"


def _partly(whole: JsonShape) -> JsonShape:
    """The same without needing any key."""
    return {key: value for key, value in whole.items() if key != "required"}


# ---- Commented skeletons of a fault and of a check, to be filled in --------------------------------------------------
# The reader refuses what is left of REPLACE ME.

_HEAD = """\
# A {kind} of your own. Write something for every REPLACE ME, and take out what you do not need. A # begins
# a remark. `reasoner rules check --rules FILE` says what is missing. Names that are there already:
# `reasoner rules list {names}` (or conditions, families, repairs, tools, cautions); what they say:
# `reasoner rules show NAME`. What is not there yet can be added in the same file. Every key: rules/README.md.
{words}
format: 1

"""

_FAULT = """\
faults:
  {name:31} # its name: lower case, digits and dashes; such as purge-hose-split
    name: REPLACE ME              # what people call it
    means: REPLACE ME             # what it is, in a sentence or two
    at: REPLACE ME                # {places}
    share: REPLACE ME             # how often it is behind a rich complaint; all others add up to about 1000
    # share: {{port: 10, direct: 5, dual: 8}}    # where it hangs on the injection; 0 = cannot be
    # only: {{charging: charged}}                # where only some vehicles can have it
    # more likely: [{{distance over: 160000 km, times: 2}}]
    # pairs: seldom               # at cylinders: how often a second one has gone too
    shows: {{REPLACE ME: often}}    # a condition, and how often it acts there; any: the conditions not named
    acts as: [REPLACE ME]         # families that say how it looks to most checks, the nearest first
    repair: REPLACE ME            # the name of a repair; a new one: see below
    confirmed by: [REPLACE ME]    # the checks that settle it
    driving on: REPLACE ME        # what it means to drive on with it
    source: judgement             # who says so: practice, judgement, or a key of `sources`
    # because: why these numbers

# What checks show of it beyond its families; a check that is there already is only added to.
checks:
  REPLACE ME:
    given:
      {name} {{REPLACE ME: often}}     # an outcome of that check, and how often it is seen under this fault

# repairs:
#   such-a-repair:
#     name: what people call it
#     do: what is done; limits and torques from the maker's data
#     proof: [the checks that must be normal afterwards]
#     minutes: 60
#     money: 0
#     cautions: []
#     source: practice
"""

_CHECK = """\
checks:
  {name:31} # its name: lower case, digits and dashes; such as purge-hose-look
    name: REPLACE ME              # what people call it
    kind: REPLACE ME              # {kinds}
    ask: REPLACE ME               # the question, as one would put it to a colleague
    how: REPLACE ME               # the steps, in plain words; limits from the maker's data
    at: engine                    # {places}; at cylinders or banks each gets its own outcome
    sees: REPLACE ME              # now: only while the fault acts; ever: it stays, like a stored code
    # in: [warm-idle]             # the conditions in which it can be made; left out = any
    # only: {{injection: direct}}   # where it makes sense on some vehicles only
    outcomes:                     # {least} to {most} ({cylinders} at cylinders); the first is what a sound car shows
      normal: REPLACE ME          # what each looks like
      wrong: REPLACE ME
    otherwise: {{wrong: REPLACE ME}}      # how often it is seen when nothing is there to be seen
    given:                        # how often under which fault or family; the nearest statement wins
      REPLACE ME: {{wrong: REPLACE ME}}
      # at cylinders and banks: a-fault: {{here: {{wrong: often}}, elsewhere: {{wrong: seldom}}}}
    minutes: REPLACE ME           # of work; what bringing the condition about takes is counted apart
    # money: 0
    needs: []                     # tools
    cautions: [REPLACE ME]        # what to be told before the step; [] only where nothing can hurt
    source: practice              # who says so: practice, judgement, or a key of `sources`
"""

KINDS_OF_ENTRY = {"fault": _FAULT, "check": _CHECK}


def skeleton(kind: str, name: str = REPLACE) -> str:
    """The text of a rule file with one entry to be filled in. kind: fault or check."""
    often = f"How often: {', '.join(FREQUENCY_WORDS)}; or 12 %, or a count such as 7 of 9."
    facts = {
        "kind": kind,
        "name": f"{name}:",
        "names": f"{kind}s",
        "words": fill(often, 116, initial_indent="# ", subsequent_indent="# "),
        "places": choices_of(At),
        "kinds": choices_of(CHECK_KINDS),
        "sees": choices_of(Sees),
        "least": 2,
        "most": MOST_OUTCOMES,
        "cylinders": MOST_AT_CYLINDERS,
    }
    return (_HEAD + KINDS_OF_ENTRY[kind]).format(**facts)
