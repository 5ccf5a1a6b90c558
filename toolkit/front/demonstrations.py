"""`course demonstrations`: what each hidden fault of the instructor's board is."""

from __future__ import annotations

import argparse

from toolkit.front.terminal import say
from toolkit.panels.demonstration import key_text


def run(_asked: argparse.Namespace) -> None:
    """Print a line for each number."""
    say(f"{key_text()}\n")
