"""What a plain device draws, stretch by stretch, and what is true of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from wakerail_sim.draws import about, log_uniform
from wakerail_sim.noise import Floats

MOST_OFF = 0.02  # of the level
LEAST_ON = 0.12  # of the level: so much is drawn at least while the device is on, unless it sleeps


@dataclass(frozen=True, slots=True)
class Device:
    """``level_a`` when on, ``off_a`` when off; ``lag_s`` is how fast it falls.

    ``settles`` is how much more it draws at first (a share of the level), which goes within about ``settles_s``;
    ``inrush`` how much more for an instant; ``drifts``, ``ripples`` and ``wobbles`` are shares of the level as well.
    """

    level_a: float
    off_a: float
    lag_s: float
    settles: float
    settles_s: float
    inrush: float
    drifts: float
    ripples: float
    wobbles: float


def draw_device(chance: np.random.Generator, pace_s: float) -> Device:
    """Draw a device that is on for about ``pace_s`` at a time."""

    def maybe(least: float, most: float, often: float) -> float:
        return log_uniform(chance, least, most) if chance.random() < often else 0.0

    level_a = log_uniform(chance, 3e-3, 3.0)
    return Device(
        level_a=level_a,
        off_a=level_a * maybe(1e-5, MOST_OFF, 0.7),
        lag_s=log_uniform(chance, 1e-4, 0.05) * min(pace_s, 10.0),
        settles=maybe(0.01, 0.5, 0.5) * chance.choice((-0.5, 1.0)),
        settles_s=pace_s * log_uniform(chance, 0.02, 2),
        inrush=maybe(0.1, 4, 0.3),
        drifts=maybe(0.01, 0.2, 0.4) * chance.choice((-1, 1)),
        ripples=maybe(0.002, 0.1, 0.4),
        wobbles=maybe(0.002, 0.08, 0.6),
    )


class Story:
    """Fills ``current_a`` from the begin; whatever is played after its end is not drawn.

    ``pace_s`` is for how long the device is on at a time; a meter will read it every ``sample_s``.
    """

    def __init__(
        self,
        chance: np.random.Generator,
        device: Device,
        *,
        pace_s: float,
        sample_s: float,
        rate_hz: float,
        length_s: float,
        begins_running: bool,
    ) -> None:
        self.chance, self.device, self.pace_s = chance, device, pace_s
        self.sample_s, self.rate_hz = sample_s, rate_hz
        self.current_a: Floats = np.zeros(int(rate_hz * length_s))
        self.onset_s: float | None = None
        self.restarts: list[tuple[float, float]] = []
        self.least_a = LEAST_ON * device.level_a
        """What it draws at least while it is on."""
        self._samples = 0
        self._texture = self._draw_texture()
        if not begins_running:
            self._go_off(max(6 * sample_s, min(pace_s * log_uniform(chance, 0.05, 2), 0.2 * length_s)))
            self.onset_s = self.now_s

    @property
    def now_s(self) -> float:
        """How long what was played lasts."""
        return self._samples / self.rate_hz

    @property
    def left_s(self) -> float:
        """How long what is still to be played lasts."""
        return (len(self.current_a) - self._samples) / self.rate_hz

    @property
    def ended(self) -> bool:
        """Whether the recording is full."""
        return self._samples >= len(self.current_a)

    def spell_s(self, varies: float = 0.0) -> float:
        """Draw how long something lasts, about as long as the device is on at a time; a few samples show it."""
        return max(6 * self.sample_s, self.pace_s * max(0.1, about(self.chance, varies)))

    def switch_on(self, length_s: float) -> None:
        """Come on, with all that comes with it, and stay so; at the very begin it is on already."""
        device, samples = self.device, self._fitting(length_s)
        if not samples:
            return
        if not self._samples:
            self._draw(np.ones(samples))
            return
        t_s = np.arange(samples) / self.rate_hz
        share = 1 + device.settles * np.exp(-t_s / device.settles_s) + 0.03 * self.chance.normal()
        instant = max(1, min(samples, round(0.01 * self.rate_hz)))
        share[:instant] += device.inrush * self.chance.uniform(0.7, 1.3)
        self._draw(share)

    def go_on(self, length_s: float, share: float = 1.0) -> None:
        """Stay on, at that share of the level."""
        self._draw(np.full(self._fitting(length_s), share))

    def restart(self, off_s: float, up_s: float) -> None:
        """Break off, stay off, and come on again; nothing more is played if there is no room for it."""
        at_s, least_s = self.now_s, 6 * self.sample_s
        if self.left_s < off_s + max(up_s * 0.5, least_s) or not self._samples:
            self.current_a = self.current_a[: max(self._samples, 1)]
            return
        self._go_off(off_s)
        self.restarts.append((at_s, self.now_s))
        self.switch_on(up_s)

    def switch_off(self) -> None:
        """Go off for good."""
        self._go_off(self.left_s)

    def _go_off(self, off_s: float) -> None:
        samples = self._fitting(off_s)
        before_a = self.current_a[self._samples - 1] if self._samples else 0.0
        lag_s = min(self.device.lag_s, 0.2 * off_s)
        falling = np.exp(-(np.arange(samples) + 1) / (lag_s * self.rate_hz))
        off_a = self.device.off_a * (1 + 0.02 * self.chance.normal(size=samples))
        self._put(off_a + (before_a - off_a) * falling)

    def _draw(self, share: Floats) -> None:
        self._put(self.device.level_a * share * self._texture[self._samples : self._samples + len(share)])

    def _put(self, drawn_a: Floats) -> None:
        self.current_a[self._samples : self._samples + len(drawn_a)] = drawn_a
        self._samples += len(drawn_a)

    def _fitting(self, length_s: float) -> int:
        return max(0, min(round(length_s * self.rate_hz), len(self.current_a) - self._samples))

    def _draw_texture(self) -> Floats:
        """Return by what factor the level drifts, ripples and wobbles from sample to sample."""
        device, count = self.device, len(self.current_a)
        t_s = np.arange(count) / self.rate_hz
        ripple_s = self.pace_s * log_uniform(self.chance, 0.002, 0.3)
        keeps = np.exp(-1 / max(self.rate_hz * self.pace_s * log_uniform(self.chance, 1e-3, 1), 1.0))
        wobble = lfilter([np.sqrt(1 - keeps**2)], [1, -keeps], self.chance.normal(size=count))
        factor = 1 + device.drifts * np.linspace(0, 1, count) + device.ripples * np.sin(2 * np.pi * t_s / ripple_s)
        return np.asarray(np.maximum(factor + device.wobbles * np.clip(wobble, -2.5, 2.5), 0.3))
