"""The ways to hand a text over, by Apprise, from the addresses in the farm file.

One address is one channel, so that its failure is its own: what another took is not sent there again.
"""

import string
from collections.abc import Callable, Mapping

from apprise import Apprise
from apprise.result import AppriseResult

from shared.errors import ChannelError, SettingsError
from shared.farm import Farm

Deliver = Callable[[str, str], None]
"""Hands one text (short, long) over; raises ChannelError when it was not taken."""
Way = tuple[str, str]
"""One channel of one contact."""
TERMINAL = "terminal:"
"""An address that shows the text where the collector runs, for the demo and a first try."""
TEXT_MARK = "text to "
_REASON_LENGTH = 200


def open_channels(farm: Farm, environment: Mapping[str, str]) -> dict[Way, Deliver]:
    """(contact, channel) -> how to hand a text over.

    Raises:
        SettingsError: a variable named in an address is not set, or Apprise knows no such service.
    """
    channels: dict[Way, Deliver] = {}
    for contact in farm.contacts:
        for channel in contact.channels:
            place = f"contact {contact.id}, channel {channel.id}"
            try:
                url = string.Template(channel.url).substitute(environment)
            except KeyError as error:
                raise SettingsError(f"{place}: set the environment variable {error.args[0]}") from error
            except ValueError as error:
                raise SettingsError(f"{place}: {error}; write $$ for a dollar sign") from error
            channels[contact.id, channel.id] = (
                _on_terminal(contact.name) if url == TERMINAL else _by_apprise(url, place)
            )
    return channels


def _on_terminal(name: str) -> Deliver:
    def deliver(body: str, _long_body: str) -> None:
        print(f"  {TEXT_MARK}{name}: {body}", flush=True)  # noqa: T201 - this is the channel

    return deliver


def _by_apprise(url: str, place: str) -> Deliver:
    service = Apprise()
    if not service.add(_patient(url)):
        raise SettingsError(f"{place}: Apprise knows no such address; see its list of services")
    if len(service) != 1:
        # If one of two took it, the other's failure would send it to both again.
        raise SettingsError(f"{place}: these are {len(service)} addresses; make a channel of each")
    is_mail = url.startswith("mailto")

    def deliver(body: str, long_body: str) -> None:
        # One service per call, so that a failure is this channel's alone. Only SUCCESS is true.
        result = service.notify(body=long_body if is_mail else body)
        if not result:
            raise ChannelError(_reason(result), permanent=False)

    return deliver


def _reason(result: AppriseResult) -> str:
    """Why it was not taken, in the service's own words where it has any."""
    said = [entry.message for service in result.results for entry in service.logs()]
    return said[-1][:_REASON_LENGTH] if said else f"not taken ({result.status.name.lower()})"


def gone(_body: str, _long_body: str) -> None:
    """The way of a text whose channel is none any more."""
    raise ChannelError("the farm file no longer has this channel", permanent=True)


def _patient(url: str) -> str:
    """Apprise waits 4 s by default: less than a satellite link needs, and a late answer would be a second text."""
    return f"{url}{'&' if '?' in url else '?'}cto=20&rto=60"
