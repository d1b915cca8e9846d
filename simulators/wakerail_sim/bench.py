"""The simulated bench as a whole: one world, its instruments' far ends, and a folder where they are found."""

from __future__ import annotations

import threading
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

from wakerail_kit.clock import Clock, RealClock
from wakerail_kit.families import DeviceFamily
from wakerail_sim import bench_folder
from wakerail_sim.bench_folder import BenchFolder
from wakerail_sim.far_ends import LOOPBACK, FarEnd, LineServer, LoopbackPort, SerialEnd, bind_unix, check_unix_path
from wakerail_sim.fast_clock import RENEWED_EVERY_S, FastClock
from wakerail_sim.faults import FAULTS, Fault, FaultList, FaultSort, parse_fault
from wakerail_sim.hands import Hands
from wakerail_sim.instruments import Rig
from wakerail_sim.mishaps import Mishaps
from wakerail_sim.modbus import FrameCutter
from wakerail_sim.multimeter_scpi import MultimeterScpi
from wakerail_sim.plate_protocol import PlateProtocol
from wakerail_sim.plate_registers import PlateRegisters
from wakerail_sim.port_tester_protocol import PortTesterProtocol
from wakerail_sim.running import Addresses
from wakerail_sim.supply_scpi import SupplyScpi
from wakerail_sim.trace import RecordedTrace, load_trace
from wakerail_sim.usb_end import UsbEnd
from wakerail_sim.usb_port import UsbChange
from wakerail_sim.world import World

__all__ = [
    "FAULTS",
    "Addresses",
    "Fault",
    "FaultSort",
    "Hands",
    "RecordedTrace",
    "SimSettings",
    "SimulatedBench",
    "load_trace",
    "parse_fault",
]

_TICK_S = 0.1  # how soon a brown-out is seen that nobody asked about; what is planned is seen when it is due
_IDLE_TICK_S = 0.25  # and how soon it is noticed that the supply was switched on
_SHORTEST_TICK_S = 0.005
_TICKER_JOIN_S = 5.0


@dataclass(frozen=True, slots=True)
class SimSettings:
    """What is simulated, and where. A port that is 0 takes any free one of the loopback."""

    folder: Path
    family: DeviceFamily
    supply_port: int = 0
    seed: int = 1
    faults: tuple[Fault, ...] = ()
    trace: RecordedTrace | None = None
    meter_port: int = 0
    plate_has_fan: bool = False


class SimulatedBench:
    """A bench that runs from ``start`` to ``stop``, or inside ``with``. ``hands`` are the technician's.

    Nothing is energised when it starts. With a simulated clock it moves when the clock is moved.
    """

    def __init__(self, settings: SimSettings, clock: Clock | None = None) -> None:
        self._settings = settings
        self._clock = clock or RealClock()
        self._world = World(
            settings.family,
            self._clock,
            seed=settings.seed,
            faults=settings.faults,
            trace=settings.trace,
            usb_changed=self._show_usb,
            plate_has_fan=settings.plate_has_fan,
        )
        self._rigs: dict[str, Rig] = {}
        self._usb: UsbEnd | None = None
        self._running = ExitStack()
        self._stopping = threading.Event()
        self.hands = Hands(self._world, self._rigs)

    def start(self) -> Addresses:
        """Start every far end and return where they are.

        Raises ConfigInvalid with one line if the folder or a port is taken, or the folder's path is too
        long for a socket.
        """
        folder = self._settings.folder.absolute()
        for name in (bench_folder.USB, bench_folder.HANDS):
            check_unix_path(folder / name)
        with ExitStack() as started:
            started.callback(BenchFolder(folder).release)
            port = LoopbackPort(self._settings.supply_port, "supply")
            meter_port = LoopbackPort(self._settings.meter_port, "meter")
            self._usb = UsbEnd(
                folder, self._clock, family=self._settings.family, seed=self._settings.seed, begun_s=self._world.begun_s
            )
            hands = LineServer(
                "hands",
                self._clock,
                lambda: bind_unix(folder / bench_folder.HANDS),
                self.hands.obey,
                Mishaps(self._clock),
            )
            self._rigs |= {
                "supply": self._supply_rig(port),
                "plate": self._plate_rig(folder),
                "port-tester": self._port_tester_rig(folder),
                "meter": self._meter_rig(meter_port),
            }
            ends: list[FarEnd] = [end for rig in self._rigs.values() for end in rig.ends]
            ends += [self._usb, hands]
            for end in ends:
                started.callback(end.stop)
            for end in ends:
                end.start()
            threads = [threading.Thread(target=self._tick, name="sim-ticker", daemon=True)]
            if isinstance(self._clock, FastClock):
                self._clock.share(folder / bench_folder.CLOCK)
                renewing = threading.Thread(target=self._renew, args=(self._clock,), name="sim-clock", daemon=True)
                threads.append(renewing)
            for thread in threads:
                started.callback(thread.join, _TICKER_JOIN_S)
                thread.start()
            started.callback(self._stopping.set)
            addresses = self._addresses(folder, port, meter_port)
            addresses.write(folder)
            self._running = started.pop_all()
        return addresses

    @staticmethod
    def _addresses(folder: Path, port: LoopbackPort, meter_port: LoopbackPort) -> Addresses:
        return Addresses(
            supply=f"TCPIP::{LOOPBACK}::{port.number}::SOCKET",
            plate=str(folder / bench_folder.PLATE),
            plate_modbus=str(folder / bench_folder.PLATE_MODBUS),
            port_tester=str(folder / bench_folder.PORT_TESTER),
            meter=f"TCPIP::{LOOPBACK}::{meter_port.number}::SOCKET",
            usb_socket=str(folder / bench_folder.USB),
            usb_sysfs=str(folder / bench_folder.SYSFS),
            kernel_log=str(folder / bench_folder.KERNEL_LOG),
            hands=str(folder / bench_folder.HANDS),
        )

    def stop(self) -> None:
        """End every far end and let the folder go. May be called twice."""
        self._running.close()

    def __enter__(self) -> Addresses:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, wrong: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _supply_rig(self, port: LoopbackPort) -> Rig:
        scpi = SupplyScpi(self._world)
        mishaps = Mishaps(self._clock)
        end = LineServer("supply", self._clock, port.bind, scpi.execute, mishaps)
        rig = Rig((end,), mishaps, power=scpi.power_on)
        faults = FaultList(self._settings.faults)
        mishaps.garbled_share = faults.amount("supply-garbles") or 0.0
        mishaps.latency_s = faults.amount("supply-slow") or 0.0
        self._plan_link_faults("supply", rig)
        return rig

    def _plan_link_faults(self, instrument: str, rig: Rig) -> None:
        faults = FaultList(self._settings.faults)
        for fault, action in (("hangs", rig.mishaps.hang), ("gone", rig.lose)):
            after_s = faults.amount(f"{instrument}-{fault}-after")
            if after_s is not None:
                self._world.plan(after_s, action)

    def _plate_rig(self, folder: Path) -> Rig:
        mishaps = Mishaps(self._clock)
        lines = SerialEnd(folder / bench_folder.PLATE, self._clock, PlateProtocol(self._world).answer, mishaps)
        registers = SerialEnd(
            folder / bench_folder.PLATE_MODBUS,
            self._clock,
            PlateRegisters(self._world).answer,
            mishaps,
            FrameCutter(self._clock),
        )
        rig = Rig((lines, registers), mishaps, power=self._power_plate)
        self._plan_link_faults("plate", rig)
        return rig

    def _port_tester_rig(self, folder: Path) -> Rig:
        mishaps = Mishaps(self._clock)
        answer = PortTesterProtocol(self._world).answer
        end = SerialEnd(folder / bench_folder.PORT_TESTER, self._clock, answer, mishaps)
        return Rig((end,), mishaps, power=lambda: None)

    def _meter_rig(self, port: LoopbackPort) -> Rig:
        scpi = MultimeterScpi(self._world)
        mishaps = Mishaps(self._clock)
        mishaps.garbled_share = FaultList(self._settings.faults).amount("meter-garbles") or 0.0
        rig = Rig((LineServer("meter", self._clock, port.bind, scpi.execute, mishaps),), mishaps, power=scpi.power_on)
        self._plan_link_faults("meter", rig)
        return rig

    def _power_plate(self) -> None:
        with self._world.present():
            self._world.plate.power_on()

    def _show_usb(self, change: UsbChange) -> None:
        if self._usb is not None:
            self._usb.change(change)

    def _tick(self) -> None:
        tick_s = _IDLE_TICK_S
        while not self._clock.wait(self._stopping, tick_s):
            with self._world.present():
                longest_s = _TICK_S if self._world.supply.output_on else _IDLE_TICK_S
                tick_s = min(longest_s, max(_SHORTEST_TICK_S, self._world.until_planned_s()))

    def _renew(self, clock: FastClock) -> None:
        while not self._stopping.wait(RENEWED_EVERY_S):
            clock.renew()
