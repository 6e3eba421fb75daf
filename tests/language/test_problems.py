"""What is told of a file with mistakes in it: each once, in its place, with what was expected and
what to write instead.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from each import each

from rework.circuit.place import Problem, errors
from rework.language.files import read_circuit_file
from rework.language.job import Money, read_job
from rework.language.job_mistakes import JOB_MISTAKES
from rework.language.mistakes import MISTAKES
from rework.language.quantity import meant, read_value
from rework.language.resolve import read_circuit
from rework.language.syntax import circuit_parser
from rework.language.writer import tidy
from rework.report.problems import problem_text

CIRCUITS = Path(__file__).parent.parent.parent / "circuits"
#: Two nodes that any part may be put between.
BASE = "R1 resistor 1k : A -- B\nR2 resistor 1k : A -- B\n"
PENTODE = "V1 tube 12AU6 : 1=A, 2=B, 3=A, 4=B, 5=A, 6=B, 7=A"
TERMINAL_NAMES = {terminal.name for terminal in circuit_parser().terminals} | {
    "COLON",
    "COMMA",
    "EQUAL",
    "$END",
    "UnexpectedToken",
}


def problems_of(text: str) -> tuple[Problem, ...]:
    circuit, problems = read_circuit(text, file="set.circuit")
    assert (circuit is None) == bool(errors(problems))
    return problems


def only(text: str) -> Problem:
    problems = problems_of(text)
    assert len(problems) == 1, problems
    return problems[0]


def shown(problem: Problem) -> str:
    return problem_text(problem)


def under_the_caret(problem: Problem) -> str:
    """Return what stands above the caret in the message as printed (plain letters only)."""
    _, line, caret, *_ = shown(problem).split("\n")
    return line[caret.index("^") : caret.rindex("^") + 1]


@pytest.mark.parametrize(
    ("mistake", "line"),
    [(mistake, line) for mistake in MISTAKES for line in mistake.examples],
    ids=[line for mistake in MISTAKES for line in mistake.examples],
)
def test_a_known_mistake_is_told_by_what_was_meant(mistake, line: str):
    problem = only(BASE + line + "\n")
    assert problem.message == mistake.message or (
        callable(mistake.message) and "is not expected here" not in problem.message
    )
    assert problem.place.line == 3
    assert problem.expected
    assert problem.hint
    words = f"{problem.message} {problem.expected} {problem.hint}"
    assert not TERMINAL_NAMES & set(
        re.findall(r"\$?\w+", words.replace("NAME KIND VALUES : CONNECTIONS", ""))
    )


@pytest.mark.parametrize(
    ("mistake", "line"),
    [(mistake, line) for mistake in JOB_MISTAKES for line in mistake.examples],
    ids=[line for mistake in JOB_MISTAKES for line in mistake.examples],
)
def test_a_known_mistake_in_a_job_is_told_by_what_was_meant(mistake, line: str):
    job, problems = read_job(
        f'job "Pager"\ncircuit "pager.circuit"\n{line}\n'.encode(), file="pager.job"
    )
    assert job is None
    assert [(problem.place.line, problem.message) for problem in problems] == [(3, mistake.message)]


@each(
    ("line", "message", "hint"),
    [
        ("aply release-line-cord", "aply is no statement of a job", "did you mean apply?"),
        ("apply exchange-tube : tube=V1, tube=V2", "tube is given twice", ""),
        ('attach "supply.circuit" is SUPPLY', "is is not expected here", ""),
        ('circuit "other.circuit"', "the job names a circuit already", "attach"),
        ("labour 6 V", "labour is stated in hours", ""),
        ("labour 6", "labour is stated in hours", ""),
        ("labour", "labour is stated in hours", ""),
        ("labour 6 h for 45 USD", "labour is stated in hours", ""),
        ("labour 6 h at 45", "this is no amount of money", ""),
        ("worth", "this is no amount of money", ""),
        ("worth 60", "this is no amount of money", ""),
        ("worth 60 W", "this is no amount of money", ""),
        (
            "prices list.csv",
            "this statement takes one text in quotation marks",
            "before and after the text",
        ),
        (
            "customer It works",
            "this statement takes one text in quotation marks",
            "before and after the text",
        ),
        ("apply x : a=b,", "a comma ends the line and nothing follows", "remove the comma"),
    ],
)
def test_other_mistakes_in_a_job_are_told_once(line: str, message: str, hint: str):
    job, problems = read_job(
        f'job "Pager"\ncircuit "pager.circuit"\n{line}\n'.encode(), file="pager.job"
    )
    assert job is None
    assert len(problems) == 1
    assert (problems[0].place.line, problems[0].message) == (3, message)
    assert hint in problems[0].hint


def test_money_is_in_one_currency_and_a_reading_may_lie_below_common():
    job, problems = read_job(
        b'circuit "a.circuit"\nlabour 6 h at 45.50 USD\nworth 60 USD\nreading V3.grid -7.5 V'
        b' "cold"\n',
        file="a.job",
    )
    assert (job.labour, job.rate, job.worth) == (21600.0, Money(45.5, "USD"), Money(60.0, "USD"))
    assert [(one.at, one.value.amount, one.value.text, one.remark) for one in job.readings] == [
        ("V3.grid", -7.5, "-7.5 V", "cold")
    ]
    job, problems = read_job(
        b'circuit "a.circuit"\nlabour 6 h at 45 USD\nworth 60 EUR\n', file="a.job"
    )
    assert [(problem.place.line, problem.message) for problem in problems] == [
        (3, "the job counts in USD already")
    ]


def test_a_job_without_a_circuit_says_so():
    job, problems = read_job(b'job "Pager"\napply release-line-cord\n', file="pager.job")
    assert job is None
    assert [problem.message for problem in problems] == ["the job names no circuit"]


@each(
    ("line", "message", "at", "wanted"),
    [
        (
            "R1 resistor 2k : A -- B",
            "R1 is used twice; the first time in line 1",
            "R1",
            "call this one R3",
        ),
        (PENTODE + ", suppressor=A", "pin 2 (suppressor) of V1 is bound twice", "A", "join A B"),
        (
            PENTODE + ", unused 7",
            "pin 7 (cathode) of V1 is bound and also said to be unused",
            "V1",
            "one or the other",
        ),
        (PENTODE.replace(", 7=A", ""), "V1 has nothing on pin 7 (cathode)", "V1", "unused 7"),
        (PENTODE.replace("7=A", "8=A"), "a 12AU6 has no pin 8", "8", "one of 1, 2, 3"),
        (
            PENTODE.replace("7=A", "anod3=A"),
            "a 12AU6 has no element called anod3",
            "anod3",
            "cathode",
        ),
        (
            PENTODE.replace("1=A", "gird=A"),
            "a 12AU6 has no element called gird",
            "gird",
            "did you mean grid?",
        ),
        (
            PENTODE.replace("3=A, 4=B", "heater=A"),
            "the heater of V1 has two ends",
            "heater",
            "heater1 and heater2",
        ),
        (
            PENTODE.replace("3=A, 4=B", "heater=A, B"),
            "the heater of V1 has two ends",
            "heater",
            "write heater=A -- B",
        ),
        (
            PENTODE.replace("12AU6", "12AU8"),
            "12AU8 is not in the tube library",
            "12AU8",
            "did you mean 12AU",
        ),
        (
            PENTODE.replace("12AU6", "unlisted QX7").replace("1=A", "grib=A"),
            "grib is neither a pin nor an element of an unlisted tube",
            "grib",
            "a pin number",
        ),
        ("V1 tube : 1=A", "V1 is a tube without a type", "tube", "12AU6"),
        ("V1 tube tube 12AU6 : 1=A", "the word tube is there twice", "tube", "remove one"),
        ("R3 resistor 1k : A -- XYZ", "only R3.2 is on the node XYZ", "XYZ", "open XYZ"),
        ("R3 resistor 1k : A -- BB", "only R3.2 is on the node BB", "BB", "did you mean B?"),
        (
            "R3 resister 1k : A -- C",
            "there is no kind of part called resister",
            "resister",
            "did you mean resistor?",
        ),
        (
            "W3 lead red : A -- C",
            "there is no kind of part called lead",
            "lead",
            "did you mean wire?",
        ),
        (
            "R3 220k : A -- C",
            "R3 has values and no kind",
            "220k",
            "NAME KIND VALUES : CONNECTIONS",
        ),
        (
            "output transformer 5 W : primary = A -- B",
            "this part has a kind but no name",
            "output",
            "put a name before output",
        ),
        ("shielded : A -- B", "this part has a kind but no name", "shielded", "put a name before"),
        (
            "resistor 1k : A -- B",
            "this part has a kind but no name",
            "resistor",
            "put a name before resistor",
        ),
        ("R3 : A -- B", "R3 has no kind", "R3", "resistor, tube or wire"),
        (
            "join resistor 1k : A -- B",
            "no colon belongs in this statement",
            ":",
            "remove the colon",
        ),
        (
            "unused resistor 1k : A -- B",
            "unused is a word of the language, so no part can be called that",
            "unused",
            "another name",
        ),
        ("R.3 resistor 1k : A -- B", "R.3 cannot be the name of a part", "R.3", "full stop"),
        ("12R resistor 1k : A -- B", "12R cannot be the name of a part", "12R", "a letter"),
        (
            "R3 resistor 1k : A -- join",
            "join is a word of the language, so no node can be called that",
            "join",
            "another name",
        ),
        ("R3 resistor 1k : A -- 12", "12 cannot be a node", "12", "begins with a letter"),
        (
            "R3 resistor 10 uF : A -- B",
            "10 uF is a capacitance, which a resistor does not have",
            "10 uF",
            "220k",
        ),
        (
            "C3 electrolytic 10 H : A -- B",
            "10 H is an inductance, which an electrolytic does not have",
            "10 H",
            "a capacitance such as",
        ),
        (
            "R3 resistor 1k 2k : A -- B",
            "2k is a second resistance on one resistor",
            "2k",
            "remove one",
        ),
        (
            "R3 resistor 1k wirewoud : A -- B",
            "wirewoud is not a word for a resistor",
            "wirewoud",
            "did you mean wirewound?",
        ),
        ("R3 resistor 47 omh : A -- B", "47 omh has no unit that is known here", "47", "150 ohm"),
        (
            'R3 resistor 1k "load" : A -- B',
            "a remark is before the colon",
            '"load"',
            "behind the connections",
        ),
        (
            "L3 choke dcr : A -- B",
            "the word dcr needs a value after it",
            "dcr",
            "a resistance such as",
        ),
        (
            "C3 capacitor class : A -- B",
            "the word class needs a name after it",
            "class",
            "class NAME",
        ),
        (
            "C3 capacitor class Z9 : A -- B",
            "Z9 is not a safety class of a capacitor",
            "Z9",
            "X1, X2, Y1, Y2",
        ),
        ("S1 switch on R9 : A -- B", "there is no part R9", "R9", "the name of a pot"),
        ("S1 switch on R1 : A -- B", "R1 is a resistor", "R1", "the name of a pot"),
        ("S1 switch SPST DPST : A -- B", "S1 has two switch styles", "switch", "one such as SPST"),
        ("K1 trace : V9.plate -- A", "there is no part V9", "V9.plate", "a part in this file"),
        ("K1 trace : R1.3 -- A", "a resistor has no terminal 3", "R1.3", "one of 1, 2"),
        ("K1 trace : R1 -- A -- B", "a trace is not connected like this", "R1", "A -- B"),
        ("CH1 chassis : A -- B", "a chassis is not connected like this", "A", "one node"),
        ("B1 bridge : A -- B", "a bridge is not connected like this", "A", "ac1=NODE"),
        (
            "J1 jack : tip=A -- B, sleeve=B",
            "one terminal is connected to one node",
            "B",
            "put a comma",
        ),
        ("J1 jack : tip sleeve=B", "two terminals are before one =", "sleeve", "put a comma"),
        ("J1 jack : tipp=A, sleeve=B", "a jack has no terminal tipp", "tipp", "did you mean tip?"),
        ("P1 plug three-pin : line=A, neutral=B", "P1 has nothing on earth", "P1", "unused earth"),
        ("R3 resistor 1k : unused", "unused names no terminal", "unused", "unused 1 2"),
        (
            "T1 transformer : primry = A -- B",
            "primry is no winding of a transformer",
            "primry",
            "did you mean primary?",
        ),
        (
            "T1 transformer : primary = A",
            "the winding primary has one end only",
            "A",
            "primary = A -- B",
        ),
        (
            "T1 transformer 10 VA : A -- B",
            "a transformer is not connected like this",
            "A",
            "primary = A -- B",
        ),
        (
            "T1 autotransformer : secondary = A -- B",
            "secondary is no winding of an autotransformer",
            "secondary",
            "winding",
        ),
        ("port out = QQ", "no part is on the node QQ", "QQ", "a node"),
        ("port out", "a port needs a name and a node", "out", "port NAME = NODE"),
        ("port a = A, a = B", "the port a is there twice", "a", "each name once"),
        ("open QQ", "no part is on the node QQ", "QQ", "a node"),
        ("touchable A, QQ", "no part is on the node QQ", "QQ", "a node"),
        ("touchable A = B", "touchable takes nodes only", "B", "touchable A, B"),
        ("join A", "join needs two nodes", "A", "join A B"),
        ("touchable:A", "no colon belongs in this statement", ":", "remove the colon"),
        ("join A = B", "join takes nodes only", "B", "join A B"),
        ("mains 117 V", "the mains need volts and hertz, or DC", "mains", "mains 117 V 60 Hz"),
        ("mains 117 V 230 V", "230 V is one too many", "230 V", "mains 117 V 60 Hz"),
        ("mains 5 kV 60 Hz", "no set is made for such mains", "5 kV", "up to 1000"),
        ("mains 117 60 Hz", "117 has no unit", "117", "mains 117 V 60 Hz"),
        ('circut "as found"', "circut is no statement", "circut", "did you mean circuit?"),
        (
            'atach "supply.circuit" as S : a=B',
            "atach is no statement",
            "atach",
            "did you mean attach?",
        ),
        ("touchables A", "touchables is no statement", "touchables", "did you mean touchable?"),
        (
            'attach "supply.circuit" is S : a=B',
            "is is not expected here",
            "is",
            'attach "FILE" as NAME',
        ),
        (
            'attach "supply.circuit" as S : a=B',
            "nothing can be attached here",
            '"supply.circuit"',
            "without an attach line",
        ),
        (
            "X1 connector : 5 V=A, 2=B",
            "a connector has no terminal 5 V",
            "5 V",
            "a number or a name",
        ),
        ("R3 resistor 1k : A@ -- B", "@ is not expected here", "@", "a comma"),
    ],
)
def test_one_mistake_is_one_problem_with_its_place_and_its_remedy(
    line: str, message: str, at: str, wanted: str
):
    problem = only(BASE + line + "\n")
    assert problem.message == message
    assert problem.place.file == "set.circuit"
    assert problem.place.line == 3
    assert problem.text == line
    assert under_the_caret(problem) == at
    assert wanted in problem.expected + " " + problem.hint
    assert shown(problem).startswith(
        f"set.circuit:3:{problem.place.column}: error: {message}\n    {line}\n"
    )


def test_five_mistakes_on_five_lines_are_five_problems_in_the_order_of_the_lines():
    text = (
        'circuit "Five"\nmains 117 V 60 Hz\nR1 resistor 1k A -- B\nR2 resister 2k : A -- B\nV1 tube'
        " 12AU66 : grid=A, plate=C, cathode=B\nC1 capacitor 10 k : B -- C\nR4 resistor 1k : C --"
        " A\nR4 resistor 3k : A -- D\nR5 resistor 1k : D -- C\n"
    )
    assert [(problem.place.line, problem.message) for problem in problems_of(text)] == [
        (3, "the colon before the connections is missing"),
        (4, "there is no kind of part called resister"),
        (5, "12AU66 is not in the tube library"),
        (
            6,
            "10 k on a capacitor has no unit; drawings of the time print k for a thousand picofarads",
        ),
        (8, "R4 is used twice; the first time in line 7"),
    ]


def test_five_mistakes_with_loose_ends_among_them_are_five_problems():
    text = (
        BASE + "R3 resistor 1k : A -- LOOSE\nV1 tube 12AU6 : 1=A, 2=B, 3=A, 4=B, 5=A, 6=B, plat=A,"
        " 7=A\nopen NOWHERE\nR6 resistor 1k 1k : A -- B\nK1 trace : R9.1 -- A\n"
    )
    assert [problem.place.line for problem in problems_of(text)] == [3, 4, 5, 6, 7]


def test_a_node_spelt_in_two_ways_is_one_mistake_and_both_places_are_told():
    problem = only(BASE + "C1 capacitor 1n : A -- PLATE\nR3 resistor 1k : B -- PLATTE\n")
    assert (
        problem.message
        == "only R3.2 is on the node PLATTE, and only C1.2 is on the node PLATE (line 3)"
    )
    assert problem.place.line == 4
    assert "give them one name" in problem.hint


def test_a_joined_name_that_nothing_else_uses_is_told_where_it_may_be_a_slip():
    problem = only("R1 resistor 1k : A -- COMMON\nR2 resistor 1k : A -- COMMON\njoin A COMON\n")
    assert problem.severity == "caution"
    assert problem.hint == "did you mean COMMON?"


class TestNothingFollowsFromAMistake:
    def test_a_word_that_cannot_be_a_node_on_a_pin_that_others_refer_to(self):
        assert (
            only(BASE + "R3 resistor 1k : 3 -- A\nK1 trace : R3.1 -- B\n").message
            == "3 cannot be a node"
        )

    def test_parts_and_nodes_of_a_line_that_cannot_be_read(self):
        only(
            BASE
            + "V1 tube 12AU6 ! 1=A, 2=C\nR3 resistor 1k : C -- V1.plate\nK1 trace : V1.8 -- A\nS1"
            " switch on V1 : A -- B\n"
        )

    def test_pins_of_a_tube_whose_type_is_not_known(self):
        only(
            BASE
            + "V1 tube 12AQ77 : grid=A, plate=P, cathode=B\nK1 trace : V1.plate -- A\nK2 trace :"
            " V1.screen -- P\n"
        )

    def test_a_name_that_stands_for_no_part_is_told_once(self):
        assert (
            only(
                BASE + "K1 trace : V9.plate -- A\nK2 trace : V9.grid -- B\nK3 trace : V9.7 -- A\n"
            ).place.line
            == 3
        )

    def test_what_refers_to_a_part_whose_name_is_lost(self):
        only(BASE + PENTODE.replace("V1", "") + "\nK1 trace : V1.plate -- A\n")

    def test_the_far_end_of_a_line_with_an_end_missing(self):
        only(BASE + "F1 fuse 1 A : A -- \nS1 switch : L2 -- B\n")

    def test_a_line_that_should_go_on_and_lacks_its_comma(self):
        problem = only(
            BASE
            + "V1 tube 12AU6 : 1=A, 2=B, 3=A, 4=B\n                5=A, 6=B, 7=A\nK1 trace : V1.7"
            " -- A\n"
        )
        assert problem.message == "a comma is missing here: the next line continues this one"
        assert (problem.place.line, problem.place.column) == (3, 35)

    def test_a_line_that_goes_on_into_the_next_statement(self):
        assert only(BASE + "F1 fuse 1 A : A --\nS1 switch : A -- B\n").place.line == 3
        assert only(BASE + PENTODE + ",\njoin A B\n").place.line == 3


def mutations(line: str):
    """Yield (how, the token, the line) with each token of a line taken out, doubled, made no word
    at all, or another word.
    """
    for match in re.finditer(r'"[^"]*"|[^\s,:="]+|[,:=]', line):
        before, token, after = line[: match.start()], match.group(), line[match.end() :]
        yield "taken out", token, before + after
        yield "doubled", token, f"{before}{token} {token}{after}"
        yield "garbled", token, f"{before}@@{after}"
        yield "renamed", token, f"{before}Zqx{after}"


@each("name", ["pager/pager", "skihut/skihut", "hostel/supply", "rink/supply"])
def test_a_change_of_one_token_gives_one_problem_on_that_line_or_another_legal_circuit(name: str):
    lines = (CIRCUITS / f"{name}.circuit").read_text(encoding="utf-8").split("\n")
    tried = 0
    for index, line in enumerate(lines):
        if line.lstrip().startswith("#") or not line:
            continue
        for number, (how, token, changed) in enumerate(mutations(line)):
            if (
                (number + index) % 5 or token == "connector"
            ):  # "X1 socket" is another kind of part, with other terminals
                continue
            tried += 1
            problems = problems_of("\n".join([*lines[:index], changed, *lines[index + 1 :]]))
            told = [(problem.place.line, problem.message) for problem in problems]
            assert len(told) <= 1, (how, changed, told)
            if how != "renamed":
                assert all(line == index + 1 for line, _ in told), (how, changed, told)
            elif told and told[0][0] != index + 1:
                # a name that is good in itself: what it was is missed somewhere else, and where it
                # was is told with it
                assert "Zqx" in told[0][1] or told[0][1] == f"there is no part {token}", (
                    changed,
                    told,
                )
    assert tried > 100


@each(
    ("line", "above"),
    [
        ("\tR3 resister 1k : A -- B", "resister"),
        ("R3\tresister 1k : A -- B", "resister"),
        ("R3 resistor 1k \t xx : A -- B", "xx"),
    ],
)
def test_the_caret_stands_under_the_mistake_after_a_tab(line: str, above: str):
    problem = only(BASE + line + "\n")
    assert problem.place.column == line.index(above) + 1
    assert under_the_caret(problem) == above


def test_the_caret_stands_under_the_mistake_after_wide_and_combining_letters():
    wide = 'R3 resistor "電阻" 1k xx : A -- B'
    problem = problems_of(BASE + wide + "\n")[0]
    assert problem.message == "a remark is before the colon"
    assert (
        shown(problem).split("\n")[2]
        == " " * (4 + len("R3 resistor ")) + "^" * len('"電阻"') + "^^"
    )
    combining = 'circuit "e\u0301" 電 x'
    problem = only(BASE + combining + "\n")
    line, caret = shown(problem).split("\n")[1:3]
    assert caret.index("^") == line.index("電") - 1


def test_a_statement_over_several_lines_is_pointed_at_in_its_own_line():
    problem = only(
        BASE + "V1 tube 12AU6 : 1=A, 2=B, 3=A,\n                4=B, 5=A, 6=B, kathode=A\n"
    )
    assert (problem.place.line, under_the_caret(problem)) == (4, "kathode")
    assert "did you mean cathode?" in problem.hint


@each(
    ("letter", "name"),
    [
        ("А", "cyrillic capital letter a"),
        ("Β", "greek capital letter beta"),
        ("\u200b", "zero width space"),
        ("٣", "arabic-indic digit three"),
        ("１", "fullwidth digit one"),
    ],
)
def test_a_letter_that_only_looks_plain_is_named(letter: str, name: str):
    problem = only(BASE + f"R3 resistor 1k : A{letter} -- B\n")
    assert name in problem.message
    assert f"U+{ord(letter):04X}" in problem.message


def test_tidy_tells_the_same_syntax_mistakes_and_changes_nothing():
    text, problems = tidy(BASE + "R3 resistor 1k A -- B\n", "set.circuit")
    assert text is None
    assert [problem.message for problem in problems] == [
        "the colon before the connections is missing"
    ]


class TestAttachedCircuits:
    SUPPLY = "R1 resistor 1k : B1 -- COMMON\nport bplus = B1, common = COMMON\n"

    def read(self, folder: Path, **files: str):
        for name, text in files.items():
            (folder / f"{name}.circuit").write_text(text, encoding="utf-8")
        return read_circuit_file(folder / "main.circuit")

    def test_are_read_with_their_names_led(self, tmp_path):
        circuit, problems = self.read(
            tmp_path,
            main=BASE + 'attach "supply.circuit" as S : bplus=A, common=R1.2\n',
            supply=self.SUPPLY,
        )
        assert not problems
        assert circuit.part("S/R1").pins == (("1", "A"), ("2", "B"))

    def test_may_attach_to_a_pin_that_has_no_other_name(self, tmp_path):
        circuit, problems = self.read(
            tmp_path,
            main=BASE
            + "X1 connector : 1=A\n"
            + 'attach "supply.circuit" as S : bplus=X1.2, common=B\n',
            supply=self.SUPPLY,
        )
        assert not problems
        assert circuit.part("S/R1").node("1") == circuit.part("X1").node("2") == "X1-2"

    @pytest.mark.parametrize(
        ("line", "message", "at"),
        [
            ('attach "supply.circuit" as S : bplu=A', '"supply.circuit" has no port bplu', "bplu"),
            ('attach "suply.circuit" as S : bplus=A', "there is no file", '"suply.circuit"'),
            ('attach "supply.circuit" as S : bplus', "a port is connected to one node", "bplus"),
            (
                'attach "supply.circuit" as S : bplus=A, bplus=B',
                "the port bplus is given twice",
                "bplus",
            ),
            (
                'attach "main.circuit" as S',
                "these circuits attach one another in a circle: main.circuit -> main.circuit",
                '"main.circuit"',
            ),
            (
                'attach "supply.circuit" as S\nattach "supply.circuit" as S',
                "S is in use already: the circuit attached in line 3",
                "S",
            ),
            ('attach "supply.circuit" as S.1', "S.1 cannot be the name of a part", "S.1"),
            ('attach "." as S', "is a folder", '"."'),
        ],
    )
    def test_a_mistake_is_told_at_the_attach_line(self, tmp_path, line: str, message: str, at: str):
        circuit, problems = self.read(tmp_path, main=BASE + line + "\n", supply=self.SUPPLY)
        assert circuit is None
        assert len(problems) == 1, problems
        assert message in problems[0].message
        assert problems[0].place.line >= 3
        assert under_the_caret(problems[0]) == at
        assert problems[0].expected

    def test_a_circle_over_several_files_is_told_in_the_file_that_closes_it(self, tmp_path):
        circuit, problems = self.read(
            tmp_path,
            main=BASE + 'attach "one.circuit" as S\n',
            one=BASE + 'attach "two.circuit" as S\n',
            two=BASE + 'attach "one.circuit" as S\n',
        )
        assert circuit is None
        assert len(problems) == 1
        assert problems[0].place.file.endswith("two.circuit")
        assert "one.circuit -> two.circuit -> one.circuit" in problems[0].message

    def test_a_mistake_inside_is_told_in_its_own_file(self, tmp_path):
        _, problems = self.read(
            tmp_path,
            main=BASE + 'attach "supply.circuit" as S : bplus=A\n',
            supply=self.SUPPLY.replace("1k", "1 uF"),
        )
        assert [(Path(problem.place.file).name, problem.place.line) for problem in problems] == [
            ("supply.circuit", 1)
        ]


@each(
    ("line", "messages"),
    [
        (
            "R9 resitor 1,500 ohm : A -- B",
            ["there is no kind of part called resitor", "a number has a comma in it"],
        ),
        (
            "R9   resitor 50 uf 2 Q : A -- B",
            [
                "there is no kind of part called resitor",
                "50 uf is a capacitance, which a resistor does not have",
                "2 Q has no unit that is known here",
            ],
        ),
        (
            "R9 resistor 220q 5 watt : A - B",
            ["220q is not a word for a resistor", "a single hyphen does not join two nodes"],
        ),
        (
            "R9 resistor wirewoud 5 Wat : A -- B",
            [
                "wirewoud is not a word for a resistor",
                "5 Wat has no unit that is known here",
            ],
        ),
        (
            "C1 capacitor 50 ohm 100f : A -- B -- C",
            [
                "50 ohm is a resistance, which a capacitor does not have",
                "the unit of 100f is spelled in another way",
                "a capacitor is not connected like this",
            ],
        ),
    ],
)
def test_every_mistake_of_a_line_is_told_at_once(line: str, messages: list[str]):
    problems = problems_of(BASE + line + "\n")
    assert [problem.message for problem in problems] == messages
    assert all(problem.text == line and under_the_caret(problem) for problem in problems)
    assert all(
        line[problem.place.column - 1 :].startswith(under_the_caret(problem))
        for problem in problems
    )


@each(
    ("written", "spelled"),
    [
        ("50Uf", "50 uF"),
        (".047 Mfd", ".047 mfd"),
        ("5 Watt", "5 watt"),
        ("220 KOhm", "220 kohm"),
        ("1/2 w", "1/2 W"),
        ("60 hertz", "60 Hz"),
        ("0.5 MEG", "0.5 Mohm"),
        ("80 ma", "80 mA"),
    ],
)
def test_a_unit_spelled_otherwise_is_told_as_it_was_meant(written: str, spelled: str):
    assert meant(written) == spelled
    assert read_value(spelled)


@each("doubtful", ["5 MOHM", "5 mohm", "50 mF", "220q", "12AX7", "4R7"])
def test_no_unit_is_guessed_where_it_could_be_two(doubtful: str):
    assert meant(doubtful) == ""


@each(
    ("line", "remedy"),
    [
        ("V1 tube 50-C5 : 1=A, 2=B, 3=A, 4=B, unused 5 6 7", "leave the hyphen out: 50"),
        ("R9 resistor 470 : A -- B", "for ohms write 470 ohm"),
        ("T1 transformer : prim=A -- B, secondary=A -- B", "did you mean primary?"),
    ],
)
def test_how_it_is_written_is_told(line: str, remedy: str):
    assert remedy in only(BASE + line + "\n").hint
