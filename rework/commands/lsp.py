"""``rework lsp``: the language server of an editor, on standard input and output."""

from __future__ import annotations

import argparse
import sys

from rework.circuit.place import Problem
from rework.language.files import Refusal

EXAMPLE = "rework lsp    (an editor starts it; you need not)"

_SETUP = """
While you type a circuit, job or rule: problems, completion, what is known of a tube or node, go to
definition, references, renaming through all files of a job, remedies, tidying, folding, colours.
It needs no network. Set up your editor once:

Neovim 0.11 or newer, in init.lua:
  vim.filetype.add({ extension = { circuit = "rework", job = "rework", rule = "rework" } })
  vim.lsp.config("rework", { cmd = { "rework", "lsp" }, filetypes = { "rework" } })
  vim.lsp.enable("rework")

Emacs 29 or newer, in init.el:
  (define-derived-mode rework-mode prog-mode "Rework" (setq-local comment-start "# "))
  (add-to-list 'auto-mode-alist '("\\\\.\\\\(circuit\\\\|job\\\\|rule\\\\)\\\\'" . rework-mode))
  (with-eval-after-load 'eglot
    (add-to-list 'eglot-server-programs '(rework-mode "rework" "lsp")))
  (add-hook 'rework-mode-hook 'eglot-ensure)

Kate, in Settings > Configure Kate > LSP Client > User Server Settings:
  {"servers": {"rework": {"command": ["rework", "lsp"], "highlightingModeRegex": "^Rework$"}}}

Other editors: the command is rework lsp, for files *.circuit, *.job and *.rule.
For colours without a server: rework lsp --textmate > rework.tmLanguage.json
"""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.description = (parser.description or "") + "\n" + _SETUP
    parser.add_argument(
        "--textmate", action="store_true", help="print the TextMate grammar of the files"
    )


def run(asked: argparse.Namespace) -> int:
    """Serve one editor until it ends, or print the TextMate grammar."""
    if asked.textmate:
        from rework.lsp.textmate import grammar

        sys.stdout.write(grammar())
        return 0
    try:
        from rework.lsp.server import serve
    except ModuleNotFoundError as error:
        raise Refusal(
            Problem(
                f"the library {str(error.name).split('.')[0]} is not installed",
                hint="install rework again: pip install .",
            )
        ) from error
    serve()
    return 0
