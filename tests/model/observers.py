"""Every check of the rules as it is done on a car of the model: what a technician reads, in the words of its outcomes.

An observer takes a `Bench` (the car in a spell) and returns what is there: an outcome, outcomes by place, a number or
numbers by place where a reading is typed, or None where nothing can be told (not rich now, nothing to compare). It
reads the car alone: it knows the rules' names and what they mean by them, and none of their numbers. `observe` lets the
technician slip: SLIP of looks and tests name another outcome than what is there, UNSURE of them cannot be told.
Thresholds of looks are judgement.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from tests.model import engine
from tests.model.bench import Bench
from tests.model.engine import CRUISE, IDLE, LOAD, RAISED, Memory, State
from tests.model.weeks import by_part, oil_per_cent, richness

SLIP = 0.03
UNSURE = 0.04

There = str | float | Mapping[int, str] | Mapping[int, float] | None
Observer = Callable[[Bench], There]
OBSERVERS: dict[str, Observer] = {}
READ = 0.012  # standard deviation of a trim read off a moving display


def sees(*names: str) -> Callable[[Observer], Observer]:
    """Registers an observer for checks that read the same thing."""

    def register(observer: Observer) -> Observer:
        for name in names:
            OBSERVERS[name] = observer
        return observer

    return register


@dataclass(frozen=True)
class Seen:
    """What is told: outcomes by place (0: the engine), or numbers by place. sure: as the rules call it."""

    outcomes: Mapping[int, str]
    numbers: Mapping[int, float]
    sure: str
    slipped: bool = False


def observe(bench: Bench, name: str, outcomes: Sequence[str]) -> Seen | None:
    """What the technician says to a check; None for `can't tell`."""
    observer = OBSERVERS.get(name)
    if observer is None:
        return None
    bench = replace(bench, check=name)
    there = observer(bench)
    dice = bench.dice("technician")
    unsure = dice.random()
    if there is None or unsure < UNSURE:
        return None
    sure = "sure" if dice.random() < 0.88 else "think so"
    if isinstance(there, int | float):
        there = {0: float(there)}
    if isinstance(there, str):
        there = {0: there}
    numbers = {p: v for p, v in there.items() if not isinstance(v, str)}
    if numbers:
        return Seen({}, {p: float(v) for p, v in numbers.items()}, sure)
    said = {p: str(v) for p, v in there.items()}
    if bench.place:
        said = {p: v for p, v in said.items() if p == bench.place}
    slipped = dice.random() < SLIP
    if slipped and said:
        place = dice.choice(sorted(said))
        others = [o for o in outcomes if o != said[place]]
        said[place] = dice.choice(others)
    return Seen(said, {}, sure, slipped)


def likely(bench: Bench, chance: float, *what: object) -> bool:
    return bench.dice("likely", *what).random() < chance


# ---- the controller's memory: frame and story ------------------------------------------------------------------------


@sees("freeze-frame")
def freeze_frame(b: Bench) -> There:
    f = b.past.frame
    if f is None:
        return "none"
    if f.coolant < 60:
        return "cold"
    if f.load > 70:
        return "high-load"
    return "idle" if f.speed < 5 and f.rpm < 1300 else "light-load"


@sees("freeze-frame-again")
def freeze_frame_again(b: Bench) -> There:
    """This controller keeps one frame, that of the first code of the mixture."""
    return "none"


@sees("freeze-frame-start")
def freeze_frame_start(b: Bench) -> There:
    f = b.past.frame
    if f is None:
        return None
    if f.hot_start and f.since_start <= 6:
        return "hot-start"
    return "warming-up" if f.since_start < 15 and not f.hot_start else "later"


def framed(b: Bench, what: str, shown: float) -> State | None:
    """The state that was frozen with the first code of the mixture, if this maker's frame shows such a value."""
    frame = b.past.frame
    return frame.state if frame is not None and b.car.dice("frame shows", what).random() < shown else None


@sees("frame-trims")
def frame_trims(b: Bench) -> There:
    s = framed(b, "trims", 0.9)
    if s is None:
        return None

    def one(bank: int) -> str:
        short, long = s.short[bank - 1], s.long[bank - 1]
        if short < -0.05:
            return "overshot" if long > 0.05 else "steady" if long < -0.05 else "fresh"
        if long < -0.05:
            return "steady"
        return "added" if short + long > 0.08 else "none"

    return b.by_bank(one)


@sees("frame-loop")
def frame_loop(b: Bench) -> There:
    s = framed(b, "loop", 0.9)
    if s is None:
        return None
    if not s.open_loop:
        return "closed"
    return "cold" if s.coolant_read < 60 else "load"


@sees("frame-coolant")
def frame_coolant(b: Bench) -> There:
    s = framed(b, "coolant", 1.0)
    if s is None:
        return None
    if s.coolant_read < s.now.ambient - 4:
        return "impossible"
    return "cool" if s.coolant_read < s.now.coolant - 15 else "hot" if s.coolant_read > 105 else "fits"


@sees("frame-intake-air")
def frame_intake_air(b: Bench) -> There:
    """Where the frame shows it and somebody knows that day's weather."""
    s = framed(b, "intake", 0.5)
    return None if s is None else "cold" if s.intake_read < s.now.ambient - 6 else "fits"


@sees("frame-air")
def frame_air(b: Bench) -> There:
    s = framed(b, "air", 0.9)
    if s is None:
        return None
    sound = engine.run(b.car, b.car.broken.scaled(0.0), s.now)
    more = s.air_read / sound.air_read - 1 if b.car.profile.meters_air else s.manifold_read / sound.manifold_read - 1
    more += b.dice("usual").gauss(0, 0.08)
    return "high" if more > 0.18 else "low" if more < -0.18 else "fits"


@sees("frame-amount")
def frame_amount(b: Bench) -> There:
    """By the frame's own figures, as somebody reckons it: load and speed against those of an idle."""
    s, f = framed(b, "trims", 0.9), b.past.frame
    if s is None or f is None:
        return None
    taken = -min(short + long for short, long in zip(s.short, s.long, strict=True))
    if taken < 0.1:
        return None
    return "more" if taken * f.load * f.rpm > 22 * 750 else "bearable"


@sees("frame-air-now")
def frame_air_now(b: Bench) -> There:
    """Of a frame from a warm idle: against the same car with what comes and goes gone; what is built wrong stays."""
    s, f = framed(b, "air", 0.9), b.past.frame
    if s is None or f is None or f.speed > 5 or f.coolant < 70 or f.rpm > 1300:
        return None
    own = engine.run(b.car, b.car.broken if b.car.acts.base >= 1 else b.car.broken.scaled(0.0), s.now)
    more = s.air_read / own.air_read - 1 if b.car.profile.meters_air else s.manifold_read / own.manifold_read - 1
    more += b.dice("usual").gauss(0, 0.08)
    return "high" if more > 0.25 else "low" if more < -0.25 else "fits"


@sees(
    "renewed-purge-valve",
    "renewed-injectors",
    "renewed-upstream-sensor",
    "renewed-air-sensor",
    "renewed-coolant-sensor",
    "renewed-thermostat",
    "renewed-fuel-pump",
    "renewed-recirculation-valve",
    "renewed-plugs-coils",
)
def renewed(b: Bench) -> There:
    """Nobody has renewed anything on these cars; what was done to them is in `work_before`."""
    return "none"


@sees("renewed-injector-where")
def renewed_where(b: Bench) -> There:
    return b.by_cylinder(lambda _: "old")


@sees("frame-rail")
def frame_rail(b: Bench) -> There:
    s = framed(b, "rail", 0.6)
    if s is None:
        return None
    return "above" if s.rail_read > 1.15 * s.rail_target else "at-target"


@sees("frame-purge")
def frame_purge(b: Bench) -> There:
    s = framed(b, "purge", 0.35)
    if s is None:
        return None
    return "open" if s.purge_duty > 0 else "zero"


@sees("frame-fuel-level")
def frame_level(b: Bench) -> There:
    s = framed(b, "level", 0.4)
    if s is None:
        return None
    level = 1.0 if s.now.refuelled else b.dice("level").random()
    return "full" if level > 0.85 else "low" if level < 0.15 else "middle"


@sees("frame-barometer")
def frame_barometer(b: Bench) -> There:
    return "fits" if framed(b, "barometer", 0.5) is not None else None


@sees("frame-rear")
def frame_rear(b: Bench) -> There:
    s = framed(b, "rear", 0.35)
    if s is None:
        return None
    return b.by_bank(lambda bank: "rich" if s.rear[bank - 1] > 0.8 else "lean" if s.rear[bank - 1] < 0.2 else "middle")


@sees("log-several-days")
def log_several_days(b: Bench) -> There:
    idle, restart = richness(b.past, 1, "idle"), richness(b.past, 0, "hot restart")
    pulling = richness(b.past, 1, "pulling")
    if max(idle, restart, pulling, richness(b.past, 1, "cruise")) < 0.03 or b.car.acts.once or not likely(b, 0.9):
        return "nothing"
    if b.car.acts.jumps and likely(b, 0.7, "jumps"):
        return "jumps"
    cold = richness(b.past, 0, "cold") + richness(b.past, 0, "warming")
    if cold > 4 * max(richness(b.past, 0, "warm"), 0.02):
        return "cold"
    if restart > 2 * max(idle, 0.02):
        return "hot-restart"
    if pulling > 2 * max(idle, 0.02):
        return "load"
    return "idle" if idle > 0.03 else "nothing"


def stands_out(b: Bench, part: int, names: Sequence[str]) -> str | None:
    """The circumstance in which most of it is noticed, if people would see that: more than its share of the driving,
    and more than half. None where nothing was noticed but the lamp, or nothing stands out."""
    seen, driven = by_part(b.past.noticed, part), by_part(b.past.minutes, part)
    total = sum(seen.values())
    if total < 2:
        return None
    name = max(names, key=lambda n: seen[n])
    share, exposure = seen[name] / total, driven[name] / max(sum(driven.values()), 1)
    return name if share > 0.5 and share > 1.3 * exposure and likely(b, 0.85, part) else None


@sees("how-warm")
def how_warm(b: Bench) -> There:
    found = stands_out(b, 0, ("cold", "warming", "hot restart", "warm"))
    return {None: "no-link", "hot restart": "hot-restart", "warming": "warming-up"}.get(found, found)


@sees("doing-what")
def doing_what(b: Bench) -> There:
    return stands_out(b, 1, ("idle", "cruise", "pulling")) or "no-link"


@sees("happens-in-damp")
def in_damp(b: Bench) -> There:
    seen = sum(b.past.noticed.values())
    if seen < 3:
        return None if seen else "no"
    return "yes" if b.past.circumstance["damp"] / seen > 0.6 and b.past.damp_days < 0.6 * b.past.days else "no"


@sees("happens-on-bumps")
def on_bumps(b: Bench) -> There:
    return "yes" if (b.car.acts.shaken > 1 and b.car.acts.jumps and likely(b, 0.4)) or likely(b, 0.03, "so") else "no"


@sees("happens-with-consumers")
def with_consumers(b: Bench) -> There:
    return "yes" if likely(b, 0.3 if b.car.broken.earth_shift else 0.03) else "no"


@sees("fan-or-gauge")
def fan_or_gauge(b: Bench) -> There:
    x = b.car.broken
    if x.coolant_ohms and b.car.acts.jumps and likely(b, 0.6):
        return "fan" if likely(b, 0.5) else "gauge"
    return "gauge" if likely(b, 0.3 if x.coolant_ohms or x.earth_shift else 0.02) else "no"


@sees("down-on-power")
def down_on_power(b: Bench) -> There:
    x = b.car.broken
    if x.boost_leak:
        return "hiss" if likely(b, 0.45) else "weak" if likely(b, 0.6, "felt") else "no"
    return "weak" if likely(b, 0.25 if x.ignition or x.compression or x.cam_off else 0.06) else "no"


@sees("rattles-first-start")
def rattles(b: Bench) -> There:
    return "yes" if likely(b, 0.45 if b.car.broken.cam_off else 0.05) else "no"


@sees("happens-after-hard-run")
def after_hard_run(b: Bench) -> There:
    seen = sum(b.past.noticed.values())
    return "yes" if seen >= 3 and b.past.circumstance["hard"] / seen > 0.7 else "no"


@sees("slow-to-warm")
def slow_to_warm(b: Bench) -> There:
    return "yes" if likely(b, 0.05) else "no"


@sees("which-tailpipe")
def which_tailpipe(b: Bench) -> There:
    """One car in three has a pipe for each bank; people notice a bank that is a tenth richer than the other."""
    if len(b.banks) < 2 or b.car.dice("two pipes").random() > 0.35:
        return None
    lam = b.with_(broken=b.car.broken, point=IDLE, coolant=90.0).behind
    return b.by_bank(lambda bank: "worse" if lam[bank - 1] < 0.9 * max(lam) and likely(b, 0.6) else "alike")


def at_the_tailpipe(b: Bench) -> float:
    """Lambda of the richest bank at a warm idle, while it shows."""
    return min(b.with_(broken=b.car.broken, point=IDLE, coolant=90.0).behind)


@sees("fuel-use")
def fuel_use(b: Bench) -> There:
    """A tenth more is noticed by one owner in two, where it is rich for long; and some say it whatever is wrong."""
    rich = at_the_tailpipe(b) < 0.92 and b.car.acts.base >= 0.5
    return "yes" if (rich and likely(b, 0.5)) or likely(b, 0.12, "winter") else "no"


@sees("emissions-test")
def emissions_test(b: Bench) -> There:
    """One car in eight comes from a test; the limit of lambda is 0.97 at raised speed, and much the same at idle."""
    tested = likely(b, 0.12, "was it tested")
    lam = at_the_tailpipe(b)
    return "none" if not tested else "co" if lam < 0.97 else "lambda-high" if lam > 1.03 else "none"


@sees("happens-with-little-fuel")
def with_little_fuel(b: Bench) -> There:
    return "yes" if likely(b, 0.03) else "no"


@sees("heat-or-height")
def heat_or_height(b: Bench) -> There:
    return "yes" if b.car.ambient > 24 or likely(b, 0.05) else "no"


@sees("comes-back")
def comes_back(b: Bench) -> There:
    if b.car.acts.once or (b.car.acts.base < 0.3 and likely(b, 0.3)):
        return "once"
    base = b.car.acts.base
    return "gaps" if likely(b, 0.7 if base < 0.5 else 0.4 if base < 1 else 0.2, "gaps") else "again"


@sees("mended-since")
def mended_since(b: Bench) -> There:
    return "back" if likely(b, 0.2 if b.car.work_before else 0.07) else "none"


@sees("code-still-live")
def still_live(b: Bench) -> There:
    """Pending goes with the next drive that passes: what acts on every drive is pending as well."""
    if not b.past.codes:
        return None
    acts = b.car.acts
    return "old" if likely(b, 0.7 if acts.once else 0.03 if acts.base >= 1 else 0.5 * (1 - acts.base)) else "live"


@sees("smell")
def smells_of(b: Bench) -> There:
    if (b.car.broken.vent_blocked or b.car.broken.canister or b.car.broken.overfilled) and likely(b, 0.5):
        return "tank"
    return "tailpipe" if b.past.seen["smell"] >= 2 else "none"


@sees("smoke")
def smoke(b: Bench) -> There:
    if b.car.broken.oil_drawn and likely(b, 0.8):
        return "blue"
    return "black" if b.past.seen["smoke"] >= 2 else "none"


@sees("fuel-lately")
def fuel_lately(b: Bench) -> There:
    return "other-blend" if (b.car.broken.ethanol_over and likely(b, 0.6)) or likely(b, 0.06, "so") else "usual"


@sees("recent-work-elsewhere")
def work_elsewhere(b: Bench) -> There:
    if b.car.work_before in ("fuel feed", "cooling"):
        return b.car.work_before.replace(" ", "-")
    if b.car.broken.oil_over and likely(b, 0.4, "filled up"):
        return "oil"
    return (
        b.dice("elsewhere").choice(("cooling", "electrics", "plugs", "fuel-feed", "oil")) if likely(b, 0.15) else "none"
    )


@sees("rich-on-which-fuel")
def on_which_fuel(b: Bench) -> There:
    if b.car.broken.gas_leak:
        return "petrol" if likely(b, 0.5) else "both"  # it comes past a shut valve, on top of the petrol
    return "petrol" if likely(b, 0.2, "so") else "both"


@sees("since-that-work")
def since_work(b: Bench) -> There:
    """What work brought in is noticed within weeks; other work lies anywhere in the last year."""
    if b.car.work_before:
        return round(b.dice("driven").expovariate(1 / 1200))
    return round(b.dice("driven").uniform(100, 13000)) if likely(b, 0.3) else "far"


@sees("not-as-built")
def not_as_built(b: Bench) -> There:
    if b.car.broken.gas_leak:
        return "gas"
    if b.car.broken.flow_all:
        return "other-parts" if likely(b, 0.6) else "remap"
    return "remap" if likely(b, 0.03, "so") else "as-built"


@sees("happens-after-refuelling")
def after_filling(b: Bench) -> There:
    p = b.past
    if not p.fills:
        return "no"
    here = p.rich_after_fill / max(p.minutes_after_fill, 1)
    overall = sum(p.rich.values()) / max(sum(p.minutes.values()), 1)
    return "yes" if here > 2 * overall + 0.05 and sum(p.noticed.values()) and likely(b, 0.6) else "no"


@sees("smell-of-fuel")
def smell(b: Bench) -> There:
    vapour = b.car.broken.vent_blocked > 0.5 or b.car.broken.canister > 0.6
    return "yes" if b.past.seen["smell"] >= 2 or (vapour and likely(b, 0.5)) else "no"


@sees("hard-hot-start")
def hard_hot_start(b: Bench) -> There:
    return "yes" if b.past.seen["hard start"] >= 2 and likely(b, 0.85) else "no"


@sees("rough-after-restart")
def rough_after_restart(b: Bench) -> There:
    if richness(b.past, 0, "hot restart") > 0.35 and by_part(b.past.noticed, 0)["hot restart"]:
        return "minutes"
    return "seconds" if b.past.seen["rough start"] >= 2 else "smooth"


@sees("recovers-by-itself")
def recovers(b: Bench) -> There:
    if not sum(b.past.noticed.values()):
        return None
    if b.car.acts.base >= 1 and richness(b.past, 1, "idle") > 0.6:
        return "stays"
    if b.car.acts.jumps and likely(b, 0.6):
        return "at-once"
    ends = b.past.ended
    if ends["next drive"] > 0.6 * sum(ends.values()):
        return "next-drive" if likely(b, 0.8) else "stays"
    return "minutes"


@sees("recent-work-injectors")
def work_injectors(b: Bench) -> There:
    return "yes" if b.car.work_before == "injectors" or likely(b, 0.05) else "no"


@sees("injectors-worked-on")
def injectors_worked_on(b: Bench) -> There:
    """The one that is wrong where such work brought it in, else all of them or one."""
    x = b.car.broken
    if b.car.work_before == "injectors" and any(map(x.at, b.cylinders)):
        return b.by_cylinder(lambda c: "worked" if x.at(c) else "left")
    one = b.dice("which injector").choice(b.cylinders)
    every = likely(b, 0.4)
    return b.by_cylinder(lambda c: "worked" if every or c == one else "left")


@sees("recent-work-other")
def work_other(b: Bench) -> There:
    said = {"air": "air-side", "exhaust": "exhaust", "lean": "lean-repair"}.get(b.car.work_before)
    if said:
        return said
    return b.dice("other work").choice(("air-side", "exhaust", "engine")) if likely(b, 0.12) else "none"


@sees("recent-refuelling-habit")
def filling_habit(b: Bench) -> There:
    if b.car.broken.vent_blocked > 0.5 and likely(b, 0.6):
        return "clicks-early"
    return "first-click" if b.past.first_click else "past-click"


@sees("short-trips")
def short_trips(b: Bench) -> There:
    return "yes" if b.past.pattern == "short" else "no"


@sees("long-run-helps")
def long_run(b: Bench) -> There:
    p = b.past
    if p.minutes_after_long < 60 or not sum(p.noticed.values()):
        return "no"
    after = p.rich_after_long / max(p.minutes_after_long, 1)
    overall = sum(p.rich.values()) / max(sum(p.minutes.values()), 1)
    return "yes" if after < 0.5 * overall and likely(b, 0.5) else "no"


@sees("exhaust-ticks-cold")
def exhaust_ticks(b: Bench) -> There:
    return "yes" if (b.car.broken.exhaust_leak > 0.1 and likely(b, 0.65)) or likely(b, 0.05, "tappets") else "no"


@sees("battery-disconnected-lately")
def battery_off(b: Bench) -> There:
    return "yes" if likely(b, 0.08) else "no"


@sees("oil-level-rising")
def oil_rising(b: Bench) -> There:
    return "yes" if b.past.oil_rise > 200 and likely(b, 0.6) else "no"


# ---- trims and lambda ------------------------------------------------------------------------------------------------


def read_trim(b: Bench, trim: float, *what: object) -> float:
    return round(100 * (trim + b.dice("trim", *what).gauss(0, READ)), 1)


@sees("trim-idle", "trim-2500", "trim-cruise", "trim-load")
def trims(b: Bench) -> There:
    if b.state.open_loop:
        return None
    return {bank: read_trim(b, b.state.trim[bank - 1], bank) for bank in b.banks}


@sees("trims-by-airflow")
def trims_by_airflow(b: Bench) -> There:
    states = b.drive(IDLE, RAISED, CRUISE, LOAD)

    def one(bank: int) -> str:
        idle, raised, cruise, load = (read_trim(b, s.trim[bank - 1], bank, i) for i, s in enumerate(states))
        if states[3].open_loop:
            load = cruise  # the loop is open: nothing is read there
        if idle < -8 and max(cruise, load) > 5:
            return "crosses"
        if min(idle, raised, cruise, load) > -10:
            return "lean" if max(idle, raised, cruise, load) > 10 else "normal"
        if min(cruise, load) < idle - 6 and load < -10:
            return "rises"
        if idle > -10:
            return "flat" if cruise < -8 else "normal"
        if raised / idle < 0.6:
            return "fades"
        return "fades-with-load" if cruise / idle < 0.72 else "flat"

    return b.by_bank(one)


@sees("short-vs-long")
def short_vs_long(b: Bench) -> There:
    if b.state.open_loop:
        return None

    def one(bank: int) -> str:
        short, long = b.state.short[bank - 1], b.state.long[bank - 1]
        total = short + long
        if short < -0.05 and long > -0.08:
            return "overshoots" if long > 0.05 else "fresh"
        if long < -0.05 and total < -0.08:  # what is always there is learned whole, and the short one comes to zero
            return "steady"
        if long < -0.05 and short > 0.03 and total < 0.08:
            return "recovering"
        return "quiet" if abs(short) < 0.05 and abs(long) < 0.11 and abs(total) < 0.10 else "added"

    return b.by_bank(one)


@sees("banks-opposite")
def banks_opposite(b: Bench) -> There:
    s = b.state if b.state.running else b.with_(point=IDLE, coolant=90.0)
    coded = {"P0172", "P0174"} <= set(b.past.codes) or {"P0171", "P0175"} <= set(b.past.codes)
    if coded or (max(s.trim) > 0.15 and min(s.trim) < -0.15):
        return "opposite"
    return "shared" if max(s.trim) > 0.05 and min(s.trim) < -0.05 else "no"


@sees("trim-follows-purge")
def follows_purge(b: Bench) -> There:
    if b.state.open_loop:
        return None
    shut, opened = b.with_(purge=0.0), b.with_(purge=0.5)
    moves = min(o - s for o, s in zip(opened.trim, shut.trim, strict=True)) + b.dice("trim").gauss(0, READ)
    return "follows" if moves < -0.05 else "no-link"


@sees("trim-as-it-warms")
def as_it_warms(b: Bench) -> There:
    """Idle as soon as the loop is closed, and after a quarter of an hour: the oil follows the coolant. Either bank."""
    first, warm = (b.with_(point=IDLE, coolant=c, oil=o, purge=0.0) for c, o in ((40.0, 25.0), (90.0, 85.0)))
    if first.open_loop or warm.open_loop:
        return None
    change = max((w - f for f, w in zip(first.trim, warm.trim, strict=True)), key=abs) + b.dice("warms").gauss(0, READ)
    return "comes" if change < -0.04 else "goes" if change > 0.04 else "same"


@sees("lambda-against-target")
def lambda_target(b: Bench) -> There:
    if b.state.open_loop:
        return None

    def one(bank: int) -> str:
        off = b.state.sensed[bank - 1] - 1 + b.dice("lambda", bank).gauss(0, 0.008)
        return "richer" if off < -0.03 else "leaner" if off > 0.03 else "follows"

    return b.by_bank(one)


@sees("rear-sensor-watched")
def rear_sensor(b: Bench) -> There:
    """Volts, or that it swings: a worn catalyst lets the front sensor's swings through."""
    if b.car.dice("catalyst").random() < 0.12:
        return b.by_bank(lambda bank: "swings")
    return {
        bank: round(min(0.95, max(0.03, b.state.rear[bank - 1] + b.dice("rear", bank).gauss(0, 0.05))), 2)
        for bank in b.banks
    }


@sees("rear-trim-read")
def rear_trim(b: Bench) -> There:
    """Some per cent towards what the gas behind the catalyst is off by, where a maker shows it at all."""
    if b.state.open_loop or b.car.dice("rear trim is shown").random() < 0.5:
        return None
    return {
        bank: round(max(-4.0, min(4.0, 60 * (b.state.lam[bank - 1] - 1))) + b.dice("rear trim", bank).gauss(0, 0.4), 1)
        for bank in b.banks
    }


@sees("signal-key-on")
def signal_key_on(b: Bench) -> There:
    wet = b.broken.sensor_bias > 0 and b.car.acts.jumps
    return b.by_bank(lambda bank: "high" if wet and b.broken.place == bank and likely(b, 0.8) else "rests")


@sees("sensor-unplugged")
def sensor_unplugged(b: Bench) -> There:
    """Open loop without learned values: the gas says what base map, air and fuel really come to."""
    s = b.with_(memory=Memory(), unplugged=True)

    def one(bank: int) -> str:
        lam = s.lam[bank - 1] + b.dice("gas", bank).gauss(0, 0.015)
        return "rich" if lam < 0.94 else "lean" if lam > 1.06 else "right"

    return b.by_bank(one)


@sees("overrun-watched")
def overrun(b: Bench) -> There:
    back = b.with_(point=IDLE)

    def one(bank: int) -> str:
        if b.broken.sensor_bias > 0.33 and b.broken.place == bank and likely(b, 0.5):
            return "not-lean"
        leaks = any(engine.leaking(b.car, b.broken, b.now, c) > 2500 for c in b.car.profile.banks[bank - 1])
        if leaks or back.wanted[bank - 1] < -0.25 or b.broken.rail_over > 1.5:
            return "rich-return" if likely(b, 0.6) else "full-lean"
        return "full-lean"

    return b.by_bank(one)


@sees("hot-restart-watched")
def hot_restart(b: Bench) -> There:
    spilt = engine.drained(b.car, b.broken, b.now)

    def one(bank: int) -> str:
        trim = read_trim(b, b.state.trim[bank - 1], bank)
        if abs(trim) > 10:
            return "minutes" if trim < 0 else "lean"
        here = b.broken.worn or any(b.broken.at(c) for c in b.car.profile.banks[bank - 1])
        return "seconds" if spilt > 0.08 and here else "normal"

    return b.by_bank(one)


@sees("after-refuelling-watched")
def refuelling_watched(b: Bench) -> There:
    def one(bank: int) -> str:
        trim = read_trim(b, b.state.trim[bank - 1], bank)
        return "rich" if trim < -10 else "lean" if trim > 10 else "normal"

    return b.by_bank(one)


@sees("relearn-drive")
def relearn(b: Bench) -> There:
    """A drive that relearns has idling in it as well as cruising."""
    trims_ = [t for point in (IDLE, CRUISE) for t in b.with_(memory=Memory(), point=point).trim]
    return "rich-again" if min(trims_) < -0.1 else "lean-again" if max(trims_) > 0.1 else "near-zero"


# ---- misfires and balance --------------------------------------------------------------------------------------------


@sees("hot-restart-misfire")
def hot_restart_misfire(b: Bench) -> There:
    spilt = engine.drained(b.car, b.broken, b.now)
    return b.by_cylinder(
        lambda c: "misfires" if (b.broken.at(c) and spilt > 0.08) or b.state.misses[c - 1] > 0.02 else "even"
    )


@sees("misfires-watched")
def misfires(b: Bench) -> There:
    return b.by_cylinder(lambda c: "misfires" if b.state.misses[c - 1] > 0.015 else "even")


@sees("misfire-counts")
def misfire_counts(b: Bench) -> There:
    counts = b.past.counts
    usual = median(counts.values()) if counts else 0.0
    return b.by_cylinder(lambda c: "raised" if counts.get(c, 0) > 5 and counts[c] > 3 * max(usual, 1) else "low")


@sees("balance-test", "injector-unplugged")
def balance(b: Bench) -> There:
    """Each cut in turn: by how much the speed falls. (The trim swings lean at every cut, whichever it is: a charge of
    air goes out unburnt.)"""
    mean = sum(b.state.torque) / len(b.state.torque)

    def one(c: int) -> str:
        drop = b.state.torque[c - 1] / mean + b.dice("drop", c).gauss(0, 0.08)
        return "weak" if drop < 0.75 else "strong" if drop > 1.3 else "even"

    return b.by_cylinder(one)


@sees("injectors-listened")
def listened(b: Bench) -> There:
    x = b.broken
    silent, dull = x.flow < -0.4, x.late_ms or x.held_ms

    def one(c: int) -> str:
        return "different" if x.at(c) and (silent or (dull and likely(b, 0.3, c))) else "alike"

    return b.by_cylinder(one)


@sees("against-own-quiet")
def own_quiet(b: Bench) -> There:
    """Against the same car when it ran right, where it ever does: what the reader shows beside the trims."""
    if not b.rich_now:
        return "same"
    if b.car.acts.base >= 1:
        return None
    right = b.with_(broken=b.car.broken.scaled(0.0))
    air = b.state.air_read > 1.08 * right.air_read or b.state.manifold_read > right.manifold_read + 3
    off = max(right.coolant_read - b.state.coolant_read, right.intake_read - b.state.intake_read)
    if air:
        return "several" if off > 4 else "air"  # beside a jump in air some degrees are seen too
    if off > 8:
        return "temperature"
    if b.car.profile.direct and abs(b.state.rail_read / right.rail_read - 1) > 0.08:
        return "pressure"
    return "only-trim"


# ---- air -------------------------------------------------------------------------------------------------------------


@sees("airflow-against-displacement")
def against_displacement(b: Bench) -> There:
    swept = b.car.profile.litres * b.now.point.rpm / 120 * 1.18
    return round(100 * b.state.air_read / swept * (1 + b.dice("ve").gauss(0, 0.03)), 1)


@sees("airflow-at-idle")
def air_at_idle(b: Bench) -> There:
    return round(b.state.air_read / b.car.profile.litres * (1 + b.dice("air").gauss(0, 0.05)), 2)


@sees("airflow-meter-at-rest")
def meter_at_rest(b: Bench) -> There:
    """No air flows: a wrong housing or dirt counts nothing. A contact lets go when it is moved, or is bad by itself."""
    x = b.car.broken
    contact = b.car.acts.jumps and (x.meter_gain or x.earth_shift)
    if contact and likely(b, 0.65):
        return "jumps"
    return "shifted" if x.wrong_part and x.meter_gain and likely(b, 0.2, "offset") else "right"


@sees("airflow-meter-unplugged")
def meter_unplugged(b: Bench) -> There:
    return undone(b, b.with_(meter_off=True), "right")


@sees("manifold-pressure-full-load")
def full_load_pressure(b: Bench) -> There:
    return round(b.state.manifold_read - engine.BARO + b.dice("kpa").gauss(0, 1.0), 1)


@sees("manifold-pressure-key-on")
def pressures_at_rest(b: Bench) -> There:
    off = b.state.manifold_read - engine.BARO + b.dice("kpa").gauss(0, 0.8)
    return "manifold-high" if off > 3 else "agree"


@sees("manifold-pressure-idle")
def manifold_idle(b: Bench) -> There:
    return round(b.state.manifold_read + b.dice("kpa").gauss(0, 1.0), 1)


@sees("manifold-pressure-gauge")
def by_gauge(b: Bench) -> There:
    return round(b.state.manifold_read - b.state.manifold + b.dice("gauge").gauss(0, 1.3), 1)


@sees("intake-filter-look")
def filter_look(b: Bench) -> There:
    x = b.car.broken
    if (x.meter_fouled and likely(b, 0.6)) or (
        x.meter_gain and not x.wrong_part and b.car.acts.base >= 1 and likely(b, 0.5, "filter")
    ):
        return "film"
    return "blocked" if likely(b, 0.04, "dirty") else "free"


@sees("intake-smoke-test")
def smoke_test(b: Bench) -> There:
    return "leaks" if (b.car.broken.vacuum_leak or b.car.broken.ring_air) and likely(b, 0.85) else "tight"


@sees("sensor-part-number")
def sensor_numbers(b: Bench) -> There:
    return "other" if b.car.broken.wrong_part and likely(b, 0.85) else "right"


@sees("hoses-against-drawing")
def hoses(b: Bench) -> There:
    if b.car.broken.hose_by and likely(b, 0.8):
        return "swapped"
    pinched = b.car.broken.pinched_return and b.car.broken.low_over
    return "pinched" if pinched and likely(b, 0.7) else "right"


@sees("charge-air-look")
def charge_look(b: Bench) -> There:
    if b.car.broken.boost_leak and likely(b, 0.7):
        return "open"
    return "suspect" if likely(b, 0.12, "old oil") else "sound"


@sees("charge-air-leak-test")
def charge_test(b: Bench) -> There:
    return "leaks" if b.car.broken.boost_leak and likely(b, 0.92) else "tight"


@sees("recirculating-valve-look")
def bypass_look(b: Bench) -> There:
    return "outside" if b.car.broken.vents else "back"


@sees("recirculation-blocked-off")
def recirculation_blanked(b: Bench) -> There:
    return undone(b, b.with_(egr_off=True), "recovers")


@sees("secondary-air-shut")
def secondary_air_shut(b: Bench) -> There:
    if max(b.state.trim) < 0.08:
        return "not-off"
    after = b.with_(broken=replace(b.broken, secondary_air=0.0))
    return "recovers" if max(b.state.trim) - max(after.trim) > 0.06 else "same"


@sees("gas-supply-shut")
def gas_supply_shut(b: Bench) -> There:
    return undone(b, b.with_(broken=replace(b.broken, gas_leak=0.0)), "recovers")


@sees("recirculation-unplugged")
def recirculation_unplugged(b: Bench) -> There:
    """A valve that hangs stays where it hangs; only one that is driven open comes back."""
    hangs = not likely(b, 0.25)
    return undone(b, b.state if hangs else b.with_(egr_off=True), "recovers")


@sees("recirculation-pipe-heat")
def recirculation_pipe(b: Bench) -> There:
    """A pipe with a tenth of the engine's gas in it is hot; now and then the spot is badly chosen."""
    if not b.rich_now:
        return "not-rich"
    hot = engine.recirculated(b.broken, b.now) > 0.06 and likely(b, 0.9, "spot")
    return "hot" if hot or likely(b, 0.04, "beside the exhaust") else "cool"


@sees("recirculation-position")
def recirculation_position(b: Bench) -> There:
    """Six valves in ten have a position sensor. What comes through by another way than its seat it does not see."""
    if b.car.dice("position sensor").random() > 0.6:
        return None
    return "open" if engine.recirculated(b.broken, b.now) > 0.06 and likely(b, 0.9, "seen") else "shut"


@sees("recirculation-by-hand")
def recirculation_by_hand(b: Bench) -> There:
    """Ten strokes of a hot valve: one that sticks by itself hangs oftener than not, and is pressed shut then."""
    sticks = b.car.broken.egr_share and b.now.bay - b.now.ambient > 20 and likely(b, 0.9 if b.act else 0.55)
    return "hangs" if sticks else "closes"


@sees("recirculation-valve-out")
def recirculation_out(b: Bench) -> There:
    return "sticks" if b.car.broken.egr_share and likely(b, 0.65) else "sound"


@sees("throttle-signals-swept")
def signals_swept(b: Bench) -> There:
    return "jumps" if b.car.broken.throttle_jumps and likely(b, 0.75) else "smooth"


@sees("boost-against-target")
def boost_reached(b: Bench) -> There:
    short = b.broken.boost_leak and likely(b, 0.7)
    return "below" if short or likely(b, 0.06, "own control") else "met"


@sees("timing-correlation", "cam-angle-watched")
def timing(b: Bench) -> There:
    return b.by_bank(lambda bank: "off" if b.broken.cam_off > 0.1 and b.broken.place == bank else "right")


# ---- temperatures ----------------------------------------------------------------------------------------------------


@sees("sensors-after-cold-soak")
def cold_soak(b: Bench) -> There:
    if b.now.ambient - b.state.coolant_read + b.dice("a").gauss(0, 1) > 5:
        return "coolant-low"
    return "intake-low" if b.now.ambient - b.state.intake_read + b.dice("b").gauss(0, 1) > 5 else "agree"


@sees("live-temperatures")
def live_temperatures(b: Bench) -> There:
    if b.state.coolant_read < 72:
        return "coolant-open" if b.state.coolant_read <= -25 else "coolant-low"
    if b.state.intake_read >= b.now.ambient - 3:
        return "right"
    return "intake-open" if b.state.intake_read <= -25 else "intake-low"


@sees("coolant-against-thermometer", "coolant-as-it-warms")
def thermometer(b: Bench) -> There:
    if b.state.coolant_read <= -25:
        return "reads-open"
    return "reads-low" if b.now.coolant - b.state.coolant_read + b.dice("a").gauss(0, 3) > 10 else "agree"


@sees("warm-up-curve")
def warm_up(b: Bench) -> There:
    return "reads-wrong" if b.now.coolant - b.state.coolant_read > 12 else "normal"


# ---- vapour and oil --------------------------------------------------------------------------------------------------


def undone(b: Bench, after: State, name: str, in_part: str = "") -> str:
    """What the trim does when something is taken away, and when it is put back: `name` where it returns and goes rich
    again, `in_part` where it is then still rich. Now and then what comes and goes has gone by itself meanwhile."""
    if not b.rich_now:
        return "not-rich"
    if b.car.acts.base < 0.6 and likely(b, 0.08, "gone by itself"):
        return "not-again"
    before, then = min(b.state.trim), min(after.trim)
    if in_part and then < -0.10 and then - before > max(0.05, 0.2 * -before):
        return in_part
    return name if came_back(b, after) else "same"


def came_back(b: Bench, after: State) -> bool:
    """Whether a trim that was away has come back, as a display shows it."""
    before, then = min(b.state.trim), min(after.trim)
    return then - before > max(0.05, 0.45 * -before) + b.dice("back").gauss(0, READ)


@sees("purge-pinched")
def purge_pinched(b: Bench) -> There:
    return undone(b, b.with_(purge_pinched=True), "recovers", "partly")


@sees("purge-unplugged")
def purge_unplugged(b: Bench) -> There:
    return undone(b, b.with_(purge=0.0), "recovers", "partly")


@sees("crankcase-vent-off")
def vent_off(b: Bench) -> There:
    return undone(b, b.with_(breather_off=True), "recovers", "partly")


@sees("purge-at-zero")
def purge_at_zero(b: Bench) -> There:
    shut = b.with_(purge=0.0)

    def one(bank: int) -> str:
        if read_trim(b, shut.trim[bank - 1], bank, "shut") < -10:
            return "still-rich"
        trim = read_trim(b, b.state.trim[bank - 1], bank)
        return "only-purging" if trim < -10 else "lean" if trim > 10 else "not-rich"

    return b.by_bank(one)


@sees("breather-hose-look")
def breather_hose(b: Bench) -> There:
    drawn = b.car.broken.oil_drawn and likely(b, 0.75)
    return "pool" if drawn or likely(b, 0.03, "old oil") else "film"


@sees("oil-cap-off")
def oil_cap(b: Bench) -> There:
    return "heavy" if b.broken.blow_by > 1 or likely(b, 0.04) else "light"


@sees("crankcase-vacuum")
def crankcase(b: Bench) -> There:
    bad = b.broken.oil_drawn and b.car.dice("breather").random() < 0.5
    return round(b.dice("gauge").gauss(7.0 if bad else 1.8, 0.7), 1)


@sees("purge-valve-holds-vacuum")
def purge_holds(b: Bench) -> There:
    return "leaks" if b.broken.purge_leak > 0.3 else "holds"


@sees("cap-opened")
def cap(b: Bench) -> There:
    if b.state.tank_vacuum > 2.5 and likely(b, 0.9):
        return "hiss"
    if not b.rich_now:
        return None
    return "recovers" if came_back(b, b.with_(cap_open=True)) else "nothing"


@sees("canister-weight")
def canister(b: Bench) -> There:
    return "heavy" if b.past.canister + b.car.broken.canister > 0.8 and likely(b, 0.85) else "light"


@sees("oil-sample")
def oil_sample(b: Bench) -> There:
    return round(max(0.0, oil_per_cent(b.past) + b.dice("laboratory").gauss(0, 0.3)), 1)


@sees("oil-level")
def oil_level(b: Bench) -> There:
    over = oil_per_cent(b.past) > 6 + b.dice("stick").gauss(0, 1) or b.car.broken.oil_over > 0.4
    over = over or (b.past.oil_rise > 200 and likely(b, 0.6, "noted at the last change"))
    return "above" if over else "low" if likely(b, 0.15) else "between"


@sees("oil-smell")
def oil_smell(b: Bench) -> There:
    return "fuel" if oil_per_cent(b.past) + b.dice("nose").gauss(0, 0.8) > 3.5 else "oil"


@sees("pump-seal-look")
def pump_seal(b: Bench) -> There:
    return "fuel" if (b.car.broken.pump_seal and likely(b, 0.8)) or likely(b, 0.03, "old") else "oily"


# ---- fuel pressure ---------------------------------------------------------------------------------------------------


@sees("rail-actual-vs-commanded")
def rail(b: Bench) -> There:
    s = b.state
    if s.rail_read > 1.1 * s.rail_target:
        return "runs-high"
    return "sensor-off" if b.broken.rail_reads_low > 0.2 and likely(b, 0.5) else "follows"


@sees("sensor-earth-drop")
def earth_drop(b: Bench) -> There:
    poor = b.car.broken.earth_shift and not b.car.broken.wrong_part
    return "off" if poor and (b.act or likely(b, 0.6)) and likely(b, 0.9, "meter") else "right"


@sees("charging-voltage")
def charging(b: Bench) -> There:
    return round(b.dice("meter").gauss(14.2, 0.25), 1)


@sees("rail-hold-hot", "rail-hold-cold")
def rail_hold(b: Bench) -> There:
    minutes = b.half_life() * (1 + b.dice("clock").gauss(0, 0.12))
    return round(min(60.0, max(0.02, minutes)), 2)


@sees("low-side-hold")
def low_side_hold(b: Bench) -> There:
    p = b.car.profile
    tips = not p.direct and engine.sealed_leak(b.car, b.broken, b.now) > 150
    if tips or b.broken.diaphragm or b.broken.damper or (b.broken.pump_seal and likely(b, 0.5)):
        return "rail"
    return "supply" if likely(b, 0.15, "check valve") else "holds"


@sees("low-side-pressure")
def low_side(b: Bench) -> There:
    over = b.broken.low_over + 1 / (1 - b.broken.low_reads_low) - 1 + b.dice("gauge").gauss(0, 0.03)
    if over > 0.12:
        return "disagrees" if b.broken.low_reads_low else "high"
    return "low" if over < -0.12 else "right"


@sees("regulator-hose")
def regulator_hose(b: Bench) -> There:
    if not likely(b, 0.85):  # a hole stays a hole, whether it draws just now or not
        return "dry"
    return "fuel" if b.car.broken.diaphragm else "damper" if b.car.broken.damper else "dry"


@sees("ethanol-share-read")
def ethanol_share(b: Bench) -> There:
    return "high" if b.car.broken.ethanol_over > 0.15 and likely(b, 0.9, "bills") else "fits"


@sees("fuel-sample")
def fuel_sample(b: Bench) -> There:
    if b.car.broken.ethanol_over > 0.1:
        return "less-ethanol" if likely(b, 0.92) else "as-expected"
    return "contaminated" if b.car.broken.bad_fuel > 0.2 and likely(b, 0.8) else "as-expected"


@sees("supply-voltage-compare")
def supply_voltage(b: Bench) -> There:
    return round(max(0.0, 0.12 + b.broken.volts + b.dice("volts").gauss(0, 0.06)), 2)


# ---- injectors and plugs ---------------------------------------------------------------------------------------------


@sees("heat-on-injector")
def heat(b: Bench) -> There:
    """Hot air on one injector at a time: what is worse when hot is brought to act there, if it can be reached."""
    reached = 0.35 if b.car.profile.direct else 0.6

    def one(c: int) -> str:
        worse = b.car.broken.at(c) and b.car.acts.hot > 1 and (b.car.broken.leak or b.car.broken.held_ms)
        if not worse or b.act or not likely(b, reached, c):
            return "same"  # where it acts already, heat brings nothing on
        return "stumbles" if likely(b, 0.5, "stumbles") else "falls"

    return b.by_cylinder(one)


@sees("injector-electrical")
def injector_electrical(b: Bench) -> There:
    return b.by_cylinder(lambda c: "off" if b.broken.held_ms and b.broken.at(c) and likely(b, 0.7, c) else "in-line")


@sees("injector-pulse-watched")
def pulse(b: Bench) -> There:
    usual = median(b.state.on_ms)
    return b.by_cylinder(lambda c: "longer" if b.state.on_ms[c - 1] > 1.15 * usual else "alike")


def drives_longer(b: Bench) -> bool:
    """Whether the fault of the unit, where it has one, is its output and not its program."""
    return b.car.dice("output, not program").random() < 0.5


@sees("injection-time-measured")
def injection_time(b: Bench) -> There:
    return "longer" if b.broken.unit_gain > 0.1 and drives_longer(b) and likely(b, 0.9) else "agrees"


@sees("control-unit-program")
def program(b: Bench) -> There:
    for_this = b.car.broken.unit_gain > 0 and not drives_longer(b) and likely(b, 0.85)
    return "newer" if for_this or likely(b, 0.04, "for something else") else "none"


@sees("injector-bench", "port-injector-bench")
def injector_bench(b: Bench) -> There:
    """Out and cold on a bench: a seat that leaks only in the head's heat mostly holds there."""
    x = b.car.broken

    def one(c: int) -> str:
        if (x.worn or (x.leak and x.at(c))) and likely(b, 0.85, c):
            return "leaks"
        if x.soak_leak and x.at(c) and likely(b, 0.3, c):
            return "leaks"
        late = x.at(c) and (x.late_ms or (x.flow > 0 and not x.value_only))
        return "flow-off" if late and likely(b, 0.85, c) else "good"

    return b.by_cylinder(one)


def swapped(b: Bench, acts: bool, follows: bool) -> dict[int, str]:
    """A part moved to another cylinder: where the fault was seen afterwards, if it was seen again."""
    if not acts:
        return b.by_cylinder(lambda c: "not-again")
    return b.by_cylinder(lambda c: "moved" if follows and b.car.broken.at(c) and likely(b, 0.9, c) else "stays")


@sees("injector-exchanged", "port-injector-exchanged")
def exchanged(b: Bench) -> There:
    x = b.broken
    hot = bool(x.soak_leak and b.now.hot_soaked)
    acts = b.rich_now or max(b.state.misses, default=0.0) > 0.02 or hot
    return swapped(b, acts, bool(x.leak or x.late_ms or (x.flow > 0 and not x.value_only) or hot))


@sees("injector-part-number")
def part_number(b: Bench) -> There:
    x = b.car.broken
    return b.by_cylinder(lambda c: "other" if x.flow > 0 and not x.value_only and x.at(c) else "right")


@sees("injector-values-read")
def values_read(b: Bench) -> There:
    x = b.car.broken
    return b.by_cylinder(lambda c: "differ" if x.value_only and x.at(c) else "match")


@sees("plugs-as-found")
def plugs(b: Bench) -> There:
    soot, wet = b.past.tip_soot, b.past.tip_wet

    def one(c: int) -> str:
        if wet.get(c, 0.0) > 1.0 + b.dice("eye", c).gauss(0, 0.3):
            return "wet"
        return "sooty" if soot.get(c, 0.0) > 3.0 + b.dice("eye", c).gauss(0, 1.0) else "same"

    return b.by_cylinder(one)


@sees("plugs-in-a-bill")
def plugs_in_a_bill(b: Bench) -> There:
    return plugs(b) if b.car.dice("bill").random() < 0.08 else None


@sees("plugs-lighter")
def plugs_lighter(b: Bench) -> There:
    x = b.car.broken
    lean = x.flow < -0.3 or x.ring_air
    return b.by_cylinder(lambda c: "lighter" if lean and x.at(c) and likely(b, 0.75, c) else "same")


@sees("injector-bore-listen")
def bore(b: Bench) -> There:
    x = b.car.broken
    return b.by_cylinder(lambda c: "blows" if x.seal and x.at(c) and likely(b, 0.8, c) else "tight")


@sees("starter-current")
def starter_current(b: Bench) -> There:
    x = b.car.broken
    return b.by_cylinder(lambda c: "low" if x.compression > 0.2 and x.at(c) and likely(b, 0.85, c) else "even")


@sees("plugs-after-clearing", "plugs-after-open-loop")
def plugs_after(b: Bench) -> There:
    """Cleared, the loop closes within half a minute even so: the others are pulled lean, the one stays richer. In open
    loop nothing is pulled. What did not burn wets a plug so far as there is fuel in it: half of it hardly condenses."""
    s = b.with_(memory=Memory(), point=IDLE, minutes=10.0, settled=1.0, unplugged=b.check == "plugs-after-open-loop")

    def one(c: int) -> str:
        phi = s.phi[c - 1] + b.dice("eye", c).gauss(0, 0.06)
        return "wet" if phi > 1.8 or s.misses[c - 1] * min(phi, 1.0) ** 2 > 0.15 else "sooty" if phi > 1.3 else "same"

    return b.by_cylinder(one)


@sees("borescope-after-soak")
def borescope(b: Bench) -> There:
    spilt = engine.drained(b.car, b.broken, b.now)
    x = b.broken
    return b.by_cylinder(
        lambda c: (
            "wet" if spilt > 0.04 and (x.at(c) or (x.worn and likely(b, 0.6, c))) and likely(b, 0.85, c) else "dry"
        )
    )


@sees("injector-tips-after-soak")
def tips(b: Bench) -> There:
    x = b.broken
    return b.by_cylinder(lambda c: "drips" if engine.leaking(b.car, x, b.now, c) > 150 and likely(b, 0.9, c) else "dry")


@sees("compression-leak-down")
def compression(b: Bench) -> There:
    x = b.car.broken
    return b.by_cylinder(lambda c: "low" if x.compression > 0.2 and x.at(c) and likely(b, 0.95, c) else "sound")


@sees("ignition-exchange")
def ignition(b: Bench) -> There:
    return swapped(b, max(b.state.misses, default=0.0) > 0.015, b.broken.ignition > 0.02)


@sees("wiring-moved-warmed")
def wiggled(b: Bench) -> There:
    """Moved and warmed, a bad contact lets go more often than by itself; green ones change their resistance."""
    x = b.car.broken
    if (x.coolant_ohms or x.intake_ohms) and not b.car.acts.jumps:
        return "temperature" if likely(b, 0.3) else "same"
    if not b.car.acts.jumps or not likely(b, 0.65):
        return "same"
    if x.coolant_ohms or x.intake_ohms:
        return "temperature"
    return "air" if x.meter_gain else "sensor" if x.sensor_bias else "several" if x.earth_shift else "other"


@sees("sensor-loom-moved")
def front_sensor_lead_moved(b: Bench) -> There:
    """As where all looms are moved, bank by bank."""
    wet = b.car.acts.jumps and b.car.broken.sensor_bias

    def one(bank: int) -> str:
        return "jumps" if wet and b.car.broken.place == bank and likely(b, 0.65) else "still"

    return b.by_bank(one)


# ---- exhaust ---------------------------------------------------------------------------------------------------------


@sees("exhaust-gas")
def exhaust_gas(b: Bench) -> There:
    lam = engine.tailpipe(b.state)[1] + b.dice("lambda").gauss(0, 0.006)
    return "rich" if lam < 0.97 else "lean" if lam > 1.03 else "normal"


@sees("exhaust-unburnt")
def exhaust_unburnt(b: Bench) -> There:
    dry, _ = engine.tailpipe(b.state)
    return "high" if 1e4 * dry["hc"] > 150 and dry["o2"] > 0.4 else "low"


@sees("sensor-forced")
def forced(b: Bench) -> There:
    x = b.broken

    def one(bank: int) -> str:
        if x.place == bank and x.sensor_bias > 0.33 and likely(b, 0.5):
            return "stays-rich"
        if x.place == bank and x.sensor_bias < -0.2 and likely(b, 0.5):
            return "stays-lean"
        return "slow" if x.sensor_slow > 0.3 and x.place == bank else "quick"

    return b.by_bank(one)


@sees("sooty-tailpipe")
def finger_in_tailpipe(b: Bench) -> There:
    if b.car.broken.oil_drawn and likely(b, 0.6):
        return "oily"
    if b.past.tail_soot > 4 or (b.car.profile.direct and likely(b, 0.3, "direct engines are sooty")):
        return "sooty"
    return "old" if likely(b, 0.15, "old") else "clean"


@sees("exhaust-leak-smoke")
def exhaust_smoke(b: Bench) -> There:
    x = b.car.broken
    return b.by_bank(lambda bank: "leaks" if x.exhaust_leak and x.place == bank and likely(b, 0.9, bank) else "tight")


@sees("back-pressure")
def back_pressure(b: Bench) -> There:
    return b.by_bank(lambda bank: "high" if b.car.broken.back_pressure > 20 else "free")


@sees("connectors-opened")
def opened(b: Bench) -> There:
    """A look at what conducts badly: half of such contacts can be seen. Now and then an old trace that does nothing."""
    x = b.car.broken
    if likely(b, 0.06, "old trace"):
        return "earth" if likely(b, 0.5, "of what") else "other"
    if not likely(b, 0.55, "can be seen"):
        return "clean"
    if x.coolant_ohms or x.intake_ohms:
        return "temperature"
    if x.earth_shift or x.volts:
        return "earth"
    if not b.car.acts.jumps:
        return "clean"
    return "air" if x.meter_gain else "sensor" if x.sensor_bias else "clean"


@sees("sensor-connectors-look")
def connectors(b: Bench) -> There:
    return "crossed" if b.car.broken.crossed and likely(b, 0.95) else "right"


# Not asked in a diagnosis: what work has brought in is looked at after it, and these cars come in before any.
AFTER_WORK_ONLY = "checks with `after work` are asked only once a repair was done"
# Checks still without an observer, to be emptied.
PENDING: frozenset[str] = frozenset()
