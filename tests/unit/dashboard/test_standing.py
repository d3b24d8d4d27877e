import json
from dataclasses import replace

import pytest

from dashboard.standing import facts, fire_row, silent_s, unwatched, vacuum_row
from dashboard.tank_rows import tank_row
from dashboard.words import Note, Tone
from shared.estimates.fire import Fire, FireState, OverFire
from shared.estimates.fire_boil import OverFireKind
from shared.estimates.picture import TankView
from shared.estimates.sap_age import SapAge
from shared.estimates.tank_flow import FillTime, NotFilling, TankFlow
from shared.estimates.vacuum import VacuumDrop
from shared.farm_file import parse_farm
from shared.readings import Band, Unknown
from shared.store import Memory, Record
from shared.units import GALLON_M3, INHG_PA, to_si
from tests.fakes.pages import T0, alert
from tests.fakes.seasons import SAMPLES


def drop(below_inhg, **more):
    facts = {
        "usual_pa": 25 * INHG_PA,
        "now_pa": (25 - below_inhg) * INHG_PA,
        "drop_pa": below_inhg * INHG_PA,
        "attainable_pa": 28 * INHG_PA,
        "station_pa": 28.3 * INHG_PA,
        "share_ratio": 0.9,
        "since_ms": T0 - 3_600_000 if below_inhg > 1 else None,
        "fell_s": None,
        "pump_running": True,
        "frozen": False,
        "noise_pa": 170.0,
        "above_attainable": False,
    }
    return VacuumDrop(**(facts | more))


def row_of(knob, found, sensor="ledge-far"):
    known = facts(knob.sources)
    return vacuum_row(known, knob.farm.sensor_by_id[sensor], found)


@pytest.mark.parametrize(
    ("found", "tone", "said"),
    [
        (drop(0.2), Tone.INK, "within 0.2 of its usual"),
        (drop(0.8), Tone.INK, "0.8 below its usual"),
        (drop(-0.8), Tone.INK, "0.8 above its usual"),
        (drop(3.4), Tone.MIND, "▼ 3.4 below its usual since 19:00"),
        (drop(3.4, frozen=True), Tone.INK, "3.4 below its usual since 19:00"),
        (drop(3.4, pump_running=False), Tone.SOFT, "pump off"),
        (drop(3.4, above_attainable=True), Tone.MIND, "shows more vacuum than there is air: check the gauge"),
        (Unknown("its usual needs 12 more min"), Tone.SOFT, "its usual needs 12 more min"),
    ],
)
def test_a_line_says_how_it_stands_against_its_usual(knob, found, tone, said):
    knob.say("ledge-far", 21.6, "inHg")
    row = row_of(knob, found)
    assert (row.tone, row.notes[0].text) == (tone, said)


def test_only_an_active_alert_is_said_in_ember(knob):
    knob.say("ledge-far", 21.6, "inHg")
    knob.keep(alert("vacuum_lost", "ledge", "Ledge is low."))
    assert row_of(knob, drop(3.4)).tone is Tone.ACT


def test_a_silent_sensor_is_unknown_never_its_last_value(knob):
    knob.say("ledge-far", 21.6, "inHg", T0 - 3 * 3_600_000 - 300_000)
    row = row_of(knob, drop(0.1))
    assert row.vacuum_inhg is None
    assert row.notes == (Note("silent 3 h 05 min"),)


@pytest.mark.parametrize(("age_s", "is_silent"), [(300, False), (301, True)])
def test_five_minutes_or_five_intervals_make_silence(knob, age_s, is_silent):
    """The stack speaks every 10 s: the least of the rule, 300 s, holds (shared.tuning)."""
    knob.say("stack", 70.0, "degF", T0 - age_s * 1000)
    assert (silent_s(facts(knob.sources), knob.farm.sensor_by_id["stack"]) is not None) is is_silent


def test_silence_means_nothing_where_the_farm_file_says_so(knob):
    """A recorded night told in a minute: between two looks an hour of the farm goes by."""
    knob.say("stack", 70.0, "degF", T0 - 3_600_000)
    known = facts(knob.sources)
    text = (SAMPLES / "juniper-knob.toml").read_text()
    calm = replace(known, farm=parse_farm(f"{text}\n[rules.sensor_silent]\nenabled = false\n"))
    assert silent_s(known, known.farm.sensor_by_id["stack"]) == 3600.0
    assert silent_s(calm, known.farm.sensor_by_id["stack"]) is None
    assert (known.heard_ms, calm.heard_ms) == (T0 - 3_600_000, T0)


def test_what_is_not_watched_has_a_list_of_its_own(knob):
    knob.say("ledge-far", 21.6, "inHg", T0 - 3_600_000)
    silent = unwatched(facts(knob.sources))
    assert (silent[0].name, silent[0].silence) == ("Ledge, far end", "silent 1 h")
    assert silent[-1].count == len(knob.farm.sensors) - 1


def tell_of_pings(knob, **told):
    known = {"every_s": 600, "started_ms": T0 - 7_200_000, "pinged_ms": None, "trouble": ""} | told
    memory = Memory(0, 0, T0, b"", b"")
    knob.store.record(Record(memory, health={"heartbeat": json.dumps(known)}))
    return [
        (row.silence, row.consequence)
        for row in unwatched(facts(knob.sources))
        if row.name == "Outside watchdog"
    ]


@pytest.mark.parametrize(("age_s", "is_late"), [(1200, False), (1201, True)])
@pytest.mark.parametrize("since", ["pinged_ms", "started_ms"])
def test_the_watch_itself_is_not_watched_when_two_pings_are_missing(knob, since, age_s, is_late):
    assert bool(tell_of_pings(knob, **{since: T0 - age_s * 1000})) is is_late


def test_why_no_ping_went_out_is_said_and_counts_as_no_silent_sensor(knob):
    why = "readings: none was stored for 50 min (limit 10 min)"
    said = "Were this machine to stop, nobody might be told"
    assert tell_of_pings(knob, pinged_ms=T0 - 3_600_000) == [("not pinged for 1 h", f"{said}.")]
    assert tell_of_pings(knob, pinged_ms=T0 - 3_600_000, trouble=why)[0][1] == f"{said} ({why})."
    assert next(row.count for row in unwatched(facts(knob.sources)) if row.name == "Outside watchdog") == 0


def test_a_farm_without_an_outside_watchdog_is_not_reminded_of_it(knob):
    knob.store.record(Record(Memory(0, 0, T0, b"", b""), health={"heartbeat": ""}))
    assert "Outside watchdog" not in [row.name for row in unwatched(facts(knob.sources))]


FLOW = TankFlow(Band(1e-4, 142 * GALLON_M3 / 3600, 2e-4), 1290 * GALLON_M3, 0.01, T0, T0, 0.2)
AGE = SapAge(1.0, 9 * 3600 + 1200, 3600.0, None, None, at_least=False)


def view(**more):
    facts = {
        "tank_id": "lower",
        "capacity_m3": 1600 * GALLON_M3,
        "volume_m3": 1290 * GALLON_M3,
        "measured_ms": T0,
        "flow": FLOW,
        "time_to_full": FillTime(6000.0, 7800.0, 9900.0),
        "age": AGE,
    }
    return TankView(**(facts | more))


def tank_notes(knob, shown):
    return [note.text for note in tank_row(facts(knob.sources), knob.farm.tank_by_id["lower"], shown).notes]


def test_a_tank_says_when_it_is_full_as_a_range(knob):
    assert tank_notes(knob, view()) == ["Full 21:40 to 22:45", "oldest sap 9 h 20 min", "+142 gal/h"]


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (FillTime(6000.0, 7800.0, None), "Full 21:40 at the earliest"),
        (FillTime(0.0, 0.0, 0.0), "Full now"),
        (NotFilling(-480 * GALLON_M3 / 3600), "emptying"),
        (NotFilling(0.0), "not filling"),
        (Unknown("the level stands still"), "the level stands still"),
    ],
)
def test_a_tank_never_gives_a_time_it_cannot_know(knob, left, said):
    assert tank_notes(knob, view(time_to_full=left))[0] == said


def test_a_tank_without_a_level_shows_no_contents(knob):
    row = tank_row(facts(knob.sources), knob.farm.tank_by_id["lower"], view(volume_m3=None))
    assert (row.volume_gal, row.fill, row.silence) == (None, None, "never heard")


@pytest.mark.parametrize(
    ("hours", "tone"), [(11.9, Tone.SOFT), (12.1, Tone.MIND), (23.9, Tone.MIND), (24.1, Tone.ACT)]
)
def test_old_sap_is_said_louder(knob, hours, tone):
    """12 and 24 h: the defaults of the rule (shared.tuning)."""
    age = SapAge(1.0, hours * 3600, 3600.0, None, None, at_least=False)
    row = tank_row(facts(knob.sources), knob.farm.tank_by_id["lower"], view(age=age))
    assert next(note.tone for note in row.notes if note.text.startswith("oldest sap")) is tone


def test_sap_older_than_the_watch_is_at_least_so_old(knob):
    age = SapAge(1.0, 3600.0, 3600.0, None, None, at_least=True)
    assert "oldest sap at least 1 h" in tank_notes(knob, view(age=age))


def fire(state, **more):
    facts = {
        "measured_ms": T0,
        "stack_c": to_si(612, "degF"),
        "state": state,
        "since_ms": T0 - 7_200_000,
        "firings_ms": (T0 - 900_000, T0 - 480_000),
        "last_interval_s": 420.0,
        "median_interval_s": 420.0,
        "evenness_ratio": None,
        "firings_complete": True,
        "low_since_ms": None,
        "usual": None,
        "over_fire": None,
        "burn_down_wanted": False,
        "boil_s": 7200.0,
        "above_creosote_s": 7000.0,
    }
    return Fire(**(facts | more))


@pytest.mark.parametrize(
    ("state", "tone"),
    [
        (FireState.STEADY, Tone.INK),
        (FireState.LOW, Tone.MIND),
        (FireState.DYING, Tone.ACT),
        (FireState.OUT, Tone.INK),
    ],
)
def test_a_fire_asks_only_when_it_dies(knob, state, tone):
    assert fire_row(facts(knob.sources), fire(state)).tone is tone


@pytest.mark.parametrize("state", FireState)
def test_every_state_of_the_fire_has_a_sentence(knob, state):
    assert fire_row(facts(knob.sources), fire(state)).sentence.endswith(".")


def test_an_over_fire_is_said_before_all_else(knob):
    over = OverFire(OverFireKind.LIMIT, T0 - 120_000, to_si(1104, "degF"))
    row = fire_row(facts(knob.sources), fire(FireState.STEADY, over_fire=over))
    assert (row.sentence, row.tone) == ("Over-fire: 1,104 °F in the stack.", Tone.ACT)


def test_firings_seen_too_rarely_are_told_as_a_bound(knob):
    row = fire_row(facts(knob.sources), fire(FireState.STEADY, firings_complete=False))
    assert [note.text for note in row.notes][1:] == ["fired at least 2 times, last 8 min ago"]


def test_a_fire_that_nobody_watches_has_no_temperature(knob):
    row = fire_row(facts(knob.sources), Unknown("the stack sensor has been silent for 6 min"))
    assert row.stack_f is None
    assert row.sentence == "The fire is not watched."
