"""The night brief asked of a picture: what needs somebody and when, what is not watched, whether texts go out."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from shared.alerts import Alert, AlertState, Priority
from shared.estimates.brief import Gap, Job, Need, night_brief
from shared.estimates.brief_words import verdict
from shared.estimates.deadlines import Plan, Starts
from shared.estimates.picture import new_picture, observe
from shared.farm_file import parse_farm
from shared.readings import Reading, Unknown
from tests.fakes.small_house import MINUTE_MS, NOW, SMALL_HOUSE, lived

HOUR_MS = 60 * MINUTE_MS
FARM = parse_farm(SMALL_HOUSE)
STILL = {"lower": lambda _hour: 500.0, "upper": lambda _hour: 800.0, "concentrate": lambda _hour: 100.0}


def asked(levels=STILL, *, alerts=(), proven_ms=NOW - HOUR_MS, farm=FARM, hours=2.0, now_ms=NOW):
    return night_brief(farm, lived(farm, levels, hours), alerts, now_ms, proven_ms)


def hours_ahead(need):
    return (need.at_ms - NOW) / HOUR_MS


def the(brief, job):
    return next(need for need in brief.needs if need.job is job)


def test_a_still_farm_needs_nobody_before_morning():
    brief = asked()
    assert brief.gaps == ()
    assert verdict(brief).sentence == "Nothing needs you before 08:00."
    assert [view.tank_id for view in brief.tanks] == ["lower", "upper", "concentrate"]


def test_a_tank_needs_its_transfer_when_it_may_be_full_or_its_alarm_would_ring():
    """Lower has 996 gal of room and fills by 142 gal/h: full in 7 h, so the phone rings after 5.5 h at the latest."""
    need = the(asked(STILL | {"lower": lambda hour: 500 + 142 * hour}), Job.TRANSFER)
    assert need.tank == "lower"
    assert 4.0 < hours_ahead(need) <= 5.6


def test_the_plan_says_when_ro_and_boil_must_start():
    """1,300 gal of upper are a day old at 15 h 30 of tomorrow; RO takes 2.6 h for them, the boil far longer."""
    brief = asked(STILL | {"upper": lambda _hour: 1300.0}, hours=1.5)
    assert isinstance(brief.plan, Plan)
    assert isinstance(brief.plan.at_middle_inflow, Starts)
    ro, boil = the(brief, Job.RO), the(brief, Job.BOIL)
    assert boil.at_ms < NOW + 22.5 * HOUR_MS
    assert ro.at_ms <= NOW + (22.5 - 2.6) * HOUR_MS
    assert list(brief.needs) == sorted(brief.needs, key=lambda need: need.at_ms)


def test_where_starting_now_is_too_late_everything_is_needed_now():
    strong = STILL | {"lower": lambda hour: 1400 + 700 * hour, "upper": lambda _hour: 1400.0}
    brief = asked(strong, hours=1.9)
    assert brief.too_late is not None
    assert brief.too_late.spill_m3 > 0
    assert {(need.job, need.at_ms) for need in brief.needs} >= {(Job.RO, NOW), (Job.BOIL, NOW)}
    assert verdict(brief).sentence.startswith("Run the RO and the boil from now on; about ")


def test_without_a_boil_it_is_said_when_sap_gets_old():
    text = SMALL_HOUSE[: SMALL_HOUSE.index("[ro]")]
    brief = asked(farm=parse_farm(text), hours=20.0)
    assert brief.plan is None
    assert the(brief, Job.OLD) == Need(Job.OLD, "lower", pytest.approx(NOW + 4 * HOUR_MS, abs=30 * MINUTE_MS))


def test_a_machine_that_draws_is_seen_to_run():
    assert asked(STILL | {"upper": lambda hour: 800 - 380 * hour}).running == (Job.RO,)
    assert asked().running == ()


STACK = '[[sensor]]\nid = "stack"\nquantity = "stack_temperature"\nunit = "degF"\ninterval_s = 60\n'


def test_a_lit_fire_is_seen():
    farm = parse_farm(SMALL_HOUSE.replace("[[contact]]", f"{STACK}[[contact]]"))
    picture = lived(farm, STILL, 2.0)
    for minute in range(60, -1, -1):
        at_ms = NOW - minute * MINUTE_MS
        observe(picture, farm, Reading("stack", at_ms, 350.0 + minute % 5, at_ms))
    assert night_brief(farm, picture, (), NOW, NOW).running == (Job.BOIL,)


@pytest.mark.parametrize(
    ("levels", "gap"),
    [
        ({name: STILL[name] for name in ("upper", "concentrate")}, Gap("lower-level", "never heard")),
        ({}, Gap("upper-level", "never heard")),
    ],
)
def test_a_sensor_that_never_spoke_is_not_watched(levels, gap):
    brief = asked(levels)
    assert gap in brief.gaps
    assert isinstance(brief.plan, Unknown)
    # The plan is not known because of it: that is not told twice.
    assert "latest starts" not in [each.name for each in brief.gaps]


def test_a_sensor_that_fell_silent_is_not_watched_and_nothing_heard_is_blind():
    """Five minutes are the least that the rule waits (shared.tuning)."""
    picture = lived(FARM, STILL, 2.0)
    soon = night_brief(FARM, picture, (), NOW + 5 * MINUTE_MS, None)
    late = night_brief(FARM, picture, (), NOW + 12 * MINUTE_MS, None)
    assert soon.gaps == ()
    assert late.gaps[0] == Gap("lower-level", "silent", NOW)
    assert verdict(late).sentence == "Not watched: no sensor heard since 17:00."
    assert (
        verdict(night_brief(FARM, new_picture(FARM), (), NOW, None)).sentence
        == "Not watched: no sensor heard yet."
    )


def test_where_silence_means_nothing_it_is_no_gap():
    quiet = parse_farm(SMALL_HOUSE + "[rules.sensor_silent]\nenabled = false\n")
    late = night_brief(quiet, lived(quiet, STILL, 2.0), (), NOW + HOUR_MS, NOW)
    assert not late.is_blind
    assert "silent" not in [gap.why for gap in late.gaps]


def test_a_tank_that_does_not_tell_its_filling_is_a_gap():
    brief = asked(hours=0.04)
    assert [(gap.name, gap.why) for gap in brief.gaps] == [
        (name, "too few level readings yet") for name in ("lower", "upper", "concentrate")
    ]


def test_a_tank_without_a_sensor_is_a_gap():
    text = SMALL_HOUSE.replace(
        "[ro]", '[[tank]]\nid = "barrel"\nshape = "vertical"\ndiameter_ft = 3\nheight_ft = 4\n[ro]'
    )
    assert Gap("barrel", "no level sensor") in asked(farm=parse_farm(text)).gaps


def test_a_plan_that_is_not_known_is_a_gap_of_its_own():
    brief = asked(STILL | {"lower": lambda hour: 200 - 300 * hour}, hours=3.2)
    assert [(gap.name, gap.why) for gap in brief.gaps] == [
        ("latest starts", "lower is being emptied: how fast sap runs in is not known")
    ]


VACUUM = (
    '[[line]]\nid = "ledge"\nkind = "mainline"\nlength_ft = 900\nbore_in = 1\ntaps = 300\n'
    '[[sensor]]\nid = "ledge-far"\nquantity = "vacuum"\nunit = "inHg"\nline = "ledge"\n'
)


def test_a_line_whose_usual_is_still_learnt_is_a_gap():
    farm = parse_farm(SMALL_HOUSE.replace("[[contact]]", f"{VACUUM}[[contact]]"))
    picture = lived(farm, STILL, 2.0)
    observe(picture, farm, Reading("ledge-far", NOW, 84_000.0, NOW))
    (gap,) = night_brief(farm, picture, (), NOW, NOW).gaps
    assert gap.name == "ledge-far"
    assert "usual needs" in gap.why


def an_alert(state=AlertState.ACTIVE, priority=Priority.WAKE, **more):
    return Alert("vacuum_lost", "ledge", state, priority, 1, "Ledge is low.", raised_ms=NOW - HOUR_MS, **more)


def test_what_waits_for_an_answer_and_what_somebody_has_are_told_apart():
    grave, slight = an_alert(), an_alert(priority=Priority.TELL)
    taken = an_alert(AlertState.ACKNOWLEDGED, acknowledged_by="Wren")
    others = (
        an_alert(priority=Priority.NOTE),
        an_alert(AlertState.CLEARED),
        an_alert(explained_by="the pump has stopped"),
    )
    brief = asked(alerts=(slight, taken, grave, *others))
    assert (brief.asking, brief.taken) == ((grave, slight), (taken,))
    assert brief.gaps == ()


def test_what_is_paused_does_not_ask_and_is_not_watched():
    paused = an_alert(shelved_until_ms=NOW + HOUR_MS, shelved_reason="wind")
    over = an_alert(shelved_until_ms=NOW - 1, shelved_reason="wind")
    assert asked(alerts=(paused,)).gaps == (Gap("ledge (vacuum lost)", "paused (wind)", NOW + HOUR_MS),)
    assert asked(alerts=(paused,)).asking == ()
    assert asked(alerts=(over,)).gaps == ()


def ms(text):
    return round(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo("America/New_York")).timestamp() * 1000)


@pytest.mark.parametrize(
    ("now", "proven", "counts"),
    [
        ("2026-03-23T17:00", "2026-03-23T00:10", True),
        ("2026-03-23T17:00", "2026-03-22T23:50", False),
        ("2026-03-24T02:00", "2026-03-23T17:01", True),
        ("2026-03-24T06:00", "2026-03-23T17:01", False),
        ("2026-03-23T17:00", "2026-03-23T17:01", False),
        ("2026-03-23T17:00", None, False),
    ],
)
def test_texts_are_proven_if_one_was_taken_today_or_this_night(now, proven, counts):
    proven_ms = None if proven is None else ms(proven)
    brief = night_brief(FARM, new_picture(FARM), (), ms(now), proven_ms)
    assert brief.proven_ms == (proven_ms if counts else None)


@pytest.mark.parametrize(
    ("now", "morning"),
    [
        ("2026-03-23T17:00", "2026-03-24T08:00"),
        ("2026-03-24T02:00", "2026-03-24T08:00"),
        ("2026-03-24T05:30", "2026-03-25T08:00"),
        ("2026-03-07T17:00", "2026-03-08T08:00"),  # clocks go forward that night
    ],
)
def test_the_night_lasts_until_the_next_morning_at_eight(now, morning):
    assert night_brief(FARM, new_picture(FARM), (), ms(now), None).morning_ms == ms(morning)
