"""The shell at one spot: what the dips and the air have made of it. Immutable; every change gives a new one.

Lanes are member by member, and within a member column by column of the shape.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying import shell_bytes
from server.drying.around import no_air
from server.drying.build import Build, build, shape_of
from server.drying.in_air import in_air
from server.drying.kernel import FIRST_STEP_S
from server.drying.materials import (
    CENTRE,
    EQUILIBRIUM_RH_PCT,
    CoatMaterial,
    Members,
    equilibrium_saturation,
)
from server.drying.medium import Wetness, potential
from server.drying.spots import Spot

Floats = NDArray[np.float64]

UNAIRED_TEMP_C = 20.0
"""Temperature said of a shell that has not seen any air yet [°C] (assumed); its first air sets it."""


class ShellError(ValueError):
    """Something that cannot be done with this shell: the message says what and why."""


@dataclass(frozen=True, eq=False)
class SpotShell:
    """The shell at one spot.

    size_m: length of the tree's faces along the air [m]; fillet_m: radius of the fillet slurry leaves [m].
    coats: from the wax out. wetness: None while there is no coat.
    age_s: since the latest dip [s]. aired: whether it has seen air since it was bare.
    rh_pct: of the latest air [%]. cooling: (M,) what `cooling_k` gives.
    brought: (L,) water the dips have brought [kg per unit].
    """

    spot: Spot
    size_m: float
    fillet_m: float
    members: Members
    coats: tuple[CoatMaterial, ...] = ()
    wetness: Wetness | None = None
    age_s: float = 0.0
    aired: bool = False
    rh_pct: float = EQUILIBRIUM_RH_PCT
    cooling: Floats = field(default_factory=lambda: np.zeros(1))
    brought: Floats = field(default_factory=lambda: np.zeros(1))
    built: Build | None = None

    @classmethod
    def bare(
        cls, spot: Spot, size_mm: float, fillet_mm: float = 2.0, members: Members = CENTRE
    ) -> "SpotShell":
        """Wax with no coat on it. Raises ShellError for a size or spot that cannot be judged."""
        if not 1.0 <= size_mm <= 3000.0:
            raise ShellError(f"length of the face along the air {size_mm:g} mm is outside 1 to 3000 mm")
        if not 0.1 <= fillet_mm <= 20.0:
            raise ShellError(f"fillet radius {fillet_mm:g} mm is outside 0.1 to 20 mm")
        shape_of(spot, fillet_mm * 1e-3, members)
        return cls(spot, size_mm * 1e-3, fillet_mm * 1e-3, members, cooling=np.zeros(members.count))

    def dip(self, material: CoatMaterial) -> "SpotShell":
        """With another coat of that material just on. It keeps the temperature it had."""
        coats = (*self.coats, material)
        made = build(self.spot, self.fillet_m, self.members, coats)
        medium = made.solver.medium
        fresh = material.fresh_saturation * made.by_lane(self.members.by_coat("water", (material,))[:, 0])
        if self.wetness is None or self.built is None:
            saturation = np.repeat(fresh[:, None], made.network.cells, axis=1)
            temp = np.full(made.lanes, UNAIRED_TEMP_C)
            before, evaporated = np.zeros(made.lanes), np.zeros(made.lanes)
        else:
            old = tuple(coat.thickness_m for coat in self.coats)
            new = (*old, material.thickness_m)
            saturation = made.shape.carry(old, self.wetness.saturation, new, fresh)
            temp, evaporated = self.wetness.temp_c, self.wetness.evaporated
            before = self._lane_water()
        surface = potential(saturation[:, made.network.station_cell], medium.exponent)
        after = (saturation * medium.capacity).sum(axis=1)
        return replace(
            self,
            coats=coats,
            wetness=Wetness(saturation, surface, temp, evaporated, FIRST_STEP_S),
            age_s=0.0,
            cooling=np.zeros(self.members.count),
            brought=after - before + (0.0 if self.wetness is None else self.brought),
            built=made,
        )

    def advance(self, air: Air | None, seconds: float) -> "SpotShell":
        """The shell after so many seconds in that air.

        With no air (a gap in the record) nothing is exchanged with it: water only spreads inside. Raises
        ShellError for a negative time and TransferRangeError for air that the model does not cover.
        """
        if not seconds >= 0.0:
            raise ShellError(f"a shell cannot be advanced by {seconds:g} s")
        if self.wetness is None or self.built is None or seconds == 0.0:
            return self
        if air is None:
            sealed = no_air(self.built, self.wetness.temp_c)
            after = self.built.solver.advance(self.built.solver.settle(self.wetness, sealed), sealed, seconds)
            return replace(self, wetness=after, age_s=self.age_s + seconds, cooling=0.0 * self.cooling)
        wetness = self.wetness
        if not self.aired:
            wetness = replace(wetness, temp_c=self.built.by_lane(air.temp_c + self.members.temp_k))
        after, cooling = in_air(self.built, self.members, self.size_m, wetness, air, seconds, self.age_s)
        return replace(
            self,
            wetness=after,
            age_s=self.age_s + seconds,
            aired=True,
            rh_pct=float(air.rh_pct),
            cooling=self._at_slow(cooling),
        )

    def at_equilibrium(self, rh_pct: float) -> "SpotShell":
        """The same coats, left in such air for ever; the record of what they brought starts anew.

        Of the air as it is, whatever the members say of the sensors.
        """
        if self.wetness is None or self.built is None:
            return self
        medium = self.built.solver.medium
        saturation = np.full_like(self.wetness.saturation, equilibrium_saturation(rh_pct))
        surface = potential(saturation[:, self.built.network.station_cell], medium.exponent)
        wetness = replace(
            self.wetness, saturation=saturation, surface=surface, evaporated=np.zeros(self.built.lanes)
        )
        return replace(
            self, wetness=wetness, rh_pct=rh_pct, brought=(saturation * medium.capacity).sum(axis=1)
        )

    def remaining(self) -> Floats:
        """Water above equilibrium at the judged place over what the latest dip brought there [-], (M,).

        Equilibrium is with the latest air, or with 60 %RH where that was damper; what the dip brought is
        reckoned above it too, so that it is 1 just after a dip on dry coats. 0 while there is no coat.
        """
        return self._at_slow(self._lane_remaining())

    def water_left(self) -> Floats:
        """The same as a mean over the spot, as a scale would see it [-], (M,)."""
        return self._mean(self._lane_remaining())

    def coat_wetness(self) -> Floats:
        """Each coat's water above equilibrium over what its own dip brought there [-], (M, coats)."""
        if self.wetness is None or self.built is None:
            return np.zeros((self.members.count, 0))
        above, fresh = self._above()
        coats = [self.built.network.coat == coat for coat in range(len(self.coats))]
        lanes = [above[:, own].sum(axis=1) / fresh[:, own].sum(axis=1) for own in coats]
        return np.stack([self._at_slow(lane) for lane in lanes], axis=1)

    def cooling_k(self) -> Floats:
        """How far evaporation cools the judged place, e L/(h + h_r) [K], (M,); 0 until it has seen air."""
        return self.cooling

    @property
    def temp_c(self) -> Floats:
        """Temperature of the shell at the judged place [°C], (M,)."""
        if self.wetness is None or not self.aired:
            return np.full(self.members.count, UNAIRED_TEMP_C)
        return self._at_slow(self.wetness.temp_c)

    def shell_water_fraction(self) -> Floats:
        """Water above equilibrium at 60 %RH over the dry mass, through the whole shell [-], (M,)."""
        if self.wetness is None or self.built is None:
            return np.zeros(self.members.count)
        dry = equilibrium_saturation(EQUILIBRIUM_RH_PCT)
        above = (self.wetness.saturation - dry) * self.built.solver.medium.capacity
        return self._at_slow(above.sum(axis=1) / self.built.dry_mass)

    @property
    def brought_kg(self) -> Floats:
        """Water that all dips brought [kg per m² of face or floor, per m of joint], (M,)."""
        return self._mean(self.brought) if self.built else np.zeros(self.members.count)

    @property
    def evaporated_kg(self) -> Floats:
        """Water that has evaporated since the wax was bare, as brought_kg, (M,)."""
        return self._mean(self.wetness.evaporated) if self.wetness else np.zeros(self.members.count)

    @property
    def water_kg(self) -> Floats:
        """Water that is in the shell, as brought_kg, (M,)."""
        if not self.wetness:
            return np.zeros(self.members.count)
        # In air of next to no humidity the last digit of a step may fall a hair under nothing.
        return np.maximum(self._mean(self._lane_water()), 0.0)

    def to_bytes(self) -> bytes:
        """Everything needed to go on, exact to the bit."""
        return shell_bytes.write(self)

    @classmethod
    def from_bytes(cls, data: bytes) -> "SpotShell":
        """The shell that `to_bytes` wrote. Raises ShellBytesError (a ValueError) for anything else."""
        return shell_bytes.read(cls, data)

    def _lane_water(self) -> Floats:
        assert self.wetness is not None
        assert self.built is not None
        return np.asarray((self.wetness.saturation * self.built.solver.medium.capacity).sum(axis=1))

    def _above(self) -> tuple[Floats, Floats]:
        """Judged water above equilibrium in each cell now, and as its dip brought it [kg], (L, n)."""
        assert self.wetness is not None
        assert self.built is not None
        dry = equilibrium_saturation(min(self.rh_pct, EQUILIBRIUM_RH_PCT))
        judged = self.built.solver.medium.capacity * self.built.network.judged
        return judged * (self.wetness.saturation - dry), judged * (self.built.fresh - dry)

    def _lane_remaining(self) -> Floats:
        if self.wetness is None or self.built is None:
            return np.zeros(self.members.count)
        above, fresh = self._above()
        newest = self.built.network.coat == len(self.coats) - 1
        return np.asarray(above.sum(axis=1) / fresh[:, newest].sum(axis=1))

    def _at_slow(self, lanes: Floats) -> Floats:
        if self.built is None:
            return lanes
        return lanes.reshape(self.members.count, -1)[:, self.built.shape.columns.slow].copy()

    def _mean(self, lanes: Floats) -> Floats:
        if self.built is None:
            return lanes
        return np.asarray(lanes.reshape(self.members.count, -1) @ self.built.shape.columns.weights)
