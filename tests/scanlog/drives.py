"""Made-up drives with the truth known: a small engine, its controller and its recorder, for tests only.

Nothing here is shared with the analysis. Fuel goes in by mass, air is burnt with it, an oxygen sensor sees the result
late, a controller integrates. Trims come out of that loop; no formula for a trim is used. Sizes are those of a
two-litre engine: 3 to 4 g/s of air at idle (speed-density, 0.8 of 2 L at 32 kPa), 1 kW of work for 0.078 g/s of fuel.
"""

from __future__ import annotations

import math
import random
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

STEP = 0.2  # s of the simulation
RATIO = 14.7  # the made-up fuel's own
Spans = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Fault:
    """What is wrong, and when (seconds from the start of the log; None: all the time).

    leak: g/s into bank `bank`. scale: of the fuel delivered. meter: of the air measured. extra: mg in each injection.
    """

    leak: float = 0.0
    scale: float = 1.0
    meter: float = 1.0
    extra: float = 0.0
    when: Spans | None = None
    bank: int = 1

    def acts(self, t: float) -> bool:
        return self.when is None or any(a <= t < b for a, b in self.when)


@dataclass(frozen=True)
class Setting:
    """minutes of each run and the soak (min) before each further one. canister: g of fuel in it. oil: g of fuel in it.

    start: coolant at the first start, degC. misses: how much too rich the cold calibration is. compensated: share of
    the purge vapour that the controller takes off by itself. bent: how far the air meter's curve is off (standard
    deviation, for each e-fold of airflow). refuelled: before which run (number from 0), if any.
    """

    minutes: tuple[float, ...] = (40.0,)
    soaks: tuple[float, ...] = ()
    start: float = 20.0
    outside: float = 18.0
    banks: int = 1
    canister: float = 5.0
    purges: bool = True
    compensated: float = 0.0
    oil: float = 0.0
    misses: float = 0.08
    noise: float = 1.0
    bent: float = 0.02
    fault: Fault = field(default_factory=Fault)
    refuelled: int | None = None
    idle_share: float = 0.35


@dataclass(frozen=True)
class Drive:
    """seconds: (n,) with gaps where the engine stood and nothing was recorded. columns: by name (`HEADERS`).

    showing: (n,) whether the fault acted. phase: (n,) the driver's own word: idle, go, cruise, pull, slow, off.
    """

    seconds: np.ndarray
    columns: dict[str, np.ndarray]
    showing: np.ndarray
    phase: np.ndarray
    setting: Setting


def drive(seed: int, setting: Setting | None = None) -> Drive:
    """One log, engine runs one after the other."""
    s = setting or Setting()
    rng = random.Random(seed)
    rows: dict[str, list[float]] = {}
    phases: list[str] = []
    showing: list[bool] = []
    state = _State(s, rng)
    t = 0.0
    for number, minutes in enumerate(s.minutes):
        if number:
            soak = 60.0 * s.soaks[number - 1]
            state.soak(soak)
            t += soak
        if s.refuelled == number:
            state.level, state.canister = 90.0, 45.0
        plan = _plan(rng, 60.0 * minutes, s.idle_share)
        for i, (phase, v, acceleration) in enumerate(plan):
            row = state.step(rng, t, i * STEP, phase, v, acceleration)
            for name, value in row.items():
                rows.setdefault(name, []).append(value)
            phases.append(phase)
            showing.append(s.fault.acts(t))
            t += STEP
    columns = {name: np.array(values) for name, values in rows.items()}
    return Drive(columns.pop("time"), columns, np.array(showing), np.array(phases), s)


def _plan(rng: random.Random, seconds: float, idle_share: float) -> list[tuple[str, float, float]]:
    """(phase, speed m/s, acceleration m/s2) for each step: idle first, then legs of a drive until the time is up."""
    plan: list[tuple[str, float, float]] = []

    def hold(phase: str, v: float, length: float) -> None:
        plan.extend(
            (phase, max(0.0, v + 0.3 * math.sin(0.05 * i)) if v else 0.0, 0.0) for i in range(int(length / STEP))
        )

    def change(phase: str, v: float, to: float, rate: float) -> None:
        steps = max(1, int(abs(to - v) / rate / STEP))
        for i in range(steps):
            plan.append((phase, v + (to - v) * i / steps, (to - v) / (steps * STEP)))

    hold("idle", 0.0, rng.uniform(40, 90))
    while len(plan) * STEP < seconds:
        if rng.random() < 0.15:
            hold("revs", 0.0, rng.uniform(15, 30))
        top = rng.choice([12.0, 14.0, 17.0, 20.0, 25.0, 31.0])
        hard = rng.random() < 0.25
        change("pull" if hard else "go", 0.0, top, 2.2 if hard else rng.uniform(0.7, 1.3))
        for _ in range(rng.randint(1, 3)):
            hold("cruise", top, rng.uniform(15, 70))
            new = max(8.0, top + rng.uniform(-5, 5))
            change("slow" if new < top else "go", top, new, rng.uniform(0.4, 0.9))
            top = new
        change("slow", top, 0.0, rng.uniform(0.8, 1.6))
        hold("idle", 0.0, rng.uniform(10, 60) * 2.0 * idle_share / (1 - idle_share))
    return plan[: int(seconds / STEP)]


class _State:
    """Everything that goes on from step to step."""

    def __init__(self, s: Setting, rng: random.Random) -> None:
        self.s = s
        self.coolant, self.intake, self.oil_temperature = s.start, s.outside + 3, s.start
        self.canister, self.oil = s.canister, s.oil
        self.level = 40.0
        self.short = [0.0] * s.banks
        self.long = [[rng.gauss(0, 0.02) for _ in range(3)] for _ in range(s.banks)]
        self.bend = rng.gauss(0, s.bent)
        self.offset = rng.gauss(0, 0.02)
        self.film = [0.0] * s.banks
        self.late = [deque([1.0] * 20, 20) for _ in range(s.banks)]
        self.seen = [1.0] * s.banks
        self.meter = 4.0
        self.air = 4.0
        self.cut_until = 0.0
        self.purge = 0.0
        self.window = 0.0
        self.purging = False
        self.dither = 0.0
        self.rpm = 800.0

    def soak(self, seconds: float) -> None:
        """Engine off: coolant falls by half in an hour and a half, the air under the bonnet warms first."""
        fall = math.exp(-seconds / 7800.0)
        self.coolant = self.s.outside + (self.coolant - self.s.outside) * fall
        self.oil_temperature = self.s.outside + (self.oil_temperature - self.s.outside) * fall
        self.intake = self.s.outside + (35.0 if seconds < 5400 else 5.0)
        self.short = [0.0] * self.s.banks
        self.film = [0.0] * self.s.banks
        self.cut_until = 0.0

    def step(self, rng: random.Random, t: float, run: float, phase: str, v: float, a: float) -> dict[str, float]:
        s, fault = self.s, self.s.fault
        acts = fault.acts(t)
        idle_speed = 720 + 500 * max(0.0, (60 - self.coolant) / 80)
        gear = 130.0 if v < 9 else 85.0 if v < 16 else 62.0
        geared = v * gear * (1.45 if a > 0.2 else 1.0)
        wanted = 2550.0 if phase == "revs" else max(idle_speed, geared)
        self.rpm += (wanted - self.rpm) * min(1.0, STEP / 0.6)
        rpm = self.rpm + rng.gauss(0, 6)
        power = (1350 * a * v + 0.39 * v**3 + 0.012 * 1350 * 9.81 * v) / 1000
        friction = 0.9 + 3.2 * rpm / 1000 + 1.2 * max(0.0, (60 - self.coolant) / 60)
        target = max(2.2, friction + 1.14 * max(0.0, power) + 0.4 * math.sin(0.11 * t))
        self.air += (target - self.air) * min(1.0, STEP / 0.25)
        air = self.air
        most = 0.5 * rpm / 60 * 2.0 * 1.15
        load = min(1.0, air / most)
        manifold = min(98.0, 12 + 88 * load)
        braking = power < -1.5 and rpm > 1350 and v > 6
        if braking:
            self.cut_until = t + 0.6
        cut = t < self.cut_until
        full = load > 0.9
        warm = self.coolant > 25 and run > 35
        closed = warm and not cut and not full
        rich_by_command = 0.86 if full else 1.0 if warm else 0.93
        curve = 1 + self.offset + self.bend * math.log(air / 8)
        self.meter += (fault_or(acts, fault.meter) * curve * air - self.meter) * min(1.0, STEP / 0.12)
        measured = max(0.3, self.meter * (1 + rng.gauss(0, 0.012 * s.noise)))

        vapour, vapour_air, duty = self._purge(rng, t, run, phase, load, manifold)
        self._warm(air, v, cut)
        from_oil = self.oil * math.exp((self.oil_temperature - 90) / 22) / 3600
        self.oil = max(0.0, self.oil - from_oil * STEP)

        self.dither = 0.9 * self.dither + rng.gauss(0, 0.012 * s.noise)
        cell = 0 if v < 1 and phase != "revs" else 1 if load < 0.55 else 2
        cold = s.misses * max(0.0, min(1.0, (75 - self.coolant) / 55))
        row: dict[str, float] = {"time": t}
        n = s.banks
        for b in range(n):
            own_air = air / n + vapour_air / n
            correction = (1 + self.short[b]) * (1 + self.long[b][cell])
            asked = measured / n / RATIO / rich_by_command * correction * (1 + cold)
            asked -= s.compensated * vapour / n
            if cut:
                asked = 0.0
            here = fault.bank == b + 1
            fuel = asked * (fault_or(acts and here, fault.scale) if not cut else 1.0)
            injections = rpm / 120 * 4 / n
            if acts and here:
                fuel += fault.leak + (0.0 if cut else fault.extra / 1000 * injections)
            fuel += (vapour + from_oil) / n
            self.film[b] += (fuel - self.film[b]) * STEP / 0.5
            burnt = 0.75 * fuel + 0.25 * self.film[b]
            real = min(3.0, own_air / RATIO / max(burnt, 1e-4))
            delay = min(19, int((0.15 + 1.6 / air) / STEP))
            self.late[b].appendleft(real)
            self.seen[b] += (self.late[b][delay] - self.seen[b]) * min(1.0, STEP / 0.15)
            error = max(-0.2, min(0.2, self.seen[b] - 1.0)) + self.dither
            if closed:
                self.short[b] = max(-0.30, min(0.30, self.short[b] + STEP * 0.45 * error))
                learn = STEP * 0.012 * self.short[b] if self.coolant > 70 else 0.0
                self.long[b][cell] = max(-0.25, min(0.25, self.long[b][cell] + learn))
                self.short[b] -= learn
                shown = self.short[b] + 0.25 * error
            else:
                shown = self.short[b] = 0.0
            row[f"short {b + 1}"] = _step(100 * shown, 100 / 128)
            row[f"long {b + 1}"] = _step(100 * self.long[b][cell], 100 / 128)
            row[f"lambda {b + 1}"] = _step(min(1.99, self.seen[b]), 2 / 65536)
        row |= {
            "rpm": _step(max(0.0, rpm), 0.25),
            "speed": _step(3.6 * v, 1.0),
            "coolant": _step(self.coolant, 1.0),
            "intake": _step(self.intake, 1.0),
            "airflow": _step(measured, 0.01),
            "manifold": _step(manifold, 1.0),
            "load": _step(100 * load, 100 / 255),
            "throttle": _step(8 + 60 * load * rpm / 6000 + (0 if v < 1 or cut else 4), 100 / 255),
            "status": 2.0 if closed else 4.0 if warm else 1.0,
            "commanded": _step(rich_by_command, 2 / 65536),
            "purge": _step(100 * duty, 100 / 255),
            "level": _step(self.level + rng.gauss(0, 0.6), 100 / 255),
            "run": float(int(run)),
        }
        return row

    def _purge(
        self, rng: random.Random, t: float, run: float, phase: str, load: float, manifold: float
    ) -> tuple[float, float, float]:
        """Vapour and air (g/s) through the purge valve, and its duty. The canister empties as it is purged."""
        if t >= self.window:
            self.purging = not self.purging
            self.window = t + (rng.uniform(60, 150) if self.purging else rng.uniform(20, 45))
        on = self.s.purges and self.purging and self.coolant > 60 and run > 60 and phase not in ("slow", "pull")
        wanted = (0.12 if phase == "idle" else 0.35) if on else 0.0
        self.purge += (wanted - self.purge) * min(1.0, STEP / 0.8)
        duty = self.purge if self.purge > 0.01 else 0.0
        litres = 22.0 * duty * max(0.0, 1 - manifold / 100)  # a minute
        share = 0.35 * self.canister / (self.canister + 18.0)
        vapour = litres / 60 * share * 65 / 24.5
        self.canister = max(0.0, self.canister - vapour * STEP)
        self.level -= 2e-6
        return vapour, litres / 60 * (1 - share) * 29 / 24.5, duty

    def _warm(self, air: float, v: float, cut: bool) -> None:
        heat = 0.0 if cut else 0.021 * air**0.8
        loss = 0.0006 * (self.coolant - self.s.outside)
        if self.coolant > 89:
            loss += heat * (self.coolant - 89) / 3
        self.coolant += STEP * (heat - loss) * 0.9
        self.oil_temperature += STEP * (self.coolant + 4 - self.oil_temperature) / 300
        settled = self.s.outside + (6 if v > 8 else 22)
        self.intake += STEP * (settled - self.intake) / 120


def fault_or(acts: bool, factor: float) -> float:
    return factor if acts else 1.0


def _step(value: float, size: float) -> float:
    """A reading has the steps of its scaling (SAE J1979)."""
    return round(value / size) * size


# ---- recorders ------------------------------------------------------------------------------------------------------

HEADERS = {
    "rpm": "Engine speed (rpm)", "speed": "Vehicle speed (km/h)", "coolant": "Engine coolant temperature (°C)",
    "intake": "Intake air temperature (°C)", "airflow": "Air flow rate (g/s)",
    "manifold": "Intake manifold absolute pressure (kPa)", "load": "Calculated load (%)",
    "throttle": "Absolute throttle position (%)", "status": "Fuel system status",
    "commanded": "Commanded equivalence ratio", "purge": "Commanded evaporative purge (%)",
    "level": "Fuel level input (%)", "run": "Time since engine start (s)",
    "short 1": "Short term fuel trim bank 1 (%)", "long 1": "Long term fuel trim bank 1 (%)",
    "short 2": "Short term fuel trim bank 2 (%)", "long 2": "Long term fuel trim bank 2 (%)",
    "lambda 1": "Lambda bank 1 sensor 1", "lambda 2": "Lambda bank 2 sensor 1",
}  # fmt: skip


def csv(
    drive: Drive,
    every: int = 5,
    without: Sequence[str] = (),
    separator: str = ",",
    comma: bool = False,
    sparse: bool = False,
) -> bytes:
    """The drive as a file: every so many steps (of 0.2 s) a row. sparse: each row has one quantity, in turn."""
    names = [n for n in HEADERS if n in drive.columns and n not in without]
    lines = [separator.join(["Time (s)", *(HEADERS[n] for n in names)])]
    at = range(0, len(drive.seconds), every)
    matrix = np.column_stack([drive.seconds, *(drive.columns[n] for n in names)])[list(at)]
    for i, row in enumerate(matrix.tolist()):
        cells = [f"{row[0]:.1f}", *(f"{x:.5g}" if abs(x) < 99999 else f"{x:.0f}" for x in row[1:])]
        if sparse:
            keep = i % len(names)
            cells = [cells[0], *(c if j == keep else "" for j, c in enumerate(cells[1:]))]
        line = separator.join(cells)
        lines.append(line.replace(".", ",") if comma else line)
    return ("\n".join(lines) + "\n").encode()
