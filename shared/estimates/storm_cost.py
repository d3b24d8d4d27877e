"""What a storm cost in sap, at one sensor: while its line was down, by how far, and by how the sap ran then."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from shared.estimates.falls import Fall
from shared.estimates.onset import MINUTE_MS
from shared.estimates.sap_run import EVERY_MS, SapRun
from shared.estimates.suspects import sap_lost_m3_day
from shared.estimates.tracks import Minute, Span, Track
from shared.physics.contested import Contested

DAY_COUNT = 1440

CERTAIN = (1.0, 1.0, 1.0)
MAYBE = (0.0, 0.5, 1.0)
"""A gap in which it fell, or came back, at an unknown time."""


@dataclass(frozen=True, slots=True)
class _Piece:
    """So many minutes down by so much; how sure that is, as factors of the least, the usual and the most."""

    at_ms: int
    minutes_count: float
    drop_pa: float
    sureness: tuple[float, float, float]


def cost_m3(
    track: Track, falls: Sequence[Fall], offs: Sequence[Span], taps: float, run: SapRun, end_ms: int
) -> Contested:
    """Sap lost from the storm's beginning to `end_ms` by so many taps; nothing while a frost holds it anyway."""
    low = usual = high = 0.0
    for piece in _gathered(_pieces(track, falls, offs, end_ms)):
        tap = run.tap_m3_day(piece.at_ms)
        lost = sap_lost_m3_day(track.usual_pa, piece.drop_pa, taps * piece.minutes_count / DAY_COUNT)
        low += lost.low * tap.low * piece.sureness[0]
        usual += lost.usual * tap.usual * piece.sureness[1]
        high += lost.high * tap.high * piece.sureness[2]
    return Contested(low, usual, high)


def day_m3(usual_pa: float, drop_pa: float, taps: float, tap_m3_day: Contested) -> Contested:
    """Sap lost in a day by so many taps at that drop and yield."""
    lost = sap_lost_m3_day(usual_pa, drop_pa, taps)
    return Contested(lost.low * tap_m3_day.low, lost.usual * tap_m3_day.usual, lost.high * tap_m3_day.high)


def _pieces(track: Track, falls: Sequence[Fall], offs: Sequence[Span], end_ms: int) -> Iterator[_Piece]:
    span = track.within((track.from_ms, end_ms + 1))
    for i in span:
        at_ms, drop_pa, is_down = track.minutes_ms[i], track.drops_pa[i], _is_down(track, falls, offs, i)
        is_last = i + 1 == span.stop
        next_ms = end_ms if is_last else track.minutes_ms[i + 1]
        missing = (next_ms - at_ms) / MINUTE_MS
        if is_down:
            yield _Piece(at_ms, 1.0 if next_ms - at_ms > track.gap_ms else missing, drop_pa, CERTAIN)
        if next_ms - at_ms <= track.gap_ms:
            continue
        will_be = not is_last and _is_down(track, falls, offs, i + 1)
        if is_down and will_be:
            yield _Piece(at_ms, missing - 1.0, (drop_pa + track.drops_pa[i + 1]) / 2.0, CERTAIN)
        elif is_down or will_be:
            yield _Piece(at_ms, missing - 1.0, drop_pa if is_down else track.drops_pa[i + 1], MAYBE)


def _is_down(track: Track, falls: Sequence[Fall], offs: Sequence[Span], index: int) -> bool:
    at_ms = track.minutes_ms[index]
    match track.standings[index]:
        case Minute.COLD:
            return False
        case Minute.REST:
            return any(first_ms - MINUTE_MS <= at_ms <= last_ms + EVERY_MS for first_ms, last_ms in offs)
        case Minute.OPEN:
            return any(
                fall.since.at_ms <= at_ms and (fall.until is None or at_ms < fall.until.at_ms)
                for fall in falls
                if not fall.is_cold
            )


def _gathered(pieces: Iterator[_Piece]) -> Iterator[_Piece]:
    """A quarter of an hour in one: what is lost grows in step with the drop, so its mean does."""
    block: _Piece | None = None
    for piece in pieces:
        if (
            block is not None
            and block.sureness == piece.sureness
            and piece.at_ms // EVERY_MS == block.at_ms // EVERY_MS
            and piece.minutes_count <= EVERY_MS / MINUTE_MS
        ):
            count = block.minutes_count + piece.minutes_count
            drop_pa = block.drop_pa * block.minutes_count + max(0.0, piece.drop_pa) * piece.minutes_count
            block = _Piece(block.at_ms, count, drop_pa / count, piece.sureness)
            continue
        if block is not None:
            yield block
        block = piece
    if block is not None:
        yield block
