"""The codec of MQTT 5: every breach with its code, and what cannot be written.

The numbers are the sections of the OASIS standard of 7 March 2019.
"""

import pytest

from sensors.intake.breach import ProtocolError
from sensors.intake.encoder import encode
from sensors.intake.packets import LEVEL_5, Auth, Connect, Disconnect, Packet, Puback, Publish, Unsuback
from sensors.intake.properties import Property
from sensors.intake.reason_codes import Reason
from tests.air.test_mqtt5_packets import decode

CONNECT = "00044d515454 05"
MALFORMED, PROTOCOL = Reason.MALFORMED_PACKET, Reason.PROTOCOL_ERROR


@pytest.mark.parametrize(
    ("data", "code", "reason"),
    [
        # 2.2.2.2: an identifier that is unknown, or not of this packet, is malformed
        ("30 06 0001 74 02 7f 00", MALFORMED, "PUBLISH has a property 0x7f, which there is not"),
        ("30 09 0001 74 05 11 00000001", MALFORMED, "has a session expiry interval, which does not belong"),
        (
            f"10 12 {CONNECT} 02 0000 05 18 00000001 0000",
            MALFORMED,
            "has a will delay interval, which does not",
        ),
        # 2.2.2.1, 1.5.5: lengths
        ("30 05 0001 74 05 01", MALFORMED, "PUBLISH ends within its properties"),
        ("30 05 0001 74 01 01", MALFORMED, "PUBLISH properties ends within its payload format indicator"),
        ("30 05 0001 74 80 00", MALFORMED, "its property length is written with more bytes than needed"),
        ("30 07 0001 74 80808080", MALFORMED, "its property length has more than 4 bytes"),
        ("c0 80 00", MALFORMED, "its remaining length has more bytes than needed"),
        ("30 08 0001 74 04 1f 0001 61", MALFORMED, "has a reason string, which does not belong there"),
        ("30 09 0001 74 05 03 0002 c328", MALFORMED, "its content type is not UTF-8"),
        # twice, and values (each property's own section)
        ("30 08 0001 74 04 0101 0101", PROTOCOL, "PUBLISH has two of payload format indicator"),
        ("30 06 0001 74 02 01 02", PROTOCOL, "payload format indicator 2; it must be 0 or 1"),
        ("30 08 0001 74 04 08 0001 23", PROTOCOL, "its response topic is empty or has a wildcard"),
        ("30 07 0001 74 03 23 0000", Reason.BAD_TOPIC_ALIAS, "PUBLISH has topic alias 0"),
        ("30 03 0000 00", PROTOCOL, "its topic is empty and it has no topic alias"),
        (f"10 10 {CONNECT} 02 0000 03 21 0000 0000", PROTOCOL, "CONNECT has receive maximum 0"),
        (f"10 12 {CONNECT} 02 0000 05 27 00000000 0000", PROTOCOL, "CONNECT has maximum packet size 0"),
        (f"10 0f {CONNECT} 02 0000 02 17 02 0000", PROTOCOL, "request problem information 2"),
        (f"10 11 {CONNECT} 02 0000 04 16 0001 61 0000", PROTOCOL, "data and no authentication method"),
        ("82 09 000a 02 0b00 0001 61 01", PROTOCOL, "SUBSCRIBE has subscription identifier 0"),
        ("82 0b 000a 04 0b01 0b02 0001 61 01", PROTOCOL, "SUBSCRIBE has two of subscription identifier"),
        # 3.8.3.1: options
        ("82 07 000a 00 0001 61 03", PROTOCOL, "a quality of service or retain handling of 3"),
        ("82 07 000a 00 0001 61 31", PROTOCOL, "a quality of service or retain handling of 3"),
        ("82 07 000a 00 0001 61 41", MALFORMED, "SUBSCRIBE has reserved bits in its options 0x41"),
        ("82 0e 000a 00 0008 2473686172652f61 04", PROTOCOL, "asks a shared subscription for no local"),
        # 4.7.1: wildcards
        ("82 09 000a 00 0003 232f61 00", MALFORMED, "a topic filter with a misplaced wildcard"),
        ("a2 07 000a 00 0002 612b", MALFORMED, "a topic filter with a misplaced wildcard"),
        # codes of another packet
        ("40 03 000a 8b", MALFORMED, "PUBACK has reason code 0x8b, which does not belong there"),
        ("e0 01 10", MALFORMED, "DISCONNECT has reason code 0x10"),
        ("f0 01 04", MALFORMED, "AUTH has reason code 0x04"),
        ("20 03 00 01 00", MALFORMED, "CONNACK has flags 0x0 and return code 1"),
        ("90 04 000a 00 03", MALFORMED, "SUBACK has return codes"),
        ("b0 03 000a 00", MALFORMED, "UNSUBACK has reason codes"),
        # 2.1.2, 3.1.2, 4.3.3
        ("f1 00", MALFORMED, "AUTH has reserved flags 0x1"),
        ("62 02 0001", Reason.QOS_NOT_SUPPORTED, "quality of service 2 is not taken"),
        (f"10 0d {CONNECT} 03 0000 00 0000", MALFORMED, "its reserved flag set"),
        ("32 06 0001 61 0000 00", PROTOCOL, "PUBLISH has packet identifier 0"),
        ("30 81 80 04", Reason.PACKET_TOO_LARGE, "is over the limit of 65536 bytes"),
    ],
)
def test_a_breach_is_told_with_its_code(data: str, code: Reason, reason: str) -> None:
    with pytest.raises(ProtocolError) as told:
        decode(bytes.fromhex(data))
    assert reason in told.value.reason
    assert told.value.code is code


@pytest.mark.parametrize(
    "packet",
    [
        Puback(1, 0x87),
        Disconnect(0x04),
        Auth(),
        Unsuback(1, (0,)),
        Publish("t", b"", properties=((Property.TOPIC_ALIAS, 1),)),
        Connect("a", level=3),
    ],
)
def test_what_3_1_1_has_no_place_for_is_not_written_in_it(packet: Packet) -> None:
    with pytest.raises(ValueError, match=r"MQTT 3\.1\.1 has|is not known"):
        encode(packet)


def test_a_property_is_not_written_where_it_does_not_belong() -> None:
    with pytest.raises(ValueError, match="PUBLISH has no reason string"):
        encode(Publish("t", b"", properties=((Property.REASON_STRING, "x"),)), LEVEL_5)
