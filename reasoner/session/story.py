"""What the owner tells before the first question, several things at once: work done lately, when it happens, what else;
and what a complaint in the owner's words says of them.

Each is an answer to a check of its own, so that it counts once and is not asked again; what is told in one go is taken
back in one go.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from reasoner.casebook.events import Event
from reasoner.casebook.trouble import Refused
from reasoner.measure.frozen import Frame, read_frame
from reasoner.measure.pids import DecodedValue
from reasoner.measure.uncertain import soften
from reasoner.rulebook.model import Check, Outcome
from reasoner.session import acts, readings
from reasoner.session.plain import shortened
from reasoner.session.readings import Offer
from reasoner.session.workup import Workup

WORK_SUCH_AS = "such as: 2 5, other workshop, 6 weeks, work first; 3, dealer, complaint first"
# Which of the two came first, in a word at the end -> whether the complaint began before the work.
CAME_FIRST = {"complaint": True, "c": True, "work": False, "w": False}
# How far a car is driven in so long, in km, where only the time is told: some 13,000 km a year, as in most countries'
# traffic statistics (from memory).
KM_IN = {"km": 1.0, "mi": 1.609, "day": 36.0, "week": 250.0, "month": 1080.0, "year": 13000.0}
AGO = re.compile(
    r"(?<![\d.])(\d{1,3}(?:[,.]\d{3})+|\d+\.\d{1,2}|\d+)\s*(km|mi|day|week|month|year)(?:les|s)?\b", re.IGNORECASE
)
# `2,5 weeks`: a decimal comma, or a 2 of the list and 5 weeks?
COMMA_OF_TWO_MEANINGS = re.compile(r"(?<![\d.,])\d+,\d{1,2}\s*(?:km|mi|day|week|month|year)", re.IGNORECASE)


@dataclass(frozen=True)
class StoryRow:
    """One thing that can be told: an outcome of a check."""

    check: str
    outcome: str
    text: str


@dataclass(frozen=True)
class WorkLine:
    """numbers: of the rows, empty = nothing was done. began_before: the complaint is older than the work. rest: by whom
    and when, as typed; driven: km since then, as far as that says it."""

    numbers: tuple[int, ...]
    began_before: bool
    rest: str

    @property
    def driven(self) -> float | None:
        found = AGO.search(self.rest)
        if found is None:
            return None
        thousands = re.fullmatch(r"\d{1,3}(?:[,.]\d{3})+", found[1])
        return float(re.sub(r"\D", "", found[1]) if thousands else found[1]) * KM_IN[found[2].lower()]


def tellable(workup: Workup, kind: str) -> list[Check]:
    """Checks of this kind that can be told of this car and were not yet."""
    told = {given.check for given in workup.record.given}
    known = workup.tables.check_number
    return [c for c in workup.book.checks.values() if c.intake == kind and c.name in known and c.name not in told]


def rows_of(workup: Workup, kind: str) -> list[StoryRow]:
    """Everything but `nothing of it`, over the checks of a kind."""
    return [
        StoryRow(check.name, outcome.name, check.title if len(check.outcomes) == 2 else outcome.text)
        for check in tellable(workup, kind)
        for outcome in check.outcomes[1:]
    ]


WORDS_BETWEEN = 2  # words that may stand between two of a phrase
WORDS_BEFORE = 3  # words before a phrase in which it may be denied
WORDS_BEFORE_NEVER = 6  # the same for `never` and `hardly`, which deny all that follows
WORDS_AFTER_LIKE = 4  # words before a phrase in which `like` or `than` makes a comparison of it
WORDS_OF_A_REMARK = 5  # words at most of a sentence that speaks of the one before it: `It did not help.`
STEM_OF_WORD = 4  # letters of a word from which its beginning will do
DENIED = frozenset(("no", "not", "never", "without", "nor", "neither", "hardly"))  # before a phrase
DENIED_FAR = frozenset(("never", "hardly", "seldom", "rarely"))
NOT_WHEN = frozenset(("when", "if", "once", "while", "after", "before"))  # after `not`: all that follows is denied
SAID_TO_BE_FINE = frozenset(  # anywhere beside it
    ("fine", "well", "good", "ok", "okay", "normal", "perfect", "problem-free", "nothing", "peace", "faultless")
)
# Ways of saying that it is fine; some hold words that mean something else by themselves.
FINE_IDIOMS = re.compile(
    r"\b(?:right as rain|good as new|like new|no trouble|as (?:always|usual|ever)|had no problems?"
    r"|(?:is|was|'s) (?:as )?(?:a |an )?(?:lamb|lady|dream|angel|quiet|gentle)\b(?: again)?)"
)
# Of work: what is said before and after the thing that something was done to; and that it was before the complaint.
DONE_BEFORE = frozenset(
    (
        "new",
        "another",
        "put",
        "putting",
        "fit",
        "fitted",
        "changed",
        "changing",
        "replaced",
        "renewed",
        "swapped",
        "did",
    )
)
DONE_AFTER = frozenset(
    ("done", "renewed", "replaced", "changed", "fitted", "swapped", "repaired", "cleaned", "removed", "job")
)
HAD_AFTER = DONE_AFTER | {"out", "off", "in"}  # `had the gearbox out`; by themselves they are said of much else
SINCE = frozenset(("since", "after"))
SENTENCES = re.compile(r"[.;!?\n]+")
CLAUSES = re.compile(r"[,:()]+|\bbut\b|(?=\b(?:until|except|unless)\b)")
# What stands after these is where the clause before them no longer holds: `rough until warm`, `fine until warm`.
WHERE_IT_ENDS = frozenset(("until", "except", "unless"))
TILL = re.compile(r"\b(?:till|til)\b")
# What is fine where it is denied: `does not happen until warm`, but not `does not pull until warm`.
TROUBLE = re.compile(
    r"\b(?:happens?|shows?|appears?|comes? on|does it|do it|do so|problems?|troubles?"
    r"|misfires?|shakes?|stumbles?|stalls?|smells?|smokes?)\b"
)
THAN_BEFORE = frozenset(("than", "before"))  # before a condition: `worse than when cold`
FIRST_WORK = re.compile(
    r"\bbefore (?:it|this|that|all this|the (?:trouble|fault|lamp|light)) (?:all )?(?:began|started|came)\b"
)
IN_VAIN = re.compile(
    r"\b(?:no better|no change|no difference|no use|in vain|(?:did not|didn't|has not|hasn't) help(?:ed)?"
    r"|(?:still|just|all|exactly) the same|as bad as (?:before|ever))\b"
)
NEVER_AFTER = re.compile(r"^(?:(?:it|she|he|that|this) )?never(?: (?:does|did|do|happens|happened|happen|had)\b.*)?$")


def heard(workup: Workup, text: str) -> list[StoryRow]:
    """What a complaint says by the rules' own words (`owners say`) and was not told yet, in the order of the rules.

    Each is to be confirmed. What is denied ("no smoke", "fine when cold", "at home never") or only compared with ("like
    on a cold morning") is not heard; a longer phrase is heard instead of one within it.
    """
    told = {given.check for given in workup.record.given}
    known = workup.tables.check_number
    open_ = [c for c in workup.book.checks.values() if c.owners_say and c.name in known and c.name not in told]
    clauses = _clauses(text)
    spans = [span for check in open_ for span in _spans(check, clauses)]
    names = {(check, outcome) for *at, check, outcome in spans if not any(_within(at, other[:4]) for other in spans)}
    found: list[StoryRow] = []
    covered: set[str] = set()
    for check in open_:
        rows = [_row(check, o) for o in check.outcomes if (check.name, o.name) in names and check.name not in covered]
        covered |= set(check.stands_for) if rows else set()
        found += rows
    return [row for row in found if row.check not in covered]


@dataclass(frozen=True)
class _Clause:
    """Words that belong together. ends: it begins with a word such as `until`, and says where the trouble that stands
    before it ends. first: the work in it is said to have come before the trouble; in_vain: to have mended nothing."""

    words: tuple[str, ...]
    ends: bool
    first: bool
    in_vain: bool


def _clauses(text: str) -> list[_Clause]:
    """The clauses of what was said. What follows `until` and the like after something that is fine is when it happens,
    and is put so: `fine until warm` is `fine, when warm`."""
    plain = TILL.sub("until", FINE_IDIOMS.sub(" fine ", text.lower().replace("\u2019", "'")))
    sentences = SENTENCES.split(plain)
    found: list[_Clause] = []
    fine = False
    for number, sentence in enumerate(sentences):
        first = FIRST_WORK.search(sentence) is not None
        after = "".join(sentences[number + 1 : number + 2]).strip()
        short = after if len(after.split()) <= WORDS_OF_A_REMARK else ""
        vain = any(map(IN_VAIN.search, (sentence, short)))
        for part in filter(None, map(str.strip, CLAUSES.split(sentence))):
            words = tuple(re.findall(r"[a-z0-9'-]+", part))
            limit = bool(words) and words[0] in WHERE_IT_ENDS
            found.append(_Clause(("when", *words[1:]) if limit and fine else words, limit and not fine, first, vain))
            fine = _is_fine(part, words)
    return found


def _is_fine(clause: str, words: Sequence[str]) -> bool:
    if any(map(_denies, words)):
        return TROUBLE.search(clause) is not None
    return not SAID_TO_BE_FINE.isdisjoint(words)


_Span = tuple[int, int, int, int, str, str]  # number of the clause, first and last word, words of it, check, outcome


def _within(inner: Sequence[Any], outer: Sequence[Any]) -> bool:
    """Whether a span lies in a longer one of its clause, or in one of more words: that one says what was meant."""
    covers = inner[0] == outer[0] and outer[1] <= inner[1] <= inner[2] <= outer[2]
    return covers and (outer[2] - outer[1], outer[3]) > (inner[2] - inner[1], inner[3])


def _spans(check: Check, clauses: Sequence[_Clause]) -> Iterator[_Span]:
    """Where a check's phrases stand. Of parts and work it is heard only where something was done to them; work that
    mended nothing was done when it was there already, and has not brought it in; a part that was renewed before it
    began (`since the new plugs`) is the third outcome."""
    for number, clause in enumerate(clauses):
        if check.intake == "work" and clause.in_vain:
            continue
        for outcome, phrases in check.owners_say.items():
            for phrase in phrases:
                words = phrase.lower().split()
                span = _span(words, clause, condition=check.intake in ("pattern", "also"))
                if span is None or (only_done(check) and not _done_to(clause.words, *span)):
                    continue
                since = clause.first or not SINCE.isdisjoint(clause.words[: span[0]])
                new = check.intake == "renewed" and since and not clause.in_vain
                yield (number, *span, len(words), check.name, check.outcomes[-1].name if new else outcome)


def only_done(check: Check) -> bool:
    """Whether a check's phrases are things, heard only where something was done to one: parts renewed, and lists of
    work."""
    return check.intake == "renewed" or (check.intake == "work" and len(check.outcomes) > 2)


def _done_to(clause: Sequence[str], start: int, end: int) -> bool:
    """Whether something was done to what stands in a clause: `had the clutch done`, `put in plugs`, `new pump`."""
    before, after = clause[max(0, start - WORDS_BEFORE) : start], clause[end + 1 :]
    told = clause[clause.index("had") :] if "had" in clause[:start] else ()
    had = bool(told) and ("already" in clause[:start] or not HAD_AFTER.isdisjoint(told))
    return had or not DONE_BEFORE.isdisjoint(before) or not DONE_AFTER.isdisjoint(after[:WORDS_BEFORE])


def _span(phrase: Sequence[str], clause: _Clause, condition: bool) -> tuple[int, int] | None:
    """Where a phrase stands in a clause, first and last word; None where it does not, or is denied there. condition: it
    says when it happens, which is denied too where the trouble ends, and by a comparison."""
    words = clause.words
    if not SAID_TO_BE_FINE.isdisjoint(words) and SAID_TO_BE_FINE.isdisjoint(phrase):
        return None
    if condition and clause.ends and phrase[0] not in WHERE_IT_ENDS:
        return None
    for start, word in enumerate(words):
        at = start if _is(phrase[0], word) else -1
        for wanted in phrase[1:]:
            after = range(at + 1, min(at + 2 + WORDS_BETWEEN, len(words))) if at >= 0 else ()
            at = next((n for n in after if _is(wanted, words[n])), -1)
        within = set(words[start : at + 1]) - set(phrase)
        compared = condition and not THAN_BEFORE.isdisjoint(words[max(0, start - WORDS_AFTER_LIKE) : start])
        if at >= 0 and within.isdisjoint(DENIED) and not compared and not _denied(words, start, at):
            return start, at
    return None


def _denied(clause: Sequence[str], start: int, end: int) -> bool:
    """Whether what stands in a clause is denied there, before or after it, or only compared with: `like on a cold
    morning`."""
    return (
        any(map(_denies, clause[max(0, start - WORDS_BEFORE) : start]))
        or not DENIED_FAR.isdisjoint(clause[max(0, start - WORDS_BEFORE_NEVER) : start])
        or any(word == "not" and after in NOT_WHEN for word, after in pairwise(clause[:start]))
        or "like" in clause[max(0, start - WORDS_AFTER_LIKE) : start]
        or NEVER_AFTER.match(" ".join(clause[end + 1 :])) is not None
    )


def _denies(word: str) -> bool:
    return word in DENIED or word.endswith("n't")


def _is(wanted: str, word: str) -> bool:
    """The word, or one that begins with it: `stall` is heard in `stalls`, but `stop` not in `stop-start`."""
    return word == wanted or (len(wanted) >= STEM_OF_WORD and word.startswith(wanted) and word[len(wanted)] != "-")


def _row(check: Check, outcome: Outcome) -> StoryRow:
    return StoryRow(check.name, outcome.name, f"{check.title}: {outcome.text}")


def tell_heard(workup: Workup, rows: Sequence[StoryRow]) -> list[Event]:
    """What was heard and is right, in one step; several outcomes of one check share the weight."""
    checks = [workup.book.checks[name] for name in dict.fromkeys(row.check for row in rows)]
    return _tell(workup, checks, rows, rest_is_none=False)


def read_work(line: str, count: int) -> tuple[WorkLine, ...]:
    """`2 5, other workshop, 6 weeks, work first; 3, dealer, complaint first`: of each piece of work numbers first, then
    who and when, and which came first, the work or the complaint.

    Raises Refused.
    """
    found = tuple(_read_work(part, count) for part in line.split(";") if part.strip(" ,"))
    if not found or (len(found) > 1 and any(not work.numbers for work in found)):
        raise Refused(f'"{shortened(line, 24)}" is no number of the list', WORK_SUCH_AS)
    return found


def _read_work(part: str, count: int) -> WorkLine:
    part = part.strip(" ,")
    unclear = COMMA_OF_TWO_MEANINGS.search(part)
    if unclear:
        point, comma = unclear[0].replace(",", "."), unclear[0].replace(",", ", ")
        raise Refused(f'"{shortened(unclear[0], 24)}" can be read in two ways', f'type "{point}" or "{comma}"')
    ago = AGO.search(part)
    until = ago.start() if ago else len(part)  # the number of 800 km is none of the list
    match = re.match(r"([\d, ]*\d)\b *[,:]? *(?!\d)(?=[^\d]|$)(.*)", part[:until].rstrip(" ,"))
    numbers, rest = (match[1], part[match.start(2) :]) if match else ("", part)
    if not numbers:
        raise Refused(f'"{shortened(part.strip(), 24)}" is no number of the list', WORK_SUCH_AS)
    chosen = tuple(dict.fromkeys(int(n[:6]) for n in re.findall(r"\d+", numbers)))
    if any(n > count for n in chosen) or (0 in chosen and len(chosen) > 1):
        raise Refused(f"{numbers.strip()[:24]} is not on the list", f"1 to {count}, or 0 alone for none of them")
    *_, last = re.split(r"[,;]", rest.lower())
    words = re.findall(r"[a-z]+", last)
    said = {CAME_FIRST[word] for word in words if word in CAME_FIRST}
    if len(said) > 1 or (not said and not {"before", "after"}.isdisjoint(words)):  # before what?
        raise Refused(
            f'"{shortened(last.strip(), 24)}" can be read in two ways', "end with: work first, or complaint first"
        )
    return WorkLine(() if chosen == (0,) else chosen, said == {True}, rest.strip())


def renewed(workup: Workup) -> list[Check]:
    """Parts that may have been renewed; their numbers follow those of the work."""
    return tellable(workup, "renewed")


def tell_work(workup: Workup, lines: Sequence[WorkLine]) -> list[Event]:
    """Work done and parts renewed lately. Work that was done when the complaint was there already did not bring it in:
    it counts as none. A part that was renewed then and did not mend it is the less likely."""
    work, parts = rows_of(workup, "work"), renewed(workup)
    texts = [row.text for row in work] + [part.title for part in parts]
    brought = [work[n - 1] for line in lines if not line.began_before for n in line.numbers if n <= len(work)]
    new = {n - len(work): line.began_before for line in lines for n in line.numbers if n > len(work)}
    rows = [
        StoryRow(part.name, part.outcomes[0 if n not in new else 1 if new[n] else 2].name, part.title)
        for n, part in enumerate(parts, 1)
    ]
    events = _tell(workup, tellable(workup, "work"), list(dict.fromkeys(brought)), rest_is_none=True)
    events += _tell(workup, parts, rows, rest_is_none=True)
    done = [line for line in lines if not line.began_before and any(n <= len(work) for n in line.numbers)]
    ago = [line.driven for line in done if line.driven is not None]
    for check in tellable(workup, "since"):
        if check.measure is not None and ago:
            events += acts.answer(workup, check.name, {0: soften(check.measure, min(ago))}, reading=f"{min(ago):.0f}")
        elif not done:  # no work that could have brought it in
            events += acts.answer(workup, check.name, {0: check.outcomes[0].name})
    notes = [
        "; ".join(filter(None, ("work lately: " + ", ".join(texts[n - 1] for n in line.numbers), line.rest)))
        for line in lines
        if line.numbers
    ]
    return [*events, *(event for note in notes for event in acts.note(workup, note))]


def tell_pattern(workup: Workup, check: Check, numbers: Sequence[int]) -> list[Event]:
    """When it happens; several answers share the weight, as each was so some of the times."""
    rows = [StoryRow(check.name, o.name, o.text) for o in check.outcomes]
    return _tell(workup, [check], [rows[n - 1] for n in numbers], rest_is_none=False)


def tell_also(workup: Workup, numbers: Sequence[int]) -> list[Event]:
    """What else it hangs on; none chosen: on none of these."""
    rows = rows_of(workup, "also")
    return _tell(workup, tellable(workup, "also"), [rows[n - 1] for n in numbers], rest_is_none=not numbers)


def no_frame(workup: Workup, shown: Collection[str] = ()) -> list[Event]:
    """No freeze frame is stored, or one that shows this and no more: nothing else is asked about one. shown: checks."""
    told = {*shown, *(given.check for given in workup.record.given)}
    open_ones = (check.name for check in readings.frame_checks(workup) if check.name not in told)
    return [event for name in open_ones for event in acts.pass_over(workup, name, "not-now")]


def frame_told(
    workup: Workup, frame: Frame, values: Sequence[DecodedValue], typed: str
) -> tuple[list[Event], list[Offer]]:
    """What a freeze frame is kept as, whatever is made of it, and what it answers where it was rich in it: what it does
    not show is not asked about then. values: as they were meant, after odd ones were read back."""
    put_right = "".join(
        f", {v.name} {v.value if isinstance(v.value, str) else f'{v.value:g}'} {v.unit}"
        for v in values
        if v not in frame.values
    )
    events = acts.note(workup, f"freeze frame: {typed}{put_right}")
    if not readings.of_rich(workup.book, frame, values):
        return events, []
    offers = readings.offer_frame(workup, values)
    return [*events, *no_frame(workup, [offer.answer.check for offer in offers])], offers


NO_FRAME = ("none", "no", "no frame")


def keep_frame(workup: Workup, line: str, as_typed: bool = False) -> list[Event]:
    """The events of a freeze frame in one line, or of `none`, with all that it answers.

    Raises Refused, also for what is not usual where that is not confirmed (as_typed)."""
    if line.strip().lower() in NO_FRAME:
        return no_frame(workup)
    frame = read_frame(line)
    if frame.wrong:
        raise Refused("; ".join(frame.wrong))
    if frame.unread or not frame.values:
        raise Refused(f'"{shortened(frame.unread or line, 40)}" is not clear', "such as: P0172 load 24 ect 92 rpm 780")
    if frame.odd and not as_typed:
        odd = ", ".join(said for said, _ in frame.odd.values())
        raise Refused(f"{odd}: not usual", 'read it again; "as typed" keeps it as it is')
    events, offers = frame_told(workup, frame, frame.values, line)
    return [*events, *(offer.answer for offer in offers)]


def _tell(workup: Workup, checks: Sequence[Check], chosen: Sequence[StoryRow], rest_is_none: bool) -> list[Event]:
    events: list[Event] = []
    for check in checks:
        mine = [row.outcome for row in chosen if row.check == check.name]
        if mine or rest_is_none:
            value: str | Mapping[str, float] = _shared(mine) if len(mine) > 1 else (mine or [check.outcomes[0].name])[0]
            events += acts.answer(workup, check.name, {0: value})
    return events


def _shared(outcomes: Sequence[str]) -> dict[str, float]:
    return {name: 1.0 / len(outcomes) for name in outcomes}
