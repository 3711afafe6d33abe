from collections.abc import Callable

import pytest

from featherline import plugins
from featherline.plugins import PluginError
from featherline.wire import Plugin

Install = Callable[..., None]

CHECKS = "featherline.checks"
POLICIES = "featherline.price_policies"
GOOD = """
class Nothing:
    def check(self, order, found):
        return ()


class Free:
    def price(self, sale):
        raise NotImplementedError
"""


def test_plugins_are_found_by_their_distribution(install: Install) -> None:
    """A distribution that is named brings all its plug-ins, made, with its name and version."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}, POLICIES: {"free": "Free"}}, GOOD, version="2.1")
    found = plugins.load(["Quay_Rules"])
    assert [
        Plugin(name="free", kind="price-policy", distribution="quay-rules", version="2.1"),
        Plugin(name="nothing", kind="check", distribution="quay-rules", version="2.1"),
    ] == [each.plugin for each in found]
    assert ["Free", "Nothing"] == [type(each.made).__name__ for each in found]


def test_what_is_not_named_is_not_looked_at(install: Install) -> None:
    """A distribution that is installed and not named is not even imported."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}}, "raise SystemExit")
    assert () == plugins.load([])
    assert "quay-rules" in plugins.available()


def test_plugins_come_in_the_order_of_the_names(install: Install) -> None:
    """Distributions come in the order in which they are named, whatever the environment's order."""
    install("zinc-rules", {CHECKS: {"last": "Nothing"}}, GOOD)
    install("alum-rules", {CHECKS: {"first": "Nothing"}}, GOOD)
    assert ["last", "first"] == [each.plugin.name for each in plugins.load(["zinc-rules", "alum-rules"])]


@pytest.mark.parametrize("name", ["no-such-rules", "", "../rules"])
def test_a_distribution_that_is_not_there_gets_a_sentence(name: str, install: Install) -> None:
    """The message names it, and those that could be meant."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}}, GOOD)
    with pytest.raises(PluginError, match=r"is not installed; installed distributions with plug-ins: .*quay-rules") as told:
        plugins.load([name])
    assert repr(name) in str(told.value)


def test_a_distribution_without_plugins_gets_a_sentence(install: Install) -> None:
    """A distribution that brings none was named by mistake."""
    install("quay-rules", {"other.group": {"nothing": "Nothing"}}, GOOD)
    with pytest.raises(PluginError, match=r"'quay-rules' has no plug-ins"):
        plugins.load(["quay-rules"])


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ("import no_such_module", "cannot be loaded: ModuleNotFoundError: No module named 'no_such_module'"),
        ("raise SystemExit('enough')", "cannot be loaded: SystemExit: enough"),
        ("class Other: pass", "cannot be loaded: AttributeError"),
        ("def Nothing(): return 1 / 0", "cannot be loaded: ZeroDivisionError: division by zero"),
        ("class Nothing: pass", "lacks a member of Check in featherline.plugins"),
    ],
)
def test_a_plugin_that_cannot_be_made_gets_a_sentence(source: str, said: str, install: Install) -> None:
    """The message names the plug-in and its distribution, and says what happened."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}}, source)
    with pytest.raises(PluginError, match=r"^The check 'nothing' of quay-rules 1.0 ") as told:
        plugins.load(["quay-rules"])
    assert said in str(told.value)


def test_a_plugin_is_named_as_records_are(install: Install) -> None:
    """A name that no request could say is refused."""
    install("quay-rules", {CHECKS: {"No Thing": "Nothing"}}, GOOD)
    with pytest.raises(PluginError, match=r"'No Thing' of quay-rules 1.0 has an invalid name"):
        plugins.load(["quay-rules"])


def test_two_plugins_of_a_kind_have_two_names(install: Install) -> None:
    """Neither of two with one name is taken."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}}, GOOD)
    install("pier-rules", {CHECKS: {"nothing": "Nothing"}}, GOOD)
    with pytest.raises(PluginError, match=r"of pier-rules 1.0 has the name of The check 'nothing' of quay-rules 1.0"):
        plugins.load(["quay-rules", "pier-rules"])
