"""A pair's worth of work by its measures, for tests of what it costs."""

from __future__ import annotations

from featherline.wire.costs import CutPiece, KnownPressing, Measured

PIECE = CutPiece(
    film="smooth",
    colour="gorse",
    width="54 mm",
    height="24 mm",
    cut_length="500 mm",
    corners=30,
    waste_pieces=4,
    per_pair=2,
)
PRESSING = KnownPressing(dwell="30 s", wait="12 s", cover="silicone-thin", per_pair=1)
WORK = Measured(pieces=(PIECE,), pressings=(PRESSING,))
