"""The tree of lines: how far from the pump, by what way, how many taps uphill, and what lies between sensors.

pump ──────┬───────────┬──── conductor        a cut at each sensor and at each joint of a watched line
           │           └──o──────────o brook  makes the pieces; a piece ends uphill at one cut, so a
           └──o───────────────o ledge         piece and its uphill end go by the same index
-1 is the pump. A lateral that no sensor watches belongs to the piece it joins: nothing measured can
tell a leak on it from a leak at its joint.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from shared.errors import InvalidArgument
from shared.farm import Farm
from shared.farm_parts import PUMP, Line, LineKind, Sensor

AT_PUMP = -1
"""Index that stands for the pump where others stand for the uphill end of a piece."""


@dataclass(frozen=True, slots=True)
class Place:
    """A point on a line, `at_m` from the line's pump end; on the line `pump` it is the pump."""

    line: str
    at_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of a line; `from_m` is nearer the pump."""

    line: str
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch between two cuts, with the unwatched lines that join it."""

    stretch: Stretch
    kind: LineKind
    bore_m: float
    joining: tuple[str, ...]
    taps_count: float
    tubing_m: float
    """Length of the stretch and of what joins it."""
    downhill: int
    """The piece that ends where this one begins, or AT_PUMP."""

    @property
    def length_m(self) -> float:
        """Length of the line itself, without what joins it."""
        return self.stretch.to_m - self.stretch.from_m


@dataclass(frozen=True, slots=True)
class Tree:
    """The farm's lines cut into pieces, a piece after the one it hangs on; each sensor at the end of one."""

    pieces: tuple[Piece, ...]
    ways: tuple[tuple[int, ...], ...]
    """For each piece the pieces between the pump and its uphill end, the pump's first, itself last."""
    watchers: tuple[tuple[str, ...], ...]
    """For each piece the sensors at or uphill of its uphill end."""
    sensors: dict[str, int]

    def way(self, index: int) -> tuple[int, ...]:
        """The pieces between the pump and that piece's uphill end."""
        return () if index == AT_PUMP else self.ways[index]

    def speaker(self, index: int) -> str | None:
        """The sensor that speaks for that piece's taps: at its uphill end, or else the next one downhill."""
        for end in (*reversed(self.way(index)), AT_PUMP):
            for name, its_end in self.sensors.items():
                if its_end == end:
                    return name
        return None

    def taps_counts(self) -> dict[str, float]:
        """Taps each sensor speaks for; taps with no sensor downhill or at their piece's end are left out."""
        counts = dict.fromkeys(self.sensors, 0.0)
        for index, piece in enumerate(self.pieces):
            name = self.speaker(index)
            if name is not None:
                counts[name] += piece.taps_count
        return counts

    def uphill_taps_count(self, index: int) -> float:
        """Taps on that piece and on all that hang on it."""
        return sum(
            piece.taps_count for way, piece in zip(self.ways, self.pieces, strict=True) if index in way
        )


def place_of(farm: Farm, sensor: Sensor) -> Place:
    """Where a sensor sits; without `at` it is at the far end of its line.

    Raises:
        InvalidArgument: the sensor is on no line.
    """
    if sensor.line is None:
        raise InvalidArgument("sensor", sensor.id, "on a line or at the pump")
    if sensor.line == PUMP:
        return Place(PUMP)
    line = farm.line_by_id[sensor.line]
    return Place(line.id, line.length_m if sensor.at_m is None else sensor.at_m)


def way_from_pump(farm: Farm, place: Place) -> tuple[Stretch, ...]:
    """The stretches between the pump and a place, the pump's first; none for the pump.

    Raises:
        InvalidArgument: the farm has no such place.
    """
    steps: list[Stretch] = []
    at = place
    while at.line != PUMP:
        line = farm.line_by_id.get(at.line)
        if line is None or not 0.0 <= at.at_m <= line.length_m:
            raise InvalidArgument("place", place, "on a line of this farm, within its length")
        steps.append(Stretch(line.id, 0.0, at.at_m))
        at = Place(line.parent, line.joins_at_m if line.parent != PUMP else 0.0)
    return tuple(reversed(steps))


def distance_from_pump_m(farm: Farm, place: Place) -> float:
    """Metres of line between the pump and a place.

    Raises:
        InvalidArgument: the farm has no such place.
    """
    return sum(stretch.to_m for stretch in way_from_pump(farm, place))


def taps_uphill_count(farm: Farm, place: Place) -> float:
    """Taps whose sap flows past a place: beyond it on the line, and on every line that joins beyond it.

    A line's own taps are taken as evenly spread, so the count need not be whole.
    """
    if place.line == PUMP:
        return float(farm.taps)
    line = farm.line_by_id[place.line]
    own = line.taps * (1.0 - place.at_m / line.length_m)
    return own + sum(
        taps_uphill_count(farm, Place(child.id))
        for child in _joining(farm, line.id)
        if child.joins_at_m >= place.at_m
    )


def cut(farm: Farm, sensors: Iterable[Sensor]) -> Tree:
    """The tree as those sensors see it.

    Raises:
        InvalidArgument: a sensor is on no line.
    """
    places = {sensor.id: _seated(farm, place_of(farm, sensor)) for sensor in sensors}
    seats = set(places.values())
    split = _split_lines(farm, {seat.line for seat in seats})
    pieces: list[Piece] = []
    ways: list[tuple[int, ...]] = []
    ends = {Place(PUMP): AT_PUMP}
    waiting = [line for line in _joining(farm, PUMP) if line.id in split]
    while waiting:
        line = waiting.pop(0)
        children = [child for child in _joining(farm, line.id) if child.id in split]
        cuts = {line.length_m, *(child.joins_at_m for child in children)}
        cuts |= {seat.at_m for seat in seats if seat.line == line.id}
        from_m, downhill = 0.0, ends[_seated(farm, Place(line.id))]
        for to_m in sorted(cuts - {0.0}):
            piece = _piece(farm, line, Stretch(line.id, from_m, to_m), downhill, split)
            ways.append((*(() if downhill == AT_PUMP else ways[downhill]), len(pieces)))
            downhill = ends[Place(line.id, to_m)] = len(pieces)
            pieces.append(piece)
            from_m = to_m
        waiting += children
    seated = {name: ends[seat] for name, seat in places.items()}
    watchers: list[list[str]] = [[] for _ in pieces]
    for name, end in seated.items():
        for index in () if end == AT_PUMP else ways[end]:
            watchers[index].append(name)
    return Tree(tuple(pieces), tuple(ways), tuple(map(tuple, watchers)), seated)


def _seated(farm: Farm, place: Place) -> Place:
    """The same point, told on the line nearest the pump: a line's pump end is its joint on the parent."""
    while place.line != PUMP and place.at_m == 0.0:
        line = farm.line_by_id[place.line]
        place = Place(line.parent, line.joins_at_m if line.parent != PUMP else 0.0)
    return place


def _split_lines(farm: Farm, watched: set[str]) -> set[str]:
    """Lines that become pieces: the watched, those on the way to them, and mainlines on a conductor."""
    split: set[str] = set()
    for line in farm.lines:
        trunk = line.parent == PUMP or farm.line_by_id[line.parent].kind is LineKind.CONDUCTOR
        if line.id in watched or (trunk and line.kind is not LineKind.LATERAL):
            name = line.id
            while name != PUMP and name not in split:
                split.add(name)
                name = farm.line_by_id[name].parent
    return split


def _piece(farm: Farm, line: Line, stretch: Stretch, downhill: int, split: set[str]) -> Piece:
    last = stretch.to_m == line.length_m
    hanging: list[Line] = []
    waiting = [
        child
        for child in _joining(farm, line.id)
        if child.id not in split
        and (stretch.from_m <= child.joins_at_m < stretch.to_m or (last and child.joins_at_m == stretch.to_m))
    ]
    while waiting:
        child = waiting.pop(0)
        hanging.append(child)
        waiting += _joining(farm, child.id)
    length_m = stretch.to_m - stretch.from_m
    return Piece(
        stretch,
        line.kind,
        line.bore_m,
        tuple(child.id for child in hanging),
        line.taps * length_m / line.length_m + sum(child.taps for child in hanging),
        length_m + sum(child.length_m for child in hanging),
        downhill,
    )


def _joining(farm: Farm, name: str) -> list[Line]:
    return [line for line in farm.lines if line.parent == name]
