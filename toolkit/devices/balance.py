"""Where the diaphragm and the disk of a regulator stand: the force balance, solved in closed form.

Symbols, in the order of the forces (all at the diaphragm; travel z counts downwards, away from the vent):

    D(z) = (ps - q / (V + A z)) A (1 + e z) kept - F0 + Ks z      what the diaphragm pushes up with
    F    = ((p1 - p2) Au + contact(x)) / L                        what the disk resists with through the lever
    contact(x) = kseat max(0, xc - x) + kd max(0, hd - x)         soft seat and debris

The gas in the case, q = pv V, is held by the vent for the moment, so it acts as an air spring. While the relief spring
holds (F <= Fr0) diaphragm and stem move as one, z = L x. Above that the relief lifts by y with F = Fr0 + Kr y and
z = L x - y: the relief spring caps the force that can press the disk onto its seat. D rises with z and F falls, so
there is one solution; on each piece between two kinks it is the root of a quadratic.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

from toolkit.compiled import compiled, reader
from toolkit.flow import series

# A seat and a relief pad do not seal at a point: the last gap fades out over this height [m]. A seat that rests
# exactly at its corner is where every lock-up ends, and a sharp corner there makes an implicit step chatter. It moves
# lock-up by less than 0.001 in. w.c.
SEAT_FADES, PAD_FADES = 3e-8, 1e-6


@compiled
def _fade(gap: float, over: float) -> float:
    """max(0, gap) with its corner rounded between -over and over."""
    if gap >= over:
        return gap
    return 0.0 if gap <= -over else (gap + over) ** 2 / (4.0 * over)


class RegulatorCondition(NamedTuple):
    """A regulator's effective numbers at one moment, faults included: SI floats, linear in time while faults ramp.

    Where:
        F0 (c.preload): force of the main spring with the disk on the seat [N]
        Ks (c.rate): rate of the main spring [N/m]
        L (c.lever): travel of the diaphragm over travel of the disk
        A (c.area): effective area of the diaphragm, disk on the seat [m²]
        e (c.growth): growth of that area by travel of the diaphragm, as a share of it [1/m]
        kept (c.kept): share of the diaphragm that carries pressure, 1 if it is whole
        Au (c.unbalanced): area on which inlet less outlet pressure pushes the disk open [m²]
        xm (c.highest_lift): travel of the disk [m]
        kseat (c.seat_stiffness): stiffness of the soft seat [N/m]
        xc (c.seat_depth): how deep the disk presses into it when it seals [m]
        kd (c.debris_stiffness): stiffness of a piece on the seat, 0 if it is clean [N/m]
        hd (c.debris_height): height of that piece [m]
        Fr0 (c.relief_preload): force of the relief's spring while it is shut [N]
    """

    area: float  # diaphragm area A at lift 0, m2
    growth: float  # e, relative growth of the area per metre of diaphragm travel, 1/m
    kept: float  # share of the diaphragm that still carries pressure
    lever: float  # L
    preload: float  # F0, N
    rate: float  # Ks, N/m
    relief_preload: float  # Fr0, N
    relief_rate: float  # Kr, N/m
    relief_travel: float  # y at the relief's stop, m
    unbalanced: float  # Au, m2
    seat_stiffness: float  # kseat, N/m
    seat_depth: float  # xc, m
    debris_stiffness: float  # kd, N/m
    debris_height: float  # hd, m
    debris_edge: float  # share of the seat's edge that the debris holds open
    lowest_lift: float  # m, 0 unless the stem is stuck
    highest_lift: float  # m
    case_volume: float  # V at z = 0, m3
    curtain: float  # Cd pi d, flow area of the seat per metre of lift, m
    orifice: float  # Cd Ao, m2
    nick: float  # flow area that stays open when the seat is shut, m2
    hole: float  # flow area through the diaphragm, m2
    relief_curtain: float  # flow area of the relief per metre of its lift, m
    relief_port: float  # flow area of the relief's port, m2
    vent: float  # flow area of the vent, m2
    second_curtain: float  # flow area of the second seat per metre of overtravel short of its closing, m
    second_orifice: float  # flow area of the second seat wide open, m2; 0 is no second seat
    second_travel: float  # overtravel at which the second seat is shut, m
    second_nick: float  # flow area that stays open when the second seat is shut, m2


read_regulator = reader(RegulatorCondition)


@compiled
def _root(c: RegulatorCondition, wp: float, wq: float, f: float, s: float) -> float:
    """The z at which D(z) = f + s z: the larger root of a quadratic, written so that nothing cancels."""
    slope, level = wp * c.growth + c.rate - s, wp - c.preload - f
    a = slope * c.area
    b = level * c.area + slope * c.case_volume - wq * c.growth
    k = level * c.case_volume - wq
    d = sqrt(max(0.0, b * b - 4.0 * a * k))
    return -2.0 * k / (b + d) if b > 0.0 else (d - b) / (2.0 * a)


@compiled
def _push(c: RegulatorCondition, wp: float, wq: float, z: float) -> float:
    """D(z), what the diaphragm pushes up with [N]."""
    return (wp - wq / (c.case_volume + c.area * z)) * (1.0 + c.growth * z) - c.preload + c.rate * z


@compiled
def _push_slope(c: RegulatorCondition, wp: float, wq: float, z: float) -> float:
    """dD/dz: area growth, main spring, and the gas in the case as a spring."""
    v = c.case_volume + c.area * z
    return wp * c.growth + c.rate + wq * (c.area * (1.0 + c.growth * z) / v - c.growth) / v


@compiled
def _held_down_at(c: RegulatorCondition, x: float, f: float) -> float:
    """The z of the diaphragm with the disk at a lift and F = f: the relief gives way above its preload."""
    if f <= c.relief_preload:
        return c.lever * x
    return c.lever * x - min(c.relief_travel, (f - c.relief_preload) / c.relief_rate)


@compiled
def _on_stop(
    c: RegulatorCondition, wp: float, wq: float, q: float, at_stop: float, fu: float, at: float, s: float
) -> tuple[float, float, float]:
    """The disk at a stop: lift, relief lift and pressure of the case."""
    x = at_stop
    z = c.lever * x
    v = c.case_volume + c.area * z
    push, rise = _push(c, wp, wq, z), _push_slope(c, wp, wq, z)
    y = (push - c.relief_preload) / (c.relief_rate + rise)
    if y > PAD_FADES:
        y = min(c.relief_travel, z - _root(c, wp, wq, c.relief_preload + c.relief_rate * z, -c.relief_rate))
    if y > 0.0:
        v -= c.area * y
    if x == 0.0:
        x = min(c.highest_lift, _fade((fu + at - push) / (c.lever * (rise - s)), SEAT_FADES))
    return x, _fade(y, PAD_FADES), q / v


@compiled
def _between_stops(
    c: RegulatorCondition, wp: float, wq: float, q: float, f: float, s: float
) -> tuple[float, float, float]:
    """The disk on a piece of F between two corners, F = f + s z while the relief rests."""
    fr0, kr = c.relief_preload, c.relief_rate
    z = _root(c, wp, wq, f, s)
    gap = (f + s * z - fr0) / kr
    if gap < -1e3 * PAD_FADES:
        return _fade(z / c.lever, SEAT_FADES), 0.0, q / (c.case_volume + c.area * z)
    m = 1.0 - s / kr  # seat and relief spring yield in series once the relief lifts
    if gap <= 0.0:
        rise = _push_slope(c, wp, wq, z)
        y = gap * (rise - s) / (m * rise - s)  # the same gap as just above zero, carried on below it
        return _fade(z / c.lever, SEAT_FADES), _fade(y, PAD_FADES), q / (c.case_volume + c.area * z)
    b = (f - fr0) / kr
    z = _root(c, wp, wq, f + s * b / m, s / m)
    y = (f + s * (z + b) / m - fr0) / kr
    if y > c.relief_travel:
        y = c.relief_travel
        z = _root(c, wp, wq, f + s * y, s)
    return _fade((z + y) / c.lever, SEAT_FADES), _fade(y, PAD_FADES), q / (c.case_volume + c.area * z)


@compiled
def stand(c: RegulatorCondition, sensed: float, q: float, inlet: float, outlet: float) -> tuple[float, float, float]:
    """Where a regulator's parts stand: lift [m], relief lift [m], absolute pressure of the case [Pa].

    From the absolute pressures sensed, at the inlet and at the outlet [Pa], and the case gas q = pv V [Pa m3].
    """
    w, lever, kseat, kd = c.area * c.kept, c.lever, c.seat_stiffness, c.debris_stiffness
    wp, wq, fu = w * sensed, w * q, (inlet - outlet) * (c.unbalanced / lever)
    low, high = c.lowest_lift, c.highest_lift
    upper, lower = max(c.seat_depth, c.debris_height), min(c.seat_depth, c.debris_height)

    # The corners of F over x from the top stop down. At each: contact force; above it F = fu + force + s (L x).
    at = (kseat * max(0.0, c.seat_depth - high) + kd * max(0.0, c.debris_height - high)) / lever
    z = _held_down_at(c, high, fu + at)
    if _push(c, wp, wq, z) <= fu + at:
        return _on_stop(c, wp, wq, q, high, fu, at, 0.0)  # too weak to bring the disk down at all
    s = 0.0
    for number in range(3):
        x = upper if number == 0 else lower if number == 1 else low
        if number < 2 and not low < x < high:
            continue
        on_seat, on_debris = x < c.seat_depth, x < c.debris_height
        at = (kseat * max(0.0, c.seat_depth - x) + kd * max(0.0, c.debris_height - x)) / lever
        force = ((kseat * c.seat_depth if on_seat else 0.0) + (kd * c.debris_height if on_debris else 0.0)) / lever
        s = -((kseat if on_seat else 0.0) + (kd if on_debris else 0.0)) / (lever * lever)
        # strong enough to press the disk past this corner?
        if _push(c, wp, wq, _held_down_at(c, x, fu + at)) <= fu + at:
            return _between_stops(c, wp, wq, q, fu + force, s)
    return _on_stop(c, wp, wq, q, low, fu, at, s)


@compiled
def valve_area(c: RegulatorCondition, lift: float, overtravel: float = 0.0) -> float:
    """Flow area from inlet to outlet [m2]: curtain in series with the orifice, plus a nick; then the second seat.

    Debris holds a share of the seat's edge open below its own height; the area stays continuous in the lift. A second
    seat in the same body shuts as the diaphragm travels beyond a disk that cannot follow.

    Formula: what the disk leaves open
        CA = a b / √(a^2 + b^2) + n
        a = w x
    Where:
        CA: flow area from inlet to outlet [m²]
        a: flow area of the gap between disk and seat [m²]
        w (c.curtain): flow area of the gap by lift: discharge coefficient times rim of the seat [m]
        x (lift): how far the disk stands off the seat [m]
        b (c.orifice): flow area of the hole in the seat [m²]
        n (c.nick): flow area that stays open when it is shut, 0 if it is sound [m²]
    Holds: a clean seat without a second one behind it
    Source: worked out here from the gas law
    Example:
        US: the bench's regulator, x = 0.030 in. gives CA = 0.0174 in²
        metric: the bench's regulator, x = 0.80 mm gives CA = 11.7 mm²
    """
    height, edge = c.debris_height, c.debris_edge
    free = edge * lift if lift < height else lift - height * (1.0 - edge)
    curtain, orifice = c.curtain * free, c.orifice
    area = curtain * orifice / sqrt(curtain * curtain + orifice * orifice) + c.nick
    if not c.second_orifice:
        return area
    left = _fade(c.second_travel - overtravel, PAD_FADES)
    second = series(c.second_curtain * left, c.second_orifice) + c.second_nick
    return series(area, second)


@compiled
def relief_area(c: RegulatorCondition, relief_lift: float) -> float:
    """Flow area from below to above the diaphragm [m2]: relief curtain in series with its port, plus a tear."""
    if relief_lift <= 0.0 or not c.relief_port:
        return c.hole
    curtain, port = c.relief_curtain * relief_lift, c.relief_port
    return curtain * port / sqrt(curtain * curtain + port * port) + c.hole


def preload_for(c: RegulatorCondition, rise: float) -> float:
    """Main spring's force at lift 0 [N] when the set point is turned up by `rise` [Pa]; the relief's stays.

    Formula: turning the set point up
        F = F0 + Δp (A (1 + 0.1 e L xm) + Au / L)
    Where:
        F: force of the main spring afterwards, disk on the seat [N]
        Δp (rise): how far the set point is turned up [Pa]
        F0, L, A, e, Au, xm: see RegulatorCondition
    Holds: the internal relief moves up with it, since its own spring stays as it is
    Source: worked out here from the balance of forces
    Example:
        US: the bench's regulator, Δp = 3.0 in. w.c. gives F = 11.0 lbf
        metric: the bench's regulator, Δp = 5.0 mbar gives F = 43.8 N
    """
    area = c.area * (1.0 + 0.1 * c.growth * c.lever * c.highest_lift)
    return c.preload + rise * (area + c.unbalanced / c.lever)
