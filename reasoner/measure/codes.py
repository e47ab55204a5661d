"""Trouble codes as a person types them off a reader, and who defines a code.

Form and ownership of codes: SAE J2012 / ISO 15031-6, from memory (P3000-P33FF and P3400-P3FFF: in a secondary text).
What a code means is the rules' business, not this module's.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from reasoner.measure.reading import Slip, as_typed
from reasoner.rulebook.problem import near

STORED, PENDING, PERMANENT = "stored", "pending", "permanent"
CODE_STATES = (STORED, PENDING, PERMANENT)  # services 03, 07 and 0A of SAE J1979
HISTORY = "history"  # said by makers of a code that was there once; no service of its own, so none is nothing to say
STANDARD = "SAE J2012 / ISO 15031-6"

_WORDS = {
    **dict.fromkeys(
        (
            "stored",
            "store",
            "stor",
            "confirmed",
            "confirm",
            "conf",
            "sporadic",
            "intermittent",
            "active",
            "current",
        ),
        STORED,
    ),
    **dict.fromkeys(("pending", "pend", "pnd", "pndg"), PENDING),
    **dict.fromkeys(("permanent", "perm", "prm", "pdtc"), PERMANENT),
    **dict.fromkeys(("history", "hist", "historic", "historical", "past", "old"), HISTORY),
}
_NONE = frozenset({"none", "no", "nil", "nothing", "zero"})
_SUBJECT = frozenset({"code", "codes", "dtc", "dtcs", "fault", "faults", "trouble"})
_HOW_MANY = frozenset({"all", "any", "both", "only", "of", "them"})
_SMALL = _HOW_MANY | {"a", "also", "and", "are", "at", "found", "is", "present", "set", "the", "there"}
_LAMP = frozenset({"lamp", "light", "mil", "on", "off", "out"})
_FILLING = _SUBJECT | _SMALL | _LAMP

_CODE = re.compile(r"[PCBU][0-3][0-9A-F]{3}")
_SEPARATOR = re.compile(r"[,;|/+&\n\r\v\f\u2028\u2029]|(?<=\w)\.(?=\s)")
_FAILURE_TYPE = re.compile(r"(?i)(?<=\b[PCBU][0-3][0-9A-F]{3})-[0-9A-F]{2}\b")  # two more digits that some readers show
_NOT_SO = re.compile(rf"(?i)\bnot ({'|'.join(sorted(_WORDS))})\b")  # `not stored` is no state of it
_OF_ALL = re.compile(r"(?i)\b(?:all|both)(?: (?:are|of them))? (\w+)$")  # `P0172 P0300 all stored`
_TOKEN = re.compile(r"(?<!\w)[PCBUpcbu][ ._-][0-3][0-9A-Fa-f]{3}(?!\w)|:|[^\s:()\[\]{}=<>\"'`]+")
_COUNTER = re.compile(r"(?i)\b(?:counter|count|frequency)\b[ :=]*\d+")  # how often it was seen, as some readers show it
_COLOUR = re.compile("\x1b\\[[0-9;]*[A-Za-z]")  # comes along with a line copied off a screen
_LETTERS_FOR_DIGITS = str.maketrans("OQILZS", "001125")
_LOOKALIKES = str.maketrans({"Р": "P", "С": "C", "В": "B", "О": "O", "Ρ": "P", "Β": "B", "Ο": "O", "–": "-", "—": "-"})
_FORM = f"a letter P, C, B or U, a digit 0 to 3 and three more characters 0 to 9 or A to F ({STANDARD})"
_STATE = "a code, or one of: stored, pending, permanent, history"


class Control(StrEnum):
    """Who defines what a code means."""

    STANDARD = "standard"
    MAKER = "maker-defined"
    RESERVED = "reserved"


@dataclass(frozen=True)
class TypedCode:
    """A code and the states it was said to be in; none where nothing was said."""

    code: str
    states: frozenset[str] = frozenset()


@dataclass(frozen=True)
class CodeList:
    """codes: each once, in the order typed. empty: states said to have no code. slips: what could not be taken."""

    codes: tuple[TypedCode, ...] = ()
    empty: frozenset[str] = frozenset()
    slips: tuple[Slip, ...] = ()

    @property
    def none(self) -> bool:
        """It was said that there is no code at all, which is not the same as saying nothing."""
        return not self.codes and self.empty == frozenset(CODE_STATES)


@dataclass
class _Page:
    """What has been read so far."""

    codes: dict[str, set[str]] = field(default_factory=dict)
    empty: set[str] = field(default_factory=set)
    slips: list[Slip] = field(default_factory=list)
    heading: frozenset[str] = frozenset()
    headed: bool = False  # states alone on a line are headings: one came before the first code
    last: str = ""


def read_codes(text: str) -> CodeList:
    """All codes of a typed text. Never raises.

    A state is said after its code (`P0172 pending, P0172 permanent`), before it (`pending P0172, stored P0301`) or as
    a heading (`pending: P0172 P0175`). Without a comma, a state after several codes belongs to the nearest.
    `none` or `no codes` says that there is none; `pending: none` says so of one state.
    """
    page = _Page()
    for piece in _SEPARATOR.split(_COUNTER.sub("", _FAILURE_TYPE.sub("", _COLOUR.sub("\x1b", text)))):
        _piece(page, piece)
    _contradictions(page)
    codes = tuple(TypedCode(code, frozenset(states)) for code, states in page.codes.items())
    return CodeList(codes, frozenset(page.empty), tuple(dict.fromkeys(page.slips)))


def _piece(page: _Page, piece: str) -> None:
    """One piece between separators."""
    tokens = [t.strip(".!?") for t in _TOKEN.findall(_NOT_SO.sub(_joined, piece))]
    start = 0
    for at, token in enumerate(tokens):
        if token == ":":
            page.heading = frozenset(_states(tokens[start:at])) or page.heading
            start = at + 1
        elif token.lower() not in _WORDS and token.lower() not in _FILLING:
            break
    tokens = [
        t for t in tokens[start:] if t.lower() not in _FILLING and (any(c.isalnum() for c in t) or not t.isprintable())
    ]
    words = [t.lower() for t in tokens]
    if words and all(w in _NONE or w in _WORDS for w in words) and not _NONE.isdisjoint(words):
        page.empty |= (set(_states(words)) or page.heading or set(CODE_STATES)) - {HISTORY}
    elif words and all(w in _WORDS for w in words):
        _states_alone(page, words)
    else:
        of_all = _OF_ALL.search(piece.strip(" .!?)"))
        _codes(page, tokens, set(_states(of_all.groups())) if of_all else set())


def _joined(match: re.Match[str]) -> str:
    return f"not-{match[1]}"


def _states_alone(page: _Page, words: list[str]) -> None:
    if page.codes and not page.headed:
        page.codes[page.last].update(_states(words))
    else:
        page.headed = True
        page.heading = frozenset(_states(words))


def _codes(page: _Page, tokens: list[str], of_all: set[str]) -> None:
    """Codes of one piece with the states said of them, before or after; unknown words in a row make one slip. of_all:
    states said of all of them."""
    said: dict[str, set[str]] = {}
    before = bool(tokens) and tokens[0].lower() in _WORDS
    ahead: set[str] = set()
    last, strange = "", list[str]()
    for token in tokens:
        state = _WORDS.get(token.lower())
        code = _as_code(token)
        if not state and not code and not _like_code(token):
            strange.append(token)
            continue
        _strange(page, strange)
        if code:
            last = code
            said.setdefault(code, set()).update(ahead)
        elif not state:
            last = ""
            stood = as_typed(token).encode("ascii", "backslashreplace").decode()  # a foreign letter may look right
            page.slips.append(Slip(stood, _FORM, nearest_code(token)))
        elif before:
            ahead = {state} if said else ahead | {state}
        elif last:
            said[last].add(state)
    _strange(page, strange)
    if before and len(said) == 1:  # `pending P0172 permanent`: all of it is about the one code
        said[next(iter(said))].update(_states(tokens))
    for code, states in said.items():
        page.codes.setdefault(code, set()).update(states | of_all or page.heading)
        page.last = code


def _strange(page: _Page, words: list[str]) -> None:
    if words:
        meant = near(words[0], _WORDS) if len(words) == 1 and len(words[0]) > 3 else None
        page.slips.append(Slip(as_typed(" ".join(words)), _STATE, _WORDS[meant] if meant else "leave it out"))
        words.clear()


def _contradictions(page: _Page) -> None:
    """`none` beside codes, and `none` of one state only where nothing else was said."""
    listed = set().union(*(states or CODE_STATES for states in page.codes.values()))
    both = page.empty & listed
    if both:
        what = "none" if both == set(CODE_STATES) else f"none {' and '.join(s for s in CODE_STATES if s in both)}"
        page.slips.append(Slip(what, "either codes or none", f"leave `{what}` out if these codes are there"))
        page.empty -= both
    elif page.empty and not page.codes and page.empty != set(CODE_STATES):
        left = " and ".join(s for s in CODE_STATES if s not in page.empty)
        page.slips.append(
            Slip("none " + " and ".join(s for s in CODE_STATES if s in page.empty), f"{left} too", "none")
        )


def _states(words: Iterable[str]) -> Iterator[str]:
    return (_WORDS[w.lower()] for w in words if w.lower() in _WORDS)


def _as_code(token: str) -> str:
    """The code that a token is, or ""."""
    code = token.upper().strip(".-_") if token.isascii() else ""
    if len(code) == 6 and code[1] in " ._-":
        code = code[0] + code[2:]
    return code if _CODE.fullmatch(code) else ""


def _like_code(token: str) -> bool:
    """Whether somebody may have meant a code by it: a number in it, or what cannot be seen."""
    return (len(token) > 2 and any(c.isdigit() for c in token)) or not token.isprintable()


def nearest_code(token: str) -> str:
    """The code that a malformed piece most likely means, or what is missing; "" where nothing is near.

    PO172 -> P0172 (letter for digit), P01722 -> P0172 (one too many), X0172 -> P0172, P172 -> P0172 (the zero
    left out), P017 -> `P017_`.
    """
    token = "".join(c for c in token[:40].upper().translate(_LOOKALIKES) if c.isascii() and c.isalnum())
    if not token:
        return ""
    letter, rest = (token[0], token[1:]) if token[0].isalpha() and token[0] != "O" else ("P", token)
    letter = letter if letter in "PCBU" else "P"
    digits = rest.translate(_LETTERS_FOR_DIGITS)
    if len(digits) == 5:
        digits = re.sub(r"(.)\1", r"\1", digits, count=1)
    if len(digits) == 3 and digits[0] != "0":
        digits = "0" + digits  # `172`: as often said aloud
    code = letter + digits[:4]
    if _CODE.fullmatch(code):
        return code
    return f"{code}_" if _CODE.fullmatch(code + "0") else ""


def control(code: str) -> Control:
    """Who defines a code (SAE J2012 / ISO 15031-6). Raises ValueError if it is none.

    P0, P2, P34-P39, B0, C0, U0, U3: the standard. P1, P30-P33, B1, B2, C1, C2, U1, U2: the maker. The rest is reserved.
    """
    if not _CODE.fullmatch(code):
        raise ValueError(f"{as_typed(code)!r} is no code: {_FORM}")
    letter, second, third = code[0], code[1], code[2]
    if second == "0" or (letter, second) in {("P", "2"), ("U", "3")}:
        return Control.STANDARD
    if second in "12":
        return Control.MAKER
    if letter == "P" and third in "0123":
        return Control.MAKER
    return Control.STANDARD if letter == "P" and third in "456789" else Control.RESERVED


def described(code: str) -> str:
    """Whose code it is, as a sentence: a maker-defined one is kept and named as such, not interpreted."""
    owner = control(code)
    if owner is Control.MAKER:
        return f"{code} is maker-defined ({STANDARD}): not interpreted here, see the maker's own service data"
    if owner is Control.RESERVED:
        return f"{code} lies in a range reserved by {STANDARD}: check that it was read off right"
    return f"{code} is a standard code ({STANDARD})"
