"""A storm as the store remembers it: asks for what a review needs, and finds the storm if nobody says when it was."""

from shared.errors import InvalidArgument
from shared.estimates.storm import Heard, StormReview, known_from_ms, storm_review
from shared.estimates.tracks import Rows
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.readings import Quantity
from shared.store import Bucket, Reader
from shared.typed_times import typed_ms
from shared.words import duration

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
USUAL_MS = DAY_MS
"""So far back a good hour is looked for: before the storm the pump may have rested all night."""
LEVELS_MS = 3 * HOUR_MS
LONGEST_MS = 7 * DAY_MS
"""A longer time is a season, not a storm."""
LEAST_COUNT = 4
"""Of so many readings in a minute the lowest and the highest are left out: a spike, a dump."""


def review(
    reader: Reader, farm: Farm, now_ms: int, from_ms: int | None = None, to_ms: int | None = None
) -> StormReview:
    """The review of that time; without a beginning from an hour before the first trouble of its last day.

    Raises:
        InvalidArgument: it does not begin before it ends, begins later than now, or is longer than a week.
    """
    until_ms = now_ms if to_ms is None else min(to_ms, now_ms)
    begin_ms = until_ms - DAY_MS if from_ms is None else from_ms
    if begin_ms >= now_ms:
        raise InvalidArgument("from", _before(begin_ms, now_ms, "now"), "before now")
    if not 0 < until_ms - begin_ms <= LONGEST_MS:
        raise InvalidArgument("from", _before(begin_ms, until_ms, "to"), "before to, by a week at most")
    heard = _heard(reader, farm, begin_ms, until_ms)
    if from_ms is None:
        begin_ms = min(known_from_ms(farm, heard, begin_ms, until_ms), until_ms - MINUTE_MS)
    found = storm_review(farm, heard, begin_ms, until_ms)
    if from_ms is not None or not found.troubles:
        return found
    first_ms = min(trouble.onset.heard_before_ms for trouble in found.troubles)
    return storm_review(farm, heard, max(begin_ms, first_ms - HOUR_MS), until_ms)


def review_as_typed(
    reader: Reader, farm: Farm, now_ms: int, from_text: str | None, to_text: str | None
) -> StormReview:
    """The same, of times as somebody typed them.

    Raises:
        InvalidArgument: naming `from` or `to`, with how to say it.
    """

    def at_ms(text: str | None, what: str) -> int | None:
        return typed_ms(text, what, farm.zone, now_ms) if text else None

    return review(reader, farm, now_ms, at_ms(from_text, "from"), at_ms(to_text, "to"))


def _before(at_ms: int, other_ms: int, other: str) -> str:
    gap_s = (other_ms - at_ms) / 1000
    return f"{duration(abs(gap_s))} {'before' if gap_s > 0 else 'after'} {other}"


def _heard(reader: Reader, farm: Farm, from_ms: int, to_ms: int) -> Heard:
    begin_ms, end_ms = from_ms - USUAL_MS, to_ms + MINUTE_MS

    def minutes(quantity: Quantity, since_ms: int = begin_ms) -> dict[str, Rows]:
        sensors = farm.sensors_of(quantity)
        return {s.id: _rows(reader.buckets(s.id, since_ms, end_ms, MINUTE_MS)) for s in sensors}

    def first(quantity: Quantity) -> Rows:
        return next((rows for rows in minutes(quantity).values() if rows), ())

    switches = [s.id for s in farm.sensors_of(Quantity.RUNNING) if s.line == PUMP]
    said = [reader.buckets(name, begin_ms, end_ms, MINUTE_MS) for name in switches]
    return Heard(
        vacuum=minutes(Quantity.VACUUM),
        air_pressure=first(Quantity.AIR_PRESSURE),
        air_temperature=first(Quantity.AIR_TEMPERATURE),
        pump_running=next(([(b.t_ms, b.last) for b in buckets] for buckets in said if buckets), ()),
        levels=minutes(Quantity.LEVEL, from_ms - LEVELS_MS),
    )


def _rows(buckets: list[Bucket]) -> Rows:
    return [(bucket.t_ms, _middle(bucket)) for bucket in buckets]


def _middle(bucket: Bucket) -> float:
    if bucket.count < LEAST_COUNT:
        return bucket.mean
    return (bucket.sum - bucket.min - bucket.max) / (bucket.count - 2)
