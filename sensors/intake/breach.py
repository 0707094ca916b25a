"""The error that the codec and the session raise when the other side breaks the protocol."""

from sensors.intake.reason_codes import Reason


class ProtocolError(Exception):
    """The other side broke the protocol, or asked what is not taken: the connection is to be closed.

    `reason` says what was wrong; `reply` is what to send before closing, if that is settled already; `code`
    is how MQTT 5 puts it: a malformed packet unless said otherwise (MQTT 5, 4.13).
    """

    def __init__(self, reason: str, reply: bytes = b"", code: Reason = Reason.MALFORMED_PACKET) -> None:
        super().__init__(reason)
        self.reason = reason
        self.reply = reply
        self.code = code

    @property
    def too_large(self) -> bool:
        """Whether a packet was over the size limit."""
        return self.code is Reason.PACKET_TOO_LARGE
