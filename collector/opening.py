"""Composition root of the collector: settings and a farm become a daemon that is ready to run."""

import json
import os
from collections.abc import Callable

from collector.alerting.answers import Answering
from collector.alerting.channels import open_channels
from collector.alerting.delivery import Sender
from collector.arrivals import arrivals_from
from collector.daemon import Daemon
from collector.evaluator import plan_for
from collector.subscriber import Subscriber
from collector.topics import router_of
from shared.clock import Clock
from shared.farm import Farm
from shared.readings import Quality
from shared.secret import farm_secret
from shared.settings import Settings
from shared.store import Store
from shared.store.sqlite import SqliteStore


def open_daemon(settings: Settings, farm: Farm, clock: Clock, monotonic: Callable[[], float]) -> Daemon:
    """A collector for that farm, ready to `run`.

    Raises:
        StoreError: the store cannot be written.
        SettingsError: a contact's channel cannot be used.
    """
    channels = open_channels(farm, os.environ)
    router = router_of(farm)
    store = SqliteStore(settings.store_file, {sensor.id: sensor.quantity for sensor in farm.sensors})
    health = store.health()
    before = set(json.loads(health["filters"][1])) if "filters" in health else set()
    subscriber = Subscriber(
        settings,
        farm.id,
        router.filters,
        clock,
        monotonic,
        unwanted=sorted(before - set(router.filters)),
        arrivals=arrivals_from(
            store.arrivals(),
            settings.inflight_count,
            health["alive"][0] if "alive" in health else None,
            _stamped_ms(store, farm),
        ),
    )
    answering = Answering(farm_secret(settings.secret_path), settings.answer_link)
    return Daemon(
        settings,
        plan_for(farm, answering=answering),
        router,
        store,
        subscriber,
        Sender(store, farm, channels, clock),
        clock,
        monotonic,
    )


def _stamped_ms(store: Store, farm: Farm) -> dict[str, int]:
    """By topic, the latest time that a reading was given on arrival."""
    stamped_ms: dict[str, int] = {}
    for sensor, reading in store.latest().items():
        if Quality.STAMPED_ON_ARRIVAL in reading.quality:
            topic = farm.topic_of(farm.sensor_by_id[sensor])
            stamped_ms[topic] = max(reading.measured_ms, stamped_ms.get(topic, 0))
    return stamped_ms
