"""The service's listener asks for the nodes' passwords once there is one, and keeps each to its topics."""

import asyncio
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from pydantic import SecretStr
from sqlalchemy import Engine

from sensors.clock import SetClock
from sensors.intake.packets import Connack, Connect, Puback, Publish
from sensors.intake.turned_away import SOURCE as TURNED_AWAY
from server.login_pace import FREE_TRIES
from server.mqtt_accounts import make_account
from server.mqtt_in import OwnListener, mqtt_in
from server.settings import Settings
from server.store import mqtt_accounts
from tests.air.wire import GOOD, NOW, Shelf, wire

QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
OWN, OTHERS = "slowcorner/shop/n1/senml", "slowcorner/shop/n2/senml"


def _settings(folder: Path, user: str = "", password: str = "") -> Settings:
    return Settings(
        data=folder, mqtt="listen://127.0.0.1:0", mqtt_user=user, mqtt_password=SecretStr(password)
    )


async def _codes(engine: Engine, settings: Settings, shelf: Shelf, logins: list[Connect]) -> list[int]:
    """What the listener answers to each CONNECT; those let in publish under n1's topic and n2's."""
    way = mqtt_in(settings, engine, SetClock(NOW), shelf, lambda: [])
    assert isinstance(way, OwnListener)
    await way.start()
    try:
        codes = []
        for connect in logins:
            async with wire(way.listener) as node:
                answer = await asyncio.wait_for(node.ask(connect), 20)
                assert isinstance(answer, Connack)
                codes.append(answer.code)
                if answer.code == 0:
                    assert await node.ask(Publish(OWN, GOOD, 1, 1)) == Puback(1)
                    assert await node.ask(Publish(OTHERS, GOOD, 1, 2)) == Puback(2)
        return codes
    finally:
        await way.stop()


def _sources(shelf: Shelf) -> list[str]:
    return [one.source for message in shelf.messages for one in message.rejected]


def test_with_no_account_the_loopback_is_open(engine: Engine, tmp_path: Path) -> None:
    shelf = Shelf()
    assert asyncio.run(_codes(engine, _settings(tmp_path), shelf, [Connect("n1")])) == [0]
    assert _sources(shelf) == []


@pytest.mark.parametrize("shop_wide", [False, True])
def test_with_an_account_everyone_needs_one(engine: Engine, tmp_path: Path, shop_wide: bool) -> None:
    user, password = make_account(engine, "shop", "n1", NOW, QUICK)
    settings = _settings(tmp_path, "shop", "reed") if shop_wide else _settings(tmp_path)
    shelf = Shelf()
    logins = [
        Connect("a"),
        Connect("b", user_name=user, password=b"guess"),
        Connect("c", user_name="", password=b""),
        Connect("d", user_name="shop", password=b"reed"),
        Connect("e", user_name=user, password=password.encode()),
    ]
    codes = asyncio.run(_codes(engine, settings, shelf, logins))
    assert codes == [5, 4, 4, 0 if shop_wide else 4, 0]
    assert [one for one in _sources(shelf) if one != TURNED_AWAY] == [OTHERS]
    assert TURNED_AWAY in _sources(shelf)  # whoever was not let in is told of


def test_the_first_password_holds_without_a_restart(engine: Engine, tmp_path: Path) -> None:
    shelf = Shelf()

    async def go() -> None:
        way = mqtt_in(_settings(tmp_path), engine, SetClock(NOW), shelf, lambda: [])
        assert isinstance(way, OwnListener)
        await way.start()
        try:
            async with wire(way.listener) as former:
                assert (await former.ask(Connect("n2"))) == Connack(0)
                assert await former.ask(Publish(OTHERS, GOOD, 1, 1)) == Puback(1)
                user, password = await asyncio.to_thread(make_account, engine, "shop", "n1", NOW, QUICK)
                async with wire(way.listener) as node:
                    login = Connect("n1", user_name=user, password=password.encode())
                    assert await asyncio.wait_for(node.ask(login), 20) == Connack(0)
                    assert await node.ask(Publish(OWN, GOOD, 1, 1)) == Puback(1)
                    # Who was let in unasked is shown out, and has to come again.
                    assert await asyncio.wait_for(former.hear(), 20) is None
            for connect, code in ((Connect("n2"), 5), (Connect("n2", user_name=user, password=b"guess"), 4)):
                async with wire(way.listener) as again:
                    assert await asyncio.wait_for(again.ask(connect), 20) == Connack(code)
            mqtt_accounts.revoke(engine, user, NOW)
            async with wire(way.listener) as again:  # taking the last one back opens nothing
                assert await asyncio.wait_for(again.ask(Connect("n2")), 20) == Connack(5)
        finally:
            await way.stop()

    asyncio.run(go())
    assert [one for one in _sources(shelf) if one != TURNED_AWAY] == []


def test_the_password_of_the_whole_shop_is_paced_too(engine: Engine, tmp_path: Path) -> None:
    guess = Connect("a", user_name="shop", password=b"guess")
    right = Connect("b", user_name="shop", password=b"reed")
    logins = [guess] * FREE_TRIES + [right]
    codes = asyncio.run(_codes(engine, _settings(tmp_path, "shop", "reed"), Shelf(), logins))
    assert codes == [4] * (FREE_TRIES + 1)  # the last unheard: a second has to pass
