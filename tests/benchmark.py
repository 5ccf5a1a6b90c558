"""How fast the course is, in figures and ratios from one run. Not a test: `uv run python tests/benchmark.py`.

Parts, each by name on the command line, all by default:

    engine    ten-minute scenarios through simulate(), against scipy's LSODA at equal accuracy
    layers    the same for every layer and fault of layered.py, all layers together apart
    scale     1, 100 and 10 000 scenarios, here and on 1 and 2 workers: cost of each
    panel     what a slider's key press costs in the kernel, for every lesson
    browser   key press to painted picture in a real browser, against the `interact` way; cold start of the course
"""

from __future__ import annotations

import contextlib
import math
import os
import re
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from toolkit.scenario import Scenario

sys.path.insert(0, str(Path(__file__).parent))


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Median processor time of a piece of work, s: what others do on the machine counts least in it."""
    taken = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


# More evaluations in a stretch than this is LSODA chattering at a tolerance that is too loose for it.
MOST = 100_000


def against_lsoda(scenarios: dict[str, Scenario]) -> dict[str, tuple[float, float]]:
    """Seconds of ours and of LSODA at the loosest tolerance that is at least as near to rtol 1e-9, by name.

    Compared are the gauge pressures of every volume at the end of each stretch that has settled, and their peaks,
    relative to the value plus 100 Pa.
    """
    from itertools import pairwise

    import numpy as np
    from stiff import reference

    from toolkit.simulation import settled_state, simulate

    def from_nothing(scenario):
        settled_state.cache_clear()  # the reference finds its start anew each time, too
        return simulate(scenario)

    found = {}
    for name, scenario in scenarios.items():
        ends = [b - 1e-6 for a, b in pairwise(scenario.moments()) if b - a > 15.0]
        volumes, pa = [v.name for v in scenario.station.volumes], scenario.station.atmosphere

        def told(times, gauges, ends=ends):
            return np.concatenate([[*np.interp(ends, times, g), g.max()] for g in gauges])

        def by_lsoda(rtol, points, scenario=scenario, volumes=volumes, pa=pa, told=told):
            run = reference(scenario, rtol=rtol, points=points, most=MOST)
            return told(run.times, [run.held[:, run.net.places[v]] - pa for v in volumes])

        exact = by_lsoda(1e-9, 400)

        def off(values, exact=exact):
            return float(np.max(np.abs(values - exact) / (np.abs(exact) + 100.0)))

        trace = simulate(scenario)
        error = off(told(trace.times, [trace[f"{v}_gauge_pressure"] for v in volumes]))
        for rtol in (1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7):
            try:
                other = off(by_lsoda(rtol, 60))
            # too many steps, or a trip that its own loose curve does not show a second time
            except (AssertionError, ValueError):
                continue
            if other <= max(error, 1e-3):
                break
        ours = seconds(lambda s=scenario: from_nothing(s), 9)
        theirs = seconds(lambda s=scenario, r=rtol: reference(s, rtol=r, points=2), 3)
        found[name] = ours, theirs
        print(
            f"  {name:44s} {ours * 1e3:6.1f} ms  {trace.steps:4d}  {theirs * 1e3:7.1f} ms (rtol {rtol:.0e})"
            f"  x{theirs / ours:5.1f}   {error:.1e} / {other:.1e}"
        )
    return found


def told_in_short(title: str, found: dict[str, tuple[float, float]]) -> None:
    """Median and worst of ours, median and least of the ratio."""
    ours, ratios = [o for o, _ in found.values()], [t / o for o, t in found.values()]
    print(
        f"  {title}: median {statistics.median(ours) * 1e3:.1f} ms, worst {max(ours) * 1e3:.1f} ms; "
        f"ratio median x{statistics.median(ratios):.1f}, least x{min(ratios):.1f}"
    )


def engine() -> None:
    """simulate() against LSODA: one regulator, ten minutes."""
    from test_stiff import DAY, FAULTS

    from toolkit.scenario import Scenario

    print("engine: 600 s scenarios; ours, steps, LSODA at equal accuracy, ratio, error of either against rtol 1e-9")
    told_in_short("all", against_lsoda({name: Scenario(demands=DAY, faults=faults) for name, faults in FAULTS.items()}))


def layers() -> None:
    """simulate() against LSODA: every layer and fault."""
    from layered import CYCLES, HUNTS, SCENARIOS

    print("layers: ours, steps, LSODA at equal accuracy, ratio, error of either against rtol 1e-9")
    found = against_lsoda({k: s for k, s in SCENARIOS.items() if k not in (*CYCLES, *HUNTS)})
    told_in_short("all", found)
    told_in_short("all layers together", {k: v for k, v in found.items() if k.startswith("everything")})


def ends_at(scenario: Scenario) -> float:
    """What a worker sends back [Pa]."""
    from toolkit.simulation import simulate

    return simulate(scenario).settled("outlet_gauge_pressure")


def scale() -> None:
    """Cost of a scenario by how many there are; wall time, since workers have processors of their own."""
    from concurrent.futures import ProcessPoolExecutor

    import numpy as np

    from toolkit.ensemble import ensemble
    from toolkit.faults import NickedSeat
    from toolkit.scenario import Demand, Scenario

    def many(count):
        """The same night with leaks of another size each: no two alike."""
        return [
            Scenario(
                demands=(Demand(0, 0.5), Demand(20, 0.0)),
                faults=(NickedSeat(devices="regulator", leak_area=float(area)),),
                duration=120.0,
            )
            for area in np.geomspace(1e-10, 1e-7, count)
        ]

    print("scale: milliseconds a scenario")
    for workers in (0, 1, 2):
        row = []
        for count in (1, 100, 10_000):
            scenarios = many(count)
            if workers:
                with ProcessPoolExecutor(workers) as pool:
                    ensemble(many(2 * workers), pool, ends_at)  # the workers have started and imported
                    start = time.perf_counter()
                    ensemble(scenarios, pool, ends_at)
                    taken = time.perf_counter() - start
            else:
                start = time.perf_counter()
                ensemble(scenarios, work=ends_at)
                taken = time.perf_counter() - start
            row.append(f"{count:6d}: {1e3 * taken / count:6.2f} ms")
        print(f"  {'here' if not workers else f'{workers} worker' + 's' * (workers > 1):10s} " + "  ".join(row))


def panel() -> None:
    """A slider's key press in the kernel: from the new value to pictures and words ready to send."""
    from toolkit.panels import LESSONS, bench
    from toolkit.panels.bench import run
    from toolkit.panels.controls import SliderRow

    print("panel: processor time in the kernel for one press of an arrow key, median of 20, every slider")
    for lesson in LESSONS:
        opened = bench(lesson)
        opened.choose(0)
        opened.open_bench()
        for key, row in opened.panel.rows.items():
            if isinstance(row, SliderRow):
                way = iter([1, -1] * 20)

                def press(row=row, way=way):
                    run.cache_clear()  # as if no run of these settings had been made
                    row.press(next(way))

                print(f"  {lesson} {key:12s} {seconds(press, 20) * 1e3:6.1f} ms")


# A bench as `interact` and pyplot make it: the same drawing, chart with its marks and events, ladder, gauges, words;
# the figure is made anew at each move and shown by the notebook's own backend.
INTERACT = """
%matplotlib inline
import ipywidgets, matplotlib.pyplot as plt
from IPython.display import SVG, display
from toolkit.panels.lesson_{lesson} import BENCH

def show(debris):
    shown = BENCH.show(BENCH.start("us") | {{"debris": debris * 0.0254}})
    spec, chart = shown.spec, shown.chart
    two = bool(shown.ladder)
    figure, both = plt.subplots(1, 1 + two, figsize=(6.25 + 3.5 * two, 3.75), squeeze=False)
    axes = both[0][0]
    for line in chart.lines:
        axes.plot(line.times, line.values, label=line.label)
    for mark in chart.marks:
        axes.axhline(mark.value, linestyle="--", label=mark.label)
    for event in chart.events:
        axes.axvline(event.time, linestyle=":")
        axes.annotate(event.label, (event.time, spec.y_range[1]), rotation=30)
    axes.axvline(chart.moment, color="black")
    axes.set(xlim=spec.x_range, ylim=spec.y_range, xlabel=f"{{spec.x_name}} ({{spec.x_unit}})")
    axes.set_ylabel(f"{{spec.y_name}} ({{spec.y_unit}})")
    axes.grid()
    axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5))
    if shown.ladder:
        ladder = both[0][1]
        ladder.set(xlim=(0, 1), ylim=spec.y_range, title="Ladder")
        for mark in chart.marks:
            ladder.axhspan(mark.value - 0.3, mark.value + 0.3, alpha=0.2)
            ladder.axhline(mark.value)
            ladder.annotate(f"{{mark.label}} {{mark.value:.1f}}", (0.1, mark.value))
        figure.tight_layout()
    display(SVG(shown.drawing))
    plt.show()
    for name, text in shown.readouts:
        print(name, text)
    print(shown.sentence)

ipywidgets.interact(show, debris=ipywidgets.FloatSlider(min=0, max=0.046, step=0.002, value=0.01));
"""

# Runs in the page: time from each arrow key to the chart's next picture, painted (and decoded, where it is of pixels).
# Nothing in the page waits by asking again and again: that alone would keep it busy.
STOPWATCH = """
() => {
  window.taken = [];
  let pressed = 0;
  document.addEventListener("keydown", () => { pressed = performance.now(); }, true);
  const latest = () => [...document.querySelectorAll(".gp-panel svg.gp-chart, img[src^='data:image/png']")]
    .filter(one => one.getBoundingClientRect().width > 300).pop();
  const shown = picture => picture && (picture.src || picture.innerHTML);
  let before = shown(latest());
  new MutationObserver(async () => {
    const picture = latest();
    if (!picture || !pressed || shown(picture) === before) return;
    before = shown(picture);
    const from = pressed;
    pressed = 0;
    if (picture.decode) await picture.decode();
    // a message posted from a frame's callback comes in when that frame has been painted
    const painted = new MessageChannel();
    painted.port1.onmessage = () => {
      window.taken.push(performance.now() - from);
      if (window.told) window.told();
    };
    requestAnimationFrame(() => painted.port2.postMessage(0));
  }).observe(document.body, {subtree: true, childList: true, attributes: true, attributeFilter: ["src"]});
}
"""
# Before a press: what is waited for after it, which is the next picture and a breath, or 5 s without any.
AWAIT = """
breath => {
  window.waited = new Promise(done => {
    const enough = setTimeout(done, 5000);
    window.told = () => { clearTimeout(enough); setTimeout(done, breath); };
  });
}
"""
# A hand's press comes at any moment of a frame of the screen. With the same breath after each picture all presses came
# at one and the same moment of it, and every answer was rounded up to the same whole frame.
BREATH, FRAME = 60.0, 1000 / 60  # ms
GOLDEN = (math.sqrt(5) - 1) / 2  # its multiples spread evenly over a frame


def pressed(page: Any, handle: Any, words: str) -> float:
    """Press an arrow key on a slider 40 times, to and fro; print median and 95 % from key down to painted picture.

    Gives the median [ms]. A press that changes no pixel of the picture has none painted and is not counted.
    """
    handle.focus()
    page.evaluate(STOPWATCH)
    ways = ["ArrowRight", "ArrowLeft"]
    if handle.get_attribute("aria-valuenow") == handle.get_attribute("aria-valuemax"):
        ways.reverse()
    for count in range(40):
        page.evaluate(AWAIT, BREATH + FRAME * (GOLDEN * count % 1))
        page.keyboard.press(ways[count % 2])
        page.evaluate("window.waited")
    if len(page.evaluate("window.taken")) < 10:
        print(f"  {words}does not change the picture")
        return 0.0
    taken = sorted(page.evaluate("window.taken")[5:])
    print(
        f"  {words}key press to painted picture: median {statistics.median(taken):.0f} ms,"
        f" 95 % under {taken[int(0.95 * len(taken))]:.0f} ms",
        flush=True,
    )
    return statistics.median(taken)


def lessons() -> None:
    """Key press to painted picture on the bench of every lesson, with its own notebook: its first two sliders."""
    import tempfile

    from browser import FLAGS, chromium, lesson, running_course
    from playwright.sync_api import sync_playwright

    from toolkit.course import LESSONS

    print("lessons: the first two sliders of each bench, as the lesson opens")
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as driver:
        chrome = driver.chromium.launch(executable_path=chromium(), args=list(FLAGS))
        with running_course(Path(scratch, "home")) as course:
            for one in LESSONS:
                page = chrome.new_page(viewport={"width": 1280, "height": 900})
                page.set_default_timeout(60_000)
                lesson(page, course, one.file)
                page.locator(".gp-predict input[type=radio]").first.check()
                page.get_by_role("button", name="Open the bench").click()
                page.locator("svg.gp-chart").wait_for()
                handles = page.locator(".gp-bank .noUi-handle")
                for number in range(2):
                    handle = handles.nth(number)
                    pressed(page, handle, f"{one.number} {str(handle.get_attribute('aria-label'))[:40]:40s} ")
                page.close()
        chrome.close()


@contextlib.contextmanager
def plain_jupyterlab(home: Path, notebooks: Path) -> Iterator[str]:
    """JupyterLab as it comes, in a home of its own and asking nothing from outside: its address with its token."""
    import secrets
    import socket
    import urllib.request

    from browser import made_engine

    home.mkdir()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    token = secrets.token_hex(16)
    settings = {
        "ServerApp.ip": "127.0.0.1",
        "ServerApp.port": port,
        "ServerApp.port_retries": 0,
        "ServerApp.root_dir": notebooks,
        "ServerApp.open_browser": False,
        "ServerApp.allow_root": True,
        "IdentityProvider.token": token,
        "LabApp.news_url": "None",
        "LabApp.check_for_updates_class": "jupyterlab.NeverCheckForUpdate",
        "LabApp.expose_app_in_browser": True,
    }
    command = [sys.executable, "-m", "jupyterlab", *(f"--{key}={value}" for key, value in settings.items())]
    environment = (
        os.environ | made_engine() | {"HOME": str(home), "JUPYTER_NO_CONFIG": "1", "IPYTHONDIR": str(home / "ipython")}
    )
    with subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL) as server:
        try:
            until = time.monotonic() + 60
            while True:
                try:
                    urllib.request.urlopen(f"http://127.0.0.1:{port}/api", timeout=5).close()
                    break
                except OSError:
                    assert time.monotonic() < until, "JupyterLab did not start"
                    time.sleep(0.2)
            yield f"http://127.0.0.1:{port}/lab/tree/{{}}?reset&token={token}"
        finally:
            server.terminate()


def browser() -> None:
    """Cold start, and key press to painted picture: two benches against `interact` with the same run.

    A regulator by itself (lesson 03), and a station with its ladder (lesson 05). `interact` in JupyterLab as it comes,
    and once more with the course's own settings of the page.
    """
    import tempfile

    import nbformat
    from browser import FLAGS, chromium, lesson, running_course
    from nbformat.v4 import new_code_cell, new_notebook
    from playwright.sync_api import sync_playwright

    def book(number: str, *sources: str):
        about = {"kernelspec": {"name": "python3", "display_name": "Python 3"}, "guarded_pressure": {"lesson": number}}
        return new_notebook(cells=[new_code_cell(source) for source in sources], metadata=about)

    def moved(page: Any, slider: Any, words: str) -> float:
        page.locator("svg.gp-chart, img[src^='data:image/png']").last.wait_for()
        return pressed(page, slider, f"{words:44s} ")

    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as driver:
        lessons = Path(scratch, "lessons")
        lessons.mkdir()
        first, *_ = names = {"03": "00_start_here.ipynb", "05": "05_bench.ipynb"}
        for number, name in names.items():
            cell = f"from toolkit.panels import bench\nbench('{number}')"
            nbformat.write(book(number, cell), lessons / name)
            nbformat.write(book("99", INTERACT.format(lesson=number)), lessons / f"interact_{number}.ipynb")
        chrome = driver.chromium.launch(executable_path=chromium(), args=list(FLAGS))

        def new_page() -> Any:
            page = chrome.new_page(viewport={"width": 1280, "height": 900})
            page.set_default_timeout(60_000)
            return page

        ours, dressed, plain = {}, {}, {}
        start = time.perf_counter()
        with running_course(Path(scratch, "home"), lessons) as course:
            page = new_page()
            for number, name in names.items():
                lesson(page, course, name)
                if number == first:
                    print(f"browser: from the command to a usable lesson {time.perf_counter() - start:.1f} s")
                page.get_by_role("radio").first.check()
                page.get_by_role("button", name="Open the bench").click()
                slider = page.get_by_role("slider", name=re.compile("^Debris on"))
                ours[number] = moved(page, slider, f"{number} the bench")
                lesson(page, course, f"interact_{number}.ipynb")
                slider = page.locator(".noUi-handle").first
                dressed[number] = moved(page, slider, f"{number} interact, on the course's page")
            page.close()
        with plain_jupyterlab(Path(scratch, "plain"), lessons) as address:
            for number in names:
                page = new_page()
                page.goto(address.format(f"interact_{number}.ipynb"))
                page.wait_for_function("window.jupyterapp?.shell.currentWidget?.context?.isReady")
                page.evaluate(
                    """async () => { await jupyterapp.shell.currentWidget.sessionContext.ready;
                        await jupyterapp.commands.execute("notebook:run-all-cells"); }"""
                )
                slider = page.locator(".noUi-handle").first
                plain[number] = moved(page, slider, f"{number} interact, JupyterLab as it comes")
                page.close()
        for number, median in ours.items():
            same = dressed[number] / median
            print(f"  {number} ratio of the medians x{plain[number] / median:.1f}, x{same:.1f} on the same page")
        chrome.close()


PARTS = {
    "engine": engine,
    "layers": layers,
    "scale": scale,
    "panel": panel,
    "browser": browser,
    "lessons": lessons,
}

if __name__ == "__main__":
    for part in sys.argv[1:] or PARTS:
        PARTS[part]()
