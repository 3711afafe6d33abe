"""The commands, in front of the real service and of functions."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import subprocess
import sys
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import httpx2
import msgspec
import pytest
from command_lines import CREW, CREW_ORDER, EXAMPLES, FILM, MARLOW, SHOE, TEXT, WALK_IN, example
from msgspec.structs import replace

from featherline import Client
from featherline.command import main
from featherline.testing import RecordedService
from featherline.wire import Plugin, QuoteAnswer, Roster

ShowRequest = Callable[..., bytes]
SetStdin = Callable[[bytes], None]


def test_the_book_is_listed(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """The kinds of the book, the records of a kind, and a record are shown within 80 columns."""
    for argv, fact in (
        (["book"], "smooth, stretch"),
        (["book", "shoes"], "regatta-deck"),
        (["book", "films", "smooth"], "name: Smooth polyurethane film"),
        (["book", "rates", "bench"], "labour_per_hour: 24.00 EUR"),
    ):
        assert main(argv, service) == 0
        out = capsys.readouterr().out
        assert fact in out
        assert max(map(len, out.splitlines())) <= 80


def test_plugins_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """The plug-ins in force are shown with the book; without any there is no heading for them."""
    service = RecordedService()
    assert main(["book"], service) == 0
    assert "Plug-ins" not in capsys.readouterr().out
    with Client(transport=service) as client:
        book = client.book()
    plugin = Plugin(name="club", kind="price-policy", distribution="our-rules", version="1.2")
    service.give("/v1/book", replace(book, plugins=(plugin,)))
    assert main(["book"], service) == 0
    assert "Plug-ins  price-policy club: our-rules 1.2\n" in capsys.readouterr().out


def test_a_record_is_printed_as_json(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """`--json` prints the whole answer."""
    assert main(["book", "films", "smooth", "--json"], service) == 0
    assert json.loads(capsys.readouterr().out)["record"]["setting"]["hottest_c"] == 160


def test_an_unknown_record_is_refused(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """An unknown record is code 3; standard error names the nearest ones, and `--json` prints the problem."""
    assert main(["book", "films", "smoother", "--json"], service) == 3
    captured = capsys.readouterr()
    assert "smooth" in captured.err
    assert json.loads(captured.out)["status"] == 404


@pytest.mark.parametrize(
    ("flags", "pointer", "complaint"),
    [
        (["--place", "12 mm above hem"], "/pose/edge", "featherline"),
        (["--place", "twelve above seam"], "/pose/distance", "such as '3 mm'"),
        (["--place", "12 mm above seam", "--along", "far"], "/pose/along", "'far'"),
    ],
)
def test_an_impossible_place_is_refused_by_the_service(
    flags: list[str], pointer: str, complaint: str, service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]
) -> None:
    """The code is 3; standard error has the pointer into the request and the possible values."""
    assert main(["fit", *SHOE, *FILM, *TEXT, *flags], service) == 3
    err = capsys.readouterr().err
    assert pointer in err
    assert complaint in err


def test_a_quote_is_shown(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """The screen shows the quote as the service answered it, within 80 columns."""
    assert main(["quote", *MARLOW, "--json"], service) == 0
    answer = msgspec.json.decode(capsys.readouterr().out, type=QuoteAnswer)
    assert main(["quote", *MARLOW], service) == 0
    out = capsys.readouterr().out
    [pressing] = answer.pressings
    setting, window = pressing.recipe.setting, pressing.recipe.window
    assert answer.price is not None
    assert answer.cost is not None
    assert setting is not None
    assert window is not None
    assert window.shortest_s is not None
    assert window.longest_s is not None
    for fact in (
        "ready: do it",
        f"{answer.price.each.amount} EUR a pair",
        f"SET 160 degC (320 degF), {setting.dwell_s:g} s, medium pressure",
        f"dwell from {math.ceil(window.shortest_s)} s to {math.floor(window.longest_s)} s",
        "peel hot, at once",
        f"{math.floor(answer.placements[0].fit.clearance_mm * 10.0) / 10.0:.1f} mm clear of",
    ):
        assert fact in out
    words = " ".join(out.split())
    for sentence in (
        *(step.sentence for step in pressing.recipe.steps),
        *(caution.sentence for caution in pressing.recipe.cautions),
        *(step.sentence for step in answer.price.why),
    ):
        assert " ".join(sentence.split()) in words
    amounts = [Decimal(line.split()[-1]) for line in section(out, "Cost") if re.search(r"\s[0-9]+\.[0-9]{2}$", line)]
    assert sum(amounts[:-1]) == amounts[-1] == Decimal(answer.cost.total.amount)
    assert max(map(len, out.splitlines())) <= 80


def section(out: str, heading: str) -> list[str]:
    """Return the lines of the block with a heading."""
    [block] = [block for block in out.split("\n\n") if block.startswith(heading)]
    return block.splitlines()


def test_units_are_those_of_the_reader(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """With `--units us` lengths are in inches and settings in Fahrenheit and psi, for a request from a file, too."""
    for argv in (["quote", *MARLOW], ["quote", "--file", str(EXAMPLES / "quote-request.json")]):
        assert main([*argv, "--units", "us"], service) == 0
        out = capsys.readouterr().out
        assert "SET 320 degF (160 degC)" in out
        assert "psi" in out
        assert "0.866 in high as cut" in out  # 22 mm / 25.4 mm


def test_fit_and_recipe_are_shown(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """A fit shows the size as cut, a recipe its setting and alternatives."""
    assert main(["fit", "--file", str(EXAMPLES / "fit-request.json")], service) == 0
    assert "22.0 mm high as cut" in capsys.readouterr().out
    assert main(["recipe", "--file", str(EXAMPLES / "recipe-request.json")], service) == 0
    assert "SET 160 degC (320 degF)" in capsys.readouterr().out


def test_a_decline_shows_no_steps(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """A declined order is shown with its reasons, and without steps or a price."""
    assert main(["quote", "--file", str(EXAMPLES / "clog.json")], service) == 6
    out = capsys.readouterr().out
    assert "decline: do not" in out
    assert "Steps" not in out
    assert "Charge" not in out


@pytest.mark.parametrize(("verdict", "code"), [("ready", 0), ("trial", 5), ("decline", 6)])
def test_the_verdict_is_the_exit_code(verdict: str, code: int, capsys: pytest.CaptureFixture[str]) -> None:
    """Each verdict has its own code, with and without `--json`."""
    answer = json.loads(example("quote-answer")) | {"verdict": verdict}
    transport = httpx2.MockTransport(lambda _: httpx2.Response(200, json=answer))
    for argv in (["quote", *MARLOW], ["quote", *MARLOW, "--json"]):
        assert main(argv, transport) == code
        assert verdict in capsys.readouterr().out


def test_control_characters_do_not_reach_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    """An escape sequence in a sentence, from an artwork's text, is shown without its control characters."""
    answer = json.loads(example("fit-answer"))
    answer["fit"]["reasons"] = [
        {"code": "fit.outside", "verdict": "ready", "subject": "", "sentence": "Red \x1b[31m\u202eherring"}
    ]
    transport = httpx2.MockTransport(lambda _: httpx2.Response(200, json=answer))
    assert main(["fit", "--file", str(EXAMPLES / "fit-request.json")], transport) == 0
    assert "Red ?[31m?herring" in capsys.readouterr().out


def test_a_refusal_names_the_faults(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], set_stdin: SetStdin
) -> None:
    """The service refuses a wrong value of a file, with a pointer into the file."""
    order = json.loads(example("quote-request"))
    order["placements"][0]["artwork"]["height"] = 22
    set_stdin(b"\xef\xbb\xbf" + json.dumps(order).encode())
    assert main(["quote", "--file", "-"], service) == 3
    assert "/placements/0/artwork/height: " in capsys.readouterr().err


def test_an_unreachable_service_is_code_4(capsys: pytest.CaptureFixture[str]) -> None:
    """Standard error has the retries and the error; standard output is empty."""

    def refuse(_: httpx2.Request) -> httpx2.Response:
        raise httpx2.ConnectError("refused")

    assert main(["book", "--timeout", "0.5"], httpx2.MockTransport(refuse)) == 4
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "trying again in" in captured.err
    assert "Cannot reach the service at http://127.0.0.1:8037" in captured.err.splitlines()[-1]


@pytest.fixture
def crew(tmp_path: Path) -> Path:
    """A list as a spreadsheet saves it where the decimal mark is a comma."""
    file = tmp_path / "crew.csv"
    file.write_bytes(b"\xef\xbb\xbf" + CREW.encode())
    return file


def test_a_roster_is_answered_beside_its_rows(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], crew: Path
) -> None:
    """The file has verdict, recipe, price and reasons; the total on the screen is its prices and the set-up."""
    out = crew.with_name("answered.csv")
    assert main(["roster", str(crew), *CREW_ORDER, "--out", str(out)], service) == 0
    captured = capsys.readouterr()
    table = list(csv.DictReader(io.StringIO(out.read_bytes().decode("utf-8-sig")), delimiter=";"))
    assert ["ready", "ready"] == [row["verdict"] for row in table]
    assert ["MARLOW", "EDDY"] == [row["name"] for row in table]
    assert "'+49 170 1" == table[0]["phone"]
    assert all("160 degC (320 degF)" in row["recipe"] for row in table)
    total = sum(Decimal(row["price_total"].replace(",", ".")) for row in table)
    assert f"Charge    {total + 15} EUR in all, 15.00 EUR of it for set-up and order costs" in captured.out.replace(
        "\n          ", " "
    )
    assert "2 rows, 2 pairs to press: 2 ready" in captured.out
    assert max(map(len, captured.out.splitlines())) <= 80
    assert "" == captured.err


def test_rows_that_cannot_be_done_are_listed_by_line(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], crew: Path
) -> None:
    """Without --out, standard output has the file and standard error the summary; the worst row decides the code."""
    crew.write_text(CREW + "3;SANDPIPER-CORMORANT;40;\n", encoding="utf-8")
    assert main(["roster", str(crew), *CREW_ORDER], service) == 6
    captured = capsys.readouterr()
    assert captured.out.startswith("number;name;size;phone;verdict;")
    assert "- line 4: decline. " in captured.err
    crew.write_text(CREW + ";ADA;40;\n", encoding="utf-8")
    assert main(["roster", str(crew), *CREW_ORDER], service) == 3
    assert "- line 4: fault. The cell 'number' is empty." in capsys.readouterr().err


def test_the_roster_of_a_walk_in_is_code_5(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], set_stdin: SetStdin
) -> None:
    """The list may come from a pipe, and the answer may be JSON instead of the file."""
    text = ["--text", "{name}", "--font", "plain", "--letter-height", "9 mm"]
    set_stdin(b"id,name\na,EDDY\n")
    assert main(["roster", "-", *WALK_IN, *FILM, *text, "--json"], service) == 5
    assert ["trial"] == [row["verdict"] for row in json.loads(capsys.readouterr().out)["rows"]]
    set_stdin(b"id,name\na,EDDY\n")
    assert main(["roster", "-", *WALK_IN, *FILM, *text], service) == 5
    assert "- line 2 (a): trial. " in capsys.readouterr().err


def test_the_order_of_a_roster_may_be_a_file(
    service: httpx2.BaseTransport,
    capsys: pytest.CaptureFixture[str],
    show_request: ShowRequest,
    tmp_path: Path,
) -> None:
    """A list and an order make the example roster, except for the seal, which the command does not ask for."""
    roster = json.loads(example("roster-request"))
    (tmp_path / "order.json").write_text(json.dumps(roster["order"]))
    (tmp_path / "crew.csv").write_text(
        "id,name,number,size,owner,pairs\n1,MARLOW,7,41,,\n2,TIDEWAY,12,44,,\n3,SANDPIPER-CORMORANT,3,,,\n"
        "4,EDDY,,40,,\nspare,CREW,0,,shop,2\n"
    )
    argv = ["roster", str(tmp_path / "crew.csv"), "--file", str(tmp_path / "order.json")]
    sent = msgspec.json.decode(show_request(*argv), type=Roster)
    assert msgspec.convert(roster | {"seal": False}, Roster) == sent
    assert main(argv, service) == 3
    assert "the letters of one row fit at no height" not in capsys.readouterr().err


def test_a_cell_that_cannot_be_read_names_the_line(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], crew: Path
) -> None:
    """The faults of a row have its line in the file; the other rows are priced."""
    crew.write_text(CREW + f"9;{'X' * 201};40;\n", encoding="utf-8")
    assert main(["roster", str(crew), *CREW_ORDER], service) == 3
    captured = capsys.readouterr()
    screen = " ".join(captured.err.split())
    assert "- line 4: fault. name is 'XXXX" in screen
    assert "The total leaves out 1 row: 1 with faults" in screen
    assert ["ready", "ready", "fault"] == [
        row["verdict"] for row in csv.DictReader(io.StringIO(captured.out), delimiter=";")
    ]


def test_columns_that_are_not_read_are_on_the_screen(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], crew: Path
) -> None:
    """With the size that every row has, if the file has no column of sizes."""
    assert main(["roster", str(crew), *CREW_ORDER, "--out", str(crew)], service) == 0
    assert "List      not read: phone\n" in capsys.readouterr().out
    crew.write_text("number,name\n7,MARLOW\n")
    assert main(["roster", str(crew), *CREW_ORDER, "--size", "EU 42", "--out", str(crew)], service) == 0
    assert "List      no column size: every row is EU 42\n" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("argv", "complaint"),
    [
        (["roster", "no-such-crew.csv"], "Cannot read no-such-crew.csv"),
        (["card", *MARLOW, "--out", "card.png"], "ends in .pdf or .html"),
        (["card", *MARLOW, "--out", "no/such/folder.pdf"], "Cannot write no/such/folder.pdf"),
        (["card", *MARLOW], "--out"),
    ],
)
def test_unusable_files_are_code_2(
    service: httpx2.BaseTransport, argv: list[str], complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The complaint names the file that cannot be read or written."""
    with pytest.raises(SystemExit) as caught:
        main(argv, service)
    assert caught.value.code == 2
    assert complaint in capsys.readouterr().err


@pytest.mark.parametrize("card", [("card.pdf", b"%PDF-"), ("card.HTML", b"<!doctype html>")])
def test_a_bench_card_is_written(
    service: httpx2.BaseTransport,
    capsys: pytest.CaptureFixture[str],
    show_request: ShowRequest,
    tmp_path: Path,
    card: tuple[str, bytes],
) -> None:
    """The ending of the file decides its format, and the verdict is the code."""
    name, begin = card
    out = tmp_path / name
    assert main(["card", *MARLOW, "--out", str(out)], service) == 0
    assert f"{out}: ready\n" == capsys.readouterr().out
    assert out.read_bytes().startswith(begin)
    assert main(["card", "--file", str(EXAMPLES / "walk-in.json"), "--out", str(out), "--json"], service) == 5
    assert "trial" == json.loads(capsys.readouterr().out)["verdict"]
    assert "regatta-deck" in show_request("card", *MARLOW, "--out", str(out)).decode()


def test_an_interrupt_is_code_130() -> None:
    """The command ends at once, without a message."""

    def interrupt(_: httpx2.Request) -> httpx2.Response:
        raise KeyboardInterrupt

    assert main(["book"], httpx2.MockTransport(interrupt)) == 130


def test_a_closed_pipe_is_code_0(tmp_path: Path) -> None:
    """A pipe may be closed before the end, as by `head`; standard error stays empty."""
    order = (EXAMPLES / "quote-request.json").read_text()
    script = "import sys; from featherline.command import main; sys.exit(main(sys.argv[1:]))"
    (tmp_path / "order.json").write_text(order)
    argv = [sys.executable, "-c", script, "quote", "--file", str(tmp_path / "order.json"), "--show-request"]
    with subprocess.Popen(argv, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert (b"", 0) == (process.stderr.read(), process.wait())


class Closed(io.StringIO):
    """A standard output whose pipe is closed."""

    def flush(self) -> None:
        """Fail."""
        raise BrokenPipeError

    def fileno(self) -> int:
        """Return a descriptor that no file has."""
        return 9999


def test_a_closed_pipe_is_replaced(monkeypatch: pytest.MonkeyPatch) -> None:
    """Python writes nothing into it at exit."""
    replaced: list[int] = []
    monkeypatch.setattr("sys.stdout", Closed())
    monkeypatch.setattr("os.dup2", lambda _, descriptor: replaced.append(descriptor))
    assert main(["quote", *MARLOW, "--show-request"]) == 0
    assert [9999] == replaced
