"""`lantern answer`: who asks, and an answer from the command line: I have it, or no texts of it for some hours."""

import os
import pwd
from uuid import uuid4

from rich.console import Console
from rich.table import Table

from collector.alerting.answers import answer_of
from shared.alerts import AlertState
from shared.clock import Clock
from shared.errors import PayloadError
from shared.farm import Farm
from shared.publisher import Publisher
from shared.requests import HOUR_MS, Acknowledge, Request, Shelve, encode
from shared.settings import Settings
from shared.store import Reader
from shared.words import clock_time


def print_asking(reader: Reader, farm: Farm, console: Console, clock: Clock) -> int:
    """Every alert that stands, with the key to answer it by."""
    table = Table("key", "state", "since", "what", title="Alerts", title_justify="left")
    for alert in reader.alerts():
        if alert.state is AlertState.NORMAL:
            continue
        since = "" if alert.raised_ms is None else clock_time(alert.raised_ms, farm.zone, clock())
        state = f"{alert.state}, shelved" if alert.is_shelved(clock()) else str(alert.state)
        table.add_row(alert.key, state, since, alert.sentence)
    console.print(table if table.row_count else "Nothing asks.")
    return 0


def answer(
    settings: Settings, farm: Farm, what: str, quiet_h: float | None, reason: str | None, clock: Clock
) -> int:
    """Answer one alert, by its key (`tank_nearly_full/lower`) or by the code of a text.

    Raises:
        PayloadError: it would be refused; says why.
        BrokerError: the broker cannot be reached; the alert still asks.
    """
    requests = _requests(what, quiet_h, reason, clock())
    with Publisher(settings, f"lantern-answer-{os.getpid()}") as broker:
        for request in requests:
            broker.publish(f"lantern/{farm.id}/request", encode(request))
        broker.wait_acknowledged()
    return 0


def _requests(what: str, quiet_h: float | None, reason: str | None, now_ms: int) -> list[Request]:
    by = pwd.getpwuid(os.getuid()).pw_name
    if "/" not in what:
        return [answer_of(what if quiet_h is None else f"{what} quiet {quiet_h:g}", now_ms)]
    requests: list[Request] = [Acknowledge(uuid4().hex, by, now_ms, alert=what)]
    if quiet_h is not None:
        if not reason:
            raise PayloadError(
                "--quiet needs a --reason, so that tomorrow's reader knows why nothing was said"
            )
        until_ms = now_ms + round(quiet_h * HOUR_MS)
        requests.append(Shelve(uuid4().hex, by, now_ms, alert=what, until_ms=until_ms, reason=reason))
    return requests
