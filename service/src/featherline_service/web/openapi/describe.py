"""Writes the OpenAPI document to standard output, given the folder of the example requests.

``python -m featherline_service.web.openapi.describe openapi/examples > openapi/openapi.json``
"""

from __future__ import annotations

import sys
from pathlib import Path

from featherline_service.web.openapi import description


def main(arguments: list[str]) -> int:
    """Write the document. Returns the exit code."""
    if len(arguments) != 1:
        sys.stderr.write(__doc__ or "")
        return 2
    document = description.text(Path(arguments[0]))  # in full before anything is written: the output is a file of ours
    sys.stdout.write(document)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
