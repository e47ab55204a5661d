"""What a complaint says in the owner's words: what is heard by the rules' own phrases, and what was not understood.

Nothing is taken from it unasked: what is heard is offered, what is not is said, so that it can be put otherwise.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

from reasoner.rulebook.model import Check, Outcome
from reasoner.session.spoken import NEED_NOT_BE_SAID, Ear, as_said, ear_of, phrase_words
from reasoner.session.story import StoryRow
from reasoner.session.workup import Workup


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


# How many words may stand where: judgement.
WORDS_BETWEEN = 2  # words that may stand between two of a phrase, besides little ones
LITTLE_WORDS = frozenset(
    ("a", "an", "the", "of", "from", "its", "it's", "it", "is", "was", "my", "our", "i", "she", "he", "on", "in", "at")
)
WORDS_BEFORE = 3  # words before a phrase in which it may be denied
WORDS_BEFORE_NEVER = 6  # the same for `never` and `hardly`, which deny all that follows
WORDS_AFTER_LIKE = 4  # words before a phrase in which `like` or `than` makes a comparison of it
WORDS_OF_A_REMARK = 5  # words at most of a sentence that speaks of the one before it: `It did not help.`
MEANS_LESS = frozenset(("half", "less"))  # between two words of a phrase: `shakes for half a minute`
DENIED = frozenset(("no", "not", "never", "without", "nor", "neither", "hardly"))  # before a phrase
DENIED_FAR = frozenset(("never", "hardly", "seldom", "rarely"))
NOT_WHEN = frozenset(("when", "if", "once", "while", "after", "before"))  # after `not`: all that follows is denied
# Anywhere beside it.
SAID_TO_BE_FINE = _words(
    """
    fine well good ok okay alright normal perfect perfectly smooth smoothly flawless flawlessly
    problem-free trouble-free nothing peace faultless faultlessly better
    """
)
BETTER = frozenset(("better", "easier", "smoother"))  # before `than`: what stands before that is not meant
WELL = "fine"  # in a phrase it stands for any of these
WORDS_BEFORE_FINE = 2  # words before one of these in which it may be denied: `does not run well`
# Ways of saying that it is fine; some hold words that mean something else by themselves.
FINE_IDIOMS = re.compile(
    r"\b(?:right as rain|all right|(?:as )?good as (?:new|gold)|like new|spot on"
    r"|no (?:trouble|problems?|bother|issues?|difficulty)(?: at all| whatever| whatsoever)?"
    r"|a treat|sweet as a nut|like clockwork|no complaints?|a joy|as (?:always|usual|ever)|had no problems?"
    r"|(?:runs?|ran|pulls?|drives?|starts?|behaves?) (?:\w+ )?normally"
    r"|(?:is|was|'s) (?:as )?(?:a |an )?(?:lamb|lady|dream|angel|quiet|gentle)\b(?: again)?)"
)
# Phrases in which a word that else says that it is fine does not: `a good minute`, `as well`, `drops to nothing`.
NOT_FINE_IDIOMS = re.compile(
    r"\b(?:good(?= (?:minute|hour|while|deal|bit|many|half|quarter|few|\d))|as well|well (?=over|above|below|into|past)"
    r"|(?:almost |nearly |next )?to nothing|nothing (?=else|more|help|was|could|found|done|been|has|had|to)"
    r"|(?<=found )nothing|(?<=for )nothing|(?<=than )normal|as good as(?! gold| new))\b"
)
# Of work: what is said before and after the thing that something was done to; and that it was before the complaint.
DONE_BEFORE = _words(
    """
    new another put putting fit fitted changed changing replaced renewed swapped did
    """
)
DONE_AFTER = frozenset(
    ("done", "renewed", "replaced", "changed", "fitted", "swapped", "repaired", "cleaned", "removed", "taken", "job")
)
HAD_AFTER = DONE_AFTER | {"out", "off", "in"}  # `had the gearbox out`; by themselves they are said of much else
SINCE = frozenset(("since", "after"))
# What is said to have no part in it: `filling up makes no difference`, `it does not matter how warm it is`.
NO_MATTER = re.compile(
    r"\b(?:(?:makes?|making|is|with|was) (?:no|little|hardly any) (?:difference|odds)|hardly any difference|no matter"
    r"|(?:does|did|do) not (?:make (?:any|a|much)(?: \w+)? difference|matter|seem to matter)|regardless"
    r"|irrespective|whether|nothing to do with|independent of)\b"
)
NO_PART = "makes no difference"
# In a phrase of two words neither of which is one of these, the second may be said first: `petrol smell`.
IN_THIS_ORDER = _words(
    """
    when once while until if after before since in on at of for to from with under over off out up down by no not never
    without only every each again more too as and the a it its is
    """
)
# A clause about something else than how the engine runs: when, where or how often that happens says nothing of it. It
# reaches to where the engine is spoken of again: `the brake pedal is hard sometimes and it smells`.
ELSE = re.compile(
    r"^(?:(?:sometimes|occasionally|often|also|and|now and then|now and again|at times|from time to time"
    r"|i (?:feel|hear|notice)|(?:the )?pedal of) )*"
    r"(?:the |my |its )?(?:radio|remote|windows?|windscreen|wipers?|gearbox|clutch|brakes?|tyres?|tires?|steering"
    r"|suspension|doors?|seats?|sunroof)\b|^(?:i|we|he|she|they) (?:have |has |had )?bought\b"
)
THE_ENGINE_AGAIN = re.compile(r"\b(?:and|then) (?=(?:it|she|the (?:engine|motor|car|idle|light|lamp))\b)")
NEXT_TO_IT = NEED_NOT_BE_SAID | {"of"}  # between the two then: `level of the oil`
SENTENCES = re.compile(r"[;!?\n]+|(?<!\d)\.+|\.+(?!\d)")  # not within 1.2
CLAUSES = re.compile(r"[,:()]+|\bbut\b|(?=\b(?:until|except|unless)\b)")
# What stands after these is where the clause before them no longer holds: `rough until warm`, `fine until warm`.
WHERE_IT_ENDS = frozenset(("until", "except", "unless"))
TILL = re.compile(r"\b(?:till|til)\b")
# What is fine where it is denied: `does not happen until warm`, but not `does not pull until warm`.
TROUBLE = re.compile(
    r"\b(?:happens?|shows?|appears?|comes? on|does it|do it|do so|problems?|troubles?"
    r"|misfires?|shakes?|stumbles?|stalls?|smells?|smokes?)\b"
)
COMPARES = frozenset(("like",))  # before what it is compared with
THAN_BEFORE = frozenset(("than", "before"))  # before a condition: `worse than when cold`
FIRST_WORK = re.compile(
    r"\bbefore (?:it|this|that|all this|the (?:trouble|fault|lamp|light)) (?:all )?(?:began|started|came)\b"
)
IN_VAIN = re.compile(
    r"\b(?:no better|no change|no difference|no use|no improvement|no avail|(?:without|no) success|in vain"
    r"|(?:did not|didn't|has not|hasn't) (?:help(?:ed)?|cured?)|as bad as (?:before|ever)|already there"
    r"|(?:it is|it's|still|just|all|exactly) the same"
    r"|(?:there|began|started|had it|did it|did so) (?:already |long )?before (?:that|this|then))\b"
)
# Where it began, and work that is told after that: it came later, unless it is said to have come before.
BEGAN = re.compile(
    r"\b(?:(?:came|comes|went|lit|popped) (?:on|up)|appeared|began|started|(?:first|was) noticed"
    r"|on since|noticed (?:in|last|since))\b"
)
AFTER_IT_BEGAN = re.compile(  # in the words of the work itself: `changed the oil after the light came on`
    r"\b(?:after|once|when|because|as) (?:it|this|that|the [a-z]+(?: light| lamp| message)?) (?:had |first )?"
    r"(?:(?:came|come|lit|went|gone) (?:on|up)|appeared|began|begun|started)\b"
)
LATER = re.compile(r"\b(?:after (?:that|this|which)|afterwards|since then|then|later|meanwhile|in the meantime)\b")
CAME_BEFORE = re.compile(r"\b(?:before|earlier|previously|since|after|following|had)\b")
TOLD_AGO = re.compile(
    r"\b(?:(\d+|an?|one|two|three|four|five|six|couple of|few|several) (day|week|month|year)s? ago"
    r"|last (week|month|year)|(yesterday))\b"
)
DAYS_IN = {"day": 1.0, "week": 7.0, "month": 30.0, "year": 365.0}
NUMBER_WORDS = {"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}
SEVERAL = 3  # `a few`, `several`
NEVER_AGAIN = re.compile(
    r"\b(?:(?:never|not once|no trouble|not come back) (?:again )?since|not come back"
    r"|(?:cured|fixed|mended|solved) (?:it|that)"
    rf"|(?:{'|'.join(sorted(SAID_TO_BE_FINE))})(?: again| ever)? since)\b"
)
# What tells nothing of when or how: the car, its lamp, who says it, and that it runs badly. In a part of a complaint
# that has only such words there was nothing to understand.
SAYS_NOTHING = _words(
    """
    stumble stumbles shake shakes hesitate hesitates misfire misfires miss misses die dies stall stalls jerk
    jerks jerky cut cuts rough roughly bad badly worse run runs running ran drive drives driven nearly almost
    away a an the it its it's that that's this these those there here i i'm i've my me we our you your he she
    they them his her their who which what is isn't are was were be been being am has have had do does did done
    can could will would may might must shall should get gets got getting go goes going went gone come comes
    coming came to of in on at by for from with into onto off out up as and or so then now also too very quite
    really just still even about some any all again more once owner owner's customer customer's client driver
    says said states stated stating reports reported reporting complains complaint told tells noticed notices
    noticing car car's vehicle engine motor check light lamp mil eml eml's warning lit management please help
    fault problem trouble issue whenever when while if only mostly usually always often ever since ago year
    years month months week weeks day days time times today yesterday last january february march april june
    july august september october november december spring autumn easter christmas symptom symptoms other feel
    feels complaints driveability drivability completely eg ie because flashes flashing after before started
    began begun appeared happens happen happening worst best two first thing things kind sort bit lot mine plays play
    know think bought comes that's been like same way its otherwise soon rich fat
    """
)
JOINS = frozenset(("and", "or", "then", "so", "yet", "though", "although", "plus"))  # between parts of a clause
OPENS = frozenset(("when", "whenever", "while", "if", "after", "because", "since", "once", "as", "where"))  # a new one
NEVER_AFTER = re.compile(
    r"^(?:(?:it|she|he|that|this) )?never(?: (?:does|did|do|happens|happened|happen|had)\b.*)?$"
    r"|^(?:it|she|he|that|this) (?:doesn't|does not|isn't|is not|didn't|did not|won't)$"
)


def heard(workup: Workup, text: str) -> list[StoryRow]:
    """What a complaint says by the rules' own words (`owners say`) and was not told yet, in the order of the rules.

    Each is to be confirmed. What is denied ("no smoke", "fine when cold", "at home never") or only compared with ("like
    on a cold morning") is not heard; a longer phrase is heard instead of one within it.
    """
    told = {given.check for given in workup.record.given}
    known = workup.tables.check_number
    open_ = [c for c in workup.book.checks.values() if c.owners_say and c.name in known and c.name not in told]
    clauses = _clauses(text, _ear(workup))
    cured = NEVER_AGAIN.search(_plain(text)) is not None
    spans = [span for check in open_ for span in _meant(check, clauses, cured)]
    names = {span[4:] for span in spans if not any(_within(span, o) for o in spans if o[4:] != span[4:])}
    found: list[StoryRow] = []
    covered: set[str] = set()
    for check in open_:
        rows = [_row(check, o) for o in check.outcomes if (check.name, o.name) in names and check.name not in covered]
        covered |= set(check.stands_for) if rows else set()
        found += rows
    return [row for row in found if row.check not in covered]


def unheard(workup: Workup, text: str) -> tuple[str, ...]:
    """The parts of a complaint that hold no phrase of the rules, denied or not, and are more than that a light came on
    or that all is well: what was not understood. Rules without any phrases listen to nothing."""
    checks = [check for check in workup.book.checks.values() if check.owners_say]
    found = list[str]()
    for clause in _clauses(text, _ear(workup)) if checks else ():
        words = clause.words
        known = {n for check in checks for start, end in _spoken_of(check, clause) for n in range(start, end + 1)}
        for part in _parts(words):
            left = {words[n] for n in part} - SAYS_NOTHING - SAID_TO_BE_FINE - DENIED
            said = " ".join(words[n] for n in part)
            if (
                known.isdisjoint(part)
                and any(len(word) > 1 and not word.isdecimal() for word in left)
                and not IN_VAIN.search(said)
            ):
                found.append(said)
    return tuple(dict.fromkeys(found))


def _ear(workup: Workup) -> Ear:
    return ear_of(workup.book, SAYS_NOTHING | SAID_TO_BE_FINE | LITTLE_WORDS | DONE_BEFORE | DONE_AFTER)


def _spoken_of(check: Check, clause: _Clause) -> Iterator[tuple[int, int]]:
    """Where any phrase of a check stands, denied or not; of parts and work where something was done to them."""
    for phrase in (*check.not_meant, *(phrase for said in check.owners_say.values() for phrase in said)):
        for place in _places(phrase_words(phrase), clause):
            if not only_done(check) or _done_to(clause.words, *place):
                yield place


def _parts(words: Sequence[str]) -> list[list[int]]:
    """Numbers of the words of a clause, in parts: each begins after `and`, or with `when`."""
    parts: list[list[int]] = [[]]
    for n, word in enumerate(words):
        if word in JOINS or word in OPENS:
            parts.append([])
        if word not in JOINS:
            parts[-1].append(n)
    return [part for part in parts if part]


@dataclass(frozen=True)
class _Clause:
    """Words that belong together. means: what a phrase may have for each of them. ends: it begins with a word such as
    `until`, and says where the trouble that stands before it ends. elsewhere: it is not about how the engine runs.
    no_matter: it says what has no part in it. first: the work in it is said to have come before the trouble; late:
    after it; in_vain: to have mended nothing."""

    words: tuple[str, ...]
    means: tuple[frozenset[str], ...]
    ends: bool
    elsewhere: bool
    no_matter: bool
    first: bool
    late: bool
    in_vain: bool

    @cached_property
    def begins(self) -> frozenset[str]:
        """What a word of a phrase must be to stand here."""
        return frozenset().union(*self.means)

    @cached_property
    def better_until(self) -> int:
        """The number of `than`, where what stands before it is said to be the better: `better in town than uphill`."""
        than = self.words.index("than") if "than" in self.words else 0
        return 0 if BETTER.isdisjoint(self.words[:than]) else than

    @cached_property
    def fine(self) -> bool:
        """Whether it says that all is well, and does not deny it."""
        return not self.better_until and _said_fine(self.words)


def _clauses(text: str, ear: Ear) -> list[_Clause]:
    """The clauses of what was said. What follows `until` and the like after something that is fine is when it happens,
    and is put so: `fine until warm` is `fine, when warm`."""
    sentences = SENTENCES.split(_plain(text))
    found: list[_Clause] = []
    fine = False
    begun: str | None = None
    for number, sentence in enumerate(sentences):
        first = FIRST_WORK.search(sentence) is not None
        after = "".join(sentences[number + 1 : number + 2]).strip()
        short = after if len(after.split()) <= WORDS_OF_A_REMARK else ""
        vain = any(map(IN_VAIN.search, (sentence, short)))
        for part in _told_apart(sentence):
            words = tuple(re.findall(r"[a-z0-9'-]+", part))
            limit = bool(words) and words[0] in WHERE_IT_ENDS
            late = bool(AFTER_IT_BEGAN.search(part)) or (begun is not None and not first and _later(part, begun))
            told = ("when", *words[1:]) if limit and fine else words
            means = tuple(ear.means(word) | ({WELL} if word in SAID_TO_BE_FINE else set()) for word in told)
            found.append(
                _Clause(
                    told, means, limit and not fine, ELSE.search(part) is not None, NO_PART in part, first, late, vain
                )
            )
            fine = _is_fine(part, words)
            begun = part if begun is None and BEGAN.search(part) else begun
    return found


def _told_apart(sentence: str) -> list[str]:
    """The clauses of a sentence, as text; what is said of something else than the engine ends where that comes back."""
    parts = [part.strip() for part in CLAUSES.split(sentence)]
    return [
        piece.strip()
        for part in parts
        for piece in (THE_ENGINE_AGAIN.split(part) if ELSE.search(part) else [part])
        if piece.strip()
    ]


def _plain(text: str) -> str:
    """In lower case, with `until` for its other forms, and one word where some say that it is fine, or do not."""
    lower = NOT_FINE_IDIOMS.sub(" ", NO_MATTER.sub(f" {NO_PART} ", as_said(text)))
    return TILL.sub("until", FINE_IDIOMS.sub(" fine ", lower))


def _later(clause: str, begun: str) -> bool:
    """Whether what a clause tells came later than what began in one before it: by how long ago each was, else by its
    words, else by the order in which they are told."""
    ago = [_days_ago(part) for part in (clause, begun)]
    if ago[0] is not None and ago[1] is not None:
        return ago[0] < ago[1]
    return LATER.search(clause) is not None or CAME_BEFORE.search(clause) is None


def _days_ago(clause: str) -> float | None:
    found = TOLD_AGO.search(clause)
    if found is None:
        return None
    many, unit, last, _ = found.groups()
    if not many:
        return DAYS_IN[last] if last else 1.0
    return (float(many) if many.isdecimal() else NUMBER_WORDS.get(many, SEVERAL)) * DAYS_IN[unit]


def _is_fine(clause: str, words: Sequence[str]) -> bool:
    if any(map(_denies, words)):
        return TROUBLE.search(clause) is not None
    return _said_fine(words)


def _said_fine(words: Sequence[str]) -> bool:
    """Whether some word says that it is well, and is not denied: `does not run well`."""
    return any(
        word in SAID_TO_BE_FINE and not any(map(_denies, words[max(0, n - WORDS_BEFORE_FINE) : n]))
        for n, word in enumerate(words)
    )


_Span = tuple[int, int, int, int, str, str]  # number of the clause, first and last word, words of it, check, outcome


def _within(inner: Sequence[Any], outer: Sequence[Any]) -> bool:
    """Whether a span lies in a longer one of its clause, or in one of more words: that one says what was meant. Not so
    where it stands between the two words of the other: `idles` in `when it idles warm`."""
    covers = inner[0] == outer[0] and outer[1] <= inner[1] <= inner[2] <= outer[2]
    between = outer[3] == 2 and outer[1] < inner[1] and inner[2] < outer[2]
    return covers and not between and (outer[2] - outer[1], outer[3]) > (inner[2] - inner[1], inner[3])


def _spans(check: Check, clauses: Sequence[_Clause], cured: bool) -> Iterator[_Span]:
    """Where a check's phrases stand. Of parts and work it is heard only where something was done to them; work that
    mended nothing, or was done later, was done when it was there already, and has not brought it in; a part that was
    renewed before it began (`since the new plugs`) is the third outcome. That it was mended is heard only where
    something was done. cured: it never came back, so that a part which was renewed is not known to have been no use."""
    if check.intake == "mended" and not any(_anything_done(clause.words) for clause in clauses):
        return
    for number, clause in enumerate(clauses):
        if check.intake == "work" and (clause.in_vain or clause.late):
            continue
        if clause.elsewhere and check.intake in ("pattern", "also", "manner"):
            continue
        if clause.no_matter and check.intake not in ("also", "mended", "work", "renewed"):
            continue
        for outcome, phrases in check.owners_say.items():
            for phrase in phrases:
                words = phrase_words(phrase)
                span = _span(words, clause, check.intake in ("pattern", "also"), check.intake in ("work", "renewed"))
                if span is None or (only_done(check) and not _done_to(clause.words, *span)):
                    continue
                since = not clause.late and (clause.first or not SINCE.isdisjoint(clause.words[: span[0]]))
                new = check.intake == "renewed" and since and not clause.in_vain
                if check.intake == "renewed" and cured and not new:
                    continue
                meant = check.outcomes[0].name if clause.no_matter and check.intake == "also" else outcome
                yield (number, *span, len(words), check.name, check.outcomes[-1].name if new else meant)


def _meant(check: Check, clauses: Sequence[_Clause], cured: bool) -> list[_Span]:
    others = list(_not_meant(check, clauses))
    return [span for span in _spans(check, clauses, cured) if not any(_within(span, other) for other in others)]


def _not_meant(check: Check, clauses: Sequence[_Clause]) -> Iterator[_Span]:
    """Where longer phrases stand that hold a check's own and mean something else: `some days worse`."""
    for number, clause in enumerate(clauses):
        for phrase in check.not_meant:
            words = as_said(phrase).split()
            for start, end in _places(words, clause):
                yield (number, start, end, len(words), check.name, "")


def _anything_done(words: Sequence[str]) -> bool:
    return not (DONE_BEFORE | DONE_AFTER).isdisjoint(words)


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


def _span(phrase: Sequence[str], clause: _Clause, condition: bool, done: bool) -> tuple[int, int] | None:
    """Where a phrase stands in a clause, first and last word; None where it does not, or is denied there. condition:
    the phrase says when it happens; that is denied also where the trouble ends there, and in a comparison; what is said
    to have no part in it is not denied by that. done: it says what was done, which is not denied where all is well."""
    words = clause.words
    if clause.fine and not done and SAID_TO_BE_FINE.isdisjoint(phrase):
        return None
    if condition and clause.ends and phrase[0] not in WHERE_IT_ENDS:
        return None
    for start, at in _places(phrase, clause):
        within = set(words[start : at + 1]) - set(phrase)
        compared = condition and not THAN_BEFORE.isdisjoint(words[max(0, start - WORDS_AFTER_LIKE) : start])
        if clause.better_until:
            compared = start < clause.better_until
        denied = not clause.no_matter and _denied(words, start, at)
        if within.isdisjoint(DENIED | COMPARES) and not compared and not denied:
            return start, at
    return None


def _places(phrase: Sequence[str], clause: _Clause) -> Iterator[tuple[int, int]]:
    """Where a phrase's words stand in this order among others, first and last: between two of them two more at most,
    little ones not counted, and none after a word that denies. With `half` or `less` between, something else is
    meant."""
    if not clause.begins.issuperset(phrase):
        return
    words, found = clause.words, dict[int, int]()
    for start in range(len(words)):
        if phrase[0] not in clause.means[start]:
            continue
        at = start
        for before, wanted in pairwise(phrase):
            at = _next(wanted, clause, at, 0 if _denies(before) else WORDS_BETWEEN)
            if at < 0:
                break
        if at >= 0 and MEANS_LESS.isdisjoint(set(words[start : at + 1]) - set(phrase)):
            found[at] = start  # of those that end here, the shortest
    if len(phrase) == 2 and IN_THIS_ORDER.isdisjoint(phrase):
        for start in range(len(words)):
            at = _next(phrase[0], clause, start, 0) if phrase[1] in clause.means[start] else -1
            if NEXT_TO_IT.issuperset(words[start + 1 : at]) and at >= 0:
                found.setdefault(at, start)
    yield from ((start, at) for at, start in found.items())


def _next(wanted: str, clause: _Clause, at: int, between: int) -> int:
    for n in range(at + 1, len(clause.words)):
        if wanted in clause.means[n]:
            return n
        between -= clause.words[n] not in LITTLE_WORDS
        if between < 0:
            return -1
    return -1


def _denied(clause: Sequence[str], start: int, end: int) -> bool:
    """Whether what stands in a clause is denied there, before or after it, or only compared with: `like on a cold
    morning`."""
    return (
        any(
            _denies(clause[n]) and not _well_denied(clause, n, start)
            for n in range(max(0, start - WORDS_BEFORE), start)
        )
        or not DENIED_FAR.isdisjoint(clause[max(0, start - WORDS_BEFORE_NEVER) : start])
        or any(word == "not" and after in NOT_WHEN for word, after in pairwise(clause[:start]))
        or ("than" not in clause and ("used", "to") in pairwise(clause[:start]))
        or not COMPARES.isdisjoint(clause[max(0, start - WORDS_AFTER_LIKE) : start])
        or NEVER_AFTER.match(" ".join(clause[end + 1 :])) is not None
    )


def _well_denied(clause: Sequence[str], at: int, end: int) -> bool:
    """Whether what is denied there, before `end`, is that it is well: `does not run well when cold`."""
    return not SAID_TO_BE_FINE.isdisjoint(clause[at + 1 : min(at + 1 + WORDS_BEFORE_FINE, end)])


def _denies(word: str) -> bool:
    return word in DENIED


def _row(check: Check, outcome: Outcome) -> StoryRow:
    first = ", before it began" if check.intake == "work" and "before" not in outcome.text else ""
    return StoryRow(check.name, outcome.name, f"{check.title}{first}: {outcome.text}")
