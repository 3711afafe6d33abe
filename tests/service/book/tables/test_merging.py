from featherline_service.book.tables.merging import Origin, grouped, merged, origins, spread_where_unsaid, within


def test_tables_are_merged_field_by_field() -> None:
    """A table in a table is merged, a list and a value are replaced, and no table that is merged changes."""
    before = {"roll": {"width_mm": 500.0, "price": {"amount": "1", "currency": "EUR"}}, "colours": [1, 2], "name": "A"}
    after = {"roll": {"price": {"amount": "2"}}, "colours": [3]}

    assert {
        "roll": {"width_mm": 500.0, "price": {"amount": "2", "currency": "EUR"}},
        "colours": [3],
        "name": "A",
    } == merged([before, after])
    assert [1, 2] == before["colours"]


def test_a_table_of_another_kind_replaces() -> None:
    """How a platen heats, by its rates or by its mass, is not mixed of both."""
    rate, mass = {"kind": "rate", "heating_k_s": 0.5}, {"kind": "mass", "mass_kg": 9.0}
    assert {"heating": mass} == merged([{"heating": rate}, {"heating": mass}])
    assert {"heating.kind": Origin(1, is_number=False), "heating.mass_kg": Origin(1, is_number=True)} == origins(
        [{"heating": rate}, {"heating": mass}]
    )


def test_each_value_is_from_the_last_table_that_says_it() -> None:
    """Of a list that is replaced nothing is left of the one before."""
    tables = [
        {"setting": {"coolest_c": 150.0, "pressure": "firm"}, "layers": [{"name": "A", "thickness_mm": 1}], "e": []},
        {"setting": {"coolest_c": 155.0}, "layers": [{"name": "B"}], "centre_mm": [1.0, 2.0]},
    ]  # fmt: skip
    expected = {
        "setting.coolest_c": Origin(1, is_number=True),
        "setting.pressure": Origin(0, is_number=False),
        "layers.name": Origin(1, is_number=False),
        "centre_mm": Origin(1, is_number=True),
        "e": Origin(0, is_number=False),
    }
    assert expected == origins(tables)


def test_a_value_that_is_said_again_is_from_all_that_say_it() -> None:
    """The last that says it first, without a gap: what another value stood between is not the same statement."""
    tables = [{"a": 1.0, "b": 2.0, "c": [1.0]}, {"a": 1.0, "b": 3.0}, {"a": 1.0, "b": 2.0, "c": [1.0]}]

    assert {
        "a": Origin(2, is_number=True, repeats=(1, 0)),
        "b": Origin(2, is_number=True),
        "c": Origin(2, is_number=True, repeats=(0,)),
    } == origins(tables)


def test_a_spread_by_class_is_of_a_value_by_class() -> None:
    """A value that a record says itself has its own spread, if any."""
    usual = {
        "carrier": {"thickness_mm": 0.1, "thickness_spread": 0.25},
        "adhesive": {"onset_c": 1, "onset_spread_k": 9},
    }
    own = {"carrier": {"thickness_mm": 0.2}, "adhesive": {"activation_kj_mol": 1}}
    assert {"carrier": {"thickness_mm": 0.1}, "adhesive": usual["adhesive"]} == spread_where_unsaid(usual, own)


def test_a_field_is_within_itself_and_what_it_is_part_of() -> None:
    """But not within a field whose name begins its own."""
    assert [True, True, False] == [within(field, "roll") for field in ("roll", "roll.price", "rolls")]


def test_fields_are_grouped_where_all_within_are_chosen() -> None:
    """A whole table is named by itself, of another its values."""
    every = frozenset({"roll.width_mm", "roll.length_m", "peel.when", "stretch"})
    assert ("peel", "roll.width_mm") == grouped(frozenset({"peel.when", "roll.width_mm"}), every)
    assert ("peel", "roll", "stretch") == grouped(every, every)
