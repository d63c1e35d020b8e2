"""What the exit codes mean; those above 63 are the usual ones of sysexits."""

OK = 0
"""All is well: protected, idle, nothing tripped."""

NOT_SO = 1
"""It ran, and the answer is no: not protected, something heats, something tripped, a reset was refused."""

BAD_INPUT = 2
"""The command line or a log is wrong."""

NO_GUARD = 69
"""The guard cannot be reached."""

CRASHED = 70
"""A fault of the program itself; it may be started again."""

STUCK = 75
"""The guard's loop stood still, so that the guard ended itself; it is to be started again."""

BAD_SETTINGS = 78
"""The settings are wrong, and there is no validated copy to run."""
