"""A lumped model of a heated plate, and of what lies on it, moved on exactly from sample to sample.

    element   lag de/dt = u(t - dead) - e                     the heat that arrives, as a share of full heat
    plate     dT/dt = rate e - loss(T) - coupling (T - B)     rate = P / C; loss(T) = (T - room) / tau near the room
    load      share dB/dt = coupling (T - B)                  share = C_load / C, coupling = G / C

Lumped capacity: each body has one temperature, which holds while its Biot number is under 0.1 (Incropera and others,
"Fundamentals of Heat and Mass Transfer", chapter 5; from memory). A first-order lag with dead time is the usual process
model for tuning (Ziegler and Nichols, "Optimum Settings for Automatic Controllers", Trans. ASME 64, 1942); the element
is the second lag that makes a plate coast on after the heater is off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wakerail.analysis.thermal.plate_step import exact_step
from wakerail.analysis.thermal.trace import Floats

#: The share of the loss near room temperature that goes by radiation: a dull surface radiates 4 sigma T^3, about
#: 5.7 W/(m2 K) at 20 degC (Stefan-Boltzmann); natural convection takes about 5 (common practice, no source).
RADIATION = 0.5
_KELVIN = 273.15
_HOTTEST_K = 2000.0  # over the room; beyond, radiation would make the steps of a search unstable


@dataclass(frozen=True, slots=True)
class Load:
    """A body coupled to the plate: its heat capacity as a share of the plate's, and how fast heat goes over to it.

    ``coupling_per_s`` is the contact's conductance over the plate's heat capacity; the load's own time constant is
    ``share / coupling_per_s``.
    """

    share: float
    coupling_per_s: float


@dataclass(frozen=True, slots=True)
class PlateState:
    """Where a plate is: its temperature, the heat that arrives in it as a share of full heat, and the load's."""

    temperature_c: float
    heat: float = 0.0
    load_c: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """How a plate goes on: its states at equal steps, arrays of one length."""

    temperature_c: Floats
    heat: Floats
    load_c: Floats

    def state(self, place: int) -> PlateState:
        """Return one of the states."""
        return PlateState(float(self.temperature_c[place]), float(self.heat[place]), float(self.load_c[place]))

    def then(self, place: int, after: Course) -> Course:
        """Return the course until one of its states, and another from there on."""
        pairs = ((getattr(self, name), getattr(after, name)) for name in ("temperature_c", "heat", "load_c"))
        return Course(*(np.concatenate([own[:place], others]) for own, others in pairs))


@dataclass(frozen=True, slots=True)
class PlateModel:
    """What a plate is like. ``heat_rate_k_per_s`` is how fast full heat would warm it without loss.

    ``loss_time_s`` is its time constant against the room near room temperature, ``lag_s`` that of its element. With the
    heater's power in watts, the plate's heat capacity is power over ``heat_rate_k_per_s``.
    """

    heat_rate_k_per_s: float
    loss_time_s: float
    lag_s: float
    dead_time_s: float
    room_c: float
    radiation: float = RADIATION
    load: Load | None = None

    def loss_k_per_s(self, temperature_c: float) -> float:
        """Return how fast the plate would cool at a temperature by what it loses to the room."""
        over_k, room_k = temperature_c - self.room_c, self.room_c + _KELVIN
        radiated_k = ((temperature_c + _KELVIN) ** 4 - room_k**4) / (4 * room_k**3)
        return ((1 - self.radiation) * over_k + self.radiation * radiated_k) / self.loss_time_s

    def holding(self, temperature_c: float) -> PlateState:
        """Return the state of a plate that has been held at a temperature for long."""
        heat = self.loss_k_per_s(temperature_c) / self.heat_rate_k_per_s
        return PlateState(temperature_c, heat, temperature_c)

    def run(self, start: PlateState, arriving: Floats, step_s: float) -> Course:
        """Return the state at the start and after each step, under the mean command that arrives in it.

        Exact for the linear part under a constant command; the radiation beyond its linear part is taken at the middle
        of each step, as the last one tells it.
        """
        coupling_per_s = self.load.coupling_per_s if self.load else 0.0
        step = exact_step(
            rate_k_per_s=self.heat_rate_k_per_s,
            loss_time_s=self.loss_time_s,
            lag_s=self.lag_s,
            coupling_per_s=coupling_per_s,
            back_per_s=coupling_per_s / self.load.share if self.load else 0.0,
            step_s=step_s,
        )
        # a fit goes through this loop a hundred thousand times: names of its own are twice as fast as attributes
        kept, plate_kept, load_on_plate, plate_on_load, load_kept = step.before
        by_heat, by_heat_on_load, by_command, by_command_on_load, by_extra, by_extra_on_load = step.added
        room_k = self.room_c + _KELVIN
        cubed, strength = 4 * room_k**3, self.radiation / self.loss_time_s
        fourth_k = room_k**4
        heat, over = start.heat, start.temperature_c - self.room_c
        load = over if start.load_c is None else start.load_c - self.room_c
        before = over
        states = [(over, heat, load)]
        for command in arriving.tolist():
            middle = 1.5 * over - 0.5 * before
            if not -room_k < middle < _HOTTEST_K:
                middle = min(max(middle, -room_k), _HOTTEST_K)
            extra = strength * (((room_k + middle) ** 4 - fourth_k) / cubed - middle)
            before = over
            pushed = by_heat * heat + by_command * command - by_extra * extra
            pulled = by_heat_on_load * heat + by_command_on_load * command - by_extra_on_load * extra
            over, load = (
                plate_kept * over + load_on_plate * load + pushed,
                plate_on_load * over + load_kept * load + pulled,
            )
            heat = command + kept * (heat - command)
            states.append((over, heat, load))
        plate, heats, loads = np.array(states).T
        return Course(plate + self.room_c, heats, loads + self.room_c)


@dataclass(frozen=True, slots=True, eq=False)
class Commands:
    """What was sent to the heater, 0 to 1, each from its moment on."""

    t_s: Floats
    share: Floats

    def arriving(self, at_s: Floats, dead_time_s: float, before: float = 0.0) -> Floats:
        """Return the mean of what arrives between each two of some moments, ``dead_time_s`` after it was sent.

        ``before`` is what was sent before the first moment that is known.
        """
        ends = np.append(self.t_s, max(self.t_s[-1], at_s[-1]) + 1.0)
        sent = np.concatenate(([0.0], np.cumsum(self.share * np.diff(ends))))
        moments = at_s - dead_time_s
        early = before * np.minimum(moments - self.t_s[0], 0.0)
        means: Floats = np.diff(np.interp(moments, ends, sent) + early) / np.diff(at_s)
        return means
