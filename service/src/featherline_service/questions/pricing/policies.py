"""Price policies: the book's, and those that are plugged in."""

from __future__ import annotations

from msgspec import Struct

from featherline.plugins import Installed
from featherline.wire.records import Policy
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks


class PluggedPolicy(Struct, frozen=True):
    """A price policy by a plug-in, in the currency of the bench's rates."""

    id: str
    currency: str
    installed: Installed


AnyPolicy = Policy | PluggedPolicy


def find_policy(book: Book, wanted: str | None, checks: Checks, *, rush: bool = False) -> AnyPolicy | None:
    """Return the price policy asked for, or the bench's; note a fault where it is unknown or does not do for this."""
    currency = book.rates[book.bench.rates].currency
    plugged = {name: PluggedPolicy(name, currency, own) for name, own in book.plugins.price_policies.items()}
    there: dict[str, AnyPolicy] = {**book.policies, **plugged}
    policy = checks.record(there, "price policy", wanted or book.bench.policy, "/policy")
    if isinstance(policy, PluggedPolicy):
        return policy
    if policy is not None and policy.currency != currency:
        checks.note(
            "/policy",
            f"Price policy {policy.id!r} is in {policy.currency}, and the bench's rates are in {currency}: "
            f"ask for a policy in {currency}",
        )
        return None
    if policy is not None and rush and policy.rush is None:
        takes = ", ".join(each.id for each in book.policies.values() if each.rush is not None) or "none"
        checks.note("/rush", f"Price policy {policy.id!r} takes no rush orders; of the book's these do: {takes}")
    return policy
