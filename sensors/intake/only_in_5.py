"""What only MQTT 5 can have wrong in a packet that is well formed. The numbers are its sections."""

from sensors.intake.bodies import SHARED
from sensors.intake.breach import ProtocolError
from sensors.intake.packets import LEVEL_5, Connect, Disconnect, Publish, Subscribe
from sensors.intake.properties import Property, number, value
from sensors.intake.reason_codes import FROM_SERVERS_ONLY, Reason


def cannot_be_served(connect: Connect) -> Reason:
    """Why a CONNECT asks for what there is not here; 0 where it does not."""
    if value(connect.properties, Property.AUTHENTICATION_METHOD) is not None:
        return Reason.BAD_AUTHENTICATION_METHOD  # 4.12
    if connect.level == LEVEL_5 and connect.will is not None and connect.will.qos == 2:
        return Reason.QOS_NOT_SUPPORTED  # 3.2.2.3.4
    return Reason.SUCCESS


def check_publish(publish: Publish) -> None:
    """Raise ProtocolError for a message with what the CONNACK said is not known here."""
    if value(publish.properties, Property.TOPIC_ALIAS) is not None:  # 3.3.2.3.4
        reason = "PUBLISH has a topic alias, and none is known here"
        raise ProtocolError(reason, code=Reason.BAD_TOPIC_ALIAS)
    if value(publish.properties, Property.SUBSCRIPTION_IDENTIFIER) is not None:  # 3.3.4
        reason = "PUBLISH has a subscription identifier, which is not for a client to send"
        raise ProtocolError(reason, code=Reason.PROTOCOL_ERROR)


def check_subscribe(asked: Subscribe) -> None:
    """Raise ProtocolError for what the CONNACK said is not available (3.2.2.3.12, 3.2.2.3.13)."""
    if value(asked.properties, Property.SUBSCRIPTION_IDENTIFIER) is not None:
        reason = "SUBSCRIBE has a subscription identifier, and none is known here"
        raise ProtocolError(reason, code=Reason.SUBSCRIPTION_IDS_NOT_SUPPORTED)
    if any(topic_filter.startswith(SHARED) for topic_filter, _ in asked.filters):
        reason = "SUBSCRIBE asks for a shared subscription, and there are none here"
        raise ProtocolError(reason, code=Reason.SHARED_SUBSCRIPTIONS_NOT_SUPPORTED)


def check_disconnect(packet: Disconnect, connect: Connect) -> None:
    """Raise ProtocolError for a leave that the client may not take so, as it came."""
    if packet.code in FROM_SERVERS_ONLY:  # 3.14.2.1
        reason = f"DISCONNECT has reason code {packet.code:#04x}, which is not for a client to send"
        raise ProtocolError(reason, code=Reason.PROTOCOL_ERROR)
    kept, to_be_kept = (
        number(said.properties, Property.SESSION_EXPIRY_INTERVAL, 0) for said in (connect, packet)
    )
    if to_be_kept and not kept:  # 3.14.2.2.2
        reason = "DISCONNECT asks for a session to be kept and CONNECT did not"
        raise ProtocolError(reason, code=Reason.PROTOCOL_ERROR)
