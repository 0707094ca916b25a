"""How a PUBACK of MQTT 5 puts it that a message was kept out, wholly or in part (its 3.4.2.1).

Whatever the code, the message is settled: a client must not send it again (4.4), and it should not, for it is
kept as rejected, where a person sees it. So 0x97, quota exceeded, is never said of a message: what could not
be stored, on a full disk for one, gets no PUBACK at all, so that it is sent again.
"""

from collections.abc import Sequence

from sensors.intake.message import Message, is_read
from sensors.intake.packets import Publish
from sensors.intake.properties import Property, number
from sensors.intake.reason_codes import Reason
from sensors.mapping import Mapping


def why_kept_out(
    publish: Publish, message: Message, allowed: bool, mappings: Sequence[Mapping]
) -> tuple[Reason, str]:
    """Code and reason for a message of which at least a part was kept out.

    0x87 where the topic is not the client's; 0x90 where nothing is read under it; 0x99 where the payload was
    said to be UTF-8 and is not, which is all that code is for (3.3.2.3.2); 0x83, valid and not accepted, for
    every other payload; and 0 where a part of it was taken.
    """
    reason = message.rejected[0].reason
    if message.readings or message.statuses or message.presses:
        count = len(message.rejected)
        return Reason.SUCCESS, f"{count} {'record was' if count == 1 else 'records were'} kept out: {reason}"
    if not allowed:
        return Reason.NOT_AUTHORISED, reason
    if not is_read(publish.topic, mappings):
        return Reason.BAD_TOPIC, reason
    if number(publish.properties, Property.PAYLOAD_FORMAT_INDICATOR, 0) and not _is_utf_8(publish.payload):
        return Reason.BAD_PAYLOAD_FORMAT, reason
    return Reason.IMPLEMENTATION_SPECIFIC, reason


def _is_utf_8(payload: bytes) -> bool:
    try:
        payload.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
