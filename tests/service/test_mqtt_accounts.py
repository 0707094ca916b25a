"""Nodes' accounts: kept as hashes, paced after wrong passwords, and held to their own topics."""

from base64 import urlsafe_b64decode
from pathlib import Path
from typing import Literal

import pytest
from argon2 import PasswordHasher
from sqlalchemy import Engine
from typer.testing import CliRunner

from sensors.reading import KeptOutError
from server.cli import app
from server.data_folder import DATABASE
from server.login_pace import ALL_EVERY_S, ALL_TRIES, FREE_TRIES, LONGEST_WAIT_S, MOST_KEPT, LoginPace
from server.mqtt_accounts import Logins, make_account, usual_hasher
from server.store import mqtt_accounts
from server.store.engine import open_store

QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
NOW = 1_772_431_200_000
HERE, THERE = "10.0.0.7", "10.0.0.66"


class Watch:
    """A time that the test sets."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


class Counting(PasswordHasher):
    """Counts how often a hash was reckoned."""

    def __init__(self) -> None:
        super().__init__(time_cost=1, memory_cost=8, parallelism=1)
        self.reckoned = 0

    def verify(self, hash: str | bytes, password: str | bytes) -> Literal[True]:
        self.reckoned += 1
        return super().verify(hash, password)


def test_a_password_is_told_once_and_kept_as_a_hash(engine: Engine) -> None:
    user, password = make_account(engine, "shop", "n1", NOW, QUICK)
    account = mqtt_accounts.by_name(engine, user)
    assert account is not None
    assert account.password_hash.startswith("$argon2id$")
    assert password not in account.password_hash
    assert account.topics == ("slowcorner/shop/n1/+",)
    assert account.password_hash not in repr(account)


def test_hash_and_password_are_what_they_are_said_to_be(engine: Engine) -> None:
    assert "$argon2id$v=19$m=19456,t=2,p=1$" in usual_hasher().hash("x")
    _, password = make_account(engine, "shop", "n1", NOW, QUICK)
    assert len(urlsafe_b64decode(password)) * 8 == 144


def test_right_wrong_unknown_and_revoked(engine: Engine) -> None:
    user, password = make_account(engine, "shop", "n1", NOW, QUICK)
    logins = Logins(engine, QUICK)
    assert logins.login(user, password.encode(), HERE)
    assert not logins.login(user, b"guess", HERE)
    assert not logins.login("shop/n2", password.encode(), HERE)
    assert mqtt_accounts.revoke(engine, user, NOW + 1)
    assert not mqtt_accounts.revoke(engine, user, NOW + 2)
    assert not logins.login(user, password.encode(), HERE)
    assert [one.revoked for one in mqtt_accounts.accounts(engine)] == [NOW + 1]


def test_a_new_password_replaces_the_old_one_at_once(engine: Engine) -> None:
    user, old = make_account(engine, "shop", "n1", NOW, QUICK)
    logins = Logins(engine, QUICK)
    assert logins.login(user, old.encode(), HERE)
    _, new = make_account(engine, "shop", "n1", NOW + 1, QUICK)
    assert not logins.login(user, old.encode(), HERE)
    assert logins.login(user, new.encode(), HERE)


def test_a_login_that_was_right_before_reckons_no_hash(engine: Engine) -> None:
    user, password = make_account(engine, "shop", "n1", NOW, QUICK)
    hasher = Counting()
    logins = Logins(engine, hasher)
    assert all(logins.login(user, password.encode(), HERE) for _ in range(5))
    assert hasher.reckoned == 1


def test_wrong_passwords_wait_longer_and_longer(engine: Engine) -> None:
    user, password = make_account(engine, "shop", "n1", NOW, QUICK)
    hasher, watch = Counting(), Watch()
    logins = Logins(engine, hasher, LoginPace(watch))
    for _ in range(FREE_TRIES):
        logins.login(user, b"guess", HERE)
    assert hasher.reckoned == FREE_TRIES
    assert not logins.login(user, password.encode(), HERE)  # unheard: a second has to pass
    assert hasher.reckoned == FREE_TRIES
    watch.now_s += 1.0
    assert not logins.login(user, b"guess", HERE)
    watch.now_s += 1.0
    assert not logins.login(user, password.encode(), HERE)  # two seconds now
    watch.now_s += 1.0
    assert logins.login(user, password.encode(), HERE)


def test_guesses_keep_no_node_out_that_has_been_here(engine: Engine) -> None:
    user, password = make_account(engine, "shop", "n1", NOW, QUICK)
    logins = Logins(engine, QUICK, LoginPace(Watch()))
    assert logins.login(user, password.encode(), HERE)
    for _ in range(20):
        assert not logins.login(user, b"guess", HERE)
    assert logins.login(user, password.encode(), HERE)


def test_guesses_from_one_address_keep_a_node_out_at_no_other(engine: Engine) -> None:
    user, password = make_account(engine, "shop", "n1", NOW, QUICK)
    logins = Logins(engine, QUICK, LoginPace(Watch()))
    for _ in range(40):
        assert not logins.login(user, b"guess", THERE)
    assert not logins.login(user, password.encode(), THERE)  # unheard
    assert logins.login(user, password.encode(), HERE)  # its first time here


def test_the_wait_ends_though_it_grew_long() -> None:
    watch = Watch()
    pace = LoginPace(watch)
    for _ in range(FREE_TRIES + 20):
        pace.was_wrong("a", HERE)
    watch.now_s += LONGEST_WAIT_S - 0.1
    assert not pace.may_try("a", HERE)
    watch.now_s += 0.1
    assert pace.may_try("a", HERE)


def test_wrong_ones_from_many_addresses_share_a_budget_that_comes_back() -> None:
    watch = Watch()
    pace = LoginPace(watch)
    pace.was_right("shop/n1", HERE)
    for number in range(ALL_TRIES):
        assert pace.may_try("shop/n1", f"10.1.0.{number}")
        pace.was_wrong("shop/n1", f"10.1.0.{number}")
    assert not pace.may_try("shop/n1", THERE)
    assert not pace.may_try("shop/n2", HERE)
    assert pace.may_try("shop/n1", HERE)  # it was right here before
    watch.now_s += ALL_EVERY_S
    assert pace.may_try("shop/n1", THERE)
    pace.was_wrong("shop/n1", THERE)
    assert not pace.may_try("shop/n2", HERE)
    watch.now_s += 10 * ALL_EVERY_S * ALL_TRIES
    heard = 0
    while pace.may_try("shop/n2", f"10.2.0.{heard}"):
        pace.was_wrong("shop/n2", f"10.2.0.{heard}")
        heard += 1
    assert heard == ALL_TRIES


def test_one_machine_has_a_whole_network_of_ipv6() -> None:
    pace = LoginPace(Watch())
    for number in range(FREE_TRIES):
        pace.was_wrong("a", f"2001:db8::{number:x}")
    assert not pace.may_try("a", "2001:db8::ffff")
    assert pace.may_try("a", "2001:db8:0:1::1")


def test_guesses_fill_no_memory() -> None:
    pace = LoginPace(Watch())
    for number in range(3 * MOST_KEPT):
        pace.was_wrong("a", str(number))
        pace.was_right("b", str(number))
    assert len(pace._wrong) == len(pace._been_right) == MOST_KEPT


def test_a_node_may_publish_under_its_own_topics_alone(engine: Engine) -> None:
    user, password = make_account(engine, "shop", "n1", NOW, QUICK)
    logins = Logins(engine, QUICK)
    assert not logins.may_publish(user, "slowcorner/shop/n1/senml")  # not let in yet
    assert logins.login(user, password.encode(), HERE)
    assert logins.may_publish(user, "slowcorner/shop/n1/senml")
    assert not logins.may_publish(user, "slowcorner/shop/n2/senml")
    assert not logins.may_publish(user, "slowcorner/porch/n1/senml")


@pytest.mark.parametrize("node", ["a/b", "+", "#", ""])
def test_what_is_no_name_gets_no_account(engine: Engine, node: str) -> None:
    with pytest.raises(KeptOutError):
        make_account(engine, "shop", node, NOW, QUICK)
    assert mqtt_accounts.accounts(engine) == []


def test_the_command_tells_a_password_that_lets_the_node_in(tmp_path: Path) -> None:
    engine = open_store(f"sqlite:///{tmp_path / DATABASE}")
    try:
        done = CliRunner().invoke(app, ["node-password", "shop", "n1", "--data", str(tmp_path)])
        assert done.exit_code == 0, done.output
        said = dict(line.split(maxsplit=1) for line in done.stdout.splitlines()[:2])
        assert said["user"] == "shop/n1"
        logins = Logins(engine, usual_hasher())
        assert logins.login("shop/n1", said["password"].encode(), HERE)
        taken = CliRunner().invoke(app, ["node-password", "shop", "n1", "--revoke", "--data", str(tmp_path)])
        assert taken.exit_code == 0, taken.output
        assert not logins.login("shop/n1", said["password"].encode(), HERE)
    finally:
        engine.dispose()


def test_the_command_says_what_is_wrong(tmp_path: Path) -> None:
    nowhere = CliRunner().invoke(app, ["node-password", "shop", "n1", "--data", str(tmp_path)])
    assert nowhere.exit_code != 0
    open_store(f"sqlite:///{tmp_path / DATABASE}").dispose()
    for words in (["shop", "N 1"], ["shop", "n1", "--revoke"]):
        assert CliRunner().invoke(app, ["node-password", *words, "--data", str(tmp_path)]).exit_code != 0
