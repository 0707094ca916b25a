"""The listener over TLS: MQTT 5 with its last words, and handshakes that come to nothing."""

import asyncio
import ssl
from pathlib import Path

import pytest

from sensors.intake.packets import LEVEL_5, Auth, Connack, Connect, Disconnect, Puback
from tests.air.authority import Certificates, throw_away
from tests.air.wire import Client, Shelf, listening, publish, run, wire


@pytest.fixture
def made(tmp_path: Path) -> Certificates:
    return throw_away(tmp_path)


def serving(made: Certificates) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(made.certificate, made.key)
    return context


def test_the_last_word_comes_over_tls_too(made: Certificates) -> None:
    async def main() -> None:
        trusting = ssl.create_default_context(cafile=str(made.authority))
        async with listening(Shelf(), ssl_context=serving(made)) as listener:
            reader, writer = await asyncio.open_connection(*listener.address, ssl=trusting)
            node = Client(reader, writer, LEVEL_5)
            answer = await node.ask(Connect("n1", level=LEVEL_5))
            assert isinstance(answer, Connack)
            assert answer.code == 0
            await node.say(publish(1), Auth())
            assert await node.hear() == Puback(1)
            said = await node.hear()
            assert isinstance(said, Disconnect)
            assert said.code == 0x82
            writer.close()
            await writer.wait_closed()

    run(main())


@pytest.mark.parametrize("begun", [b"", b"\x16\x03\x01\x00"])
def test_a_handshake_that_stalls_is_cut_off(made: Certificates, begun: bytes) -> None:
    async def main() -> None:
        async with listening(Shelf(), ssl_context=serving(made), connect_wait_s=0.1) as listener:
            async with wire(listener) as silent:
                assert await silent.ask(begun) is None
            assert listener.counts.connections == 0

    run(main())
