"""What is heard in an owner's words, what is not, and what is said not to have been understood."""

from __future__ import annotations

import pytest

from reasoner.network.vehicle import vehicle_from
from reasoner.session import acts, complaint
from reasoner.session.protocol import Talk, hear
from reasoner.session.workup import Workup
from tests.shipped import garage


def charged() -> Workup:
    vehicle, _ = vehicle_from({"injection": "direct", "charging": "charged"})
    assert vehicle is not None
    return garage().begin(vehicle)


def said(text: str) -> list[str]:
    return [f"{row.check} {row.outcome}" for row in complaint.heard(charged(), text)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Where and how warm.
        ("Stalls in traffic on the ring road", ["doing-what idle"]),
        ("Queueing at the ferry it shakes", ["doing-what idle"]),
        ("Kangaroos when I come off the gas", ["doing-what lifting-off"]),
        ("Pulls badly when pulling a trailer up an incline", ["doing-what pulling", "down-on-power weak"]),
        ("Parked for twenty minutes outside the bank and it will not idle", ["how-warm hot-restart"]),
        ("Parked half a mile away it died", []),
        ("Once the engine is hot it does it", ["how-warm warm"]),
        ("It does not run well when cold", ["how-warm cold"]),
        ("Gone once warm", ["how-warm cold"]),
        ("Tapping noise from the exhaust manifold when cold", ["exhaust-ticks-cold yes"]),
        ("Ticks from the exhaust side when cold", ["exhaust-ticks-cold yes"]),
        ("The injectors tick when it is cold", ["how-warm cold"]),
        ("When cold it ticks, when hot it doesn't", ["exhaust-ticks-cold yes"]),
        ("It does not stall when hot, but when cold", ["how-warm cold"]),
        ("The temperature needle goes over the mark in traffic", ["doing-what idle"]),
        # Filling up, and other things that are filled.
        ("Every time after I fill it, it coughs", ["happens-after-refuelling yes", "comes-back again"]),
        ("It smokes after filling up the oil", []),
        ("The tank is full and it runs like a dog", ["happens-after-refuelling yes"]),
        # Bumps: of the road, and of the car.
        ("Hits a pothole and it is fine again", ["happens-on-bumps yes"]),
        ("One jolt and it is good again", ["happens-on-bumps yes"]),
        ("It began after a parking bump", []),
        # Oil, and other levels.
        ("The oil has crept up over the mark", ["oil-level-rising yes"]),
        ("He says it makes oil", ["oil-level-rising yes"]),
        ("The coolant level climbs, and the fuel level rises", []),
        # For how long.
        ("Stumbles for half a minute after I restart it", ["rough-after-restart seconds"]),
        ("Stumbles for a minute after I restart it", ["rough-after-restart minutes"]),
        ("It never shakes for half a minute", []),
        ("Every morning it is rough for a minute", ["how-warm cold", "comes-back again", "recovers-by-itself minutes"]),
        ("After the jet wash it ran on three cylinders for ten minutes",
         ["happens-in-damp yes", "recovers-by-itself minutes"]),
        ("After filling it stumbles at idle for a few minutes",
         ["doing-what idle", "happens-after-refuelling yes", "recovers-by-itself minutes"]),
        ("After filling it stumbles for some minutes", ["happens-after-refuelling yes", "recovers-by-itself minutes"]),
        # How often; that it is worse at times is no time without.
        ("Comes on every three weeks", ["comes-back gaps"]),
        ("Three times since Easter", ["comes-back gaps"]),
        ("Good for days at a time", ["comes-back gaps"]),
        ("Every so often it does that", ["comes-back gaps"]),
        ("It happened only the one time", ["comes-back once"]),
        ("Drinks more, sometimes worse", []),
        ("Other days it is worse", []),
        ("Not perfect for a single day", []),
        ("Normally when it is hot it stumbles", ["how-warm warm"]),
        # Well since: after something was done, or ever since it was bought.
        ("They cleaned the throttle. Has run flawlessly since", ["mended-since not-back"]),
        ("Has run flawlessly since I bought it", []),
        ("They changed the throttle, and it is the same", ["mended-since back"]),
        ("Plugs renewed a year ago, nothing done since", ["renewed-plugs-coils went-on"]),
        ("It is the same on petrol", []),
        # Work that came after it began has not brought it in.
        ("The light came on in March. In June the dealer changed the oil", []),
        ("It was first noticed at Easter, then they had the exhaust done", []),
        ("They had changed the oil before the light came on", ["recent-work-elsewhere oil"]),
        ("The light came on a week ago. A month ago the dealer did the timing belt", ["recent-work-other engine"]),
        ("The light came on a month ago. A week ago the dealer did the timing belt", []),
        ("It began in spring. After that they put in new coils, no better", ["renewed-plugs-coils went-on"]),
        ("It came on in May. They put in new coils. Never since", ["mended-since not-back"]),
        ("The alternator was renewed, it was there long before that", []),
        ("The alternator was renewed, and a week later it began", ["recent-work-elsewhere electrics"]),
        ("I changed the oil myself after the light came on", []),
        ("The light came on after I changed the oil", ["recent-work-elsewhere oil"]),
        ("They renewed the plugs once it had started", ["renewed-plugs-coils went-on"]),
        ("It started in June. In July they fitted a purge valve, perfect ever since", ["mended-since not-back"]),
        # How it is used.
        ("Only ever goes to the shops and back", ["short-trips yes"]),
        ("It only happens in town", ["doing-what idle"]),
        ("It does 40 miles to the gallon", []),
        # Gauges, heater, power.
        ("The temperature needle sits low", ["fan-or-gauge gauge"]),
        ("The fuel gauge drops fast", []),
        ("Sluggish, with loss of power", ["down-on-power weak"]),
        ("No loss of power", []),
        # What is well somewhere else.
        ("It drops to nothing at the lights", ["doing-what idle"]),
        ("Nothing at the lights", []),
        ("For a good minute uphill it jerks", ["doing-what pulling", "recovers-by-itself minutes"]),
        # Smells.
        ("Smells of fuel at the exhaust", ["smell tailpipe"]),
        ("It smells of the exhaust", ["smell gas"]),
        ("There is a petrol stench", ["smell-of-fuel yes"]),
        ("No petrol stench at all", []),
        ("There is a petrol smell under the bonnet", ["smell bonnet"]),
        ("A stale petrol smell in the boot", ["smell tank"]),
        ("The petrol was stale", ["fuel-lately doubtful"]),
        ("Splutters at the first start after it stood all day in the sun", ["how-warm cold", "heat-or-height yes"]),
        ("Loud hiss when pulling", ["down-on-power hiss"]),
        # Idioms, and the same words of other things.
        ("Needs several attempts to start after a stop", ["how-warm hot-restart", "hard-hot-start yes"]),
        ("Needs several attempts to start on a cold morning", ["how-warm cold"]),
        ("Came back the next day", ["comes-back again"]),
        ("It happens one time in three", ["comes-back gaps"]),
        ("Uses more fuel, otherwise fine", []),
        ("Once under way it is good", ["recovers-by-itself driving-off"]),
        ("The temperature gauge dropped to zero", ["fan-or-gauge gauge"]),
        ("The fuel gauge dropped to zero", []),
        ("Rough over the level crossing", ["happens-on-bumps yes"]),
        ("Half a mile each way to the shops", ["short-trips yes"]),
        ("Gone after half a mile", ["recovers-by-itself minutes"]),
    ],
)  # fmt: skip
def test_what_is_heard(text: str, expected: list[str]) -> None:
    assert said(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Drinks a lot, black smoke", ("drinks a lot",)),
        ("Black smoke and a rattle from the boot when it idles", ("a rattle from the boot",)),
        ("The engine light came on and it stumbles", ()),
        ("Never when cold. Fine on the motorway. No smoke", ()),
        ("They put in new coils, no better", ()),
        ("Worse than on a cold morning", ()),
        ("Three knocks. Plugs black on one side", ("three knocks", "plugs black on one side")),
        ("Some days worse", ()),
        ("", ()),
        ("!!! but 12", ()),
    ],
)
def test_what_is_not_understood_is_given_back(text: str, expected: tuple[str, ...]) -> None:
    assert complaint.unheard(charged(), text) == expected


def test_what_is_not_understood_does_not_hang_on_what_was_told_already() -> None:
    """What was confirmed is not heard again, and was understood all the same."""
    talk, _, _ = hear(Talk(charged()), {"type": "complaint", "text": "Drinks a lot, black smoke"})
    assert talk.state()["not understood"] == ["drinks a lot"]
    told = talk.workup.after(acts.answer(talk.workup, "smoke", {0: "black"}))
    assert complaint.heard(told, "black smoke") == [] and complaint.unheard(told, "black smoke") == ()


def test_work_that_is_heard_is_said_to_have_come_first() -> None:
    rows = complaint.heard(charged(), "Since they did the timing belt it shakes")
    assert [row.text for row in rows] == ["Other work lately, before it began: timing drive or cylinder head"]
