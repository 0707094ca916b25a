"""What a broker is asked for: a lasting session, signs of life, so much ahead; in each version's words."""

from collections.abc import Sequence
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from sensors.intake.broker import Broker
from sensors.intake.buffered_socket import BufferedClient

KEEP_ALIVE_S = 60

RECEIVE_MAXIMUM = 1000
"""Messages the broker may send ahead of their acknowledgements (MQTT 5.0, 3.1.2.11.3): two batches."""

SESSION_S = 60 * 24 * 3600
"""How long the broker is asked to keep what came while nobody was there [s] (MQTT 5.0, 3.1.2.11.2)."""


def made(broker: Broker, version: MQTTProtocolVersion, kind: type[Client] = BufferedClient) -> Client:
    """A client that acknowledges nothing by itself and does not connect again by itself."""
    client = kind(
        CallbackAPIVersion.VERSION2,
        client_id=broker.client_id,
        protocol=version,
        clean_session=None if version == MQTTProtocolVersion.MQTTv5 else False,
        reconnect_on_failure=False,
        manual_ack=True,
    )
    if broker.user:
        client.username_pw_set(broker.user, broker.password or None)
    if broker.tls is not None:
        client.tls_set_context(broker.tls)
    return client


def connect(client: Client, broker: Broker) -> None:
    """Connect and say CONNECT, taking up the session. Waits for the network; raises OSError or ValueError."""
    if client.protocol == MQTTProtocolVersion.MQTTv5:
        asked = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        asked.SessionExpiryInterval = SESSION_S
        asked.ReceiveMaximum = RECEIVE_MAXIMUM
        client.connect(broker.host, broker.port, KEEP_ALIVE_S, clean_start=False, properties=asked)
    else:
        client.connect(broker.host, broker.port, KEEP_ALIVE_S)


def subscribe(client: Client, filters: Sequence[tuple[str, int]]) -> int | None:
    """Ask for topic filters, each with its quality of service; the packet identifier, None if unconnected."""
    wanted: Any = list(filters)
    if client.protocol == MQTTProtocolVersion.MQTTv5:
        wanted = [(one, SubscribeOptions(qos=qos)) for one, qos in filters]
    _, packet_id = client.subscribe(wanted)
    return packet_id
