from collector.arrivals import BURST_MS, DRAIN_S, Arrivals, arrivals_from

NOW_MS = 1_772_424_306_000


def arrive(arrivals, *, mid=1, topic="a", payload=b"1", dup=False, now_ms=NOW_MS, now_s=0.0, qos=1):
    return arrivals.received(
        epoch=1,
        mid=mid,
        qos=qos,
        topic=topic,
        payload=payload,
        retain=False,
        dup=dup,
        now_ms=now_ms,
        now_s=now_s,
    )


def test_a_redelivered_message_keeps_the_time_of_its_first_arrival():
    arrivals = Arrivals(200)
    first = arrive(arrivals, mid=7)
    again = arrive(arrivals, mid=7, dup=True, now_ms=NOW_MS + 5000)
    assert again.received_ms == first.received_ms == NOW_MS


def test_it_keeps_it_even_if_the_process_died_in_between():
    first = arrive(Arrivals(200), mid=7)
    after = arrivals_from([first.arrival], 200, NOW_MS, {})
    assert arrive(after, mid=7, dup=True, now_ms=NOW_MS + 5000).received_ms == NOW_MS


def test_a_new_message_under_an_old_packet_id_is_new():
    for changed in ({"payload": b"2"}, {"topic": "b"}):
        arrivals = Arrivals(200)
        arrive(arrivals, mid=7)
        assert arrive(arrivals, mid=7, dup=True, now_ms=NOW_MS + 5000, **changed).received_ms == NOW_MS + 5000
    arrivals = Arrivals(200)
    arrive(arrivals, mid=7)
    assert arrive(arrivals, mid=7, dup=False, now_ms=NOW_MS + 5000).received_ms == NOW_MS + 5000


def test_messages_of_one_topic_in_the_same_instant_are_told_apart():
    arrivals = Arrivals(200)
    times = [arrive(arrivals, mid=mid).received_ms for mid in range(1, 4)]
    assert times == [NOW_MS, NOW_MS + 1, NOW_MS + 2]
    assert arrive(arrivals, mid=9, topic="b").received_ms == NOW_MS


def test_a_clock_that_was_put_back_is_followed():
    arrivals = Arrivals(200)
    arrive(arrivals, mid=1)
    earlier_ms = NOW_MS - BURST_MS
    assert arrive(arrivals, mid=2, now_ms=earlier_ms).received_ms == earlier_ms


def test_only_what_a_window_can_redeliver_is_remembered():
    arrivals = Arrivals(10)
    for mid in range(1, 100):
        arrive(arrivals, mid=mid)
    assert sorted(arrivals.by_mid) == list(range(80, 100))
    kept = [(mid, 0, NOW_MS - mid) for mid in range(1, 100)]
    assert sorted(arrivals_from(kept, 10, None, {}).by_mid) == list(range(80, 100))


def test_messages_may_have_waited_until_the_canary_of_the_connect_comes_back():
    arrivals = arrivals_from([], 200, NOW_MS - 60_000, {})
    arrivals.connected(session_present=True, drain_token=b"drain 1", now_s=0.0)
    waited = [arrive(arrivals, mid=1), arrive(arrivals, mid=2, payload=b"drain 1"), arrive(arrivals, mid=3)]
    assert [item.waiting_since_ms for item in waited] == [NOW_MS - 60_000, NOW_MS - 60_000, None]
    assert [item.alive_ms for item in waited[::2]] == [NOW_MS - 60_000, waited[2].received_ms]


def test_a_second_loss_of_the_link_does_not_make_an_old_backlog_young():
    arrivals = arrivals_from([], 200, NOW_MS - 60_000, {})
    arrivals.connected(session_present=True, drain_token=b"drain 1", now_s=0.0)
    arrive(arrivals, mid=1)
    arrivals.connected(session_present=True, drain_token=b"drain 2", now_s=5.0)
    assert arrive(arrivals, mid=2, now_ms=NOW_MS + 5000).waiting_since_ms == NOW_MS - 60_000


def test_without_a_kept_session_nothing_has_waited():
    arrivals = arrivals_from([], 200, NOW_MS - 60_000, {})
    arrivals.connected(session_present=False, drain_token=b"drain 1", now_s=0.0)
    assert arrive(arrivals).waiting_since_ms is None


def test_a_backlog_of_unknown_age_says_so():
    arrivals = arrivals_from([], 200, None, {})
    arrivals.connected(session_present=True, drain_token=b"drain 1", now_s=0.0)
    assert arrive(arrivals).waiting_since_ms == 0


def test_a_canary_that_is_not_let_back_does_not_make_every_message_old_for_ever():
    arrivals = arrivals_from([], 200, NOW_MS, {})
    arrivals.connected(session_present=True, drain_token=b"drain 1", now_s=0.0)
    arrive(arrivals, mid=1, now_s=DRAIN_S + 1)
    assert arrive(arrivals, mid=2, now_s=DRAIN_S + 1).waiting_since_ms is None


def test_a_first_message_after_a_restart_is_not_given_a_time_that_was_given_before():
    after = arrivals_from([], 200, NOW_MS, {"a": NOW_MS + 3})
    assert arrive(after).received_ms == NOW_MS + 4
