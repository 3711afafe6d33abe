"""For the tests of those who build on featherline: a service in memory, and the laws of plug-ins as tests.

`RecordedService` stands in for a service: it is the transport of a client, answers from recorded examples and from what
it is given, and refuses what the real one would not take. `PricePolicyTests`, `RecordSourceTests`,
`ArtworkReaderTests` and `CheckTests` are classes that a plug-in's author subclasses, for pytest to run.
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
