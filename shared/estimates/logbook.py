"""What the owner writes in the log, where it changes what is estimated or expected."""

from shared.estimates import tank_book
from shared.estimates.fire import note_burn_down
from shared.estimates.picture import Picture
from shared.estimates.shares import ShareHistory
from shared.estimates.vacuum import rebase_vacuum
from shared.farm import Farm
from shared.readings import Quantity
from shared.requests import LogKind, WriteLog
from shared.units import DAY_S

KEEPS_LOG_S = 7 * DAY_S
"""Who has logged no start of a boil for so long keeps no log of boils (our choice)."""


def note_entry(picture: Picture, farm: Farm, entry: WriteLog) -> None:
    """Take what the owner wrote in the log, where it changes what is estimated."""
    kind = str(entry.entry)
    picture.logged_ms[kind] = max(entry.happened_ms, picture.logged_ms.get(kind, 0))
    if entry.entry is LogKind.TANK_WASHED and entry.tank in farm.tank_by_id:
        tank_book.wash(picture.tanks, entry.tank, entry.happened_ms)
    elif entry.entry is LogKind.BOIL_STOPPED:
        for history in picture.fire.values():
            note_burn_down(history, entry.happened_ms)
    elif entry.entry is LogKind.LINES_CHANGED:
        for sensor in farm.sensors_of(Quantity.VACUUM):
            if sensor.id in picture.vacuum and entry.line in (None, sensor.line):
                rebase_vacuum(picture.vacuum[sensor.id])
                picture.shares[sensor.id] = ShareHistory()


def keeps_log_of_boils(picture: Picture, now_ms: int) -> bool:
    """Whether the start of a boil was logged in the last days: only then does a missing entry mean anything."""
    started_ms = picture.logged_ms.get(LogKind.BOIL_STARTED)
    return started_ms is not None and now_ms - started_ms <= KEEPS_LOG_S * 1000


def boil_is_logged(picture: Picture, now_ms: int) -> bool:
    """Whether somebody is logged as boiling: started within a day, and not stopped since."""
    started_ms = picture.logged_ms.get(LogKind.BOIL_STARTED, 0)
    return now_ms - started_ms <= DAY_S * 1000 and picture.logged_ms.get(LogKind.BOIL_STOPPED, 0) < started_ms


def ro_is_logged(picture: Picture, now_ms: int) -> int | None:
    """When the RO was logged as started, within a day and not stopped since; else None."""
    started_ms = picture.logged_ms.get(LogKind.RO_STARTED, 0)
    runs = now_ms - started_ms <= DAY_S * 1000 and picture.logged_ms.get(LogKind.RO_STOPPED, 0) < started_ms
    return started_ms if runs else None
