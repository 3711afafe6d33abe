"""The `featherline` command, in front of the real service and in front of none."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import httpx2
import msgspec
import pytest
import stamina.instrumentation
from msgspec.structs import replace

from featherline import Client
from featherline.command import main
from featherline.testing import RecordedService
from featherline.wire import (
    Anchored,
    Centred,
    FitRequest,
    OldMark,
    Order,
    PathArtwork,
    Plugin,
    Pose,
    QuoteAnswer,
    RecipeRequest,
    Roster,
    Searched,
    ShoePanel,
)

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"
SHOE = ["--shoe", "regatta-deck", "--size", "EU 42", "--panel", "outer-quarter"]
WALK_IN = ["--label", "textile", "--area", "90 mm x 40 mm", "--curvature", "gentle", "--panel", "outer-quarter"]
FILM = ["--film", "smooth", "--colour", "gorse"]
TEXT = ["--text", r"MARLOW\n7", "--font", "plain", "--height", "22 mm"]
MARLOW = [*SHOE, *FILM, *TEXT, "--press", "swing", "--policy", "counter"]


@pytest.fixture(autouse=True)
def retries_as_before() -> Iterator[None]:
    """The command tells of retries by itself; put back what told of them before."""
    yield
    stamina.instrumentation.set_on_retry_hooks(None)


def example(name: str) -> bytes:
    """Return an example request."""
    return (EXAMPLES / f"{name}.json").read_bytes()


def shown(capsys: pytest.CaptureFixture[str], *argv: str) -> bytes:
    """Return the request that the flags make."""
    assert main([*argv, "--show-request"]) == 0
    return capsys.readouterr().out.encode()


def test_flags_make_the_example_order(capsys: pytest.CaptureFixture[str]) -> None:
    """The flags of the help text's example are the example order."""
    sent = msgspec.json.decode(shown(capsys, "quote", *MARLOW), type=Order)
    assert sent == msgspec.json.decode(example("quote-request"), type=Order)


def test_flags_make_the_example_fit(capsys: pytest.CaptureFixture[str]) -> None:
    """The flags of a fit are the example fit."""
    sent = msgspec.json.decode(shown(capsys, "fit", *SHOE, *FILM, *TEXT, "--press", "swing"), type=FitRequest)
    assert sent == msgspec.json.decode(example("fit-request"), type=FitRequest)


def test_flags_make_the_example_recipe(capsys: pytest.CaptureFixture[str]) -> None:
    """The flags of a recipe are the example recipe."""
    sent = msgspec.json.decode(
        shown(capsys, "recipe", *SHOE, "--film", "smooth", "--press", "swing"), type=RecipeRequest
    )
    assert sent == msgspec.json.decode(example("recipe-request"), type=RecipeRequest)


def test_flags_hold_a_recipe(capsys: pytest.CaptureFixture[str]) -> None:
    """Cover sheet, temperature, pressure and guard are held as the flags say."""
    held = {"cover": "paper", "temperature": "320 degF", "pressure": "firm", "guard": "5 delta_degC"}
    flags = [each for name, value in held.items() for each in (f"--{name}", value)]
    sent = msgspec.json.decode(shown(capsys, "recipe", *SHOE, "--film", "smooth", *flags))
    assert held == {name: sent[name] for name in held}


def test_flags_make_the_walk_in(capsys: pytest.CaptureFixture[str]) -> None:
    """A tongue label and a ruler are the example of a walk-in."""
    walk_in = [*WALK_IN, *FILM, *TEXT, "--inside-length", "275 mm", "--shoe-colour", "#1d2b44"]
    sent = msgspec.json.decode(shown(capsys, "quote", *walk_in), type=Order)
    assert sent == msgspec.json.decode(example("walk-in"), type=Order)


@pytest.mark.parametrize(
    ("flags", "pose"),
    [
        ([], Centred()),
        (["--place", "centre"], Centred()),
        (["--place", " largest "], Searched()),
        (["--place", "12 mm above featherline"], Anchored(side="above", edge="featherline", distance="12 mm")),
        (
            ["--place", "0.5 in in front of the seam", "--along", "-3 mm"],
            Anchored(side="in-front-of", edge="seam", distance="0.5 in", along="-3 mm"),
        ),
        (["--place", "8mm in-front-of eyelets"], Anchored(side="in-front-of", edge="eyelets", distance="8mm")),
        (["--place", "2 cm below the toe cap"], Anchored(side="below", edge="toe-cap", distance="2 cm")),
    ],
    ids=str,
)
def test_flags_say_where_the_artwork_goes(flags: list[str], pose: Pose, capsys: pytest.CaptureFixture[str]) -> None:
    """Of a fit and of an order alike: at the centre, at a distance from an edge, or where it is largest."""
    fit = msgspec.json.decode(shown(capsys, "fit", *SHOE, *FILM, *TEXT, *flags), type=FitRequest)
    order = msgspec.json.decode(shown(capsys, "quote", *MARLOW, *flags), type=Order)
    assert [pose, pose] == [fit.pose, order.placements[0].pose]


def test_flags_say_what_is_on_the_panel_already(capsys: pytest.CaptureFixture[str]) -> None:
    """Under the new film and beside it, for a recipe and for an order."""
    marks = (OldMark(film="smooth", under=True), OldMark(film="flock"))
    flags = ["--under", "smooth", "--beside", "flock"]
    recipe = msgspec.json.decode(shown(capsys, "recipe", *SHOE, "--film", "smooth", *flags), type=RecipeRequest)
    order = msgspec.json.decode(shown(capsys, "quote", *MARLOW, *flags), type=Order)
    assert isinstance(recipe.onto, ShoePanel)
    assert [marks, marks] == [recipe.onto.old_marks, order.placements[0].old_marks]


@pytest.mark.parametrize(
    ("argv", "complaint"),
    [
        (["quote", *MARLOW, "--place", "left"], 'such as "12 mm above featherline"'),
        (["quote", *MARLOW, "--along", "3 mm"], "--along goes with"),
        (["quote"], "--shoe and --size"),
        (["quote", *SHOE, *FILM], "--text and --font, or --path"),
        (["quote", *SHOE, *FILM, "--text", "7", "--font", "plain"], "--height and --letter-height"),
        (["quote", *FILM, *TEXT, "--shoe", "regatta-deck", "--panel", "toe"], "--size is needed"),
        (["quote", *FILM, *TEXT, "--shoe", "regatta-deck", "--panel", "toe", "--size", "42"], 'such as "EU 42"'),
        (["quote", *FILM, *TEXT, "--label", "textile", "--panel", "toe", "--area", "90 mm"], "90 mm x 40 mm"),
        (["quote", *SHOE, *WALK_IN, *FILM, *TEXT], "--label and --area for a walk-in"),
        (["quote", "--file", "-", "--pairs", "3"], "--pairs"),
        (["quote", "--file", "no-such-order.json"], "no-such-order.json"),
        (["book", "hats"], "hats"),
        (["quote", "--file", "-", "--url", "nowhere"], "nowhere"),
        (["quote", "--file", "-", "--timeout", "-1"], "timeout"),
        ([], "COMMAND"),
    ],
)
def test_what_is_wrong_with_a_command_line_is_said(
    argv: list[str], complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A command line that cannot be is code 2, and the complaint says what to give."""
    with pytest.raises(SystemExit) as ended:
        main(argv)
    assert ended.value.code == 2
    assert complaint in capsys.readouterr().err


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff\xfe{\x00}\x00", b'"order"'])
def test_a_file_that_is_no_object_is_said(content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is no JSON object is code 2, and named."""
    (tmp_path / "order.json").write_bytes(content)
    with pytest.raises(SystemExit) as ended:
        main(["quote", "--file", str(tmp_path / "order.json")])
    assert ended.value.code == 2
    assert "order.json is not a JSON object in UTF-8" in capsys.readouterr().err


def test_the_book_is_listed(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """The book's kinds, one kind's records, and one record are shown, within 80 columns where ids allow."""
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


def test_the_plugins_of_a_shop_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """What is in force is shown beside what the book holds; without any, nothing is said of it."""
    service = RecordedService()
    assert main(["book"], service) == 0
    assert "Plug-ins" not in capsys.readouterr().out
    with Client(transport=service) as client:
        book = client.book()
    plugin = Plugin(name="club", kind="price-policy", distribution="our-rules", version="1.2")
    service.give("/v1/book", replace(book, plugins=(plugin,)))
    assert main(["book"], service) == 0
    assert "Plug-ins  price-policy club: our-rules 1.2\n" in capsys.readouterr().out


def test_a_record_is_json_for_a_machine(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """`--json` prints the answer whole."""
    assert main(["book", "films", "smooth", "--json"], service) == 0
    assert json.loads(capsys.readouterr().out)["record"]["setting"]["hottest_c"] == 160


def test_an_unknown_record_is_refused(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """An unknown record is code 3; the complaint lists what there is, and with `--json` the problem is printed."""
    assert main(["book", "films", "velvet", "--json"], service) == 3
    captured = capsys.readouterr()
    assert "smooth" in captured.err
    assert json.loads(captured.out)["status"] == 404


@pytest.mark.parametrize(
    ("flags", "pointer", "said"),
    [
        (["--place", "12 mm above hem"], "/pose/edge", "featherline"),
        (["--place", "twelve above seam"], "/pose/distance", "such as '3 mm'"),
        (["--place", "12 mm above seam", "--along", "far"], "/pose/along", "'far'"),
    ],
)
def test_a_place_that_cannot_be_is_refused_by_the_service(
    flags: list[str], pointer: str, said: str, service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]
) -> None:
    """As is any other flag's text: code 3, where it stands in the request, and what there may be."""
    assert main(["fit", *SHOE, *FILM, *TEXT, *flags], service) == 3
    complaint = capsys.readouterr().err
    assert pointer in complaint
    assert said in complaint


def test_a_quote_is_shown_to_a_person(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """What a person needs of a quote is on the screen as the service answered it, within 80 columns."""
    assert main(["quote", *MARLOW, "--json"], service) == 0
    answer = msgspec.json.decode(capsys.readouterr().out, type=QuoteAnswer)
    assert main(["quote", *MARLOW], service) == 0
    out = capsys.readouterr().out
    [pressing] = answer.pressings
    setting, window, peel = pressing.recipe.setting, pressing.recipe.window, pressing.recipe.peel
    assert answer.price is not None
    assert answer.cost is not None
    assert setting is not None
    assert window is not None
    assert peel is not None
    for fact in (
        "ready: do it",
        f"{answer.price.each.amount} EUR a pair",
        f"SET 160 degC (320 degF), {setting.dwell_s:g} s, medium pressure",
        f"dwell from {window.shortest_s:.0f} s to {window.longest_s:.0f} s",
        f"peel {peel.when}, {peel.wait_s:.0f} s after opening",
        f"{answer.placements[0].fit.clearance_mm:.1f} mm clear of",
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
    """Return the lines of the block that begins with a heading."""
    [block] = [block for block in out.split("\n\n") if block.startswith(heading)]
    return block.splitlines()


def test_units_are_the_reader_s(service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str]) -> None:
    """With `--units us` lengths are in inches and the press is set in Fahrenheit and psi, for a file too."""
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
    """A declined order has its reasons, and nothing that could be taken for an instruction or a price."""
    assert main(["quote", "--file", str(EXAMPLES / "clog.json")], service) == 6
    out = capsys.readouterr().out
    assert "decline: do not" in out
    assert "Steps" not in out
    assert "Charge" not in out


@pytest.mark.parametrize(("verdict", "code"), [("ready", 0), ("trial", 5), ("decline", 6)])
def test_the_verdict_is_the_exit_code(verdict: str, code: int, capsys: pytest.CaptureFixture[str]) -> None:
    """Each verdict has a code of its own, with `--json` as without."""
    answer = json.loads(example("quote-answer")) | {"verdict": verdict}
    transport = httpx2.MockTransport(lambda _: httpx2.Response(200, json=answer))
    for argv in (["quote", *MARLOW], ["quote", *MARLOW, "--json"]):
        assert main(argv, transport) == code
        assert verdict in capsys.readouterr().out


def test_control_characters_do_not_reach_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    """A sentence that carries an escape sequence, from an artwork's text say, is shown without it."""
    answer = json.loads(example("fit-answer"))
    answer["fit"]["reasons"] = [
        {"code": "fit.outside", "verdict": "ready", "subject": "", "sentence": "Red \x1b[31m\u202eherring"}
    ]
    transport = httpx2.MockTransport(lambda _: httpx2.Response(200, json=answer))
    assert main(["fit", "--file", str(EXAMPLES / "fit-request.json")], transport) == 0
    assert "Red ?[31m?herring" in capsys.readouterr().out


def test_a_refusal_names_the_faults(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A wrong value of a file is refused by the service, with a pointer into the file."""
    order = json.loads(example("quote-request"))
    order["placements"][0]["artwork"]["height"] = 22
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"\xef\xbb\xbf" + json.dumps(order).encode())))
    assert main(["quote", "--file", "-"], service) == 3
    assert "/placements/0/artwork/height: " in capsys.readouterr().err


def test_lines_are_answered_as_they_stand(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Each line of a file has its answer, with its number in the file; blank lines and a byte order mark do no harm."""
    good, bad, other = (EXAMPLES / "bulk-request.jsonl").read_bytes().splitlines()
    file = tmp_path / "questions.jsonl"
    file.write_bytes(b"\xef\xbb\xbf" + good + b"\r\n\n  \n" + bad + b"\nnonsense\n" + other)

    assert main(["bulk", str(file)], service) == 3
    captured = capsys.readouterr()
    answered = [json.loads(line) for line in captured.out.splitlines()]
    expected = [json.loads(line) for line in (EXAMPLES / "bulk-answer.jsonl").read_bytes().splitlines()]

    assert [(1, "bow-7", 200), (4, "bow-8", 422), (5, None, 400), (6, None, 200)] == [
        (line["line"], line["id"], line["status"]) for line in answered
    ]
    assert ["fit", "problem", "problem", "cost"] == [line["kind"] for line in answered]
    assert [expected[0]["answer"], expected[2]["answer"]] == [answered[0]["answer"], answered[3]["answer"]]
    assert "/request/film" == answered[1]["problem"]["errors"][0]["pointer"]
    assert "featherline: 2 of 4 lines have a problem instead of an answer\n" == captured.err


def test_lines_come_from_a_pipe_too(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """All answered is code 0, and nothing is said besides the answers."""
    good, _, other = (EXAMPLES / "bulk-request.jsonl").read_bytes().splitlines()
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(good + b"\n" + other + b"\n")))

    assert main(["bulk", "-"], service) == 0
    captured = capsys.readouterr()
    assert (2, "") == (len(captured.out.splitlines()), captured.err)


def test_lines_that_break_off_are_code_4(capsys: pytest.CaptureFixture[str]) -> None:
    """What was answered is written; why there is no more is on standard error."""
    first = (EXAMPLES / "bulk-answer.jsonl").read_bytes().splitlines()[0] + b"\n"
    answers = iter([first])

    def answer(_: httpx2.Request) -> httpx2.Response:
        content = next(answers, b"")
        return httpx2.Response(200, content=content, headers={"content-type": "application/jsonl"})

    lines = str(EXAMPLES / "bulk-request.jsonl")
    assert main(["bulk", lines, "--timeout", "1"], httpx2.MockTransport(answer)) == 4
    captured = capsys.readouterr()
    assert 1 == len(captured.out.splitlines())
    assert "The answer ended after 0 of 2 lines" in captured.err.splitlines()[-1]


def test_a_file_of_lines_that_is_not_there_is_code_2(capsys: pytest.CaptureFixture[str]) -> None:
    """The command line names no file."""
    with pytest.raises(SystemExit, match="2"):
        main(["bulk", "nothing/here.jsonl"], httpx2.MockTransport(lambda _: httpx2.Response(500)))
    assert "Cannot read nothing/here.jsonl" in capsys.readouterr().err


def test_a_service_that_is_not_there_is_code_4(capsys: pytest.CaptureFixture[str]) -> None:
    """When nobody answers, the attempts are told on standard error, and nothing is on standard output."""

    def refuse(_: httpx2.Request) -> httpx2.Response:
        raise httpx2.ConnectError("refused")

    assert main(["book", "--timeout", "0.5"], httpx2.MockTransport(refuse)) == 4
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "trying again in" in captured.err
    assert "Cannot reach the service at http://127.0.0.1:8037" in captured.err.splitlines()[-1]


def test_the_command_is_installed() -> None:
    """`featherline --version` runs as a program of its own."""
    program = Path(sys.executable).with_name("featherline")
    done = subprocess.run([program, "--version"], capture_output=True, text=True, check=True)
    assert done.stdout == "featherline 0.1.0\n"


CREW_FLAGS = [
    *("--shoe", "regatta-deck", "--panel", "outer-quarter", *FILM, "--policy", "club"),
    *("--text", r"{name}\n{number}", "--font", "plain", "--letter-height", "9 mm"),
]
CREW = "number;name;size;phone\r\n7;MARLOW;EU 41,5;+49 170 1\r\n1;EDDY;44;\r\n"


@pytest.fixture
def crew(tmp_path: Path) -> Path:
    """A list as a spreadsheet writes it where the decimal mark is a comma."""
    file = tmp_path / "crew.csv"
    file.write_bytes(b"\xef\xbb\xbf" + CREW.encode())
    return file


def test_a_roster_is_answered_beside_its_rows(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], crew: Path
) -> None:
    """The file comes again with verdict, recipe, price and reasons; a summary is on the screen, its total the sum."""
    out = crew.with_name("answered.csv")
    assert main(["roster", str(crew), *CREW_FLAGS, "--out", str(out)], service) == 0
    captured = capsys.readouterr()
    table = list(csv.DictReader(io.StringIO(out.read_bytes().decode("utf-8-sig")), delimiter=";"))
    assert ["ready", "ready"] == [row["verdict"] for row in table]
    assert ["MARLOW", "EDDY"] == [row["name"] for row in table]
    assert "'+49 170 1" == table[0]["phone"]
    assert all("160 degC (320 degF)" in row["recipe"] for row in table)
    total = sum(Decimal(row["price_total"].replace(",", ".")) for row in table)
    assert f"Charge    {total} EUR in all" in captured.out
    assert "2 rows, 2 pairs to press: 2 ready" in captured.out
    assert max(map(len, captured.out.splitlines())) <= 80
    assert "" == captured.err


def test_what_cannot_be_done_of_a_roster_is_said_by_its_line(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], crew: Path
) -> None:
    """Without --out the file is on standard output, and the summary on standard error; the worst row is the code."""
    crew.write_text(CREW + "3;SANDPIPER-CORMORANT;40;\n", encoding="utf-8")
    assert main(["roster", str(crew), *CREW_FLAGS], service) == 6
    captured = capsys.readouterr()
    assert captured.out.startswith("number;name;size;phone;verdict;")
    assert "- line 4: decline. " in captured.err
    crew.write_text(CREW + ";ADA;40;\n", encoding="utf-8")
    assert main(["roster", str(crew), *CREW_FLAGS], service) == 3
    assert "- line 4: fault. Give the field 'number'." in capsys.readouterr().err


def test_a_walk_in_s_roster_is_to_be_tried_first(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Code 5, also as JSON, which takes the place of the file; the list may come from a pipe."""
    text = ["--text", "{name}", "--font", "plain", "--letter-height", "9 mm"]
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"id,name\na,EDDY\n")))
    assert main(["roster", "-", *WALK_IN, *FILM, *text, "--json"], service) == 5
    assert ["trial"] == [row["verdict"] for row in json.loads(capsys.readouterr().out)["rows"]]
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"id,name\na,EDDY\n")))
    assert main(["roster", "-", *WALK_IN, *FILM, *text], service) == 5
    assert "- line 2 (a): trial. " in capsys.readouterr().err


def test_a_roster_s_order_may_be_a_file(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A list and an order make the roster of the examples, but for the seal, which the command does not ask for."""
    roster = json.loads(example("roster-request"))
    (tmp_path / "order.json").write_text(json.dumps(roster["order"]))
    (tmp_path / "crew.csv").write_text(
        "id,name,number,size,owner,pairs\n1,MARLOW,7,41,,\n2,TIDEWAY,12,44,,\n3,SANDPIPER-CORMORANT,3,,,\n"
        "4,EDDY,,40,,\nspare,CREW,0,,shop,2\n"
    )
    argv = ["roster", str(tmp_path / "crew.csv"), "--file", str(tmp_path / "order.json")]
    sent = msgspec.json.decode(shown(capsys, *argv), type=Roster)
    assert msgspec.convert(roster | {"seal": False}, Roster) == sent
    assert main(argv, service) == 3
    assert "the letters of one row fit at no height" not in capsys.readouterr().err


def test_a_refused_roster_names_the_line(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], crew: Path
) -> None:
    """What the service does not take of a row is told with the row's line in the file."""
    crew.write_text(CREW + f"9;{'X' * 201};40;\n", encoding="utf-8")
    assert main(["roster", str(crew), *CREW_FLAGS], service) == 3
    assert "/rows/2/fields/name: line 4 of the file: " in capsys.readouterr().err


@pytest.mark.parametrize(
    ("argv", "complaint"),
    [
        (["roster", "no-such-crew.csv"], "Cannot read no-such-crew.csv"),
        (["card", *MARLOW, "--out", "card.png"], "ends in .pdf or .html"),
        (["card", *MARLOW, "--out", "no/such/folder.pdf"], "Cannot write no/such/folder.pdf"),
        (["card", *MARLOW], "--out"),
    ],
)
def test_files_that_cannot_be_are_code_2(
    service: httpx2.BaseTransport, argv: list[str], complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """What cannot be read or written is said."""
    with pytest.raises(SystemExit) as ended:
        main(argv, service)
    assert ended.value.code == 2
    assert complaint in capsys.readouterr().err


@pytest.mark.parametrize(("name", "begin"), [("card.pdf", b"%PDF-"), ("card.HTML", b"<!doctype html>")])
def test_a_bench_card_is_written(
    service: httpx2.BaseTransport, capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str, begin: bytes
) -> None:
    """The ending of the file says what it is; the code is the verdict, of a walk-in's order too."""
    out = tmp_path / name
    assert main(["card", *MARLOW, "--out", str(out)], service) == 0
    assert f"{out}: ready\n" == capsys.readouterr().out
    assert out.read_bytes().startswith(begin)
    assert main(["card", "--file", str(EXAMPLES / "walk-in.json"), "--out", str(out), "--json"], service) == 5
    assert "trial" == json.loads(capsys.readouterr().out)["verdict"]
    assert "regatta-deck" in shown(capsys, "card", *MARLOW, "--out", str(out)).decode()


@pytest.mark.parametrize("command", ["quote", "fit", "recipe", "roster", "card", "book", "bulk"])
def test_help_has_examples_and_exit_codes(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each command's help shows how it is called, and what its exit code means, in lines that a screen holds."""
    with pytest.raises(SystemExit):
        main([command, "--help"])
    out = capsys.readouterr().out
    assert f"examples:\n  featherline {command}" in out
    assert "exit codes:" in out
    assert max(len(line) for line in out.splitlines() if line.startswith("  featherline")) <= 90


def test_a_path_is_an_artwork_too(capsys: pytest.CaptureFixture[str]) -> None:
    """Path data takes the place of a text."""
    sent = msgspec.json.decode(
        shown(capsys, "fit", *SHOE, *FILM, "--path", "M0 0h9v9z", "--height", "9 mm"), type=FitRequest
    )
    assert PathArtwork(d="M0 0h9v9z", height="9 mm") == sent.artwork


def test_an_interrupt_is_code_130() -> None:
    """The command ends at once, and quietly."""

    def interrupt(_: httpx2.Request) -> httpx2.Response:
        raise KeyboardInterrupt

    assert main(["book"], httpx2.MockTransport(interrupt)) == 130


def test_a_reader_that_has_read_enough_is_no_fault(tmp_path: Path) -> None:
    """A pipe that is closed before the end, as by `head`, is code 0, with nothing on standard error."""
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
    """A standard output that nobody reads any more, and that cannot be told how to write."""

    def flush(self) -> None:
        """Fail."""
        raise BrokenPipeError

    def fileno(self) -> int:
        """Return a number that no file has."""
        return 9999


def test_a_closed_pipe_is_put_aside(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is written into it at the end of the program either."""
    aside: list[int] = []
    monkeypatch.setattr("sys.stdout", Closed())
    monkeypatch.setattr("os.dup2", lambda _, onto: aside.append(onto))
    assert main(["quote", *MARLOW, "--show-request"]) == 0
    assert [9999] == aside
