"""What is heard in an owner's words, what is not, and what is said not to have been understood."""

from __future__ import annotations

from itertools import permutations

import pytest

from reasoner.session import acts, complaint, story
from reasoner.session.protocol import Talk, hear
from reasoner.session.spoken import phrase_words
from reasoner.session.workup import Workup
from tests.shipped import book, car, garage


def begun() -> Workup:
    return garage().begin(car(injection="direct", charging="charged"))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Several things at once, and what is denied or only compared with.
        ("Shakes after a hot restart, lamp every few weeks", ["how-warm hot-restart", "comes-back gaps"]),
        ("smells strongly of petrol in the car when it rains, no smoke",
         ["happens-in-damp yes", "smell tank", "smoke none"]),
        ("Restarts badly when hot; black smoke for a moment", ["how-warm hot-restart", "smoke black"]),
        ("hard to restart when hot. Fine on the motorway", ["how-warm hot-restart", "hard-hot-start yes"]),
        ("On the motorway it is fine. In town it shakes a few seconds",
         ["doing-what idle", "rough-after-restart seconds"]),
        ("stumbles after I stop for shopping, cranks long", ["how-warm hot-restart", "hard-hot-start yes"]),
        ("no smell, no smoke", ["smell none", "smoke none"]),
        ("runs well until it idles at traffic lights", ["doing-what idle"]),
        ("light came on once, uphill on the motorway", ["doing-what cruise", "doing-what pulling", "comes-back once"]),
        ("It\u2019s never smelled of fuel, doesn\u2019t smoke black", []),
        ("No steam. Now and then, in the garage, fuel smell", ["comes-back gaps", "smell-of-fuel yes"]),
        ("starts like on a cold morning though it is hot", []),  # compared with, not said
        ("as if it were cold; right as rain on the motorway; at idle it never does", []),
        ("never on a really cold engine. In the morning nothing", []),
        ("on bumps, and the bumper is black; stop-start is off", ["happens-on-bumps yes"]),
        ("In town as always, uphill there is a black cloud till I lift", ["doing-what pulling", "smoke black"]),
        ("White smoke in the morning, then nothing", ["smoke none"]),
        ("worse than on a cold morning", []),
        ("It is rougher in town than uphill", ["doing-what idle"]),
        # Where and how warm.
        ("only when it is properly warm", ["how-warm warm"]),
        ("not when it is properly warm", []),
        ("when I floor it", ["doing-what pulling"]),
        ("when I pull away after a cold night", ["how-warm cold"]),
        ("when I lift and go again it has a hole", ["doing-what lifting-off"]),
        ("In the traffic jam in summer", ["doing-what idle", "heat-or-height yes"]),
        ("At the top of the pass", ["heat-or-height yes"]),
        ("in the dark, with the heated rear window", ["happens-with-consumers yes"]),
        ("Stalls in traffic on the ring road", ["doing-what idle"]),
        ("Queueing at the ferry it shakes", ["doing-what idle"]),
        ("Kangaroos when I come off the gas", ["doing-what lifting-off"]),
        ("Pulls badly when pulling a trailer up an incline", ["doing-what pulling", "down-on-power weak"]),
        ("Parked for twenty minutes outside the bank and it will not idle", ["how-warm hot-restart"]),
        ("Parked half a mile away it died", []),
        ("Once the engine is hot it does it", ["how-warm warm"]),
        # Of something else than the engine: not heard, however often, up to where the engine is spoken of again.
        ("Sometimes the brake pedal goes hard. I feel the brake pedal pulse now and then", []),
        ("My brakes squeal now and then and it smells of petrol inside", ["smell tank"]),
        ("The gearbox bangs sometimes and the engine dies at traffic lights", ["doing-what idle"]),
        ("I feel it stumble on hills", ["doing-what pulling"]),
        # Where it had come from, and what it had burnt before, is not when it happens.
        ("After I have driven hard on the motorway it runs badly", ["happens-after-hard-run yes"]),
        ("On the motorway it will not go over 120", ["down-on-power weak"]),
        ("The light came on twice. It shakes, but not every day", ["comes-back gaps"]),
        ("Then it is as if somebody turned a switch", ["recovers-by-itself at-once"]),
        ("It began after the intercooler hose was taken off", ["recent-work-other air-side"]),
        ("It ticks like a sewing machine when cold", ["exhaust-ticks-cold yes"]),
        # What it uses, what a test said, how full the tank was; a point within a number ends no sentence.
        ("It drinks oil", []),
        ("It does not use more petrol", []),
        ("Mileage is awful", ["fuel-use yes"]),
        ("At the inspection they failed it, CO was 1.2 percent", ["emissions-test co"]),
        ("It passed the inspection", []),
        ("It happens when the tank is nearly empty", ["happens-with-little-fuel yes"]),
        ("It does not run well when cold", ["how-warm cold"]),
        ("Tapping noise from the exhaust manifold when cold", ["exhaust-ticks-cold yes"]),
        ("Ticks from the exhaust side when cold", ["exhaust-ticks-cold yes"]),
        ("The injectors tick when it is cold", ["how-warm cold"]),
        ("When cold it ticks, when hot it doesn't", ["exhaust-ticks-cold yes"]),
        ("It does not stall when hot, but when cold", ["how-warm cold"]),
        ("The temperature needle goes over the mark in traffic", ["doing-what idle"]),
        ("Splutters at the first start after it stood all day in the sun", ["how-warm cold", "heat-or-height yes"]),
        # Where it ends, and where it begins.
        ("It's rough until it is warm", ["how-warm cold"]),
        ("Runs fine till the engine is properly warm", ["how-warm warm"]),
        ("does not pull right until it's warm", ["how-warm cold"]),
        ("doesn't shake until it is up to temperature", ["how-warm warm"]),
        ("Stumbles all day, except on the motorway", []),
        ("No trouble, unless it rains", ["happens-in-damp yes"]),
        ("shakes until I switch off and on", ["recovers-by-itself next-drive"]),
        # Starting and running.
        ("you have to floor it to start", ["hard-hot-start yes"]),
        ("I do not have to floor it to start", []),
        ("It rattles at first start in the morning", ["rattles-first-start yes"]),
        ("Rattles for a second at the first start in the morning", ["rattles-first-start yes"]),
        ("I have to floor it to get it to start", ["hard-hot-start yes"]),
        ("Needs several attempts to start after a stop", ["how-warm hot-restart", "hard-hot-start yes"]),
        ("Needs several attempts to start on a cold morning", ["how-warm cold"]),
        # Filling up, and other things that are filled.
        ("I always squeeze the last litre in and it stalls at the pump",
         ["happens-after-refuelling yes", "recent-refuelling-habit past-click"]),
        ("I never fill past the click, and it does not stall at the pump", []),
        ("I filled up with E85 last week", ["fuel-lately other-blend"]),
        ("I always squeeze the last drop in", ["recent-refuelling-habit past-click"]),
        ("Every time after I fill it, it coughs", ["happens-after-refuelling yes", "comes-back again"]),
        ("It smokes after filling up the oil", []),
        ("The tank is full and it runs like a dog", ["happens-after-refuelling yes"]),
        ("The petrol was stale", ["fuel-lately doubtful"]),
        # Bumps: of the road, and of the car.
        ("Hits a pothole and it is fine again", ["happens-on-bumps yes"]),
        ("One jolt and it is good again", ["happens-on-bumps yes"]),
        ("It began after a parking bump", []),
        ("Rough over the level crossing", ["happens-on-bumps yes"]),
        # Oil, and other levels.
        ("There's petrol on the dipstick", ["oil-smell fuel"]),
        ("Level of the oil keeps going up", ["oil-level-rising yes"]),
        ("no petrol on the dipstick, and the oil level never keeps going up", []),
        ("The oil has crept up over the mark", ["oil-level-rising yes"]),
        ("He says it makes oil", ["oil-level-rising yes"]),
        ("The coolant level climbs, and the fuel level rises", []),
        # For how long, and how it clears.
        ("Off and on again and it is normal", ["recovers-by-itself next-drive"]),
        ("Off at the services, start it again and it's normal", ["recovers-by-itself next-drive"]),
        ("next day perfect, then good for two weeks", ["comes-back gaps", "recovers-by-itself next-drive"]),
        ("Gone once warm", ["how-warm cold"]),
        ("Stumbles for half a minute after I restart it", ["rough-after-restart seconds"]),
        ("Stumbles for a minute after I restart it", ["rough-after-restart minutes"]),
        ("It never shakes for half a minute", []),
        ("Every morning it is rough for a minute", ["how-warm cold", "comes-back again", "recovers-by-itself minutes"]),
        ("After the jet wash it ran on three cylinders for ten minutes",
         ["happens-in-damp yes", "recovers-by-itself minutes"]),
        ("After filling it stumbles at idle for a few minutes",
         ["doing-what idle", "happens-after-refuelling yes", "recovers-by-itself minutes"]),
        ("After filling it stumbles for some minutes", ["happens-after-refuelling yes", "recovers-by-itself minutes"]),
        ("Once under way it is good", ["recovers-by-itself driving-off"]),
        ("Gone after half a mile", ["recovers-by-itself minutes"]),
        # How often; that it is worse at times is no time without.
        ("It was fine for two weeks, then it came back", ["comes-back gaps"]),
        ("more than once a month", ["comes-back gaps"]),
        ("Comes on every three weeks", ["comes-back gaps"]),
        ("Three times since Easter", ["comes-back gaps"]),
        ("Good for days at a time", ["comes-back gaps"]),
        ("Every so often it does that", ["comes-back gaps"]),
        ("It happened only the one time", ["comes-back once"]),
        ("Drinks more, sometimes worse", []),
        ("Other days it is worse", []),
        ("Not perfect for a single day", []),
        ("Normally when it is hot it stumbles", ["how-warm warm"]),
        ("Came back the next day", ["comes-back again"]),
        ("It happens one time in three", ["comes-back gaps"]),
        # Work and parts, where something was done to them.
        ("it began after I had the exhaust clamp and the gearbox mount done", ["recent-work-other exhaust"]),
        ("They had the intercooler hoses off for the clutch",
         ["recent-work-other air-side", "recent-work-other exhaust"]),
        ("The garage before you put in plugs and coils", ["renewed-plugs-coils went-on"]),
        ("Since the new plugs it stumbles", ["renewed-plugs-coils new"]),
        ("another fuel pump, no better", ["renewed-fuel-pump went-on"]),
        ("a new water pump", ["recent-work-elsewhere cooling"]),
        ("The clutch slips, the pump hums, plugs look black", []),
        ("never had the gearbox out, and no new plugs", []),
        ("After jump starting it", ["battery-disconnected-lately yes"]),
        ("Since they did the clutch", ["recent-work-other exhaust"]),
        ("They cleaned the throttle body and put in new plugs, no better", ["renewed-plugs-coils went-on"]),
        ("They changed the petrol pump, and an ignition coil was swapped",
         ["renewed-fuel-pump went-on", "renewed-plugs-coils went-on"]),
        ("I put in a new power steering pump and new coil springs", []),
        ("Plugs renewed a year ago, nothing done since", ["renewed-plugs-coils went-on"]),
        # Work that came after it began has not brought it in.
        ("A month before it began they renewed the plugs", ["renewed-plugs-coils new"]),
        ("The light came on in March. In June the dealer changed the oil", []),
        ("It was first noticed at Easter, then they had the exhaust done", []),
        ("They had changed the oil before the light came on", ["recent-work-elsewhere oil"]),
        ("The light came on a week ago. A month ago the dealer did the timing belt", ["recent-work-other engine"]),
        ("The light came on a month ago. A week ago the dealer did the timing belt", []),
        ("It began in spring. After that they put in new coils, no better", ["renewed-plugs-coils went-on"]),
        ("It came on in May. They put in new coils. Never since", ["mended-since not-back"]),
        ("It went out after some days. Nothing since.", ["comes-back gaps", "comes-back once"]),
        ("The radiator fan runs for nothing", ["fan-or-gauge fan"]),
        ("The fan runs although the engine is cold", ["fan-or-gauge fan"]),
        ("The alternator was renewed, it was there long before that", []),
        ("The alternator was renewed, and a week later it began", ["recent-work-elsewhere electrics"]),
        ("I changed the oil myself after the light came on", []),
        ("The light came on after I changed the oil", ["recent-work-elsewhere oil"]),
        ("They renewed the plugs once it had started", ["renewed-plugs-coils went-on"]),
        ("It started in June. In July they fitted a purge valve, perfect ever since", ["mended-since not-back"]),
        # Well since: after something was done, or ever since it was bought.
        ("They put a new exhaust on. It did not help", ["mended-since back"]),
        ("They cleaned the throttle. Has run flawlessly since", ["mended-since not-back"]),
        ("Has run flawlessly since I bought it", []),
        ("They changed the throttle, and it is the same", ["mended-since back"]),
        # How it is used.
        ("I only drive to work, three kilometres", ["short-trips yes"]),
        ("Only ever goes to the shops and back", ["short-trips yes"]),
        ("It only happens in town", ["doing-what idle"]),
        ("It does 40 miles to the gallon", []),
        ("Half a mile each way to the shops", ["short-trips yes"]),
        # Gauges, heater, power.
        ("The temperature needle sits low", ["fan-or-gauge gauge"]),
        ("The fuel gauge drops fast", []),
        ("Sluggish, with loss of power", ["down-on-power weak"]),
        ("No loss of power", []),
        ("Loud hiss when pulling", ["down-on-power hiss"]),
        ("The temperature gauge dropped to zero", ["fan-or-gauge gauge"]),
        ("The fuel gauge dropped to zero", []),
        # What is well somewhere else.
        ("It drops to nothing at the lights", ["doing-what idle"]),
        ("Nothing at the lights", []),
        ("For a good minute uphill it jerks", ["doing-what pulling", "recovers-by-itself minutes"]),
        ("Uses more fuel, otherwise fine", ["fuel-use yes"]),
        # Smells.
        ("petrol smell when I pull the dipstick", ["oil-smell fuel"]),
        ("the exhaust smells", []),
        ("the exhaust smells of petrol", ["smell tailpipe"]),
        ("Smells of petrol in the garage in the morning", ["smell-of-fuel yes"]),
        ("smells rotten at the back", ["smell eggs"]),
        ("Smells of fuel at the exhaust", ["smell tailpipe"]),
        ("It smells of the exhaust", ["smell gas"]),
        ("There is a petrol stench", ["smell-of-fuel yes"]),
        ("No petrol stench at all", []),
        ("There is a petrol smell under the bonnet", ["smell bonnet"]),
        ("A stale petrol smell in the boot", ["smell tank"]),
        # Other things of the same name.
        # Why it is asked back.
        ("drinks fuel, 14 litres; it flies a rainbow flag", ["happens-in-damp yes", "fuel-use yes"]),
        ("Ticking noise from the top of the engine", []),
        ("They reset it each time", []),
        ("new outside temperature sensor; it was driven to the last litre in the tank", []),
        ("Parked on the street at night, and the tap is too hot outside", []),
        ("It is the same on petrol", []),
        # Forms of words, words that mean the same, slips of a letter, the other order.
        ("Judders and sputters for several secs after a warm restart",
         ["how-warm hot-restart", "rough-after-restart seconds"]),
        ("Pongs of gasoline in the boot", ["smell tank"]),
        ("An odor of petrol in the interior", ["smell tank"]),
        ("Dies at intersections", ["doing-what idle"]),
        ("The tempreature gauge plunges", ["fan-or-gauge gauge"]),
        ("It won't start when it's hot", ["hard-hot-start yes"]),
        ("It won't start in the morning when it's cold", ["how-warm cold"]),
        ("It misfires when it's idling warm", ["how-warm warm", "doing-what idle"]),
        # What has no part in it, what it is better than, what was once.
        ("Filling the tank makes no difference", ["happens-after-refuelling no"]),
        ("It doesn't matter whether it rains", ["happens-in-damp no"]),
        ("It makes no difference how warm the engine is", []),
        ("It has nothing to do with bumps", ["happens-on-bumps no"]),
        ("It's better on the motorway than in town", ["doing-what idle"]),
        ("It used to smell of petrol", []),
        ("Cold starts are spot on", []),
        ("In town it is as good as gold", []),
        ("No problem at all on hills, no problem in the rain", []),
        # Not about how the engine runs.
        ("The clutch is heavy in traffic", []),
        ("I bought it in the summer", []),
        ("They had the clutch done", ["recent-work-other exhaust"]),
        # It pulls and starts as ever; noises are no mixture.
        ("It pulls like a train", ["down-on-power no"]),
        ("Starts first turn of the key", ["hard-hot-start no"]),
        ("You can hear a hiss at idle", []),
        ("It does not smell when it idles", ["doing-what idle"]),
        ("I disconnected the battery and it was fine for a week",
         ["comes-back gaps", "battery-disconnected-lately yes"]),
        # Nothing at all.
        ("", []),
        ("!!! \x00 ... but but", []),
    ],
)  # fmt: skip
def test_what_is_heard(text: str, expected: list[str]) -> None:
    assert [f"{row.check} {row.outcome}" for row in complaint.heard(begun(), text)] == expected


@pytest.mark.parametrize(
    ("check", "outcome", "phrase"),
    [(c.name, o, p) for c in book().checks.values() for o, phrases in c.owners_say.items() for p in phrases],
)
def test_every_phrase_of_the_rules_is_heard_as_what_it_says(check: str, outcome: str, phrase: str) -> None:
    worked = complaint.only_done(book().checks[check])
    mended = "They changed a part. " if book().checks[check].intake == "mended" else ""
    said = f"They had the {phrase} done." if worked else f"{mended}It does so: {phrase}."
    assert (check, outcome) in {(row.check, row.outcome) for row in complaint.heard(begun(), said)}


def test_no_phrase_is_written_that_another_one_of_the_same_list_hears_word_by_word() -> None:
    """`pull hard` is heard in `pulls hard` as well, and `next day fine` in `next day perfect`."""
    ear = complaint._ear(begun())

    def hears(one: str, other: str) -> bool:
        return one in ear.means(other) or (one == complaint.WELL and other in complaint.SAID_TO_BE_FINE)

    lists = [said for c in book().checks.values() for said in (*c.owners_say.values(), c.not_meant)]
    twice = [
        (one, other)
        for said in lists
        for one, other in permutations(map(phrase_words, said), 2)
        if len(one) == len(other) and all(map(hears, one, other))
    ]
    assert sum(map(len, lists)) > 1000 and twice == []


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
    assert complaint.unheard(begun(), text) == expected


def test_what_was_heard_is_told_in_one_step_and_not_heard_again() -> None:
    before = begun()
    before = before.after(acts.tell(before, "uphill on the motorway, black smoke"))
    rows = complaint.heard(before, before.record.complaint)
    after = before.after(story.tell_heard(before, rows))
    given = {g.check: g.values[0] for g in after.record.given}
    assert (given["doing-what"]["cruise"], given["doing-what"]["pulling"]) == (0.5, 0.5)
    assert max(given["smoke"], key=given["smoke"].__getitem__) == "black"
    assert complaint.heard(after, after.record.complaint) == [] and after.record.steps == before.record.steps + 1
    back = after.after(acts.undo(after))
    assert not back.record.given and complaint.heard(back, back.record.complaint) == rows


def test_another_program_is_told_what_was_heard() -> None:
    talk, _, _ = hear(Talk(begun()), {"type": "complaint", "text": "black smoke"})
    assert talk.state()["heard"] == [{"check": "smoke", "outcome": "black", "text": "Smoke: black"}]
    talk, _, _ = hear(talk, {"type": "answer", "check": "smoke", "outcome": "black"})
    assert talk.state()["heard"] == []


def test_what_is_not_understood_does_not_hang_on_what_was_told_already() -> None:
    """What was confirmed is not heard again, and was understood all the same."""
    talk, _, _ = hear(Talk(begun()), {"type": "complaint", "text": "Drinks a lot, black smoke"})
    assert talk.state()["not understood"] == ["drinks a lot"]
    told = talk.workup.after(acts.answer(talk.workup, "smoke", {0: "black"}))
    assert complaint.heard(told, "black smoke") == [] and complaint.unheard(told, "black smoke") == ()


def test_work_that_is_heard_is_said_to_have_come_first() -> None:
    rows = complaint.heard(begun(), "Since they did the timing belt it shakes")
    assert [row.text for row in rows] == ["Other work lately, before it began: timing drive or cylinder head"]
