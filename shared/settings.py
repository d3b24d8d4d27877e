"""Process settings: where things are, from the environment (`LANTERN_…`) or the command line.

What the farm is stands in farm.toml; what this machine is stands here. Secrets come from the
environment or a file that only the service may read, never from the farm file.
"""

from pathlib import Path
from typing import Annotated, Self

from pydantic import Field, SecretStr
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """One field a setting; its description is what the manual prints."""

    model_config = SettingsConfigDict(env_prefix="LANTERN_", env_file=None, extra="forbid", frozen=True)

    farm_file: Annotated[Path, Field(description="The farm file.")] = Path("farm.toml")
    store_file: Annotated[Path, Field(description="The SQLite file that holds readings, alerts and log.")] = (
        Path("lantern.sqlite")
    )
    broker_host: Annotated[str, Field(description="Host of the MQTT broker.")] = "127.0.0.1"
    broker_port: Annotated[int, Field(ge=1, le=65535, description="Port of the MQTT broker.")] = 1883
    broker_user: Annotated[str | None, Field(description="User name at the broker.")] = None
    broker_password: Annotated[SecretStr | None, Field(description="Password at the broker.")] = None
    broker_tls: Annotated[bool, Field(description="Speak TLS to the broker.")] = False
    broker_ca_file: Annotated[
        Path | None, Field(description="Certificate authority of the broker; unset: the system's.")
    ] = None
    broker_client_id: Annotated[
        str | None, Field(min_length=1, description="Fixed MQTT client id; unset: lantern-<farm>.")
    ] = None
    session_expiry_s: Annotated[
        int, Field(ge=86_400, description="How long the broker keeps messages for a collector that is away.")
    ] = 30 * 86_400
    inflight_count: Annotated[
        int, Field(ge=2, le=2_000, description="The broker's max_inflight_messages; batches are half of it.")
    ] = 200
    listen_host: Annotated[str, Field(description="Address the dashboard listens on.")] = "127.0.0.1"
    listen_port: Annotated[int, Field(ge=1, le=65535, description="Port the dashboard listens on.")] = 8151
    heartbeat_url: Annotated[
        SecretStr | None,
        Field(
            description="Secret address of an outside watchdog, pinged while all is seen well; unset: none."
        ),
    ] = None
    heartbeat_s: Annotated[int, Field(ge=60, description="Seconds from one such ping to the next.")] = 600
    secret_file: Annotated[
        Path | None,
        Field(description="What codes are signed with, made at the first start; unset: beside the store."),
    ] = None
    answer_link: Annotated[
        str,
        Field(
            pattern=r"^(https?://\S+/)?$",
            description="Address before the code in a text; empty: none.",
        ),
    ] = ""
    answer_host: Annotated[
        str | None,
        Field(description="Address where the page behind that link, and no other, listens; unset: nowhere."),
    ] = None
    answer_port: Annotated[int, Field(ge=1, le=65535, description="Port of that page.")] = 8152
    far_broker: Annotated[
        str | None,
        Field(
            pattern=r"^[^:]+:\d+$",
            description="HOST:PORT of a broker of yours that answers come by; unset: none.",
        ),
    ] = None
    far_broker_user: Annotated[str | None, Field(description="User name there.")] = None
    far_broker_password: Annotated[SecretStr | None, Field(description="Password there.")] = None
    far_broker_tls: Annotated[bool, Field(description="Speak TLS to it.")] = True
    far_broker_ca_file: Annotated[
        Path | None, Field(description="Certificate authority of that broker; unset: the system's.")
    ] = None
    answer_stream: Annotated[
        SecretStr | None,
        Field(
            description="Address of a push service's stream of answers, one JSON object a line; unset: none."
        ),
    ] = None
    pace: Annotated[
        str | None,
        Field(
            description="Demo only: how farm time follows the wall, as JSON [[wall_ms, farm_ms, speed], ...]."
        ),
    ] = None

    @property
    def secret_path(self) -> Path:
        """Where the farm's secret is."""
        return self.secret_file if self.secret_file is not None else self.store_file.with_suffix(".secret")

    def for_far_broker(self, farm_id: str) -> Self:
        """The same, with the far broker in the place of the farm's."""
        assert self.far_broker is not None
        host, _, port = self.far_broker.rpartition(":")
        return self.model_copy(
            update={
                "broker_host": host,
                "broker_port": int(port),
                "broker_user": self.far_broker_user,
                "broker_password": self.far_broker_password,
                "broker_tls": self.far_broker_tls,
                "broker_ca_file": self.far_broker_ca_file,
                "broker_client_id": f"lantern-{farm_id}-answers",
            }
        )
