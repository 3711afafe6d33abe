"""Tests for integrations: a service in memory, and the laws of plug-ins as classes of tests.

In come the requests of a client whose transport is a `RecordedService`, or a plug-in, to a subclass of
`PricePolicyTests`, `RecordSourceTests`, `ArtworkReaderTests` or `CheckTests`.
Out go recorded or given answers, or the outcomes of the tests. Read `recorded_service` first, for plug-ins
`conformance`.
"""

from featherline.testing.conformance import ArtworkReaderTests, CheckTests, PricePolicyTests, RecordSourceTests
from featherline.testing.recorded_service import Asked, RecordedService, UnexpectedRequest, problem
from featherline.testing.recordings import record

__all__ = [
    "ArtworkReaderTests",
    "Asked",
    "CheckTests",
    "PricePolicyTests",
    "RecordSourceTests",
    "RecordedService",
    "UnexpectedRequest",
    "problem",
    "record",
]
