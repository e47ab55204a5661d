"""A scan log at the screen: read, what was understood read back, then kept as one step or not."""

from __future__ import annotations

from pathlib import PurePath

from reasoner.measure.finding import MEANS
from reasoner.session import logged
from reasoner.session.document import Question
from reasoner.session.plain import harmless
from reasoner.terminal.blocks import head, numbered, rows
from reasoner.terminal.prompting import Back, ask
from reasoner.terminal.sitting import Sitting

FILE = "The path of a text file with a header and one row a sample, from where the program was started."
LITRES = "With it the log's air is held against what the engine can take; Enter leaves that out."
KEEPS = "The answers above become one step of the case, which back takes back; n leaves the case as it is."


def take_log(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Take in the log of a file. Raises Refused where it is none; nothing has changed then, nor after going back."""
    try:
        return _taken(sitting, rest)
    except Back:
        sitting.desk.say("Not kept.")
        return False


def _taken(sitting: Sitting, rest: str) -> bool:
    desk, workup = sitting.desk, sitting.workup
    file = (rest or ask(desk, "File of the log, or Enter > ", FILE)).strip().strip("\"'")
    if not file:
        return False
    content, columns = sitting.talk.fetch(file)
    litres = (
        ""
        if logged.displacement_known(workup)
        else ask(desk, "Displacement of the engine in L, Enter: not known > ", LITRES)
    )
    log, *answered = logged.take(workup, content, PurePath(file).name, columns, litres.strip())
    says = [("-", harmless(line)) for line in log.says]
    answers = logged.understood(workup, [log, *answered])
    listed = rows(numbered(map(harmless, answers)))
    desk.page(
        head("The log says", MEANS.rstrip(".")),
        rows(says),
        head("As answers", "each in a spell of its own time"),
        listed,
    )
    count = f"{len(answers)} answer{'s' * (len(answers) != 1)}"
    if ask(desk, f"Enter keeps {count} as one step, n: not > ", KEEPS).lower() not in ("", "y", "yes"):
        desk.say("Not kept.")
        return False
    return sitting.keep([log, *answered], f"Kept: the log {harmless(log.file)}: {count}. Back takes all of it back.")
