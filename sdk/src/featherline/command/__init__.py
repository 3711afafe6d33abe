"""The `featherline` command.

In come the arguments of a command line, and files of JSON, CSV or lines of JSON.
Out go the answers as text, JSON, CSV or a bench card, and the verdict as the exit code.
Read `main` and `parser` first, then `requests` (from flags to a request) and `text` (from an answer to the screen).
"""

from featherline.command.main import main

__all__ = ["main"]
