"""The same happenings give the same texts, wherever the process was started anew and whatever came twice."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.alerts import Priority, Verdict
from shared.requests import Acknowledge
from tests.fakes.watchman import SUBJECTS, WAYS, Watchman

SUBJECT = st.sampled_from(SUBJECTS)
STEP = st.one_of(
    st.tuples(st.just("time"), st.sampled_from([10, 60, 300, 900])),
    st.tuples(
        st.just("find"),
        SUBJECT,
        st.sampled_from([Verdict.ACTIVE, Verdict.ACTIVE, Verdict.NORMAL, Verdict.BETWEEN, Verdict.UNKNOWN]),
        st.sampled_from([Priority.WAKE, Priority.WAKE, Priority.TELL]),
        st.sampled_from(["", "", "the pump does not run"]),
    ),
    st.tuples(st.just("has it"), SUBJECT),
    st.tuples(st.just("channel"), st.sampled_from(WAYS), st.sampled_from(["takes", "fails"])),
)


def lived(folder, name, steps, *, restarts=(), twice=()):
    """All that was written and changed, and what each phone got, when these steps are lived through."""
    man = Watchman(folder / f"{name}.sqlite")
    for place, (kind, *what) in enumerate(steps):
        if kind == "time":
            man.pass_time(what[0])
        elif kind == "find":
            man.found[what[0]] = tuple(what[1:])
        elif kind == "channel":
            man.phones[what[0]].mode = what[1]
        else:
            ask = Acknowledge(f"a{place}", "Wren", man.now_ms, f"trouble/{what[0]}")
            for _ in range(2 if place in twice else 1):
                man.ask(ask)
        if place in twice:
            for outcome in list(man.daemon.sender.outcomes()):
                for _ in range(2):
                    man.daemon.sender._outcomes.put(outcome)
        if place in restarts:
            man.daemon._record()
            man.start()
    texts = [
        (row.key, row.event, row.contact, row.channel, row.body, row.created_ms, row.state)
        for row, _, _ in man.texts()
    ]
    changes = man.store.transitions(0)
    man.store.close()
    return texts, changes, [phone.bodies for phone in man.phones.values()]


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    steps=st.lists(STEP, min_size=5, max_size=20),
    restarts=st.sets(st.integers(0, 19)),
    twice=st.sets(st.integers(0, 19)),
)
def test_restarts_and_duplicates_change_no_text(tmp_path_factory, steps, restarts, twice):
    folder = tmp_path_factory.mktemp("lived")
    steps = [("find", SUBJECTS[0], Verdict.ACTIVE, Priority.WAKE, ""), ("time", 300), *steps, ("time", 900)]
    straight = lived(folder, "straight", steps)
    assert straight[0]
    assert lived(folder, "broken", steps, restarts=restarts, twice=twice) == straight
