"""Run the mutation tests of tests/mutation in the environment of the checks, on the wheels."""

from __future__ import annotations

import os
import sys

from environments import ROOT, finish
from verify import ready


def main() -> int:
    """Mutate; the arguments go to the program."""
    environment = ready()
    sys.stdout.flush()
    program = str(ROOT / "tests" / "mutation" / "run.py")
    os.execv(environment.python, [str(environment.python), program, *sys.argv[1:]])


if __name__ == "__main__":
    finish(main)
