"""One farm, one story, one seed: the same messages and the same truth, every time.

Each step of `STEP_S`: the air, the woods, the sap through the releaser, the crew; then every sensor that is
due within the step reads between its two ends.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

from collector.simulate.night import STEP_S, Night, advance, begin, reader
from collector.simulate.payloads import filled, washed, written
from collector.simulate.record import Recorder, close_books, note
from collector.simulate.sensors import clock_off_s, follow, probe, speak
from collector.simulate.story import Story
from collector.simulate.story_check import check_story
from collector.simulate.truth import Truth
from collector.simulate.wire import Letterbox, Message, Voice, voices
from shared.farm import Farm
from shared.units import DAY_S


@dataclass(frozen=True, slots=True)
class Simulation:
    """Messages in order of arrival; the truth is complete when they have all been taken."""

    messages: Iterator[Message]
    truth: Truth


def simulate(farm: Farm, story: Story, start_ms: int, days: float, seed: int) -> Simulation:
    """Everything that farm's sensors say from `start_ms` on, under that story, and what really happened.

    Pure: the same arguments give the same bytes.

    Raises:
        StoryFileError: the story names what the farm does not have.
    """
    check_story(story, farm)
    duration_s = days * DAY_S
    rng = Random(seed)  # noqa: S311 - repeatable, not secret
    truth = Truth(story.title, farm.id, seed, start_ms, start_ms + round(duration_s * 1000))
    night = begin(farm, story, start_ms, duration_s, rng)
    return Simulation(_run(night, truth, duration_s), truth)


def _run(night: Night, truth: Truth, duration_s: float) -> Iterator[Message]:
    farm, story, rng = night.farm, night.story, night.rng
    probes = {sensor.id: probe(sensor, farm, story, STEP_S) for sensor in farm.sensors}
    speakers = voices(farm, story, probes, rng)
    box = Letterbox(story, truth.start_ms, rng)
    reads = [(probes[sensor.id], reader(night, sensor)) for sensor in farm.sensors]
    recorder = Recorder()
    start_s = truth.start_ms // 1000
    for p, read in reads:
        p.before_si = p.now_si = read()
    t_s, washes_count = 0.0, 0
    while t_s < duration_s:
        end_s = t_s + STEP_S
        advance(night, end_s)
        for p, read in reads:
            follow(p, read())
        note(recorder, truth, night, end_s)
        for voice in speakers:
            while voice.next_s < end_s:
                payload = _said(voice, night, t_s, start_s, rng)
                if payload is not None:
                    box.post(voice, voice.next_s, payload)
                voice.next_s += voice.interval_s
        for at_s, tank in night.crew.washes[washes_count:]:
            box.write_log(f"lantern/{farm.id}/request", washed(tank, truth.at_ms(at_s)), at_s)
        washes_count = len(night.crew.washes)
        arrived = box.arrived(end_s)
        truth.message_count += len(arrived)
        yield from arrived
        t_s = end_s
    truth.duplicate_count, truth.lost_count = box.duplicate_count, box.lost_count
    close_books(recorder, truth, night, duration_s)


def _said(voice: Voice, night: Night, t_s: float, start_s: int, rng: Random) -> str | None:
    """What a topic says when it is due; None when none of its sensors has anything to say."""
    at_s = voice.next_s
    share = (at_s - t_s) / STEP_S
    parts: list[str] = []
    silent_count, off_s = 0, 0.0
    for p in voice.probes:
        si = p.before_si + (p.now_si - p.before_si) * share
        if p.sag_share:
            si -= p.sag_share * night.gathering.sag.at_pa(at_s)
        number = speak(p, si, at_s, rng)
        if number is None:
            silent_count += 1
            parts.append("null")
            continue
        parts.append(written(p, number))
        if p.faults:
            off_s += clock_off_s(p, at_s)
    if silent_count == len(parts):
        return None
    return filled(voice.template, parts, start_s + int(at_s + off_s))
