"""The way in, and the way out: faults in words, and the exit status."""

import atexit
import gc
import sys
import traceback

from trialkit.cli.app import AT_FAULT, INTERRUPTED, app, tell_faults
from trialkit.errors import TrialkitError

SEVERAL = 20_000  # objects between looks for what is out of use; Python's 700 are for less memory


def main() -> None:
    """Run the command line; every fault is told in words, and a traceback only with --debug."""
    gc.set_threshold(SEVERAL, 10, 10)
    # What is in use at the end need not be looked through once more before the process goes.
    atexit.register(gc.freeze)
    try:
        app()
    except TrialkitError as error:
        tell_faults(str(error).splitlines())
        leave(AT_FAULT)
    except KeyboardInterrupt:
        tell_faults(["stopped; reports that were done are kept."])
        leave(INTERRUPTED)
    except Exception as error:
        told = f"trialkit itself failed: {type(error).__name__}: {error}. "
        tell_faults([f"{told}Run the command again with --debug and report what it shows."])
        leave(AT_FAULT)


def leave(status: int) -> None:
    """End with an exit status; with --debug the traceback of the fault at hand comes first."""
    if "--debug" in sys.argv:
        traceback.print_exc()
    raise SystemExit(status)
