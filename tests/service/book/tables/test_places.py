from collections.abc import Callable
from pathlib import Path

from featherline_service.book.faults import BookFault

Shop = Callable[..., Path]
Faults = Callable[..., list[BookFault]]


def test_a_fault_is_in_the_folder_that_says_the_value(shop: Shop, faults: Faults) -> None:
    """Of a record of two folders the one that has the value is named, with its line."""
    one = shop({"films/own.toml": '\nid = "smooth"\n\nstretch = 7.0'})
    two = shop({"films/mine.toml": 'id = "smooth"\nroll = { price = "1.00" }'}, name="second")
    (fault,) = faults(one, two)
    assert (str(one / "films" / "own.toml"), 4, "stretch") == (fault.file, fault.line, fault.key)


def test_what_is_missing_is_at_the_record(shop: Shop, faults: Faults) -> None:
    """Where no folder has the value, the record is pointed at."""
    text = '[[record]]\nid = "a"\nfilm = "smooth"\ncolour = "gorse"\nwidth_mm = 1.0\nheight_mm = 1.0\n\n[[record]]'
    text += '\nid = "b"'
    found = faults(shop({"offcuts/own.toml": text}))
    assert {("b", 8)} == {(fault.record, fault.line) for fault in found}


def test_a_fault_of_the_preface_has_its_line(shop: Shop, faults: Faults) -> None:
    """A currency that is none is told with the line."""
    (fault,) = faults(shop(preface='mode = "overlay"\n\ncurrency = "EUX"'))
    assert ("currency", 3) == (fault.key, fault.line)
    assert fault.advice == "'EUX' is not a currency in use; give an ISO 4217 code, such as 'EUR'"
