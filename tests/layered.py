"""Stations with every protection layer, alone and together, for the tests and the benchmark. Invented sizes."""

from dataclasses import replace

from toolkit.actions import AdjustSetPoint, Purge, Reset, TurnValve
from toolkit.devices.line import Load, Pipe, SensingLine, Supply
from toolkit.devices.pressure_switch import PressureSwitch
from toolkit.devices.regulator import Regulator, SecondSeat
from toolkit.devices.relief_valve import ReliefValve
from toolkit.devices.slam_shut import SlamShut
from toolkit.faults import (
    BlockedRelief,
    BlockedSensingLine,
    BlockedVent,
    BrokenSensingLine,
    Debris,
    DirtyReliefSeat,
    FouledSecondSeat,
    Ice,
    Leak,
    NickedSeat,
    PluggedFilter,
    StuckShutoff,
    StuckStem,
    SupplyChange,
    TornDiaphragm,
    TripShift,
    Warmed,
    WeakMainSpring,
    WrongDeadband,
    WrongOrifice,
    WrongSetting,
)
from toolkit.scenario import Demand, Scenario, Station, Volume
from toolkit.units import IN_WC, PSI

R = Regulator()
PLAIN = replace(R, relief=None)
LINE = 5e-3
# On 5 litres a monitor that holds the pressure through a worker stuck open hunts at 32 Hz (test_stability.py).
LONGER_LINE = 2e-2

UPSTREAM, INLET, OUTLET = Volume("upstream", 4e-3), Volume("inlet", 2e-3), Volume("outlet", LINE)


def with_relief_valve(**valve) -> Station:
    return Station(regulators=(PLAIN,), relief_valves=(ReliefValve(**valve),))


def with_slam_shut(regulator=PLAIN, **shut) -> Station:
    return Station(
        supply=Supply(into="upstream"),
        slam_shuts=(SlamShut(**shut),),
        regulators=(regulator,),
        volumes=(UPSTREAM, INLET, OUTLET),
    )


def with_second_seat(**seat) -> Station:
    return Station(regulators=(replace(PLAIN, second_seat=SecondSeat(**seat)),))


def with_switch(**switch) -> Station:
    return Station(regulators=(R,), switches=(PressureSwitch(**switch),))


def monitored(
    above=4 * IN_WC, lines=True, shared=False, outlet=LONGER_LINE, interstage=3e-4, first="monitor"
) -> Station:
    """Worker and monitor in series, sensing the outlet: each by a line of its own, by one line for both, or directly.

    `first` stands upstream: a wide-open monitor, or the worker with the monitor after it.
    """
    second = "worker" if first == "monitor" else "monitor"
    taps = {name: ("one_line" if shared else f"{name}_line") if lines else "outlet" for name in (first, second)}
    sets = {"worker": R.set_gauge_pressure, "monitor": R.set_gauge_pressure + above}
    one = replace(PLAIN, name=first, outlet="interstage", senses=taps[first], set_gauge_pressure=sets[first])
    two = replace(PLAIN, name=second, inlet="interstage", senses=taps[second], set_gauge_pressure=sets[second])
    names = sorted({tap for tap in taps.values() if tap != "outlet"})
    return Station(
        regulators=(one, two),
        volumes=(INLET, Volume("interstage", interstage), Volume("outlet", outlet)),
        sensing_lines=tuple(SensingLine(name) for name in names),
    )


def slam_shut_after() -> Station:
    """The slam-shut behind the regulator, sensing what it guards."""
    return Station(
        regulators=(replace(PLAIN, outlet="before"),),
        slam_shuts=(SlamShut(inlet="before", outlet="outlet", reset_difference=4 * IN_WC),),
        volumes=(INLET, Volume("before", 1e-3), OUTLET),
    )


def two_stages() -> Station:
    """A district regulator to 10 psig, service regulators with internal reliefs to two houses."""
    first = replace(
        PLAIN,
        name="district",
        outlet="district_main",
        set_gauge_pressure=10 * PSI,
        orifice_diameter=0.0127,
        spring_rate=8e3,
        seat_stiffness=3e6,
    )
    service = replace(R, inlet="district_main", adjusted_at_inlet_gauge_pressure=10 * PSI)
    return Station(
        regulators=(first, *(replace(service, name=f"service_{n}", outlet=f"house_{n}") for n in (1, 2))),
        volumes=(INLET, Volume("district_main", 0.1), Volume("house_1", LINE), Volume("house_2", LINE)),
        loads=tuple(Load(f"load_{n}", at=f"house_{n}") for n in (1, 2)),
    )


def everything() -> Station:
    """All layers together: slam-shut, monitor, worker, relief valve, two switches, piping to a house."""
    base = monitored()
    return replace(
        base,
        supply=Supply(into="upstream"),
        slam_shuts=(SlamShut(high_gauge_pressure=24 * IN_WC, low_gauge_pressure=2 * IN_WC),),
        volumes=(UPSTREAM, *base.volumes, Volume("house", 3e-3)),
        pipes=(Pipe("house_pipe", "outlet", "house", 3e-4),),
        loads=(Load(at="house"),),
        relief_valves=(ReliefValve(set_gauge_pressure=18 * IN_WC, weeps_after_pop=1e-8),),
        switches=(
            PressureSwitch("alarm", high_gauge_pressure=14 * IN_WC),
            PressureSwitch(
                "burner_switch",
                senses="house",
                high_gauge_pressure=16 * IN_WC,
                low_gauge_pressure=3 * IN_WC,
                manual_reset=True,
                locks_out=("appliances",),
            ),
        ),
    )


DAY = (Demand(0, 1.0), Demand(60, 0.1), Demand(120, 0.0), Demand(240, 1.0))
NIGHT = (Demand(0, 0.3), Demand(20, 0.0))
EARLY = {"onset": 30.0, "ramp": 5.0}
W = "worker"
HARD = {"stiffness": 1e8}


def hard(device="regulator", height=4e-4, **when) -> Debris:
    return Debris(devices=device, height=height, **HARD, **(EARLY | when))


def day(station: Station, *faults, actions=(), demands=DAY, duration=300.0) -> Scenario:
    return Scenario(station, demands, faults, duration, actions)


# Those that swing without dying out: the engine damps what the stiff solver follows.
HUNTS = ("worker's line broken",)
# Shut-in gas keeps what a peak has left: settled only as exactly as peaks are.
KEEPS = (
    "relief valve weeps after its pop",
    "monitor, slow leak",
    "worker's line blocked",
    "slug through both",
    "relief valve set high",
    "slam-shut reset too soon, then in order",
    "everything, lines broken, relief isolated",
)
# Nothing settles: a switch and its burners, or a relief valve and the sun, come and go by turns.
CYCLES = ("switch on low gas comes and goes", "sun on a locked-in pipe")
# Every layer and every fault, alone and in the pairs that matter.
SCENARIOS = {
    "monitor, healthy": day(monitored()),
    "monitor takes over": day(monitored(), hard(W)),
    "working monitor takes over": day(monitored(first="worker"), hard(W)),
    "monitor, slow leak": day(monitored(), NickedSeat(devices=W, leak_area=2e-8, **EARLY)),
    "monitor, worker stuck open": day(monitored(), StuckStem(devices=W, **EARLY)),
    "monitor set too near": day(monitored(), WrongSetting(devices="monitor", by=-3.5 * IN_WC, **EARLY)),
    "monitor failed shut": day(monitored(), StuckStem(devices="monitor", lowest=0, highest=0, **EARLY)),
    "worker's line broken": day(monitored(), BrokenSensingLine(devices="worker_line", **EARLY)),
    "worker's line blocked": day(monitored(), BlockedSensingLine(devices="worker_line", **EARLY)),
    "worker's line throttled": day(monitored(), BlockedSensingLine(devices="worker_line", blocked_share=0.98, **EARLY)),
    "both on one broken line": day(
        monitored(shared=True), BrokenSensingLine(devices="one_line", **EARLY), demands=(Demand(0, 1.0),), duration=60
    ),
    "slug through both": day(monitored(), hard(("worker", "monitor"))),
    "ice holds the worker": day(monitored(), Ice(devices=W, held_open_share=0.3, vent_share=0.5, **EARLY)),
    "ice plugs the worker": day(monitored(), Ice(devices=W, plugged_share=0.97, **EARLY)),
    "diaphragm torn": day(monitored(), TornDiaphragm(devices=W, hole_area=2e-5, **EARLY)),
    "worker's spring broken": day(monitored(), WeakMainSpring(devices=W, left_share=0.5, **EARLY)),
    "wrong orifice": day(monitored(), WrongOrifice(devices=W, times=2.0, **EARLY)),
    "leak downstream": day(monitored(), Leak(devices="outlet", leak_area=8e-5, **EARLY)),
    "second seat acts": day(with_second_seat(), hard()),
    "second seat fouled": day(with_second_seat(), hard(), FouledSecondSeat(devices="regulator", leak_area=5e-8)),
    "relief valve lifts": day(with_relief_valve(), hard()),
    "relief valve weeps after its pop": day(
        with_relief_valve(weeps_after_pop=1e-7), hard(), actions=(TurnValve(device="supply", time=200, share=0.02),)
    ),
    "relief valve dirty": day(with_relief_valve(), DirtyReliefSeat(devices="relief_valve", leak_area=1e-6, **EARLY)),
    "relief valve isolated": day(with_relief_valve(), hard(), BlockedRelief(devices="relief_valve", **EARLY)),
    "relief valve throttled": day(
        with_relief_valve(), hard(), BlockedRelief(devices="relief_valve", blocked_share=0.95, highest_lift=0.5)
    ),
    "relief valve set high": day(with_relief_valve(), hard(), WrongSetting(devices="relief_valve", by=4000.0)),
    "slam-shut trips": day(with_slam_shut(), hard()),
    "slam-shut trips low": day(
        with_slam_shut(high_gauge_pressure=None, low_gauge_pressure=3 * IN_WC),
        SupplyChange(devices="supply", gauge_pressure=200.0, **EARLY),
    ),
    "slam-shut set too near": day(with_slam_shut(), TripShift(devices="slam_shut", high_by=-12.5 * IN_WC, **EARLY)),
    "slam-shut sticks half way": day(with_slam_shut(), hard(), StuckShutoff(devices="slam_shut", moves=0.9)),
    "slam-shut reset too soon, then in order": day(
        with_slam_shut(),
        hard(height=2e-4),
        actions=(
            Reset(device="slam_shut", time=60.0),
            TurnValve(device="supply", time=70.0, share=0.0),
            Purge(device="upstream", time=75.0, flow_area=1e-5),
            Purge(device="outlet", time=80.0, flow_area=1e-5),
            Purge(device="outlet", time=100.0, flow_area=0.0),
            Purge(device="upstream", time=100.0, flow_area=0.0),
            Reset(device="slam_shut", time=120.0),
            TurnValve(device="supply", time=130.0, share=1.0, stroke=30.0),
        ),
    ),
    "switch locks the burners out": day(
        with_switch(high_gauge_pressure=9 * IN_WC, locks_out="appliances"), hard(), demands=(Demand(0, 1.0),)
    ),
    "switch on low gas comes and goes": day(
        with_switch(high_gauge_pressure=None, low_gauge_pressure=4 * IN_WC, deadband=1 * IN_WC, locks_out="appliances"),
        PluggedFilter(devices="supply", blocked_share=0.9965, **EARLY),
        demands=(Demand(0, 1.0),),
        duration=60.0,
    ),
    "switch, wrong deadband": day(
        with_switch(high_gauge_pressure=7.5 * IN_WC), WrongDeadband(devices="pressure_switch", deadband=10.0)
    ),
    "switch trips the slam-shut": day(
        replace(with_slam_shut(high_gauge_pressure=40 * IN_WC), switches=(PressureSwitch(trips=("slam_shut",)),)),
        hard(),
    ),
    "blocked vent turns the relief": day(Station(), BlockedVent(devices="regulator"), hard()),
    "sun on a locked-in pipe": day(
        with_relief_valve(), Warmed(devices="outlet", times=1.08, onset=130.0, ramp=100.0), duration=240.0
    ),
    "set point raised in the run": day(
        with_relief_valve(), actions=(AdjustSetPoint(device="regulator", time=150.0, by=5 * IN_WC),)
    ),
    "slam-shut after the regulator": day(slam_shut_after(), hard()),
    "two stages, the first wide open": day(
        two_stages(),
        StuckStem(devices="district", **EARLY),
        demands=tuple(Demand(t, s, f"load_{n}") for n in (1, 2) for t, s in ((0, 1.0), (120, 0.0))),
    ),
    "everything, healthy": day(everything()),
    "everything, worker fouled": day(everything(), hard(W)),
    "everything, slug through both": day(everything(), hard(("worker", "monitor"))),
    "everything, lines broken, relief isolated": day(
        everything(),
        BrokenSensingLine(devices=("worker_line", "monitor_line"), **EARLY),
        BlockedRelief(devices="relief_valve"),
    ),
}
