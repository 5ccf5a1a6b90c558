"""What a command says: on stdout, wherever that leads."""

from __future__ import annotations

import io
import os
import sys

from toolkit.errors import LaunchError


def say(text: str) -> None:
    """Write to stdout; whoever reads may stop early, and a sign that the terminal lacks becomes a question mark.

    Raises LaunchError where it cannot be written, as to a file on a full disk.
    """
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")
    try:
        print(text, end="", flush=True)
    except OSError as refused:
        # Or the interpreter would try to flush again as it ends, and complain.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if not isinstance(refused, BrokenPipeError):
            raise LaunchError(
                f"What there is to say cannot be written out ({refused.strerror}): "
                "send it to the terminal, or to a file that there is room for."
            ) from None


def say_open(where: str) -> None:
    """Say that the course is open at an address."""
    say(f"The course is open at {where} - press Ctrl-C here to end it.\n")
