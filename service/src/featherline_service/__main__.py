"""The command: it serves, as the environment's settings say, or does what its arguments ask.

``featherline-service --add-seal-key FILE``, and later ``--use-seal-key`` and ``--retire-seal-key``, change seal keys.
``featherline-service --new-key NAME >> FILE`` adds the entry of a caller's new key to a file, and shows the key.
``featherline-service book`` makes, checks and compares books, and says what is in them.
``featherline-service reprice ORDERS --out DIR`` prices a file of orders again, and ends.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final

from featherline_service import seal_key_commands
from featherline_service.web.server.caller_keys import mint

UNUSABLE: Final = 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what the arguments say, without any: serve until told to stop.

    Returns:
        The exit code: 0 done, otherwise as the command has it (`serving.serve`).
    """
    arguments = sys.argv[1:] if arguments is None else arguments
    if arguments[:1] == ["reprice"]:
        from featherline_service.reprice.command import main as reprice  # noqa: PLC0415 - needed by this command alone

        return reprice(arguments[1:])
    if arguments[:1] == ["book"]:
        from featherline_service.book_command.command import main as book  # noqa: PLC0415 - the same

        return book(arguments[1:], os.environ)
    started = time.perf_counter()
    parser = argparse.ArgumentParser(
        prog="featherline-service",
        description="Serve, as the environment's FEATHERLINE_ variables say.",
        epilog=(
            "Other commands: `featherline-service book --help` is about a shop's own book, "
            "`featherline-service reprice --help` about pricing orders again."
        ),
    )
    seal_key_commands.add_arguments(parser)
    parser.add_argument("--new-key", metavar="NAME", help="print the entry of a caller's new key, and the key, and end")
    options = parser.parse_args(arguments)
    if (code := seal_key_commands.run(options, os.environ)) is not None:
        return code
    if options.new_key is not None:
        return _new_key(options.new_key)
    from featherline_service.serving import serve  # noqa: PLC0415 - takes a second, and is needed by no other command

    return serve(os.environ, started)


def _new_key(name: str) -> int:
    """Print the entry of a new key, for the file of keys, and show the key, which is kept nowhere."""
    try:
        key, entry = mint(name, datetime.now(UTC))
    except ValueError as error:
        sys.stderr.write(f"No key was made: {error}\n")
        return UNUSABLE
    sys.stdout.write(entry)
    sys.stderr.write(
        f"The key of {name} is shown this once; hand it over, and nothing else of it:\n{key}\n"
        "What went to standard output is its entry in the file that FEATHERLINE_KEYS names, with scopes and limits to "
        "change: --new-key NAME >> FILE. A running service reads the file again within a second.\n"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
