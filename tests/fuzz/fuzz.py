"""Fuzz a target, guided by the lines that are reached: ``python tests/fuzz/fuzz.py decoder --seconds 600``.

Needs atheris (`pip install --group fuzz`; Linux). What it finds is written beside the corpus, in .run/fuzz; put it into
tests/fuzz/findings under the target's name, mend what is at fault, and it is a test from then on.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Final

import atheris

INSTRUMENTED: Final = [
    "featherline_service.web.http.bodies", "featherline_service.web.http.faults",
    "featherline_service.web.http.wording", "featherline_service.shape", "json", "xml",
]  # fmt: skip
FOLDER: Final = Path(__file__).parents[2] / ".run" / "fuzz"
SLOWEST_S: Final = 60
MOST_MB: Final = 4096  # instrumented comparisons hold on to the arrays that they compare; without, memory is flat
LONGEST: Final = 4096  # bytes of an input

with atheris.instrument_imports(include=INSTRUMENTED):
    import targets


def main() -> None:
    """Fuzz for so long; ends the process."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("target", choices=targets.TARGETS)
    arguments.add_argument("--seconds", type=int, default=600)
    chosen = arguments.parse_args()
    corpus = FOLDER / chosen.target
    corpus.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(targets.seeds(chosen.target)):
        (corpus / f"seed-{number}").write_bytes(seed)
    limits = (
        f"-max_total_time={chosen.seconds}", f"-timeout={SLOWEST_S}", f"-rss_limit_mb={MOST_MB}",
        f"-max_len={LONGEST}", f"-artifact_prefix={FOLDER}/{chosen.target}-",
    )  # fmt: skip
    atheris.Setup([sys.argv[0], *limits, str(corpus)], targets.TARGETS[chosen.target])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
