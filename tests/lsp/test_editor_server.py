"""The language server, asked as an editor asks it: a client speaks the protocol to one process."""

from __future__ import annotations

import asyncio
import re
import shutil
import sys
import threading
import time
from pathlib import Path

import pytest
from lsprotocol import types as lsp
from pygls.exceptions import JsonRpcException
from pygls.lsp.client import LanguageClient

from rework.language.writer import tidy
from rework.lsp.layout import LEGEND
from rework.rules.tidy import tidied

ROOT = Path(__file__).parents[2]


class Editor:
    """A text editor as far as the server sees one."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.told: dict[str, list[lsp.Diagnostic]] = {}
        self.versions: dict[str, int] = {}
        self.loop = asyncio.new_event_loop()
        threading.Thread(target=self.loop.run_forever, daemon=True).start()
        self.client = LanguageClient("bench", "1")

        @self.client.feature(lsp.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS)
        def take(params: lsp.PublishDiagnosticsParams) -> None:
            if params.version == self.versions.get(params.uri):
                self.told[params.uri] = list(params.diagnostics)

        self.wait(self.client.start_io(sys.executable, "-m", "rework", "lsp"))
        self.can = self.wait(
            self.client.initialize_async(
                lsp.InitializeParams(
                    lsp.ClientCapabilities(), root_uri=folder.as_uri(), process_id=None
                )
            )
        ).capabilities
        self.client.initialized(lsp.InitializedParams())

    def wait(self, question):
        return asyncio.run_coroutine_threadsafe(question, self.loop).result(60)

    def call(self, function, params):
        self.loop.call_soon_threadsafe(function, params)

    def close(self) -> None:
        self.wait(self.client.shutdown_async(None))
        self.call(self.client.exit, None)
        self.wait(self.client.stop())
        self.loop.call_soon_threadsafe(self.loop.stop)

    # files

    def path(self, name: str) -> Path:
        return self.folder / name

    def write(self, name: str, text: str) -> None:
        """Open a file, or type all of it anew."""
        path = self.path(name)
        uri = path.as_uri()
        version = self.versions.get(uri, 0) + 1
        self.versions[uri] = version
        self.told.pop(uri, None)
        if version == 1:
            item = lsp.TextDocumentItem(uri, "rework", version, text)
            self.call(self.client.text_document_did_open, lsp.DidOpenTextDocumentParams(item))
        else:
            self.call(
                self.client.text_document_did_change,
                lsp.DidChangeTextDocumentParams(
                    lsp.VersionedTextDocumentIdentifier(version, uri),
                    [lsp.TextDocumentContentChangeWholeDocument(text)],
                ),
            )

    def text(self, name: str) -> str:
        return self.path(name).read_text()

    def marks(self, name: str, until=lambda marks: True) -> list[lsp.Diagnostic]:
        """Wait for marks that meet a condition."""
        uri, end = self.path(name).as_uri(), time.monotonic() + 30
        while time.monotonic() < end:
            if uri in self.told and until(self.told[uri]):
                return self.told[uri]
            time.sleep(0.02)
        raise AssertionError(self.told.get(uri))

    # questions

    def place(self, name: str, text: str, word: str, nth: int = 0, inside: int = 0):
        at = -1
        for _ in range(nth + 1):
            at = text.index(word, at + 1)
        at += inside
        line = text.count("\n", 0, at)
        position = lsp.Position(line, at - text.rfind("\n", 0, at) - 1)
        return {
            "text_document": lsp.TextDocumentIdentifier(self.path(name).as_uri()),
            "position": position,
        }

    def complete(self, name: str, text: str) -> list[lsp.CompletionItem]:
        """Ask what may stand where the text has a §."""
        self.write(name, text.replace("§", ""))
        at = self.place(name, text, "§")
        answer = self.wait(self.client.text_document_completion_async(lsp.CompletionParams(**at)))
        return answer.items

    def labels(self, name: str, text: str) -> list[str]:
        return [item.label for item in self.complete(name, text)]

    def hover(self, name: str, text: str, word: str, nth: int = 0, inside: int = 0) -> str:
        at = self.place(name, text, word, nth, inside)
        answer = self.wait(self.client.text_document_hover_async(lsp.HoverParams(**at)))
        return answer.contents.value if answer else ""

    def document(self, name: str) -> lsp.TextDocumentIdentifier:
        return lsp.TextDocumentIdentifier(self.path(name).as_uri())


@pytest.fixture(scope="module")
def editor(tmp_path_factory):
    folder = tmp_path_factory.mktemp("editor") / "pager"
    shutil.copytree(ROOT / "circuits" / "pager", folder)
    shutil.copytree(ROOT / "circuits" / "skihut", folder.parent / "skihut")
    one = Editor(folder)
    yield one
    one.close()


PAGER = (ROOT / "circuits" / "pager" / "pager.circuit").read_text()


def changed(text: str, edits: list[lsp.TextEdit]) -> str:
    """Return a text with an editor's edits made, the last first."""
    lines = text.split("\n")

    def offset(at: lsp.Position) -> int:
        return sum(len(line) + 1 for line in lines[: at.line]) + at.character

    for edit in sorted(edits, key=lambda one: (one.range.start.line, one.range.start.character))[
        ::-1
    ]:
        text = text[: offset(edit.range.start)] + edit.new_text + text[offset(edit.range.end) :]
    return text


# problems


def test_a_mistake_is_marked_at_its_word_as_check_tells_it(editor):
    wrong = PAGER.replace("R12  resistor", "R12  resitor")
    editor.write("pager.circuit", wrong)
    (mark,) = editor.marks("pager.circuit", lambda marks: len(marks) == 1)
    assert mark.severity == lsp.DiagnosticSeverity.Error
    assert "there is no kind of part called resitor" in mark.message
    assert "did you mean resistor?" in mark.message
    line = wrong.split("\n")[mark.range.start.line]
    assert line[mark.range.start.character : mark.range.end.character] == "resitor"


def test_did_you_mean_is_a_quick_fix(editor):
    wrong = PAGER.replace("R12  resistor", "R12  resitor")
    editor.write("pager.circuit", wrong)
    (mark,) = editor.marks("pager.circuit", lambda marks: len(marks) == 1)
    (action,) = fixes(editor, "pager.circuit", mark)
    assert action.title == "write resistor"
    (edits,) = action.edit.changes.values()
    assert changed(wrong, edits) == PAGER


def fixes(editor, name: str, mark: lsp.Diagnostic) -> list[lsp.CodeAction]:
    return editor.wait(
        editor.client.text_document_code_action_async(
            lsp.CodeActionParams(
                editor.document(name), mark.range, lsp.CodeActionContext(diagnostics=[mark])
            )
        )
    )


def test_what_the_check_finds_is_marked_after_a_pause(editor):
    editor.write("pager.circuit", PAGER)
    marks = editor.marks("pager.circuit", lambda marks: len(marks) > 3)
    messages = "\n".join(mark.message for mark in marks)
    assert "CHASSIS is within reach and tied to the mains by capacitor" in messages
    assert "Switch S1 is ahead of the fuse F1" in messages
    assert all(mark.severity != lsp.DiagnosticSeverity.Error for mark in marks)


def test_a_remedy_that_was_tried_can_be_written_into_the_file(editor):
    editor.write("pager.circuit", PAGER)
    marks = editor.marks("pager.circuit", lambda marks: len(marks) > 3)
    mark = next(mark for mark in marks if "ahead of the fuse" in mark.message)
    action = next(one for one in fixes(editor, "pager.circuit", mark) if "S1 and F1" in one.title)
    (edits,) = action.edit.changes.values()
    editor.write("pager.circuit", changed(PAGER, edits))
    left = editor.marks(
        "pager.circuit",
        lambda marks: len(marks) > 3 and "ahead of the fuse" not in str(marks),
    )
    assert not [mark for mark in left if mark.severity == lsp.DiagnosticSeverity.Error]


def test_a_node_that_is_not_traced_is_marked(editor):
    editor.write("new.circuit", "V1 tube 12AT6 : grid=G1, unused 2 3 4 5 6 7\nblank G1\n")
    marks = editor.marks("new.circuit", lambda marks: "traced" in str(marks))
    (mark,) = [mark for mark in marks if "not traced yet: nothing else is on G1" in mark.message]
    assert mark.severity == lsp.DiagnosticSeverity.Information


def test_a_job_tells_what_is_left_after_it_and_a_step_that_fails(editor):
    job = editor.text("pager.job")
    editor.write("pager.job", re.sub(r"apply bond-common.*\n", "", job))
    editor.marks("pager.job", lambda marks: "after the job" in str(marks))
    editor.write("pager.job", job.replace("type=6BA6", "type=6BA9"))
    marks = editor.marks("pager.job", lambda marks: "6BA9" in str(marks))
    (mark,) = [mark for mark in marks if mark.severity == lsp.DiagnosticSeverity.Error]
    assert mark.range.start.line == job[: job.index("type=6BA6")].count("\n")
    # a circuit that is open and not saved is the one that the job is run on
    editor.write("pager.job", job)
    editor.write("pager.circuit", PAGER.replace("S1  switch SPST", "S9  switch SPST"))
    editor.marks("pager.job", lambda marks: "S1" in str(marks) and _worst(marks) == 1)
    editor.write("pager.circuit", PAGER)
    editor.marks("pager.job", lambda marks: _worst(marks) > 1)


def _worst(marks: list[lsp.Diagnostic]) -> int:
    return min((mark.severity for mark in marks), default=9)


def test_a_rule_is_read_too(editor):
    rule = (editor.folder.parent / "skihut" / "free-motor.rule").read_text()
    editor.write("free-motor.rule", rule)
    editor.marks("free-motor.rule", lambda marks: not marks)
    editor.write("free-motor.rule", rule.replace("for each", "for every", 1))
    assert editor.marks("free-motor.rule", lambda marks: marks)


# completion


@pytest.mark.parametrize(
    ("line", "wanted", "unwanted"),
    [
        ("§", {"mains", "blank", "R5", "touchable"}, {"resistor"}),
        ("R40 §", {"resistor", "output transformer", "condenser"}, set()),
        ("T9 output §", {"transformer"}, {"resistor"}),
        ("R40 resistor §", {"wirewound", "dropper"}, {"slow"}),
        ("R40 resistor 22§", {"22k", "22 ohm", "22 W", "22%"}, {"22 uF"}),
        ("C40 capacitor 10§", {"10 nF", "10 uF", "10 V"}, {"10k"}),
        ("V9 tube 12A§", {"12AX7", "UCL82", "unlisted"}, set()),
        ("V9 tube 12AX7 : §", {"triode1.grid", "7", "heater1"}, {"grid", "tip"}),
        ("V9 tube 12AX7 : 7=A, §", {"triode1.cathode", "8"}, {"triode1.grid", "7"}),
        ("V9 tube 12AX7 : 7=§", {"B1", "COMMON", "V1."}, {"triode1.grid"}),
        ("R40 resistor 1k : B1 -- V1.§", {"V1.plate", "V1.5"}, {"B1"}),
        ("S9 switch SPST on §", {"R6", "R10"}, {"R1"}),
        ("C40 capacitor class §", {"X2", "Y1"}, {"X9"}),
        ("S9 switch SP3T in §", {"throw1", "throw3"}, {"throw4"}),
        ("T9 transformer : §", {"primary", "heater"}, {"B1"}),
        ("T9 transformer : primary 11§", {"11 V"}, {"11 uF"}),
        ("mains §", {"117 V 60 Hz", "220 V DC"}, {"B1"}),
        ("touchable §", {"CHASSIS"}, {"resistor"}),
        ('R40 resistor 1k : B1 -- B2  "the §', set(), {"B1", "resistor"}),
        ("# the §", set(), {"mains"}),
    ],
)
def test_a_circuit_is_completed(line, wanted, unwanted, editor):
    labels = set(editor.labels("pager.circuit", PAGER + line))
    assert wanted <= labels
    assert not unwanted & labels


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("§", {"apply", "attach", "reading"}),
        ("apply §", {"exchange-tube", "cut-heater-string"}),
        ("apply exchange-tube : §", {"tube", "type", "accept"}),
        ("apply exchange-tube : tube=V1, §", {"type", "accept"}),
        ("apply exchange-tube : tube=§", {"V1", "V4"}),
        ("apply exchange-tube : tube=V1, type=§", {"6AU6"}),
        ("apply renew-filter-capacitor : node=§", {"B2"}),
        ('attach "supply.circuit" as S : §', {"bplus", "earth"}),
        ('attach "supply.circuit" as S : bplus=§', {"B1"}),
        ("attach §", {'"supply.circuit"'}),
        ("reading V1.§", {"V1.plate", "V1.5"}),
    ],
)
def test_a_job_is_completed(line, wanted, editor):
    labels = set(editor.labels("pager.job", editor.text("pager.job") + line))
    assert wanted <= labels


def test_a_rule_is_completed(editor):
    text = "rule x\n  for each\n    ?C capacitor : ?m -- ?x\n"
    assert "is mains-tied" in editor.labels("x.rule", text + "  where ?m §")
    assert {"remove", "cut", "caution"} <= set(editor.labels("x.rule", text + "  then\n    §"))
    assert "resistor" in editor.labels("x.rule", text + "    ?R §")
    assert "?m" in editor.labels("x.rule", text + "  then\n    remove §")


def test_what_is_chosen_replaces_the_letters_typed(editor):
    text = PAGER + "R40 resi§"
    item = next(one for one in editor.complete("pager.circuit", text) if one.label == "resistor")
    typed = PAGER + "R40 resi"
    assert changed(typed, [item.text_edit]) == PAGER + "R40 resistor"


def test_a_choice_tells_more_when_it_is_looked_at(editor):
    item = next(
        one for one in editor.complete("pager.circuit", PAGER + "V9 tube §") if one.label == "UCL82"
    )
    assert not item.detail
    assert "50 V 0.1 A" in editor.wait(editor.client.completion_item_resolve_async(item)).detail


# what is known of a word


def test_a_tube_shows_its_socket_from_below_heater_and_ratings_with_their_grade(editor):
    editor.write("pager.circuit", PAGER)
    said = editor.hover("pager.circuit", PAGER, "V4   tube")
    assert "heater 35 V 150 mA (second-hand, original not seen)" in said
    assert "inverse volts: 330 V (from memory)" in said
    assert "between pins 4 and 6" in said
    rows = said.split("```")[1].split("\n")
    at = {
        pin: next((i, row.index(pin)) for i, row in enumerate(rows) if pin in row[:21])
        for pin in "1234567"
    }
    assert (
        at["1"][0] == at["7"][0] > at["2"][0] == at["6"][0] > at["3"][0] == at["5"][0] > at["4"][0]
    )
    assert at["1"][1] < at["7"][1]  # clockwise from the gap at the bottom: up the left side
    assert any("5 plate  LP" in row for row in rows)
    assert "12.6 V" in editor.hover("pager.circuit", PAGER, "12BA6", nth=1)


def test_a_node_shows_what_is_on_it_and_its_tie(editor):
    editor.write("pager.circuit", PAGER)
    said = editor.hover("pager.circuit", PAGER, "B1 -- B2")
    assert "V4 pin 7 (cathode)" in said
    assert "tied to the mains by conduction" in said
    said = editor.hover("pager.circuit", PAGER, "CHASSIS")
    assert "by capacitor, within reach" in said
    # a pin named in the place of a node
    said = editor.hover("pager.circuit", PAGER, "V3.4", inside=3)
    assert "V3 pin 4 (heater2)" in said


def test_a_node_shows_its_volts_once_they_are_computed(editor):
    editor.write("pager.circuit", PAGER)
    editor.call(
        editor.client.text_document_did_save,
        lsp.DidSaveTextDocumentParams(editor.document("pager.circuit")),
    )
    end = time.monotonic() + 60
    said = ""
    while "as last saved" not in said and time.monotonic() < end:
        time.sleep(0.1)
        said = editor.hover("pager.circuit", PAGER, "B1 -- B2")
    assert re.search(r"[0-9]+ V DC \([0-9]+ V to [0-9]+ V\)", said)


def test_values_kinds_rules_and_statements_are_explained(editor):
    editor.write("pager.circuit", PAGER)
    assert "1.35 kohm to 1.65 kohm" in editor.hover("pager.circuit", PAGER, "1.5k 1 W")
    assert "C5 capacitor film" in editor.hover("pager.circuit", PAGER, "capacitor .1 uF")
    assert "a person can touch" in editor.hover("pager.circuit", PAGER, "touchable")
    job = editor.text("pager.job")
    editor.write("pager.job", job)
    assert "Exchange a tube for its relative" in editor.hover("pager.job", job, "exchange-tube")
    assert "V3 pin" not in editor.hover("pager.job", job, "tube=V3")
    assert "35C5" in editor.hover("pager.job", job, "tube=V3", inside=5)


# names


def test_a_name_leads_to_its_definition(editor):
    editor.write("pager.circuit", PAGER)
    editor.write("pager.job", editor.text("pager.job"))
    assert _definition(editor, "pager.circuit", PAGER, "on R10", inside=3) == (
        "pager.circuit",
        "R10  pot",
    )
    assert _definition(editor, "pager.circuit", PAGER, "V3.4", inside=3) == (
        "pager.circuit",
        "4=H3, 5=",
    )
    job = editor.text("pager.job")
    assert _definition(editor, "pager.job", job, "tube=V3", inside=5) == (
        "pager.circuit",
        "V3   tub",
    )
    assert _definition(editor, "pager.job", job, "node=B2", inside=5)[0] == "pager.circuit"
    assert _definition(editor, "pager.job", job, "bplus")[0] == "supply.circuit"
    assert _definition(editor, "pager.job", job, "exchange-tube")[0] == "exchange-tube.rule"


def _definition(editor, name, text, word, inside=0) -> tuple[str, str]:
    at = editor.place(name, text, word, inside=inside)
    found = editor.wait(editor.client.text_document_definition_async(lsp.DefinitionParams(**at)))
    path = Path(found.uri.removeprefix("file://"))
    line = path.read_text().split("\n")[found.range.start.line]
    return path.name, line[found.range.start.character :][:8]


def test_references_are_found_in_all_files_of_a_job(editor):
    editor.write("pager.circuit", PAGER)
    at = editor.place("pager.circuit", PAGER, "B1 -- B2")
    found = editor.wait(
        editor.client.text_document_references_async(
            lsp.ReferenceParams(**at, context=lsp.ReferenceContext(include_declaration=True))
        )
    )
    names = [Path(one.uri).name for one in found]
    assert names.count("pager.circuit") == PAGER.count("B1 ") + PAGER.count("=B1")
    assert names.count("pager.job") == 2  # the port of the supply, and the bleeder


def test_a_node_is_renamed_through_all_files_and_the_job_still_runs(editor, tmp_path):
    from rework.rules.job_file import run_job_file

    editor.write("pager.circuit", PAGER)
    for word, name, new in (("B2 -- COMMON", "B2", "SCREENS"), ("V3   tube", "V3", "V30")):
        at = editor.place("pager.circuit", PAGER, word)
        answer = editor.wait(
            editor.client.text_document_rename_async(lsp.RenameParams(new_name=new, **at))
        )
        folder = tmp_path / new
        shutil.copytree(editor.folder, folder)
        for uri, edits in answer.changes.items():
            path = folder / Path(uri).name
            path.write_text(changed(path.read_text(), edits))
        assert {Path(uri).name for uri in answer.changes} == {"pager.circuit", "pager.job"}
        now = run_job_file(str(folder / "pager.job"))
        assert now.done
        assert name not in {*now.after.by_name, *now.after.at}


def test_a_name_that_is_taken_is_refused(editor):
    editor.write("pager.circuit", PAGER)
    at = editor.place("pager.circuit", PAGER, "B1 -- B2")
    for name, why in (
        ("B2", "a node B2 already"),
        ("1B", "begins with a letter"),
        ("join", "a word"),
    ):
        with pytest.raises(JsonRpcException, match=why):
            editor.wait(
                editor.client.text_document_rename_async(lsp.RenameParams(new_name=name, **at))
            )


def test_a_part_behind_a_number_sign_is_renamed_too(editor):
    text = (
        "V1 tube 12AT6 : grid=G1, unused 2 3 4 5 6 7\nblank G1\n# R1 resistor 1k : G1 -- COMMON\n"
    )
    editor.write("new.circuit", text)
    at = editor.place("new.circuit", text, "G1")
    answer = editor.wait(
        editor.client.text_document_rename_async(lsp.RenameParams(new_name="IN", **at))
    )
    (edits,) = answer.changes.values()
    assert changed(text, edits) == text.replace("G1", "IN")


# the shape of a file


def test_formatting_is_tidy(editor):
    text = PAGER.replace("R12  resistor", "R12       resistor")
    editor.write("pager.circuit", text)
    (edit,) = editor.wait(
        editor.client.text_document_formatting_async(
            lsp.DocumentFormattingParams(
                editor.document("pager.circuit"), lsp.FormattingOptions(4, True)
            )
        )
    )
    assert changed(text, [edit]) == tidy(text, "x")[0]


LOOSE_RULE = """rule a
 says "x"
 why  "y"
 sure "bookkeeping"
 for each
  ?C resistor:?a--?b
 then
  remove ?C
"""


@pytest.mark.parametrize(
    ("name", "text", "even"),
    [
        ("loose.job", 'circuit   "pager.circuit"\napply a:b = 1\n', "apply a : b=1\n"),
        ("loose.rule", LOOSE_RULE, "\n    ?C  resistor : ?a -- ?b\n"),
    ],
)
def test_a_job_and_a_rule_are_formatted_too(editor, name, text, even):
    editor.write(name, text)
    edits = editor.wait(
        editor.client.text_document_formatting_async(
            lsp.DocumentFormattingParams(editor.document(name), lsp.FormattingOptions(4, True))
        )
    )
    assert changed(text, edits) == tidied(text, name)[0]
    assert even in changed(text, edits)


def test_sections_fold(editor):
    editor.write("pager.circuit", PAGER)
    found = editor.wait(
        editor.client.text_document_folding_range_async(
            lsp.FoldingRangeParams(editor.document("pager.circuit"))
        )
    )
    lines = PAGER.split("\n")
    first = {lines[one.start_line] for one in found}
    assert {"# the line", "# triode stage", "# output stage"} <= first
    assert all(one.end_line > one.start_line for one in found)


def test_words_have_their_colours(editor):
    text = 'R1  resistor 4k7 "Ω µ"  : A.1 -- B  # x\nV1 tube 12AX7 : 7=A, unused 1\n'
    editor.write("new.circuit", text)
    data = editor.wait(
        editor.client.text_document_semantic_tokens_full_async(
            lsp.SemanticTokensParams(editor.document("new.circuit"))
        )
    ).data
    lines, line, start, shown = text.split("\n"), 0, 0, []
    for row, column, length, kind, _ in zip(*[iter(data)] * 5, strict=True):
        line, start = line + row, column if row else start + column
        shown.append((lines[line][start : start + length], LEGEND[kind]))
    assert shown == [
        ("R1", "class"),
        ("resistor", "type"),
        ("4k7", "number"),
        ('"Ω µ"', "string"),
        ("A", "class"),
        ("1", "property"),
        ("B", "variable"),
        ("# x", "comment"),
        ("V1", "class"),
        ("tube", "type"),
        ("12AX7", "macro"),
        ("7", "property"),
        ("A", "variable"),
        ("unused", "keyword"),
        ("1", "property"),
    ]
