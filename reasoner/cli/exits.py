"""Exit statuses, by name."""

FINE = 0
PROBLEMS = 1  # mistakes were found, or the case could not be carried on
USAGE = 2  # wrong use of the command line (click's own)
OURS = 3  # a fault of this program
RULES = 4  # the rules cannot be used
CASE_UNUSABLE = 5  # the case cannot be used (damaged, in use, nowhere to write)
NO_TERMINAL = 6  # questions need a terminal, a script of answers, or --json
OUTPUT = 7  # standard output cannot be written: its disk is full
INTERRUPTED = 130  # left by Ctrl-C; everything answered is kept
UNREAD = 141  # nobody reads standard output any more; what a shell calls the end by SIGPIPE (128 + 13)
