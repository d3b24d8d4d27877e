"""The promise itself: whatever happens, and in whatever order, a wake-up that asks is being told.

An active wake alert is always acknowledged, shelved, suppressed or cleared, or there is a text about it, waiting or
taken, that is younger than the time to its next reminder. Hypothesis tries findings, answers, pauses, dead channels,
lost answers, power cuts, a machine that was off and a clock that was put back, on the real daemon, store and sender.
"""

import shutil
import tempfile
from itertools import count, groupby
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from collector.alerting.book import AHEAD_FRACTION, CALM_S
from collector.alerting.delivery import RETRY_S
from shared.alerts import AlertState, Cause, Priority, Verdict
from shared.farm_contacts import FALLBACK_S
from shared.gsm7 import LIMIT, length
from shared.requests import Acknowledge, Answer, Shelve, Unshelve
from tests.fakes.watchman import SUBJECTS, WAYS, Watchman

REMINDED_S = (300.0, 600.0, 900.0, 1800.0, 3600.0)
"""From each text of a wake-up that nobody answers to the next: at 5, 15, 30 and 60 minutes, then each hour."""
STEP_S = 60.0
HORN_MS = 300_000
SUBJECT = st.sampled_from(SUBJECTS)
WAY = st.sampled_from(WAYS)
FINDING = st.tuples(
    st.sampled_from([Verdict.ACTIVE, Verdict.ACTIVE, Verdict.NORMAL, Verdict.BETWEEN, Verdict.UNKNOWN]),
    st.sampled_from([Priority.WAKE, Priority.WAKE, Priority.TELL, Priority.NOTE]),
    st.sampled_from(["", "", "", "the pump does not run"]),
)


class NeverSilent(RuleBasedStateMachine):
    def __init__(self):
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="lantern-never-silent-"))
        self.man = Watchman(self.folder / "farm.sqlite")
        self.ids = count(1)
        self.sound_since_s = dict.fromkeys(WAYS, 0.0)
        self.put_back = False

    def teardown(self):
        try:
            self.everything_heals()
        finally:
            self.man.store.close()
            shutil.rmtree(self.folder)

    # --- what may happen ---

    @initialize(first=SUBJECT)
    def a_trouble_begins(self, first):
        self.man.found[first] = (Verdict.ACTIVE, Priority.WAKE, "")
        self.man.pass_time(90)

    @rule(subject=SUBJECT, finding=FINDING)
    def a_rule_finds(self, subject, finding):
        self.man.found[subject] = finding
        self.man.turn()

    @rule(subjects=st.lists(SUBJECT, min_size=2, unique=True), apart_s=st.sampled_from([0, 60, 90]))
    def troubles_come_together(self, subjects, apart_s):
        for subject in subjects:
            self.man.found[subject] = (Verdict.ACTIVE, Priority.WAKE, "")
            self.man.pass_time(apart_s, STEP_S)

    @rule(subject=SUBJECT)
    def it_looks_over_and_then_unclear(self, subject):
        _, *rest = self.man.found[subject]
        for verdict, minutes in ((Verdict.NORMAL, 0.5), (Verdict.BETWEEN, 40)):
            self.man.found[subject] = (verdict, *rest)
            self.man.pass_time(minutes * 60, STEP_S)

    @rule(minutes=st.sampled_from([6, 20, 45]))
    def the_link_is_away(self, minutes):
        self.the_link_changes("fails")
        self.man.pass_time(minutes * 60, STEP_S)

    @rule(seconds=st.sampled_from([1, 10, 60, 120, 300, 600, 900]))
    def time_goes_by(self, seconds):
        self.man.pass_time(seconds, STEP_S)

    @rule(hours=st.sampled_from([0.5, 3, 30]))
    def the_machine_is_off(self, hours):
        self.man.now_s += hours * 3600
        self.man.now_ms += round(hours * 3_600_000)
        self.man.start()
        self.man.turn()

    @rule(minutes=st.sampled_from([1, 20, 150]))
    def the_clock_is_put_back(self, minutes):
        self.put_back = True
        self.man.now_ms -= minutes * 60_000
        self.man.turn()

    @rule(subject=SUBJECT)
    def somebody_has_it(self, subject):
        self._ask(Acknowledge(f"a{next(self.ids)}", "Wren", self.man.now_ms, alert=f"trouble/{subject}"))

    @rule(data=st.data())
    def somebody_answers_a_text(self, data):
        codes = sorted(self.man.alerting.answerable)
        if codes:
            code = data.draw(st.sampled_from(codes))
            self._ask(Answer(f"c{next(self.ids)}", "Wren", self.man.now_ms, code=code, quiet_ms=0))

    @rule(subject=SUBJECT, minutes=st.sampled_from([5, 60]))
    def somebody_pauses_it(self, subject, minutes):
        until_ms = self.man.now_ms + minutes * 60_000
        key = f"trouble/{subject}"
        ask = Shelve(f"s{next(self.ids)}", "Wren", self.man.now_ms, key, until_ms=until_ms, reason="I know")
        self._ask(ask)

    @rule(subject=SUBJECT)
    def somebody_ends_the_pause(self, subject):
        self._ask(Unshelve(f"u{next(self.ids)}", "Wren", self.man.now_ms, alert=f"trouble/{subject}"))

    def _ask(self, request):
        self.man.ask(request)
        self.man.turn()

    @rule(way=WAY, mode=st.sampled_from(["takes", "fails", "fails", "takes, no answer"]))
    def a_channel_changes(self, way, mode):
        self.man.phones[way].mode = mode
        self.sound_since_s[way] = self.man.now_s

    @rule(mode=st.sampled_from(["takes", "fails"]))
    def the_link_changes(self, mode):
        for way in WAYS:
            self.a_channel_changes(way, mode)

    @rule(way=WAY, when=st.sampled_from(["before", "after"]))
    def the_power_goes_while_a_text_is_handed_over(self, way, when):
        self.man.phones[way].cut = when

    @rule()
    def the_process_is_killed(self):
        self.man.start()
        self.man.turn()

    @precondition(lambda self: self.man.session.items == [])
    @rule()
    def the_process_is_killed_before_it_has_written(self):
        """What the last turn decided is lost: the daemon's own record fails, then it dies."""
        self.man.now_s += 60
        self.man.now_ms += 60_000
        self.man.store._connection.execute("PRAGMA query_only = ON")
        self.man.daemon._turn()
        self.man.store._connection.execute("PRAGMA query_only = OFF")
        self.man.start()
        self.man.turn()

    # --- what holds whatever happens ---

    @invariant()
    def all_that_is_promised_holds(self):
        self.man.look()  # the loop hears at its next turn what the sender has done
        texts = self.man.texts()
        self.a_wake_up_that_asks_is_being_told(texts)
        self.an_alert_is_open_once()
        self.what_counts_as_sent_has_arrived_and_comes_twice_only_by_a_lost_answer(texts)
        self.what_is_spared_is_said_otherwise(texts)
        self.a_channel_that_takes_texts_has_nothing_left_to_send(texts)
        self.the_horn_sounds_when_nobody_was_reached_and_not_otherwise(texts)

    def a_wake_up_that_asks_is_being_told(self, texts):
        man = self.man
        told_s = {}
        for row, written_s, keys in texts:
            if row.state in ("waiting", "sent"):
                told_s |= dict.fromkeys(keys, written_s)
        for key, alert in man.alerting.alerts.items():
            if not self._asks(alert):
                continue
            count = man.alerting.told[key].count
            reminded_s = REMINDED_S[min(count, len(REMINDED_S) - 1)]
            # The last one may have gone ahead of its time, in company; the next keeps to its own.
            reminded_s += AHEAD_FRACTION * REMINDED_S[min(max(count - 1, 0), len(REMINDED_S) - 1)]
            silent_s = man.now_s - told_s.get(key, float("-inf"))
            if (
                man.alerting.told[key].calm_ms is not None
            ):  # it may be over: for half an hour that is made sure
                silent_s = min(silent_s, man.now_s - man.started_s) - CALM_S
            assert silent_s <= reminded_s + STEP_S, f"{key} is silent"

    def _asks(self, alert):
        is_open = alert.state is AlertState.ACTIVE and alert.priority is Priority.WAKE
        return is_open and not alert.explained_by and not alert.is_shelved(self.man.now_ms)

    def an_alert_is_open_once(self):
        changes = sorted(self.man.store.transitions(0), key=lambda one: one.key)
        for _, of_one in groupby(changes, key=lambda one: one.key):
            turns = [one for one in of_one if one.cause in (Cause.RAISED, Cause.CLEARED)]
            assert [one.cause for one in turns] == [
                (Cause.RAISED, Cause.CLEARED)[n % 2] for n in range(len(turns))
            ]
            assert [one.episode for one in turns] == [1 + n // 2 for n in range(len(turns))]

    def what_counts_as_sent_has_arrived_and_comes_twice_only_by_a_lost_answer(self, texts):
        for way, phone in self.man.phones.items():
            taken = [
                row.body
                for row, _, _ in texts
                if (row.contact, row.channel) == way and row.state == "sent" and row.error is None
            ]
            assert [body for body in taken if body not in phone.bodies] == []
            assert len(phone.bodies) <= len(taken) + phone.lost_answers
            assert all(length(body) <= LIMIT for body in phone.bodies)

    def what_is_spared_is_said_otherwise(self, texts):
        """By an earlier channel that took it, or in a newer text: one that has reached them, or goes the same way."""
        for place, (row, _, keys) in enumerate(texts):
            if row.state == "spared":
                assert any(
                    other.contact == row.contact
                    and set(keys) <= set(others)
                    and (other.state == "sent" or (later > place and other.channel == row.channel))
                    and ((other.key, other.event) == (row.key, row.event) or later > place)
                    for later, (other, _, others) in enumerate(texts)
                ), row

    def a_channel_that_takes_texts_has_nothing_left_to_send(self, texts):
        longest_s = RETRY_S[-1] + STEP_S
        for row, written_s, _ in texts:
            way = (row.contact, row.channel)
            sound_s = self.man.now_s - max(written_s, self.sound_since_s[way], self.man.started_s)
            assert not (
                row.state == "waiting" and self.man.phones[way].mode == "takes" and sound_s > longest_s
            ), row

    def the_horn_sounds_when_nobody_was_reached_and_not_otherwise(self, texts):
        if self.put_back:
            return
        man = self.man
        taken_ms = {}
        for row, _, keys in texts:
            if row.state == "sent":
                taken_ms |= dict.fromkeys(keys, row.created_ms)
        unheard = [
            key
            for key, alert in man.alerting.alerts.items()
            if self._asks(alert)
            and taken_ms.get(key, 0) < man.alerting.told[key].asked_ms <= man.now_ms - HORN_MS
        ]
        assert man.session.published[-1][1:] == (b"on" if unheard else b"off", True)

    def everything_heals(self):
        """At the end the link comes back: nothing waits any more, and who asks has been heard."""
        for way in WAYS:
            self.man.phones[way].mode, self.man.phones[way].cut = "takes", ""
            self.sound_since_s[way] = self.man.now_s
        self.man.pass_time(1200, STEP_S)
        waiting = [written_s for row, written_s, _ in self.man.texts() if row.state == "waiting"]
        assert [written_s for written_s in waiting if self.man.now_s - written_s > FALLBACK_S + 60] == []
        self.all_that_is_promised_holds()


NeverSilent.TestCase.settings = settings(
    max_examples=200,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    report_multiple_bugs=False,
)
test_a_wake_up_is_never_silent = NeverSilent.TestCase
