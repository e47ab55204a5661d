"""A frozen set of drives of the second engine, each with its truth kept apart from the text.

`python -m tests.scanlog.second_drives FOLDER` writes them there, the truth in one file beside them; `FOLDER plain`
writes them with the plainest headings, to try what comes after the columns. `fresh` makes as many again from other
seeds, for what nobody has looked at.
"""

from __future__ import annotations

import dataclasses
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np

from tests.scanlog import second_tool as tools
from tests.scanlog.second_engine import FAMILIES, STEP, Engine, Fault, Leg, Run, draw_engine, drive, stretches

UNIT = {
    family: text[text.rfind("(") + 1 : -1].split()[0].rstrip(",")
    for family, text in FAMILIES.items()
    if family != "healthy"
}


@dataclass(frozen=True)
class Truth:
    """What is so. Times are seconds after the log's first row (the log starts with the drive).

    `trim` is the way in which the fault moves the trims (-1: taken back, +1: more fuel), 0 where it does not;
    `mixture` is what the engine runs before the trims have followed (for a shifted sensor: what it runs afterwards).
    `amount` is the mean of what really was wrong while it was visible, `peak` its greatest (in `unit`; shares are of
    the fuel, scale errors of pressure sensor, meter or delivery; a leak of air is that at idle; g/s are those of the
    whole engine, or of the bank where one is named).
    `over_air` is the trim (%) that it asks for at airflows (g/s, as metered), in closed loop while it acts.
    `spells` are when the fault acts; `visible` when it would ask for 2 % of trim or more, in closed loop, in rows
    that were logged. `felt` is the mean of that share in `visible`, in percent of the trim, with its sign.
    `alike` names families that these columns cannot tell from the true one, whoever looks.
    """

    family: str
    bank: int | None
    trim: int
    mixture: str
    amount: float
    peak: float
    unit: str
    spells: tuple[tuple[float, float], ...]
    visible: tuple[tuple[float, float], ...]
    felt: float
    over_air: tuple[tuple[float, float], ...]
    cylinder: int | None
    alike: tuple[str, ...]
    damage: tuple[str, ...]
    columns: tuple[str, ...]
    engine: Engine


@dataclass(frozen=True)
class Drive:
    """One log: its text, the options a person would give with it, and the truth."""

    name: str
    csv: str
    options: dict[str, float]
    truth: Truth


# Drives: legs and their least and greatest seconds.
PLANS = {
    "minute": "idle 70-110",
    "short": "idle 40-90, town 150-300",
    "town": "idle 60-150, town 300-500, idle 40-90, road 100-200, town 120-240",
    "mixed": "idle 60-120, town 120-240, road 150-300, idle 60-150, motorway 150-300, town 100-200, idle 60-150",
    "soak": "idle 60-120, town 150-250, road 200-300, stop 500-1100, idle 120-220, town 150-300, stop 300-900,"
    "idle 90-180, town 90-160",
    "loaded": "idle 50-90, road 120-200, pulls 150-240, idle 40-80, hills 150-300, motorway 150-260, pulls 120-220,"
    "town 80-140",
    "long": "idle 60-120, town 200-400, road 300-500, motorway 400-600, hills 200-300, idle 120-240, town 150-300",
    "day": "idle 100-200, town 500-600, road 500-700, stop 500-700, idle 120-200, motorway 900-1100, hills 500-600,"
    "idle 200-300, pulls 200-300, town 600-700",
}


def legs_of(plan: str, rng: np.random.Generator) -> list[Leg]:
    """The legs of a plan, each of a length drawn between its bounds."""
    legs = []
    for part in PLANS[plan].split(","):
        kind, bounds = part.split()
        low, high = bounds.split("-")
        legs.append(Leg(kind, round(float(rng.uniform(float(low), float(high))))))
    return legs


@dataclass(frozen=True)
class Spec:
    """What to make: everything not said here is drawn with the seed."""

    seed: int
    family: str = "healthy"
    plan: str = "mixed"
    sign: int = 1  # of the amount
    engine: tuple[tuple[str, object], ...] = ()
    tool: tuple[tuple[str, object], ...] = ()
    damage: tuple[str, ...] = ()
    gap: bool = False


def spec(seed: int, family: str = "healthy", plan: str = "mixed", sign: int = 1, **more: object) -> Spec:
    """A `Spec` with the engine's fields as `e_NAME`, the tool's as `t_NAME`."""
    engine = tuple((k[2:], v) for k, v in more.items() if k.startswith("e_"))
    tool = tuple((k[2:], v) for k, v in more.items() if k.startswith("t_"))
    rest = {k: v for k, v in more.items() if k[:2] not in ("e_", "t_")}
    return Spec(seed, family, plan, sign, engine, tool, **rest)  # type: ignore[arg-type]


TWIN = {"e_cylinders": 6, "e_banks": 2}
FLOW = {"e_metering": "flow"}
BOOST = {"e_charged": True, "e_metering": "flow", "e_litres": 1.4, "e_cylinders": 4, "e_banks": 1, "e_mass": 1650.0}
CELSIUS = {"t_language": "en", "t_style": "row"}

SPECS: tuple[Spec, ...] = (
    *(spec(100 + i, plan=p) for i, p in enumerate(["minute", "short", "town", "mixed", "soak", "loaded", "long"])),
    *(spec(110 + i, plan=p) for i, p in enumerate(["town", "mixed", "soak", "loaded", "mixed", "town", "soak"])),
    spec(200, "injector-leak", "soak", **TWIN),
    spec(201, "injector-leak", "soak", e_banks=1),
    spec(202, "injector-leak", "town", **TWIN),
    spec(203, "injector-leak", "mixed", e_metering="pressure"),
    spec(204, "injector-leak", "day", **TWIN),
    spec(210, "rail-scale", "mixed", e_direct=True),
    spec(211, "rail-scale", "town", -1, e_direct=True),
    spec(212, "rail-scale", "long"),
    spec(220, "meter-scale", "mixed", **FLOW),
    spec(221, "meter-scale", "town", -1, **FLOW),
    spec(222, "meter-scale", "mixed", e_metering="pressure"),
    spec(230, "injector-scale", "mixed", **TWIN),
    spec(231, "injector-scale", "town", -1, **TWIN),
    spec(232, "injector-scale", "long", e_banks=1),
    spec(240, "meter-high", "loaded", **FLOW),
    spec(241, "meter-high", "loaded", -1, **FLOW),
    spec(242, "meter-high", "long", **FLOW),
    spec(250, "charge-leak", "loaded", **BOOST),
    spec(251, "charge-leak", "loaded", **BOOST),
    spec(252, "charge-leak", "loaded", **BOOST),
    spec(260, "air-leak", "town", **FLOW),
    spec(261, "air-leak", "mixed", **FLOW),
    spec(262, "air-leak", "soak", **FLOW, **TWIN),
    spec(270, "purge-vapour", "mixed", e_ambient=27.0),
    spec(271, "purge-vapour", "long", e_ambient=24.0),
    spec(272, "purge-vapour", "town", e_ambient=30.0, **TWIN),
    spec(280, "oil-vapour", "long"),
    spec(281, "oil-vapour", "mixed", **TWIN),
    spec(282, "oil-vapour", "soak"),
    spec(290, "sensor-shift", "mixed", **TWIN),
    spec(291, "sensor-shift", "town", -1, **TWIN),
    spec(292, "sensor-shift", "mixed", e_banks=1, e_wide=True),
    spec(300, "sensor-slow", "mixed", **TWIN, e_wide=True),
    spec(301, "sensor-slow", "town", e_wide=False),
    spec(302, "sensor-slow", "long", **TWIN),
    spec(310, "coolant-cold", "mixed"),
    spec(311, "coolant-cold", "long"),
    spec(312, "coolant-cold", "soak"),
    spec(320, "exhaust-restriction", "loaded", e_metering="pressure", e_charged=False),
    spec(321, "exhaust-restriction", "loaded", e_metering="pressure", e_charged=False, **TWIN),
    spec(322, "exhaust-restriction", "loaded", e_metering="pressure"),
    spec(330, "fuel-restriction", "loaded", -1),
    spec(331, "fuel-restriction", "loaded", -1),
    spec(332, "fuel-restriction", "long", -1),
    spec(340, "misfire", "mixed", **TWIN),
    spec(341, "misfire", "town", e_banks=1, e_cylinders=4),
    spec(342, "misfire", "mixed", **TWIN),
    spec(400, "healthy", "mixed", damage=("cut_off", "headed_again")),
    spec(401, "healthy", "town", damage=("frozen",)),
    spec(402, "healthy", "mixed", damage=("clock_back",)),
    spec(403, "injector-scale", "mixed", damage=("unit_changed",), **TWIN, **CELSIUS),
    spec(404, "healthy", "soak", damage=("jumps",), **CELSIUS),
    spec(405, "rail-scale", "town", gap=True, damage=("cut_off",)),
)

# Quantities that stay in the log for a family: without them nobody could see it.
KEEP = {
    "misfire": ("misses",),
    "coolant-cold": ("coolant",),
    "charge-leak": ("airflow", "pressure"),
    "meter-high": ("airflow",),
    "fuel-restriction": ("load", "speed"),
    "exhaust-restriction": ("pressure",),
}


def moments(legs: Sequence[Leg], kind: str) -> list[tuple[float, float]]:
    """Start and end of every leg of a kind, in seconds."""
    ends = np.cumsum([leg.seconds for leg in legs])
    return [(float(e - leg.seconds), float(e)) for leg, e in zip(legs, ends, strict=True) if leg.kind == kind]


def now_and_then(total: float, rng: np.random.Generator) -> tuple[tuple[float, float], ...]:
    """Spells of one to six minutes with quiet between them."""
    out, t = [], float(rng.uniform(0.08, 0.25) * total)
    while t < total - 40:
        length = float(rng.uniform(70, 120) + rng.exponential(0.08 * total))
        out.append((round(t, 1), round(min(total, t + length), 1)))
        t += length + float(rng.uniform(80, 140) + rng.exponential(0.1 * total))
    return tuple(out)


def fault_of(s: Spec, engine: Engine, legs: Sequence[Leg], rng: np.random.Generator) -> Fault:
    """A fault of the family with an amount that this engine would make somebody complain of."""
    total = sum(leg.seconds for leg in legs)
    spells = now_and_then(total, rng)
    idle_air = 1.25 * engine.litres  # g/s, warm (practice: about 1.0 to 1.5 a litre)
    idle_fuel = idle_air / engine.stoich
    bank: int | None = int(rng.integers(1, engine.banks + 1))
    cylinder = None
    fades = 0.0
    family = s.family
    if family == "injector-leak":
        amount = rng.uniform(0.09, 0.2) * idle_fuel / engine.banks
        hot = [(end, end + float(rng.uniform(150, 400))) for _, end in moments(legs, "stop")]
        if hot:
            spells, fades = tuple(hot), float(rng.uniform(250, 600))
    elif family in ("rail-scale", "meter-scale"):
        amount, bank = s.sign * rng.uniform(7, 14), None
    elif family == "injector-scale":
        amount = s.sign * rng.uniform(8, 15)
    elif family in ("meter-high", "exhaust-restriction", "fuel-restriction"):
        amount, bank = s.sign * rng.uniform(12, 22), None
        if family == "exhaust-restriction" and engine.banks == 2:
            bank = int(rng.integers(1, 3))
        spells = ((0.0, total),)
    elif family == "charge-leak":
        amount, bank, spells = rng.uniform(9, 18), None, ((0.0, total),)
    elif family == "air-leak":
        amount, bank = rng.uniform(0.12, 0.25) * idle_air, None
    elif family == "purge-vapour":
        amount, bank, spells = rng.uniform(14, 26), None, ((0.0, total),)
    elif family == "oil-vapour":
        amount, bank = rng.uniform(0.1, 0.2) * idle_fuel, None
        spells, fades = ((0.0, total),), float(rng.uniform(0.6, 1.2) * total)
    elif family == "sensor-shift":
        amount = s.sign * rng.uniform(0.05, 0.1)
    elif family == "sensor-slow":
        amount = rng.uniform(1.2, 2.5)
    elif family == "coolant-cold":
        amount, bank = rng.uniform(35, 52), None
    elif family == "misfire":
        assert bank is not None
        each = engine.cylinders // engine.banks
        cylinder = (bank - 1) * each + int(rng.integers(1, each + 1))
        amount = rng.uniform(18, 45)
    else:
        return Fault()
    amount = float(f"{amount:.3g}")
    return Fault(family, amount, bank, cylinder, spells, fades, float(rng.choice([0.0, 0.0, 0.25, 0.5])))


def likeness(fault: Fault, engine: Engine, columns: frozenset[str]) -> tuple[str, ...]:
    """Families that the same columns would show alike."""
    family, one = fault.family, engine.banks == 1
    both_airs = "airflow" in columns and "pressure" in columns
    alike: list[str] = []
    sensor = ["sensor-shift"] if one and "downstream" not in columns else []
    if family in ("rail-scale", "meter-scale", "injector-scale") and (one or family != "injector-scale"):
        alike = ["rail-scale", "injector-scale"]
        if not both_airs or family == "meter-scale":
            alike.append("meter-scale")
        if both_airs and family == "meter-scale":
            alike = []
        alike += sensor
    elif family == "injector-scale" and "downstream" not in columns:
        alike = ["sensor-shift"]
    elif family == "injector-leak":
        alike = (["oil-vapour"] if one else []) + (["purge-vapour"] if one and "purge" not in columns else [])
    elif family == "oil-vapour":
        alike = (["injector-leak"] if one else []) + (["purge-vapour"] if "purge" not in columns else [])
    elif family == "purge-vapour" and "purge" not in columns:
        alike = ["oil-vapour"] + (["injector-leak"] if one else [])
    elif family in ("meter-high", "charge-leak", "exhaust-restriction", "fuel-restriction"):
        alike = ["fuel-restriction"] if fault.amount < 0 else ["charge-leak"] * (engine.charged)
        alike += ["meter-high"] if engine.metering == "flow" else []
        alike += ["exhaust-restriction"] if fault.amount > 0 and engine.metering == "pressure" else []
    elif family == "coolant-cold" and "coolant" not in columns:
        alike = ["rail-scale", "meter-scale", "injector-scale"]
    elif family == "sensor-shift" and "downstream" not in columns:
        alike = ["injector-scale"] + (["rail-scale", "meter-scale"] if one else [])
    one_lean_bank = (family == "sensor-shift") == (fault.amount > 0) and family in ("sensor-shift", "injector-scale")
    if one_lean_bank and "misses" not in columns:
        alike.append("misfire")
    return tuple(x for x in alike if x != family)


def truth_of(run: Run, written: tools.Written, gaps: Sequence[tuple[float, float]], damage: Sequence[str]) -> Truth:
    """The truth, from the dense run and the rows that were logged."""
    fault, engine = run.fault, run.engine
    push = run.push[0] if fault.bank is None else run.push[fault.bank - 1]
    closed = (run.status[(fault.bank or 1) - 1] == 2) & run.way.running
    logged = np.ones(len(run.clock), dtype=bool)
    for a, b in gaps:
        logged[round(a / STEP) : round(b / STEP)] = False
    width = round(4 / STEP)  # what lasts under some seconds no trim can follow
    smooth = np.convolve(push, np.ones(width) / width, mode="same")
    seen = (np.abs(smooth) >= 0.02) & closed & logged
    visible = stretches(seen, shortest=8.0, bridge=15.0)
    inside = np.zeros(len(push), dtype=bool)
    for a, b in visible:
        inside[round(a / STEP) : round(b / STEP)] = True
    inside &= closed
    felt = float(100 * push[inside].mean()) if inside.any() else 0.0
    at = closed & logged & (run.act > 0.5)
    over_air = []
    if at.any():
        edges = np.unique(np.percentile(1000 * run.metered[at], np.linspace(0, 100, 21)))
        for low, high in pairwise(edges.tolist()):
            near = at & (1000 * run.metered >= low) & (1000 * run.metered <= high)
            over_air.append((round(float((low + high) / 2), 2), round(100 * float(np.median(smooth[near])), 2)))
    sign = 0 if abs(felt) < 0.5 else (1 if felt > 0 else -1)
    acting = stretches((run.act > 0.05) & run.way.running & logged, shortest=5.0)
    amount = peak = fault.amount
    really = None
    if fault.family in ("injector-leak", "oil-vapour", "purge-vapour"):
        really = 1000 * run.added.sum(axis=0)
    elif fault.family in ("meter-high", "charge-leak", "exhaust-restriction", "fuel-restriction"):
        really = 100 * (1 / (1 + smooth) - 1)
    elif fault.family == "air-leak":
        really = 1000 * run.air.leak
        inside &= run.way.speed < 0.1
    if really is not None and inside.any():
        part = really[inside]
        amount, peak = round(float(part.mean()), 4), round(float(part[np.abs(part).argmax()]), 4)
    if fault.family == "purge-vapour":
        acting = stretches((run.air.duty > 0.05) & logged, shortest=5.0)
    mixture = {1: "lean", 0: "neither", -1: "rich"}[sign]
    if fault.family == "sensor-shift":
        mixture = {1: "rich", 0: "neither", -1: "lean"}[sign]
    elif fault.family == "misfire":
        mixture = "neither"
    elif fault.family == "sensor-slow":
        visible = acting  # wider swings, no shift
    columns = frozenset(key.split(":")[0] for key in written.keys)
    return Truth(
        fault.family, fault.bank, sign, mixture, amount, peak, UNIT.get(fault.family, ""), acting, visible,
        round(felt, 2), tuple(over_air), fault.cylinder, likeness(fault, engine, columns), tuple(damage),
        tuple(sorted(columns)), engine,
    )  # fmt: skip


PLAIN: dict[str, object] = {"language": "en", "style": "parens", "separator": ",", "decimal": ".", "time": "seconds"}
PLAIN |= {"status": "number", "held": True, "first": True}


def make(s: Spec, plain: bool = False) -> tuple[Drive, Run]:
    """One drive, and the dense run behind it; `plain` with the plainest headings and units, to try what comes after."""
    rng = np.random.default_rng(s.seed)
    engine = draw_engine(rng, **dict(s.engine))
    legs = legs_of(s.plan, rng)
    fault = fault_of(s, engine, legs, rng)
    cold = engine.ambient + (0.0 if rng.random() < 0.6 else float(rng.uniform(20, 55)))
    run = drive(engine, legs, fault, rng, cold)
    damaged = {"frozen": ("coolant",), "jumps": ("coolant",), "unit_changed": ("coolant",)}
    keep = [*KEEP.get(s.family, ()), *(k for d in s.damage for k in damaged.get(d, ()))]
    tool = tools.draw_tool(rng, keep, **dict(s.tool))
    tool = dataclasses.replace(tool, **PLAIN) if plain else tool  # type: ignore[arg-type]
    gaps = []
    if rng.random() < 0.6:  # the tool is switched off with the ignition
        gaps += [(a + 5, b - 3) for a, b in moments(legs, "stop")]
    if s.gap:
        gaps.append((0.4 * run.seconds, 0.52 * run.seconds))
    if "unit_changed" in s.damage:
        original = tools.UNITS["coolant"]
        written = tools.write(run, tool, rng, gaps, fixed_units={"coolant": original[0]})
    else:
        written = tools.write(run, tool, rng, gaps)
    damage: list[str] = ["rows are missing in the middle"] if s.gap else []
    for name in s.damage:
        damage += getattr(tools, name)(written, rng)
    csv = tools.text(tool, written)
    if "cut_off" in s.damage:
        csv = csv.rstrip("\n")
    options: dict[str, float] = {}
    if rng.random() < 0.8:
        options = {"litres": engine.litres, "cylinders": engine.cylinders}
    return Drive(f"{s.seed}", csv, options, truth_of(run, written, gaps, damage)), run


@cache
def drives(plain: bool = False) -> list[Drive]:
    """The frozen set: the same text and truth in every run with the same numpy."""
    return [make(s, plain)[0] for s in SPECS]


def fresh(seed: int) -> list[Drive]:
    """A set like the frozen one, every engine, road, fault and tool drawn anew; `seed` from 1."""
    return [make(dataclasses.replace(s, seed=10_000 * seed + s.seed))[0] for s in SPECS]


def main(folder: str, plain: bool = False) -> None:
    """Writes every drive as NAME.csv and all truths as truth.json."""
    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    told = {}
    for d in drives(plain):
        (place / f"{d.name}.csv").write_text(d.csv, encoding="utf-8")
        told[d.name] = {"options": d.options, **dataclasses.asdict(d.truth)}
    (place / "truth.json").write_text(json.dumps(told, indent=1, ensure_ascii=False), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1], plain="plain" in sys.argv[2:])
