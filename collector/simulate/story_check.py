"""Whether a story fits a farm: everything that it names must be there."""

from collections.abc import Collection, Iterator

from collector.simulate.story import Story
from collector.simulate.story_events import Event
from shared.errors import Mistake, StoryFileError
from shared.farm import Farm
from shared.farm_parts import PUMP


def check_story(story: Story, farm: Farm) -> None:
    """Refuse a story that names what the farm does not have.

    Raises:
        StoryFileError: naming each place and what is missing.
    """
    mistakes = list(_unknown(story, farm))
    if mistakes:
        raise StoryFileError(tuple(mistakes))


def _unknown(story: Story, farm: Farm) -> Iterator[Mistake]:
    for tank in story.tanks:
        yield from _named(f"tanks.{tank}", tank, farm.tank_by_id)
    for sensor in story.payloads:
        yield from _named(f"payloads.{sensor}", sensor, farm.sensor_by_id)
    yield from _named("plant.releaser_to", story.plant.releaser_to, farm.tank_by_id)
    for number, event in enumerate(story.events, 1):
        yield from _unknown_in(event, f"event {number} ({event.kind})", farm)


def _unknown_in(event: Event, place: str, farm: Farm) -> Iterator[Mistake]:
    line_id = getattr(event, "line", None)
    yield from _named(f"{place}: line", line_id, [PUMP, *farm.line_by_id])
    yield from _named(f"{place}: tank", getattr(event, "tank", None), farm.tank_by_id)
    yield from _named(f"{place}: sensor", getattr(event, "sensor", None), farm.sensor_by_id)
    for sensor in getattr(event, "sensors", ()):
        yield from _named(f"{place}: sensors", sensor, farm.sensor_by_id)
    line, along_m = farm.line_by_id.get(line_id or ""), getattr(event, "place_m", None)
    if line is not None and along_m is not None and along_m > line.length_m:
        yield Mistake(
            f"{place}: place", along_m, f"is beyond the end of {line.id}, {line.length_m:.0f} m long"
        )


def _named(place: str, name: str | None, known: Collection[str]) -> Iterator[Mistake]:
    if name is not None and name not in known:
        yield Mistake(place, name, f"is not on this farm; known: {', '.join(known)}")
