from featherline_service.book.faults import BookError, BookFault


def test_a_fault_is_one_line() -> None:
    """File, record, key and advice stand on one line."""
    assert str(BookFault("pads/felt.toml", "felt", "material", "Add it")) == "pads/felt.toml: felt: material: Add it"


def test_a_fault_leaves_out_what_it_does_not_have() -> None:
    """A fault of a whole file names no record and no key."""
    assert str(BookFault("book.toml", "", "", "Write it")) == "book.toml: Write it"


def test_an_error_has_a_line_for_each_fault() -> None:
    """All faults are reported together, in order, and kept as data."""
    one, two = BookFault("a.toml", "", "", "Mend it"), BookFault("b.toml", "b", "id", "Mend it too")
    error = BookError([one, two])
    assert str(error) == "a.toml: Mend it\nb.toml: b: id: Mend it too"
    assert error.faults == (one, two)
