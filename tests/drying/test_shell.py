"""A shell goes through dips, air and gaps; comes back from bytes to the bit; and refuses what cannot be."""

import subprocess
import sys

import numpy as np
import pytest

from sensors.air import Air
from server.drying.materials import CENTRE, Members, coat
from server.drying.shell import ShellError, SpotShell
from server.drying.shell_bytes import ShellBytesError
from server.drying.spots import parse_spot
from server.drying.transfer import TransferRangeError
from tests.drying.shells import SHOP, after, dipped, member

CODES = ["face", "pocket:12x40", "joint:30"]


def story(code: str) -> SpotShell:
    """Three coats, damp and dry air, a gap."""
    shell = SpotShell.bare(parse_spot(code), 30.0)
    for kind, air in (("prime", SHOP), ("prime", Air(17.3, 71.0, 0.15)), ("backup", Air(24.1, 38.5, 1.1))):
        shell = after(after(after(shell.dip(coat(kind)), air, 95.0), None, 20.0), SHOP, 45.0)
    return shell


class TestLife:
    @pytest.mark.parametrize("code", CODES)
    def test_wax_then_a_coat_then_dry(self, code: str) -> None:
        bare = SpotShell.bare(parse_spot(code), 25.0)
        assert bare.remaining().tolist() == [0.0]
        assert bare.advance(SHOP, 600.0) is bare
        wet = bare.dip(coat("backup"))
        assert wet.remaining() == pytest.approx([1.0])
        assert wet.water_left() == pytest.approx([1.0])
        assert wet.coat_wetness() == pytest.approx(np.ones((1, 1)))
        assert wet.cooling_k().tolist() == [0.0]
        hour = after(wet, SHOP, 60.0)
        assert 0.0 < float(hour.remaining()[0]) < 1.0
        assert float(hour.cooling_k()[0]) > 0.1
        assert float(hour.temp_c[0]) < 20.5
        dry = after(hour, SHOP, 40 * 60.0)
        assert float(dry.remaining()[0]) < 0.01
        assert float(dry.cooling_k()[0]) < 0.1
        assert float(dry.temp_c[0]) == pytest.approx(21.0, abs=0.1)

    def test_a_shell_is_not_changed_by_what_comes_after(self) -> None:
        shell = dipped()
        before = shell.to_bytes()
        shell.advance(SHOP, 600.0).dip(coat("seal")).advance(None, 60.0)
        assert shell.to_bytes() == before

    def test_more_than_one_when_it_goes_on_damp(self) -> None:
        damp = after(dipped(), SHOP, 60.0)
        over = damp.dip(coat("backup"))
        assert float(over.remaining()[0]) == pytest.approx(1.0 + float(damp.remaining()[0]), rel=1e-9)

    @pytest.mark.parametrize("code", CODES)
    def test_a_dip_keeps_the_old_coats_water(self, code: str) -> None:
        damp = after(dipped(code), SHOP, 45.0)
        over = damp.dip(coat("backup"))
        assert over.coat_wetness()[0, 0] == pytest.approx(damp.coat_wetness()[0, 0], rel=0.15)
        brought = over.brought_kg - damp.brought_kg
        assert over.water_kg == pytest.approx(damp.water_kg + brought, rel=1e-12)
        if code == "face":
            assert brought == pytest.approx([0.32], rel=1e-12)
            assert over.coat_wetness()[0, 0] == pytest.approx(damp.coat_wetness()[0, 0], rel=1e-12)

    @pytest.mark.parametrize("code", CODES)
    def test_in_a_gap_nothing_is_exchanged(self, code: str) -> None:
        damp = after(dipped(code), SHOP, 30.0)
        later = after(damp, None, 240.0)
        assert later.water_kg == pytest.approx(damp.water_kg, rel=1e-10)
        assert later.evaporated_kg == pytest.approx(damp.evaporated_kg, rel=1e-10)
        assert later.temp_c == pytest.approx(damp.temp_c)
        assert later.cooling_k().tolist() == [0.0]

    def test_a_coat_whose_first_hour_has_no_air_starts_at_the_air_that_comes(self) -> None:
        shell = after(dipped(), None, 60.0)
        assert shell.remaining() == pytest.approx([1.0])
        assert float(shell.advance(Air(12.0, 99.0, 0.1), 1.0).temp_c[0]) == pytest.approx(12.0, abs=0.1)

    def test_a_damp_night_dries_nothing(self) -> None:
        """Equilibrium is with 60 %RH at most: at 85 % what the air holds there still remains."""
        dry = after(dipped(), SHOP, 600.0)
        night = after(dry, Air(12.0, 85.0, 0.1), 600.0)
        assert float(night.remaining()[0]) > 0.02 > float(dry.remaining()[0])

    def test_the_whole_shell_is_measured_at_60_percent(self) -> None:
        at_60 = dipped(older=2).at_equilibrium(60.0)
        assert at_60.shell_water_fraction() == pytest.approx([0.0], abs=1e-12)
        assert float(dipped(older=2).at_equilibrium(70.0).shell_water_fraction()[0]) > 0.0
        wet = dipped()
        above = 0.32 - 350.0 * 1e-3 * 0.1 * (1.0 - 0.4 ** (1.0 / 3.0))
        assert wet.shell_water_fraction() == pytest.approx([above / 1.8], rel=1e-9)


class TestSameToTheBit:
    @pytest.mark.parametrize("code", CODES)
    def test_to_bytes_and_back(self, code: str) -> None:
        shell = story(code)
        back = SpotShell.from_bytes(shell.to_bytes())
        assert back.to_bytes() == shell.to_bytes()
        assert back.members is CENTRE
        for one, two in ((shell, back), (shell.dip(coat("backup")), back.dip(coat("backup")))):
            assert after(one, SHOP, 70.0).to_bytes() == after(two, SHOP, 70.0).to_bytes()
        assert back.remaining().tobytes() == shell.remaining().tobytes()
        assert back.cooling_k().tobytes() == shell.cooling_k().tobytes()

    @pytest.mark.parametrize("code", CODES)
    def test_the_same_calls_give_the_same_bits(self, code: str) -> None:
        assert story(code).to_bytes() == story(code).to_bytes()

    def test_in_another_process_and_among_others(self) -> None:
        """Alone in a process of its own, or taking turns with other spots here."""
        program = (
            "import sys\n"
            "from tests.drying.test_shell import story\n"
            "sys.stdout.buffer.write(story('joint:30').to_bytes())\n"
        )
        alone = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True).stdout
        shells = [dipped(code) for code in CODES]
        for _ in range(6):
            shells = [shell.advance(SHOP, 600.0) for shell in shells]
        assert story("joint:30").to_bytes() == alone

    def test_bytes_between_every_block_change_nothing(self) -> None:
        straight, cut = dipped("joint:60"), dipped("joint:60")
        for _ in range(12):
            straight = straight.advance(SHOP, 600.0)
            cut = SpotShell.from_bytes(cut.to_bytes()).advance(SHOP, 600.0)
        assert cut.to_bytes() == straight.to_bytes()

    def test_of_members_of_ones_own(self) -> None:
        mine = dipped("joint:30", members=member(exponent=5.0, diffusivity=0.01, joint_layer=1.3)).advance(
            SHOP, 60.0
        )
        back = SpotShell.from_bytes(mine.to_bytes())
        assert back.members.exponent.tolist() == [5.0]
        assert back.to_bytes() == mine.to_bytes()
        assert back.advance(SHOP, 60.0).to_bytes() == mine.advance(SHOP, 60.0).to_bytes()

    @pytest.mark.parametrize("broken", [b"", b"\x00", b"\x00\x00\x00\x02{}", b"\xff" * 64])
    def test_other_bytes_are_refused(self, broken: bytes) -> None:
        with pytest.raises(ShellBytesError):
            SpotShell.from_bytes(broken)

    def test_bytes_cut_short_or_of_another_model_are_refused(self) -> None:
        data = dipped().to_bytes()
        for wrong in (data[:-8], data[:-3], data + b"\x00" * 8, data.replace(b'"model": ', b'"model": 9')):
            with pytest.raises(ShellBytesError):
                SpotShell.from_bytes(wrong)


def test_two_members_are_two_ones() -> None:
    """Members share a step, so they agree with one alone within the solver's tolerance, not to the bit."""
    pairs = {"air_speed": [1.0, 0.6], "diffusivity": [1.0, 0.05], "exponent": [3.0, 5.0]}
    same = {
        "film_spread": [0.7, 0.5],
        "water": [1.0, 1.1],
        "rewetting": [1.0, 30.0],
        "joint_layer": [1.0, 1.4],
    }
    figures = pairs | same
    both = Members(fillet=np.ones(2), **{name: np.array(values) for name, values in figures.items()})
    for code in CODES:
        together = after(dipped(code, members=both), SHOP, 60.0)
        for index in range(2):
            alone = member(**{name: values[index] for name, values in figures.items()})
            one = after(dipped(code, members=alone), SHOP, 60.0)
            assert together.remaining()[index] == pytest.approx(one.remaining()[0], abs=2e-3)
            assert together.temp_c[index] == pytest.approx(one.temp_c[0], abs=0.05)


class TestRefused:
    @pytest.mark.parametrize(
        ("size", "fillet", "named"),
        [
            (0.0, 2.0, "0 mm is outside 1 to 3000"),
            (float("nan"), 2.0, "nan mm"),
            (25.0, 50.0, "fillet radius 50 mm"),
        ],
    )
    def test_a_size_that_cannot_be(self, size: float, fillet: float, named: str) -> None:
        with pytest.raises(ShellError, match=named):
            SpotShell.bare(parse_spot("face"), size, fillet)

    def test_air_and_times_that_cannot_be(self) -> None:
        with pytest.raises(ShellError, match="-1 s"):
            dipped().advance(SHOP, -1.0)
        with pytest.raises(TransferRangeError, match="air speed 99 m/s"):
            dipped().advance(Air(21.0, 50.0, 99.0), 60.0)
        with pytest.raises(ValueError, match="relative humidity 101"):
            dipped().advance(Air(21.0, 101.0, 0.5), 60.0)

    def test_members_of_unlike_fillets_in_one_joint(self) -> None:
        values = {name: getattr(CENTRE, name).repeat(2) for name in CENTRE.__dataclass_fields__}
        values["fillet"] = np.array([1.0, 1.2])
        with pytest.raises(ValueError, match="fillets of different radius"):
            SpotShell.bare(parse_spot("joint:30"), 25.0, members=Members(**values))
