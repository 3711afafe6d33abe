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


def test_plugins_are_loaded_by_their_distribution(install: Install) -> None:
    """All plug-ins of a distribution are loaded, with its name and version."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}, POLICIES: {"free": "Free"}}, GOOD, version="2.1")
    installed = plugins.load(["Quay_Rules"])
    assert [
        Plugin(name="free", kind="price-policy", distribution="quay-rules", version="2.1"),
        Plugin(name="nothing", kind="check", distribution="quay-rules", version="2.1"),
    ] == [item.plugin for item in installed]
    assert ["Free", "Nothing"] == [type(item.made).__name__ for item in installed]


def test_other_distributions_are_not_imported(install: Install) -> None:
    """A distribution that is installed and not named is available, and is not imported."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}}, "raise SystemExit")
    assert () == plugins.load([])
    assert "quay-rules" in plugins.available()


def test_plugins_come_in_the_order_of_the_names(install: Install) -> None:
    """The order of the distributions is that of the argument, not that of the environment."""
    install("zinc-rules", {CHECKS: {"last": "Nothing"}}, GOOD)
    install("alum-rules", {CHECKS: {"first": "Nothing"}}, GOOD)
    assert ["last", "first"] == [item.plugin.name for item in plugins.load(["zinc-rules", "alum-rules"])]


@pytest.mark.parametrize("name", ["no-such-rules", "", "../rules"])
def test_a_missing_distribution_is_an_error(name: str, install: Install) -> None:
    """The message names it and the installed ones."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}}, GOOD)
    with pytest.raises(
        PluginError, match=r"is not installed; installed distributions with plug-ins: .*quay-rules"
    ) as caught:
        plugins.load([name])
    assert repr(name) in str(caught.value)


def test_a_distribution_without_plugins_is_an_error(install: Install) -> None:
    """The message names it."""
    install("quay-rules", {"other.group": {"nothing": "Nothing"}}, GOOD)
    with pytest.raises(PluginError, match=r"'quay-rules' has no plug-ins"):
        plugins.load(["quay-rules"])


@pytest.mark.parametrize(
    ("source", "message"),
    [
        ("import no_such_module", "cannot be loaded: ModuleNotFoundError: No module named 'no_such_module'"),
        ("raise SystemExit('enough')", "cannot be loaded: SystemExit: enough"),
        ("class Other: pass", "cannot be loaded: AttributeError"),
        ("def Nothing(): return 1 / 0", "cannot be loaded: ZeroDivisionError: division by zero"),
        ("class Nothing: pass", "lacks a member of Check in featherline.plugins"),
    ],
)
def test_a_plugin_that_cannot_be_loaded_is_an_error(source: str, message: str, install: Install) -> None:
    """The message names the plug-in and its distribution, and the cause."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}}, source)
    with pytest.raises(PluginError, match=r"^The check 'nothing' of quay-rules 1.0 ") as caught:
        plugins.load(["quay-rules"])
    assert message in str(caught.value)


def test_a_plugin_has_the_name_of_a_record(install: Install) -> None:
    """A name that no request could use is refused."""
    install("quay-rules", {CHECKS: {"No Thing": "Nothing"}}, GOOD)
    with pytest.raises(PluginError, match=r"'No Thing' of quay-rules 1.0 has an invalid name"):
        plugins.load(["quay-rules"])


def test_plugins_of_a_kind_have_different_names(install: Install) -> None:
    """Two plug-ins with the same name are refused."""
    install("quay-rules", {CHECKS: {"nothing": "Nothing"}}, GOOD)
    install("pier-rules", {CHECKS: {"nothing": "Nothing"}}, GOOD)
    with pytest.raises(PluginError, match=r"of pier-rules 1.0 has the name of The check 'nothing' of quay-rules 1.0"):
        plugins.load(["quay-rules", "pier-rules"])
