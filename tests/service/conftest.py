"""What the tests of the service share."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parent))  # the module beside this one is no package
