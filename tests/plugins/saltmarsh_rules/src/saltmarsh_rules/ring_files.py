"""Files of rings: a line each, of points in millimetres, ``x,y`` upwards; a ring within another is a hole."""

from __future__ import annotations

import re
from typing import Final

from featherline.plugins import ArtworkError, Drawing

MEDIA_TYPE: Final = "text/x-saltmarsh-rings"
LONGEST: Final = 90_000  # bytes; as path data they are a little more
FARTHEST: Final = 100_000.0
_POINT: Final = re.compile(r"(-?[0-9]{1,6}(?:\.[0-9]{1,6})?),(-?[0-9]{1,6}(?:\.[0-9]{1,6})?)")


class RingFiles:
    """Reads files of rings."""

    media_types = (MEDIA_TYPE,)

    def read(self, content: bytes, _media_type: str) -> Drawing:
        """Return the rings as path data, downwards."""
        if len(content) > LONGEST:
            raise ArtworkError(f"The file has more than {LONGEST} bytes: leave points out")
        try:
            lines = content.decode("ascii").splitlines()
        except UnicodeDecodeError:
            raise ArtworkError("The file is no plain text: write a ring a line, as x,y x,y x,y") from None
        rings = [self._ring(line, number) for number, line in enumerate(lines, start=1) if line.strip()]
        if not rings:
            raise ArtworkError("The file has no ring: write one a line, as x,y x,y x,y")
        return Drawing(d=" ".join(rings), fill_rule="evenodd")

    def _ring(self, line: str, number: int) -> str:
        points = [_POINT.fullmatch(point) for point in line.split()]
        if len(points) < 3:
            raise ArtworkError(f"Line {number} has {len(points)} points: a ring has three or more")
        found = []
        for point in points:
            if point is None or max(abs(float(point[1])), abs(float(point[2]))) > FARTHEST:
                raise ArtworkError(f"Line {number} has a point that is none: write x,y in millimetres, as 12.5,-3")
            found.append(f"{point[1]} {point[2].removeprefix('-') if point[2].startswith('-') else '-' + point[2]}")
        return f"M{' L'.join(found)}Z"
