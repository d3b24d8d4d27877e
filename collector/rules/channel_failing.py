"""A channel takes no texts any more: whom it reaches is not reached by it tonight.

Judged by the clock, from what came of each try. The text about it goes by the other channels and to whom they
reach. When no channel of anybody takes any, one alert says so, on the pages; the texts that wait go on being tried,
and for a wake-up the horn sounds where there is one.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.channels import ChannelRecord
from shared.estimates.picture import Picture
from shared.farm import Farm
from shared.farm_contacts import way_id
from shared.tuning.channels import ChannelFailing
from shared.words import clock_time

ID = "channel_failing"
ALL = "all-channels"
NEVER = ChannelRecord()


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every channel of every contact, and all of them together."""
    ways = _ways(farm)
    if not ways or not farm.tuning(ChannelFailing).enabled:
        return ()
    return tuple(Subject(way, ()) for way in (ALL, *ways))


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one channel, or about all."""
    ways = _ways(farm)
    since_ms = {way: picture.channels.get(way, NEVER).failing_since_ms for way in ways}
    failing_ms = [at_ms for at_ms in since_ms.values() if at_ms is not None]
    all_fail = len(failing_ms) == len(ways)
    tuning = farm.tuning(ChannelFailing)
    if subject == ALL:
        verdict, sentence = Verdict.NORMAL, "Texts are taken."
        if all_fail:
            began = clock_time(max(failing_ms), farm.zone, now_ms)
            verdict, sentence = Verdict.ACTIVE, f"No channel has taken a text since {began}."
        advice = "Nobody is reached by text. Look at the farm's link."
        return found(tuning, ALL, now_ms, verdict, sentence, advice, priority=Priority.TELL)
    record = picture.channels.get(subject, NEVER)
    others = [picture.channels.get(way, NEVER) for way in ways if way != subject]
    taken_ms = max((other.taken_ms or 0 for other in others), default=0)
    texts = f"Texts to {ways[subject]}"
    verdict, sentence, advice = Verdict.NORMAL, f"{texts} are taken.", ""
    if record.failing_since_ms is not None:
        # Where another has taken a text since its last try, the link is back, and this one has yet to be tried.
        is_its_own = not all_fail and (record.failed_ms or 0) >= taken_ms
        verdict = Verdict.ACTIVE if is_its_own else Verdict.BETWEEN
        sentence = f"{texts} have failed since {clock_time(record.failing_since_ms, farm.zone, now_ms)}."
        advice = f"Look at its account, number and link. {record.error}"
    elif record.taken_ms is None:
        verdict, sentence = Verdict.UNKNOWN, f"{texts} have not been tried yet."
    return found(tuning, subject, now_ms, verdict, sentence, advice, priority=Priority.TELL)


def _ways(farm: Farm) -> dict[str, str]:
    """By way: whom it reaches and by what, in words."""
    return {
        way_id(contact.id, channel.id): f"{contact.name} by {channel.id}"
        for contact in farm.contacts
        for channel in contact.channels
    }


RULE = Rule(ID, subjects, judge, by_arrival=True)
