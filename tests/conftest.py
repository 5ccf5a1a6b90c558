"""What all tests share: a record of their own, and one browser and one running course for the tests that need them."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator

import pytest
from browser import FLAGS, WAIT, Course, chromium, running_course, stays_here
from playwright.sync_api import Browser, Page, expect, sync_playwright

from toolkit import compiled
from toolkit.front import engine

REQUIRED = os.environ.get("COURSE_BROWSER") == "required"
RECORD = "GUARDED_PRESSURE_DATA"
_record_folder = pytest.StashKey[str]()
_record_before = pytest.StashKey[str | None]()
_browser_tests = pytest.StashKey[list[str]]()


def pytest_configure(config: pytest.Config) -> None:
    # Here and not in a fixture: the kernels of lessons that run as tests inherit it, and no fixture reaches those.
    config.stash[_record_before] = os.environ.get(RECORD)
    config.stash[_record_folder] = os.environ[RECORD] = tempfile.mkdtemp(prefix="record-of-tests-")
    config.stash[_browser_tests] = []
    config.pluginmanager.register(_BrowserCount(config))
    # Made before the tests, so that all of them, kernels and servers run what a learner's machine runs; in the user's
    # own cache, since some tests move the folder that the cache is found by.
    path = compiled.code_path()
    if path is not None:
        os.environ[compiled.FOLDER] = str(path.parent)
    if not hasattr(config, "workerinput") and not engine.make():
        raise pytest.UsageError("The engine's machine code could not be made: python -m toolkit.front.engine")


def pytest_unconfigure(config: pytest.Config) -> None:
    before = config.stash[_record_before]
    if before is None:
        del os.environ[RECORD]
    else:
        os.environ[RECORD] = before
    shutil.rmtree(config.stash[_record_folder], ignore_errors=True)


class _BrowserCount:
    """Where a browser is required, a run without a single browser test is not a good run."""

    def __init__(self, config: pytest.Config) -> None:
        self.ran = config.stash[_browser_tests]

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call" and not report.skipped and "browser" in report.keywords:
            self.ran.append(report.nodeid)

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        # Where the tests are shared out, who shares them out hears of all of them.
        if hasattr(session.config, "workerinput"):
            return
        if REQUIRED and not self.ran and not session.config.option.collectonly:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        if REQUIRED and not self.ran:
            terminalreporter.write_line("COURSE_BROWSER=required, but no browser test was executed.", red=True)


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """The system's Chromium; without one, browser tests are skipped, or fail where it is required."""
    path = chromium()
    if path is None:
        (pytest.fail if REQUIRED else pytest.skip)("no Chromium on this machine: install it to run the browser tests")
    return path


@pytest.fixture(scope="session")
def course(
    chromium_path: str,  # noqa: ARG001  (without a browser there is no need for a server)
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Course]:
    """One course for all browser tests, with the lessons of this checkout."""
    with running_course(tmp_path_factory.mktemp("home")) as running:
        yield running


# Per module, since the driver keeps an event loop running: a test elsewhere could not start its own meanwhile.
@pytest.fixture(scope="module")
def chromium_browser(chromium_path: str) -> Iterator[Browser]:
    """A browser for one module's tests."""
    expect.set_options(timeout=WAIT)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium_path, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def script_errors() -> list[str]:
    """What went wrong in the page's scripts so far; a test that causes such errors takes them out itself."""
    return []


@pytest.fixture
def page(chromium_browser: Browser, script_errors: list[str]) -> Iterator[Page]:
    """An empty page in a fresh browser profile.

    At its end no request may have left this machine, and no script may have failed.
    """
    context = chromium_browser.new_context(viewport={"width": 1280, "height": 720})
    context.set_default_timeout(WAIT)
    asked: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    context.on("weberror", lambda error: script_errors.append(str(error.error)))
    page = context.new_page()
    page.on("websocket", lambda socket: asked.append(socket.url))
    yield page
    context.close()
    assert not [address for address in asked if not stays_here(address)]
    assert not script_errors
