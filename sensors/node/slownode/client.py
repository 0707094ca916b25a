"""Publishes messages in order and waits until each is stored at the other end. Pure but for sockets.

A socket is anything with `write(bytes)`, `read(n)` (exactly n bytes, or fewer where the other end closed) and
`close()`: a MicroPython socket, or one of CPython's as a file.
"""

from slownode import mqtt

WINDOW = 8
"""So many messages may wait for their PUBACK at once."""


class Client:
    """A connection to a broker. Raises MqttError or OSError where it does not work."""

    def __init__(self, socket, name, user=None, password=None, will=None, keep_alive=60):
        self._socket = socket
        self._id = 0
        try:
            socket.write(mqtt.connect(name, keep_alive, user, password, will))
            mqtt.check_connack(*mqtt.read(self._receive))
        except (OSError, mqtt.MqttError):
            socket.close()
            raise

    def publish_all(self, messages, stored=None):
        """Publish (topic, payload, retain) in order; `stored(count)` is told how many of them are stored."""
        waiting = []
        done = 0
        for topic, payload, retain in messages:
            self._id = self._id % 65535 + 1
            self._socket.write(mqtt.publish(topic, payload, self._id, retain))
            waiting.append(self._id)
            if len(waiting) >= WINDOW:
                done = self._wait(waiting, done, stored)
        while waiting:
            done = self._wait(waiting, done, stored)
        return done

    def close(self, politely=True):
        """Say goodbye, so that the will is not said; not politely where the will shall be said."""
        try:
            if politely:
                self._socket.write(mqtt.DISCONNECT)
        finally:
            self._socket.close()

    def _wait(self, waiting, done, stored):
        got = mqtt.acknowledged(*mqtt.read(self._receive))
        # Acknowledgements come in the order of the messages (4.6).
        if got != waiting[0]:
            raise mqtt.MqttError("message %d was acknowledged where %d was due" % (got, waiting[0]))
        waiting.pop(0)
        if stored is not None:
            stored(done + 1)
        return done + 1

    def _receive(self, count):
        data = b""
        while len(data) < count:
            more = self._socket.read(count - len(data))
            if not more:
                raise OSError("the broker closed the connection")
            data += more
        return data
