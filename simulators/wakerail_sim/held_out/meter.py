"""The meters: how each samples and what it gets wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from wakerail_sim.held_out.devices.device import Device

_FEWEST_BOOT_SAMPLES, _MOST_BOOT_SAMPLES = 40, 60000
_COARSE_SHOWS_A = 0.05  # what a device must draw to be seen by a coarse meter


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter.

    Args:
        name: what kind of instrument it is.
        rates_hz: how many samples it can give in a second.
        averages: whether it averages over a sample's time; if not, it samples points.
        noise_part: standard deviation of its noise, as a part of what it reads.
        noise_a: standard deviation of its noise beside that, or between which parts of its full scale it is.
        resolution: its resolution (A), the two parts of its full scale that it may be, or None if it goes by its range.
        first_share: how often it is the first of the two.
        offset_a: standard deviation of its offset, None for a part of its full scale.
        drift_a: standard deviation of its offset's drift, None for a part of its full scale.
        ranges_a: the ranges it switches, if it does: while it switches, it gives nothing or what it gave last.
        coarse: whether it hardly sees a small device, and may give the same reading several times.
        blanks_below_a: what it reads as nothing.
        hums: whether mains hum gets in.
        jitters: whether its samples' times may jitter.
        loses: whether it may lose samples.
    """

    name: Literal["monitor", "supply", "multimeter", "inline", "oscilloscope", "logger"]
    rates_hz: tuple[float, ...]
    averages: bool
    noise_part: float
    noise_a: float | tuple[float, float]
    resolution: float | tuple[float, float] | None
    offset_a: float | None
    drift_a: float | None
    first_share: float = 0.5
    ranges_a: tuple[float, ...] = ()
    coarse: bool = False
    blanks_below_a: float = 0.0
    hums: bool = False
    jitters: bool = False
    loses: bool = False

    def usable_hz(self, device: Device) -> tuple[float, ...]:
        """Return at which rates it shows the device's boot, in not too many samples."""
        if self.coarse and device.core_busy_a < _COARSE_SHOWS_A:
            return ()
        boot_s = device.boot_s
        return tuple(
            rate_hz for rate_hz in self.rates_hz if _FEWEST_BOOT_SAMPLES <= rate_hz * boot_s < _MOST_BOOT_SAMPLES
        )


METERS: tuple[Meter, ...] = (
    Meter(
        "multimeter",
        rates_hz=(10.0, 25.0, 50.0),
        averages=True,
        noise_part=0.0003,
        noise_a=1e-5,
        resolution=None,
        offset_a=1e-5,
        drift_a=1e-5,
        ranges_a=(0.01, 0.1, 1.0, 10.0),
    ),
    Meter(
        "inline",
        rates_hz=(10.0, 50.0, 100.0),
        averages=False,
        noise_part=0.003,
        noise_a=8e-4,
        resolution=1e-3,
        offset_a=1e-3,
        drift_a=3e-4,
        coarse=True,
        blanks_below_a=2.5e-3,
    ),
    Meter(
        "logger",
        rates_hz=(100.0, 250.0, 500.0),
        averages=True,
        noise_part=0.001,
        noise_a=(0.0002, 0.002),
        resolution=(1 / 32768, 8 / 32768),
        offset_a=5e-5,
        drift_a=5e-5,
        jitters=True,
        loses=True,
    ),
    Meter(
        "monitor",
        rates_hz=(1000.0, 2500.0),
        averages=True,
        noise_part=0.0008,
        noise_a=4e-5,
        resolution=2e-6,
        offset_a=2e-5,
        drift_a=2e-5,
    ),
    Meter(
        "oscilloscope",
        rates_hz=(500.0, 1000.0, 2500.0),
        averages=False,
        noise_part=0.002,
        noise_a=(0.002, 0.008),
        resolution=(1 / 256, 1 / 4096),
        first_share=0.4,
        offset_a=None,
        drift_a=None,
        hums=True,
    ),
    Meter(
        "supply",
        rates_hz=(5.0, 10.0, 20.0),
        averages=True,
        noise_part=0.001,
        noise_a=3e-4,
        resolution=1e-3,
        offset_a=4e-4,
        drift_a=2e-4,
        coarse=True,
    ),
)
"""All meters. Their order is part of what a seed means."""
