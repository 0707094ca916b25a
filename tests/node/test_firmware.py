"""The firmware's pure part under CPython: data sheets, SenML, a ring that survives a cut at every byte."""

import doctest
import importlib
import json
import math
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.clock import SECOND_MS, parse_time
from sensors.intake.decoder import Decoder
from sensors.intake.packets import Connect, Publish
from sensors.press import parse_press
from sensors.senml import parse
from tests.node.firmware import FOLDER, PURE

conversion, pack, ring, mqtt, node_settings = (
    importlib.import_module(f"slownode.{name}") for name in ("conversion", "pack", "ring", "mqtt", "settings")
)

NOW = parse_time("2026-03-02T06:00:00Z")
SECONDS = NOW // SECOND_MS


@pytest.mark.parametrize("name", PURE)
def test_the_examples_of_the_firmware_hold(name: str) -> None:
    module = importlib.import_module(f"slownode.{name}")
    failed, _ = doctest.testmod(module)
    assert failed == 0


def test_nothing_of_it_needs_more_than_micropython_has() -> None:
    for path in FOLDER.rglob("*.py"):
        text = path.read_text()
        for word in (
            "import typing",
            "from typing",
            "dataclass",
            "import enum",
            "match ",
            "strict=",
            "walrus",
        ):
            assert word not in text, (path.name, word)


class TestConversion:
    # The data sheets of the usual digital I2C sensor: check sum of 0xBEEF is 0x92; -45 + 175 S/65535 degrees,
    # -6 + 125 S/65535 per cent, kept to 0 to 100.
    def test_ends_of_the_range(self) -> None:
        def six(temp: int, humid: int) -> bytes:
            words = (temp.to_bytes(2, "big"), humid.to_bytes(2, "big"))
            return b"".join(word + bytes((conversion.crc8(word),)) for word in words)

        assert conversion.crc8(b"\xbe\xef") == 0x92
        assert conversion.air(six(0, 0)) == (-45.0, 0.0)
        assert conversion.air(six(65535, 65535)) == (130.0, 100.0)
        # -45 + 175 x 0.375 = 20.625; -6 + 125 x 0.45 = 50.25.
        temp, humid = conversion.air(six(round(0.375 * 65535), round(0.45 * 65535)))
        assert (temp, humid) == (pytest.approx(20.625, abs=0.002), pytest.approx(50.25, abs=0.002))

    @given(st.binary(min_size=6, max_size=6), st.integers(0, 47))
    def test_one_flipped_bit_is_always_found(self, data: bytes, bit: int) -> None:
        good = b"".join(data[at : at + 2] + bytes((conversion.crc8(data[at : at + 2]),)) for at in (0, 3))
        flipped = bytearray(good)
        flipped[bit // 8] ^= 1 << bit % 8
        conversion.air(good)
        with pytest.raises(conversion.SensorError, match="check sum"):
            conversion.air(bytes(flipped))

    @given(st.integers(-8_388_000, 8_388_000))
    def test_a_load_is_its_signed_figure(self, counts: int) -> None:
        assert conversion.load_kg(counts & 0xFFFFFF, 0, 1000.0) == pytest.approx(counts / 1000.0)

    def test_a_thermistor_at_three_temperatures(self) -> None:
        # By the definition of beta: R(T) = R25 exp(B (1/T - 1/298.15 K)), worked back.
        for celsius in (0.0, 25.0, 60.0):
            ohm = 10_000.0 * math.exp(3950.0 * (1 / (celsius + 273.15) - 1 / 298.15))
            found = conversion.thermistor_c(ohm / (ohm + 10_000.0), 10_000.0, 10_000.0, 3950.0)
            assert found == pytest.approx(celsius, abs=0.01)
        with pytest.raises(conversion.SensorError, match="a wire is off"):
            conversion.thermistor_c(1.0, 10_000.0, 10_000.0, 3950.0)


VALUES = st.tuples(
    st.none() | st.floats(-40, 85),
    st.none() | st.floats(0, 100),
    st.none() | st.floats(-5, 500),
    st.none() | st.floats(-40, 150),
    st.none() | st.floats(0, 60),
).filter(lambda values: any(value is not None for value in values))


@given(st.lists(st.tuples(st.integers(0, 86_400), VALUES), min_size=1, max_size=20), st.booleans())
def test_packs_are_read_by_the_service_as_they_were_meant(
    said: list[tuple[int, tuple[float | None, ...]]], absolute: bool
) -> None:
    if absolute:
        payload = pack.pack("loft", "n1", [(SECONDS - ago, values) for ago, values in said])
    else:
        payload = pack.pack("loft", "n1", [(90_000 - ago, values) for ago, values in said], now=90_000)
    assert len(payload) < 65_536
    parsed = parse(payload, "loft", "n1", NOW, "here")
    assert not parsed.rejected
    expected = [
        (name, unit, NOW - ago * SECOND_MS, value)
        for ago, values in said
        for (name, unit), value in zip(pack.NAMES, values, strict=True)
        if value is not None
    ]
    found = [(one.name, one.unit, one.time, one.value) for one in parsed.readings]
    assert [one[:3] for one in found] == [one[:3] for one in expected]
    assert [one[3] for one in found] == pytest.approx([one[3] for one in expected], abs=5e-5)


def test_a_press_is_read_by_the_service() -> None:
    press = parse_press(pack.press("A3", "n1-7-1", SECONDS), "loft", "n1", NOW)
    assert (press.hook, press.id, press.time) == ("A3", "n1-7-1", NOW)


@given(
    st.text("abc/é", min_size=1, max_size=20),
    st.none() | st.text(st.characters(exclude_categories=["Cc", "Cs", "Cn", "Co"]), max_size=20),
    st.integers(1, 65535),
    st.binary(max_size=300),
    st.booleans(),
)
def test_packets_are_read_by_the_service(
    topic: str, user: str | None, packet_id: int, payload: bytes, retain: bool
) -> None:
    will = ("slowcorner/loft/n1/status", b"offline")
    decoder = Decoder()
    decoder.feed(mqtt.connect("n1", 90, user, None if user is None else "secret words", will))
    connect = decoder.next_packet()
    assert isinstance(connect, Connect)
    assert (connect.client_id, connect.user_name, connect.keep_alive_s) == ("n1", user, 90)
    assert connect.will is not None
    assert (connect.will.topic, connect.will.payload, connect.will.retain) == (*will, True)
    decoder.feed(mqtt.publish(topic, payload, packet_id, retain))
    publish = decoder.next_packet()
    assert isinstance(publish, Publish)
    assert (publish.topic, publish.payload, publish.packet_id, publish.qos, publish.retain) == (
        topic, payload, packet_id, 1, retain
    )  # fmt: skip


@given(st.binary(max_size=12))
def test_any_bytes_are_a_packet_or_an_error_of_ours(data: bytes) -> None:
    left = bytearray(data)

    def receive(count: int) -> bytes:
        if len(left) < count:
            raise OSError("closed")
        taken = bytes(left[:count])
        del left[:count]
        return taken

    try:
        kind, body = mqtt.read(receive)
        mqtt.check_connack(kind, body)
    except (OSError, mqtt.MqttError):
        pass


class TestRing:
    def kept(self, folder: Path, count: int, start: int = 0) -> Any:
        made = ring.Ring(str(folder), capacity=60, per_file=10)
        for number in range(start, start + count):
            made.append(SECONDS + number, True, (20.0 + number / 8, 50.0, None, None, 3.9))
        return made

    def numbers(self, made: Any, most: int = 1000) -> list[int]:
        return [record[1] - SECONDS for record in made.pending(most)]

    def test_what_was_kept_comes_back_in_order_and_once(self, tmp_path: Path) -> None:
        self.kept(tmp_path / "ring", 25)
        made = ring.Ring(str(tmp_path / "ring"), capacity=60, per_file=10)
        assert self.numbers(made) == list(range(25))
        assert made.pending(1)[0] == (1, SECONDS, True, (20.0, 50.0, None, None, 3.9))
        made.sent(made.pending(12)[-1][0])
        assert self.numbers(made) == list(range(12, 25))
        assert self.numbers(ring.Ring(str(tmp_path / "ring"), capacity=60, per_file=10)) == list(
            range(12, 25)
        )
        made.sent(made.pending(100)[-1][0])
        assert made.count() == 0
        made.append(SECONDS + 25, True, (1.0, None, None, None, None))
        assert self.numbers(made) == [25]

    def test_the_oldest_go_first_when_it_is_full(self, tmp_path: Path) -> None:
        made = self.kept(tmp_path / "ring", 500)
        kept = self.numbers(made)
        assert kept[-1] == 499
        assert kept == list(range(kept[0], 500))
        assert 60 <= len(kept) <= 80
        size = sum(path.stat().st_size for path in (tmp_path / "ring").iterdir())
        assert size < 80 * ring.WHOLE

    def test_a_day_of_minutes_fits(self, tmp_path: Path) -> None:
        made = ring.Ring(str(tmp_path / "ring"))
        for minute in range(1500):
            made.append(SECONDS + 60 * minute, True, (20.0, 50.0, 1.0, 19.0, 3.9))
        assert made.count() >= 24 * 60
        assert sum(path.stat().st_size for path in (tmp_path / "ring").iterdir()) < 64_000

    def test_a_cut_at_every_byte_of_a_write_loses_nothing_before_it(self, tmp_path: Path) -> None:
        self.kept(tmp_path / "whole", 13)
        newest = sorted(path for path in (tmp_path / "whole").iterdir() if path.suffix == ".log")[-1]
        data = newest.read_bytes()
        for cut in range(1, ring.WHOLE):
            folder = tmp_path / f"cut-{cut}"
            shutil.copytree(tmp_path / "whole", folder)
            (folder / newest.name).write_bytes(data[:-cut])
            made = ring.Ring(str(folder), capacity=60, per_file=10)
            assert self.numbers(made) == list(range(12))
            made.append(SECONDS + 99, True, (1.0, 1.0, None, None, None))
            again = ring.Ring(str(folder), capacity=60, per_file=10)
            assert self.numbers(again) == [*range(12), 99]

    def test_a_day_fits_where_the_board_starts_anew_at_each_reading(self, tmp_path: Path) -> None:
        for minute in range(1500):
            made = ring.Ring(str(tmp_path / "ring"))
            made.append(SECONDS + 60 * minute, True, (20.0, 50.0, None, None, 3.9))
        assert [record[1] for record in made.pending(2000)] == [SECONDS + 60 * at for at in range(1500)]
        assert len(list((tmp_path / "ring").glob("*.log"))) == 25

    @pytest.mark.parametrize("cut", range(ring.WHOLE))
    def test_a_cut_in_a_files_first_record_does_not_make_it_mute(self, tmp_path: Path, cut: int) -> None:
        self.kept(tmp_path / "ring", 11)
        newest = sorted((tmp_path / "ring").glob("*.log"))[-1]
        newest.write_bytes(newest.read_bytes()[:cut])
        for number in range(20, 25):
            self.kept(tmp_path / "ring", 1, number)
        made = ring.Ring(str(tmp_path / "ring"), capacity=60, per_file=10)
        assert self.numbers(made) == [*range(10), *range(20, 25)]

    @pytest.mark.parametrize("restart", [False, True])
    def test_the_older_mark_stands_whatever_the_numbers(self, tmp_path: Path, restart: bool) -> None:
        made = self.kept(tmp_path / "ring", 9)
        for number in (2, 4, 6):
            if restart:
                made = ring.Ring(str(tmp_path / "ring"), capacity=60, per_file=10)
            before = {name: (tmp_path / "ring" / name).read_bytes() for name in ring.MARKS
                      if (tmp_path / "ring" / name).exists()}  # fmt: skip
            made.sent(number)
            written = [name for name in ring.MARKS if (tmp_path / "ring" / name).exists()
                       and (tmp_path / "ring" / name).read_bytes() != before.get(name)]  # fmt: skip
            assert len(written) == 1
        (tmp_path / "ring" / written[0]).write_bytes(b"")
        assert self.numbers(ring.Ring(str(tmp_path / "ring"), capacity=60, per_file=10))[0] == 4

    @pytest.mark.parametrize("cut", range(9))
    def test_a_cut_while_the_mark_is_written_sends_twice_and_loses_nothing(
        self, tmp_path: Path, cut: int
    ) -> None:
        made = self.kept(tmp_path / "ring", 8)
        made.sent(3)
        made.sent(4)
        mark = tmp_path / "ring" / ring.MARKS[0]
        mark.write_bytes(mark.read_bytes()[:cut])
        waiting = self.numbers(ring.Ring(str(tmp_path / "ring"), capacity=60, per_file=10))
        assert waiting == (list(range(4, 8)) if cut == 8 else list(range(3, 8)))

    @settings(deadline=None, max_examples=60)
    @given(st.lists(st.tuples(st.sampled_from(["keep", "send", "restart", "flip"]), st.integers(0, 400))))
    def test_whatever_happens_it_gives_what_it_has_in_order(self, steps: list[tuple[str, int]]) -> None:
        import tempfile  # noqa: PLC0415 - hypothesis and tmp_path do not go together

        with tempfile.TemporaryDirectory() as folder:
            made, told, count = ring.Ring(folder, capacity=40, per_file=7), -1, 0
            for what, amount in steps:
                if what == "keep":
                    for _ in range(amount % 9):
                        made.append(count, True, (float(count), None, None, None, None))
                        count += 1
                elif what == "send":
                    waiting = made.pending(amount % 12)
                    if waiting:
                        assert waiting[0][1] > told
                        told = waiting[-1][1]
                        made.sent(waiting[-1][0])
                else:
                    files = sorted(Path(folder).glob("*.log"))
                    if what == "flip" and files:
                        data = bytearray(files[-1].read_bytes())
                        if data:
                            data[amount % len(data)] ^= 0x10
                            files[-1].write_bytes(data)
                    made = ring.Ring(folder, capacity=40, per_file=7)
                times = [record[1] for record in made.pending(1000)]
                assert times == sorted(set(times))


GOOD = {"wifi_name": "w", "wifi_password": "p1", "broker": "10.0.0.2", "place": "loft", "node": "n1"}


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"place": ""}, "says no place"),
        ({"node": "N 1"}, 'node "N 1" is not 1 to 64'),
        ({"place": "rack"}, "keeps for itself"),
        ({"every_s": 5}, "every_s 5 is not from 10 to 3600"),
        ({"broker_port": "1883"}, "broker_port 1883 is not from 1 to 65535"),
        ({"tls": "yes"}, "tls is true or false"),
        ({"password": "change-me"}, "still a placeholder"),
        ({"evry_s": 60}, "evry_s, which is no setting"),
        ({"load_cell": {"zero": 5}}, "load_cell says no counts_per_kg"),
        ({"load_cell": {"zero": 5, "counts_per_kg": 0}}, "counts_per_kg is 0"),
        ({"thermistor": {"fixed_ohm": 1, "ohm_25": -1, "beta": 1}}, "ohm_25 is -1"),
        ({"pins": {"sda": "8"}}, "pin sda 8 is not from 0 to 60"),
        ({"wifi_name": 5}, "wifi_name is a text"),
    ],
)
def test_a_setting_that_cannot_be_is_named(changes: dict[str, Any], reason: str) -> None:
    assert node_settings.read(json.dumps(GOOD))["every_s"] == 60
    with pytest.raises(node_settings.SettingsError, match=reason):
        node_settings.read(json.dumps(GOOD | changes))
    with pytest.raises(node_settings.SettingsError, match="no JSON"):
        node_settings.read("{")
