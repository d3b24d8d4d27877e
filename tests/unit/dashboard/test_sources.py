from dashboard.sources import Sources
from shared.estimates.picture import dump_picture, new_picture
from shared.readings import Reading
from shared.store import Memory
from tests.fakes.pages import T0, a_night, alert, juniper_knob


def test_a_reading_is_known_as_soon_as_it_is_stored(knob):
    knob.say("stack", 650.0, "degF")
    assert knob.sources.ask(lambda picture: picture.latest["stack"][0]) == T0
    knob.now_ms += 10_000
    knob.say("stack", 655.0, "degF")
    assert knob.sources.ask(lambda picture: picture.latest["stack"][0]) == T0 + 10_000


def test_the_pulse_stands_still_while_nothing_is_new(knob):
    knob.say("stack", 650.0, "degF")
    assert knob.sources.pulse() == knob.sources.pulse()


def test_the_pulse_beats_for_a_reading_an_alert_and_a_minute(knob):
    beats = [knob.sources.pulse()]
    knob.say("stack", 650.0, "degF")
    beats.append(knob.sources.pulse())
    knob.keep(alert())
    beats.append(knob.sources.pulse())
    knob.now_ms += 60_000
    beats.append(knob.sources.pulse())
    assert len(set(beats)) == 4


def test_what_was_compacted_away_is_taken_from_the_collectors_memory(knob):
    a_night(knob)
    before = knob.sources.ask(dump_picture)
    memory = Memory(10_000, 0, T0, before, b"")
    reader = AfterCompaction(knob.sources.reader, memory)
    late = Sources(reader, knob.farm, lambda: T0, knob.publish)
    assert late.ask(dump_picture) == before


def test_a_compaction_in_the_middle_of_the_question_loses_nothing(knob):
    """The memory moves on, and rows leave the inbox, between the two questions."""
    farm = juniper_knob()
    first, second, third = (Reading("stack", T0 + i * 10_000, 340.0 + i, T0) for i in range(3))
    remembered = Sources(Rows([(1, first), (2, second)], []), farm, lambda: T0, knob.publish).ask(
        dump_picture
    )
    reader = Rows([(3, third)], [None, *[Memory(2, 0, T0, remembered, b"")] * 9])
    told = Sources(reader, farm, lambda: T0, knob.publish).ask(lambda picture: picture.latest["stack"])
    whole = Sources(Rows([(1, first), (2, second), (3, third)], []), farm, lambda: T0, knob.publish)
    assert told == whole.ask(lambda picture: picture.latest["stack"])
    assert reader.asked == [0, 2]


class AfterCompaction:
    """Everything has left the inbox; the memory holds it."""

    def __init__(self, reader, memory):
        self.memory = lambda: memory
        self.since = lambda cursor: [row for row in reader.since(0) if row[0] > cursor]


class Rows:
    """An inbox as it stands, and what `memory` answers one time after the other."""

    def __init__(self, rows, memories):
        self.rows, self.memories, self.asked = rows, memories, []

    def memory(self):
        return self.memories.pop(0) if self.memories else None

    def since(self, cursor):
        self.asked.append(cursor)
        return [row for row in self.rows if row[0] > cursor]


def test_a_new_farm_has_an_empty_picture(knob):
    assert knob.sources.ask(dump_picture) == dump_picture(new_picture(knob.farm))
