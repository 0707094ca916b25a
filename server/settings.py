"""Settings of the process: where it keeps things, where it listens. The shop's own are in the store."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Self
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

LOOPBACK_HOSTS = frozenset({"127.0.0.1", "::1", "localhost"})


@dataclass(frozen=True)
class MqttAddress:
    """Where readings come in: `listen` on this machine, or (later) a broker that is already there."""

    host: str
    port: int


class Settings(BaseSettings):
    """The process settings, each by the flag of its name or by environment as SLOWCORNER_NAME."""

    model_config = SettingsConfigDict(env_prefix="SLOWCORNER_", extra="ignore")

    data: Path = Path("data")
    host: str = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65535)] = 8000
    database: str = ""
    mqtt: str = "listen://127.0.0.1:1883"
    mqtt_user: str = ""
    mqtt_password: SecretStr = SecretStr("")

    @model_validator(mode="after")
    def _refuse_what_is_not_there_yet(self) -> Self:
        if self.host not in LOOPBACK_HOSTS:
            raise ValueError(
                f"host {self.host!r}: only this machine (127.0.0.1) is served, since nobody signs in yet"
            )
        if bool(self.mqtt_user) != bool(self.mqtt_password.get_secret_value()):
            raise ValueError("mqtt_user and mqtt_password go together: set both or neither")
        address = self.mqtt_address
        if address.host not in LOOPBACK_HOSTS and not self.mqtt_user:
            raise ValueError(
                f"mqtt {self.mqtt!r} can be reached from other machines: set mqtt_user and mqtt_password too"
            )
        return self

    @property
    def mqtt_address(self) -> MqttAddress:
        """Where the built-in listener listens; raises ValueError where the address is no `listen://HOST:PORT`."""
        parts = urlsplit(self.mqtt)
        if parts.scheme != "listen" or not parts.hostname:
            raise ValueError(f"mqtt {self.mqtt!r} is not of the form listen://HOST:PORT")
        return MqttAddress(parts.hostname, 1883 if parts.port is None else parts.port)

    @property
    def database_url(self) -> str:
        """The database's URL: SQLite in the data folder unless one was given."""
        return self.database or f"sqlite:///{self.data.resolve() / 'slowcorner.db'}"
