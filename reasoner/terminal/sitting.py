"""One sitting at one case: the case, where it is kept, the desk, and what the next screen has to mention."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from reasoner.casebook.events import Event
from reasoner.measure.pids import Value
from reasoner.rulebook.model import Check
from reasoner.session.acts import Refused
from reasoner.session.document import OutcomeDoc, Verdict, Why
from reasoner.session.plain import harmless
from reasoner.session.protocol import Talk
from reasoner.session.words import places_of
from reasoner.session.workup import Workup
from reasoner.terminal.desk import Desk
from reasoner.terminal.replies import Form

Keep = Callable[[Sequence[Event]], Workup]


class Pages(Protocol):
    """Shows the result documents. Given by whoever runs the loop, since rooms side by side do not import each other."""

    def verdict(self, document: Verdict, desk: Desk) -> None: ...

    def why(self, document: Why, desk: Desk) -> None: ...


@dataclass
class Sitting:
    """talk: the case and what is asked now. said: lines for the next screen. known: cautions read in full.

    live: values of the standard's services, as pasted. cannot_see: spells in which nobody can tell whether it is rich.
    """

    talk: Talk
    keep_events: Keep
    desk: Desk
    pages: Pages
    said: list[str] = field(default_factory=list)
    known: set[str] = field(default_factory=set)
    live: tuple[Value, ...] = ()
    cannot_see: set[int] = field(default_factory=set)

    @property
    def workup(self) -> Workup:
        return self.talk.workup

    def keep(self, events: Sequence[Event], *said: str, same_question: bool = False) -> bool:
        """Keep events before anything else happens. True if there were any."""
        if not events:
            return False
        chosen = self.talk.chosen if same_question else None
        self.talk = replace(self.talk, workup=self.keep_events(events), chosen=chosen)
        self.said.extend(said)
        return True

    def condition_title(self, name: str | None) -> str:
        return self.workup.book.conditions[name].title if name else "not known"


def form_of(workup: Workup, check: Check, places: Mapping[int, str] | None = None) -> Form:
    """What can be answered to a check: at all its places, or at those asked about."""
    outcomes = tuple(OutcomeDoc(o.name, harmless(o.text)) for o in check.outcomes)
    return Form(str(check.at), places_of(workup, check) if places is None else places, outcomes, check.measure)


def in_words(refused: Refused) -> str:
    """A refusal as one clear line."""
    first = f"{refused.message[0].upper()}{refused.message[1:]}."
    return f"{first} ({refused.mend})" if refused.mend else first
