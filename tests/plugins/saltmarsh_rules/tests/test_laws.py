"""The rules are held to the laws of plug-ins, and to what the shop wants of them."""

from decimal import Decimal

import pytest
from saltmarsh_rules.club_colours import ClubColours
from saltmarsh_rules.club_price import ClubPrice
from saltmarsh_rules.ring_files import MEDIA_TYPE, RingFiles
from saltmarsh_rules.supplier_list import SupplierList

from featherline.plugins import ArtworkError
from featherline.testing import ArtworkReaderTests, CheckTests, PricePolicyTests, RecordSourceTests


class TestClubPrice(PricePolicyTests):
    make = ClubPrice

    def test_the_club_pays_the_cost_and_half_of_it(self) -> None:
        """To the next multiple of five minor units, a pair; a quarter more in a rush."""
        for sale in self.sales():
            (each, *_), lot = ClubPrice().price(sale).each, sale.lots[0]
            unit = Decimal(1).scaleb(-len(each.amount.partition(".")[2]))
            exact = Decimal(lot.cost.amount) / lot.pairs * (Decimal("1.875") if sale.rush else Decimal("1.5"))
            assert 0 <= Decimal(each.amount) - exact < 5 * unit
            assert 0 == Decimal(each.amount) % (5 * unit)


class TestSupplierList(RecordSourceTests):
    make = SupplierList


class TestRingFiles(ArtworkReaderTests):
    make = RingFiles
    samples = {  # noqa: RUF012 - read only
        MEDIA_TYPE: [b"0,0 20,0 20,10 0,10\n5,2 15,2 10,8\n", b"-3.5,0 3.5,0 0,6\n"]
    }

    @pytest.mark.parametrize(
        ("content", "said"),
        [
            (b"\xff", "no plain text"),
            (b"\n", "no ring"),
            (b"0,0 1,1", "Line 1 has 2 points"),
            (b"0,0 1,1 2;2", "Line 1 has a point that is none"),
            (b"0,0 1,1 200000,2", "Line 1 has a point that is none"),
            (b"0,0 " * 30_000, "more than 90000 bytes"),
        ],
    )
    def test_what_it_cannot_read_gets_a_sentence(self, content: bytes, said: str) -> None:
        """The sentence says what to write."""
        with pytest.raises(ArtworkError, match=said):
            RingFiles().read(content, MEDIA_TYPE)


class TestClubColours(CheckTests):
    make = ClubColours
    name = "club-colours"
