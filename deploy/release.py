"""Keep what is released, for later versions to be tested against: the SDK's wheel, and the description.

The wheel holds the SDK's types and clients, and the requests and answers of the service of its release.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from environments import ROOT, DeployError, finish, shown, step
from verify import DIST, ready

RELEASED = ROOT / "tests" / "sdk" / "released"
OPENAPI = ROOT / "openapi"


def main() -> int:
    """Replace the last release by this one."""
    if sys.argv[1:]:
        raise DeployError("Usage: deploy/release")
    environment = ready()
    with step("Keeping the wheel of the SDK and the description"):
        wheel = keep_wheel(DIST, RELEASED)
        program, described = "featherline_service.web.openapi.compatibility", str(OPENAPI / "openapi.json")
        command = [str(environment.python), "-m", program, described]
        written = subprocess.run(command, capture_output=True, check=True).stdout
        (OPENAPI / "released.json").write_bytes(written)
    print(f"{shown(wheel)} and openapi/released.json are the last release now. Commit both.")
    return 0


def keep_wheel(built: Path, released: Path) -> Path:
    """Copy the SDK's wheel out of the folder where it was built, in place of the one before. Returns the copy.

    Raises:
        DeployError: There is not one wheel to keep.
    """
    wheels = sorted(built.glob("featherline-*.whl"))
    if len(wheels) != 1:
        raise DeployError(f"{shown(built)} has {len(wheels)} wheels of the SDK; remove it (rm -r {shown(built)})")
    for old in released.glob("featherline-*.whl"):
        old.unlink()
    return Path(shutil.copy(wheels[0], released))


if __name__ == "__main__":
    finish(main)
