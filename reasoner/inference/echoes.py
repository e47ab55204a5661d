"""Checks that would replace answers already given: what is believed without these.

A check stands for others, which add nothing once it is answered. Where they were answered first, it does not add to
them but takes their place, so that what it tells must be counted from the belief without them: otherwise a better
reading of what was just read would seem as good as one of something new.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Evidence, Spell, counted
from reasoner.network.tables import Array, Tables


def echoes(tables: Tables, spells: Sequence[Spell]) -> Mapping[tuple[int, bool], tuple[Array, Array]]:
    """P(cause, showing) and P(cause, quiet), each (C,), before (check, in a new spell) without what it would replace.

    Only for checks that would replace something.
    """
    spells = counted(tables, spells)
    given = {answer.check for spell in spells for answer in spell.answers}
    found = {}
    for number, check in enumerate(tables.checks):
        if not check.stands_for & given or check.provokes:
            continue
        # An answer that tells nothing but takes the place of what the check stands for.
        blank = Evidence(number, ((1.0,) * len(check.outcomes),) * len(check.places))
        for fresh in (False, True):
            *before, last = [*spells, Spell(spells[-1].condition)] if fresh else spells
            without = counted(tables, (*before, Spell(last.condition, (*last.answers, blank))))
            if sum(len(s.answers) for s in without) <= sum(len(s.answers) for s in spells):
                belief = believe(tables, without)
                p = belief.probability
                found[number, fresh] = p * belief.showing, p * (1.0 - belief.showing)
    return found
