"""One case in progress, pure: what was answered, what comes next, when to stop, the result document."""
