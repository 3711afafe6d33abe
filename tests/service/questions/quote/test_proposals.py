"""Proposals: what would be done instead of a declined order, each sent as it is."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from featherline.wire.artworks import At, PathArtwork, TextArtwork
from featherline.wire.costs import Backing, Order, Placement, Propose
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.rosters import Roster, RosterRow
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.customers import offers
from featherline_service.questions.quote import proposals, quotes
from featherline_service.questions.roster import rosters

NAME = TextArtwork(text="MARLOW", font="plain", letter_height="22 mm")
PLACEMENT = Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=NAME)
DECK = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
MANY = Propose(at_most=6)


def order(*artworks: Any, propose: Propose | None = MANY, **changes: Any) -> Order:  # noqa: ANN401 - any artwork
    """Return an order for artworks on the outer quarter, its placements changed."""
    placements = tuple(replace(PLACEMENT, artwork=artwork, **changes) for artwork in artworks or (NAME,))
    return Order(shoe=DECK, placements=placements, propose=propose)


def kinds(quote: QuoteAnswer) -> list[list[str]]:
    """Return what each proposal changes."""
    return [[change.code.removeprefix("propose.") for change in proposal.changes] for proposal in quote.proposals]


def text_of(quote: QuoteAnswer, number: int = 0) -> TextArtwork:
    """Return the text of a proposal."""
    artwork = quote.proposals[number].order.placements[0].artwork
    assert isinstance(artwork, TextArtwork)
    return artwork


@pytest.mark.parametrize(
    "asked",
    [
        order(),
        order(replace(NAME, text="MARLOW BYRNE"), propose=Propose(films=("printed", "stretch"), at_most=6)),
        order(PathArtwork(d="M0 0H60V30H0Z", height="80 mm"), propose=Propose(films=("metallic",))),
        order(replace(NAME, letter_height=None, height="40 mm")),
        order(
            replace(NAME, text="M", letter_height="60 mm"),
            backing=Backing(film="smooth", colour="pitch", border="1.5 mm"),
        ),
        order(replace(NAME, text="TIDEWATER")),
    ],
)
def test_each_proposal_is_done_as_it_is_sent(book: Book, asked: Order) -> None:
    """Sent as it is, it has the verdict and the price that were said; the best verdicts come first."""
    quote = proposals.compose(book, asked)
    sent = [quotes.compose(book, proposal.order) for proposal in quote.proposals]

    assert quote.proposals
    assert [(proposal.verdict, proposal.total) for proposal in quote.proposals] == [
        (answer.verdict, answer.price and answer.price.total) for answer in sent
    ]
    verdicts = [proposal.verdict for proposal in quote.proposals]
    assert "decline" not in verdicts
    assert sorted(verdicts) == verdicts
    assert all(proposal.order.propose is None for proposal in quote.proposals)
    assert len(quote.proposals) == len({proposal.order for proposal in quote.proposals})


def test_the_nearest_changes_come_first(book: Book) -> None:
    """Smaller letters for one word too long, two lines for two; a film is proposed only if it is named."""
    one = proposals.compose(book, order(propose=Propose(films=("stretch",), at_most=2)))
    two = proposals.compose(book, order(replace(NAME, text="MARLOW BYRNE")))

    assert [["height"], ["film", "height"]] == kinds(one)
    assert ("ready", "12 mm") == (one.proposals[0].verdict, one.proposals[0].order.placements[0].artwork.letter_height)
    assert [["lines", "height"]] == kinds(two)
    assert "MARLOW\nBYRNE" == two.proposals[0].order.placements[0].artwork.text


def test_a_change_is_told_where_it_is(book: Book) -> None:
    """In words, with a pointer into the order; customers are told no name of a font or film."""
    quote = proposals.compose(book, order(propose=Propose(films=("stretch",), at_most=2)))
    offer = offers.of_quote(quote)

    assert [
        ("/placements/0/film", "In Stretch polyurethane film, cool setting."),
        ("/placements/0/artwork/letter_height", "Letters 12.0 mm high."),
    ] == [(change.subject, change.sentence) for change in quote.proposals[1].changes]
    assert ["In another film.", "Letters 12.0 mm high."] == [change.sentence for change in offer.proposals[1].changes]
    assert [proposal.order for proposal in quote.proposals] == [proposal.order for proposal in offer.proposals]


def test_the_colour_of_another_film_is_the_most_alike(book: Book) -> None:
    """Gorse is yellow: so is the brass of foil, and not its tin."""
    drawing = PathArtwork(d="M0 0H60V30H0Z", height="80 mm")
    quote = proposals.compose(book, order(drawing, propose=Propose(films=("metallic",))))

    assert ("metallic", "brass") == (
        quote.proposals[1].order.placements[0].film,
        quote.proposals[1].order.placements[0].colour,
    )


def test_several_placements_are_changed_alike(book: Book) -> None:
    """Both names that are too large become smaller, and what fits stays as it is."""
    toe = replace(PLACEMENT, panel="toe", artwork=replace(NAME, text="SCHOONER"))
    heel = replace(PLACEMENT, panel="heel", artwork=replace(NAME, text="7", letter_height="12 mm"))
    quote = proposals.compose(book, replace(order(), placements=(PLACEMENT, toe, heel)))
    first = quote.proposals[0].order.placements

    assert ["/placements/0/artwork/letter_height", "/placements/1/artwork/letter_height"] == [
        change.subject for change in quote.proposals[0].changes
    ]
    assert (True, heel) == (first[0] != PLACEMENT and first[1] != toe, first[2])


def test_a_drawing_beside_a_text_becomes_smaller_with_it(book: Book) -> None:
    """Lettering and lines change the text alone."""
    drawing = replace(PLACEMENT, panel="toe", artwork=PathArtwork(d="M0 0H60V30H0Z", height="80 mm"))
    text = replace(PLACEMENT, artwork=replace(NAME, text="MARLOW BYRNE"))
    quote = proposals.compose(book, replace(order(), placements=(text, drawing)))

    assert ["lines", "height", "height"] == kinds(quote)[0]
    assert isinstance(quote.proposals[0].order.placements[1].artwork, PathArtwork)


def test_what_stays_a_trial_is_proposed_as_one(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without being tried smaller, the name bends more than is known to be safe."""
    monkeypatch.setattr(proposals, "_SHRINKS", 1)
    (first, *_) = proposals.compose(book, order()).proposals

    assert ("trial", "13.4 mm") == (first.verdict, text_of(proposals.compose(book, order())).letter_height)


def test_what_the_heat_forbids_is_not_proposed(book: Book) -> None:
    """The foam of a clog takes none of the films, at any size."""
    clog = BookShoe(shoe="ward-clog", size=Size(system="EU", value="42"))
    asked = replace(order(replace(NAME, text="7"), panel="outer-side"), shoe=clog)

    assert () == proposals.compose(book, asked).proposals


def test_what_nothing_mends_has_no_proposal(book: Book) -> None:
    """A place off the shoe, a name that no height takes, and marks that lie on one another."""
    off = order(pose=At(x="200 mm", y="0 mm"))
    long = order(replace(NAME, text="AKINWANDE-FITZPATRICK"))
    small = replace(NAME, letter_height="10 mm")
    over = order(small, small)

    assert [(), (), ()] == [proposals.compose(book, asked).proposals for asked in (off, long, over)]


def test_only_a_declined_order_that_asks_has_proposals(book: Book) -> None:
    """One that is ready needs none, and one that does not ask gets none."""
    ready = order(replace(NAME, letter_height="10 mm"))

    assert [(), ()] == [proposals.compose(book, asked).proposals for asked in (ready, order(propose=None))]


def test_a_letter_that_a_font_lacks_is_not_proposed_in_it(book: Book) -> None:
    """Greek is in one of the fonts alone: the other is left out."""
    quote = proposals.compose(book, order(replace(NAME, text="ΘΑ", font="bold", letter_height="60 mm")))

    assert {"bold"} == {text_of(quote, number).font for number in range(len(quote.proposals))}


def test_films_are_looked_up_with_the_rest(book: Book) -> None:
    """A film that the book has not is a fault beside others; a list of names has no proposals."""
    with pytest.raises(RefusedError) as refused:
        proposals.compose(book, order(propose=Propose(films=("stretch", "gone")), film="smoth"))
    with pytest.raises(RefusedError) as of_roster:
        rosters.compose(book, Roster(order=order(), rows=(RosterRow(fields={}),)))

    assert {"/propose/films/1", "/placements/0/film"} == {fault.pointer for fault in refused.value.faults}
    assert ["/order/propose"] == [fault.pointer for fault in of_roster.value.faults]


def test_what_cannot_be_priced_is_not_proposed(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """A film that is too narrow, or another fault: the next change is proposed."""
    asked = order(propose=Propose(films=("stretch",), at_most=2))
    compose = quotes.compose

    def narrow(book: Book, request: Order) -> QuoteAnswer:
        if request.placements[0].film == "stretch":
            raise RefusedError(())
        return compose(book, request)

    monkeypatch.setattr(quotes, "compose", narrow)

    assert "film" not in {kind for change in kinds(proposals.compose(book, asked)) for kind in change}
