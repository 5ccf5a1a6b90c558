"""Asks a kit for a page, a class's door and a verdict, and prints what came of it as JSON; started by test_kit.

It runs in a network of its own that has nothing but loopback, where the tests themselves could not reach the course;
Python alone, no library.
"""

import contextlib
import json
import re
import signal
import socket
import struct
import subprocess
import sys
import threading
import urllib.request

PATIENCE = 120
# <linux/sockios.h>, <linux/if.h>
SET_FLAGS, UP = 0x8914, 0x1


def loopback_up():
    """Switch loopback on; in a new network it is off."""
    import fcntl

    with socket.socket() as any_one:
        fcntl.ioctl(any_one, SET_FLAGS, struct.pack("16sh14x", b"lo", UP))


def answered(address):
    """Status and text of a page; a proxy that the environment names is not asked for this machine."""
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    with opener.open(address, timeout=PATIENCE) as page:
        return page.status, page.read().decode("utf-8", "replace")


def started(kit, script, *words):
    """Start, ask for the page at the address that it prints, end it: (what it said, status, page, exit code)."""
    command = ["sh", f"{kit}/{script}", *words]
    with subprocess.Popen(command, cwd="/", stdout=subprocess.PIPE, text=True) as running:
        alarm = threading.Timer(PATIENCE, running.kill)  # one that hangs must end as a failed test
        alarm.start()
        said, page = "", (0, "")
        with contextlib.suppress(StopIteration):
            while "Ctrl-C" not in said:
                said += next(running.stdout)
            page = answered(re.search(r"http://\S+", said)[0])
        running.send_signal(signal.SIGTERM)
        running.communicate()
        alarm.cancel()
    return said, *page, running.returncode


def main(kit, cut, room):
    """What came of all three."""
    if cut == "cut":
        loopback_up()
    words = ["sh", f"{kit}/start.sh", "check", "house_service"]
    verdict = subprocess.run(words, cwd="/", capture_output=True, text=True, check=False)
    known = {
        "networks": [name for _, name in socket.if_nameindex()],
        "check": [verdict.returncode, verdict.stdout, verdict.stderr],
        "lesson": started(kit, "start.sh", "--no-browser"),
        "class": started(kit, "start-class.sh", "--folder", room),
    }
    print(json.dumps(known))


if __name__ == "__main__":
    main(*sys.argv[1:])
