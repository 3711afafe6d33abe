"""How the environment becomes settings."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from featherline_service.settings import Settings, SettingsError, read

NO_FOLDER = f"is no folder; give folders divided by {os.pathsep!r}, or 'demo'"


def test_an_environment_that_says_nothing_gives_the_defaults() -> None:
    """The demo book on loopback, and what is not ours is not looked at."""
    assert Settings() == read({"PATH": "/usr/bin", "FEATHER": "1"})
    assert ("127.0.0.1", 8037, 1_048_576, ()) == (
        Settings().host, Settings().port, Settings().max_body, Settings().book,
    )  # fmt: skip


def test_every_setting_is_read(tmp_path: Path) -> None:
    """Each variable is named after its field, and becomes its type."""
    (tmp_path / "shop").mkdir()
    (tmp_path / "season").mkdir()

    assert Settings(
        book=(tmp_path / "shop", tmp_path / "season"),
        host="10.0.0.7",
        port=80,
        log_level="warning",
        max_body=2048,
        drain=2.5,
        processes=3,
        trusted_proxies=("10.0.0.0/24", "127.0.0.1/32"),
        keys=tmp_path / "keys.toml",
        cors_origins=("https://shop.example", "http://127.0.0.1:3000", "https://[2001:db8::7]:8443"),
        plugins=("quay-rules", "quay-lists"),
        counter="off",
    ) == read(
        {
            "FEATHERLINE_BOOK": f"{tmp_path / 'shop'}{os.pathsep}{os.pathsep}{tmp_path / 'season'}",
            "FEATHERLINE_HOST": "10.0.0.7",
            "FEATHERLINE_PORT": " 80 ",
            "FEATHERLINE_LOG_LEVEL": "Warning",
            "FEATHERLINE_MAX_BODY": "2048",
            "FEATHERLINE_DRAIN": "2.5",
            "FEATHERLINE_PROCESSES": "3",
            "FEATHERLINE_TRUSTED_PROXIES": "10.0.0.0/24, 127.0.0.1",
            "FEATHERLINE_KEYS": str(tmp_path / "keys.toml"),
            "FEATHERLINE_CORS_ORIGINS": "https://shop.example, http://127.0.0.1:3000,,https://[2001:db8::7]:8443",
            "FEATHERLINE_PLUGINS": "quay-rules, quay-lists,",
            "FEATHERLINE_COUNTER": "Off",
        }
    )


def test_the_clients_variables_are_let_be() -> None:
    """Where the SDK is used beside the service, its variables are no fault."""
    assert Settings() == read({"FEATHERLINE_URL": "http://saltmarsh.test", "FEATHERLINE_API_KEY": "key"})


@pytest.mark.parametrize("name", ["PORT", "MAX_BODY", "CACHE", "DRAIN", "DEADLINE", "PROCESSES", "SEAL_DAYS"])
def test_a_number_may_be_what_it_is_said_that_it_may_be(name: str) -> None:
    """From the least to the most that the complaint about any other names, and no further."""
    variable = f"FEATHERLINE_{name}"
    with pytest.raises(SettingsError) as refused:
        read({variable: "much"})
    said = re.search(r"from ([0-9.]+) to ([0-9.]+)", str(refused.value))
    assert said is not None
    least, most = map(float, said.groups())

    for number in (least, most):
        assert number == getattr(read({variable: f"{number:g}" if number % 1 else f"{number:.0f}"}), name.lower())
    for number in (most + 1, -1):
        with pytest.raises(SettingsError, match=re.escape(said[0])):
            read({variable: f"{number:.0f}"})


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("PORT", "http", "is 'http'; give a port from 1 to 65535, or 0 for any that is free"),
        ("PROCESSES", "0", "is '0'; give a number of processes, from 1 to 64"),
        ("PROCESSES", "many", "is 'many'; give a number of processes, from 1 to 64"),
        (
            "TRUSTED_PROXIES",
            "10.0.0.0/24, proxy",
            "has 'proxy'; give addresses or networks, such as 10.0.0.0/24, divided by commas",
        ),
        ("PORT", "70000", "is '70000'; give a port from 1 to 65535, or 0 for any that is free"),
        ("PORT", "80.5", "is '80.5'; give a port from 1 to 65535, or 0 for any that is free"),
        ("PORT", "", "is ''; give a port from 1 to 65535, or 0 for any that is free"),
        ("MAX_BODY", "1", "is '1'; give bytes, from 1024 to 67108864"),
        ("DRAIN", "-1", "is '-1'; give seconds, from 0 to 600"),
        ("DRAIN", "nan", "is 'nan'; give seconds, from 0 to 600"),
        ("LOG_LEVEL", "loud", "is 'loud'; give debug, info, warning or error"),
        (
            "SECURITY_CONTACT",
            "jo@saltmarsh.test",
            "is 'jo@saltmarsh.test'; give a URI that begins with mailto:, https:// or tel:",
        ),
        (
            "SECURITY_EXPIRES",
            "2027-06-30",
            "is '2027-06-30'; give an instant with its offset, such as 2027-06-30T12:00:00Z",
        ),
        ("HOST", " ", "is ''; give an address of this machine, such as 127.0.0.1"),
        ("BOOK", "/no/such/shop", f"names '/no/such/shop', which {NO_FOLDER}"),
        ("BOOK", f"demo{os.pathsep}/no/such", f"names 'demo', which {NO_FOLDER}"),
    ],
)
def test_a_value_that_cannot_be_used_is_named_with_what_can(name: str, text: str, said: str) -> None:
    """The message has the variable, its value, and what it takes."""
    with pytest.raises(SettingsError) as refused:
        read({f"FEATHERLINE_{name}": text})

    assert f"FEATHERLINE_{name} {said}" == str(refused.value)


@pytest.mark.parametrize(
    "origin",
    [
        *(
            "*",
            "null",
            "shop.example",
            "https://",
            "https://shop.example/",
            "https://Shop.example",
            "HTTPS://shop.example",
        ),
        *("https://shop.example:443", "http://shop.example:80", "https://shop.example:0", "https://shop.example:"),
        *("https://*.shop.example", "https://a@shop.example", "https://shop.example?x", "ftp://shop.example"),
        *("https://shop.example https://till.example", "https://sch\xfch.example", "https://shop.example\n.example"),
    ],
)
def test_what_no_browser_sends_as_an_origin_is_refused(origin: str) -> None:
    """An origin is compared as it is sent: one that could never match, or would match too much, stops the start.

    References:
        RFC 6454 section 6.2: how an origin is written; the usual port is left out.
    """
    with pytest.raises(SettingsError) as refused:
        read({"FEATHERLINE_CORS_ORIGINS": f"https://till.example,{origin}"})

    assert f"FEATHERLINE_CORS_ORIGINS has {origin!r}; give origins as browsers send them" in str(refused.value)


def test_a_misspelt_variable_is_not_passed_over() -> None:
    """A variable with our prefix that is nobody's is refused, with those that there are."""
    with pytest.raises(
        SettingsError, match="FEATHERLINE_BOOKS is not a setting of the service; it has: FEATHERLINE_BOOK,"
    ):
        read({"FEATHERLINE_BOOKS": "/shop"})


@pytest.mark.parametrize("given", [("CONTACT", "tel:+1-202-555-0100"), ("EXPIRES", "2027-06-30T12:00:00Z")])
def test_a_contact_has_an_end_and_an_end_a_contact(given: tuple[str, str]) -> None:
    """RFC 9116 section 2.5 requires both fields; each alone is told what goes with it."""
    with pytest.raises(SettingsError, match="_CONTACT and FEATHERLINE_SECURITY_EXPIRES go together"):
        read({f"FEATHERLINE_SECURITY_{given[0]}": given[1]})


def test_the_demo_book_has_a_name() -> None:
    """`FEATHERLINE_BOOK=demo` is what the book's command calls it, and what is without the variable."""
    assert () == read({"FEATHERLINE_BOOK": "demo"}).book
