"""The technician's hands on the simulated bench, as methods and as lines of text on a unix socket."""

from __future__ import annotations

import re
import socket
from collections.abc import Callable, Mapping
from pathlib import Path

from wakerail_kit.errors import ConfigInvalid, DeviceUnavailable, WakerailError
from wakerail_kit.hints import nearest
from wakerail_kit.topics import NAME
from wakerail_kit.units import UnitInvalid, parse_quantity
from wakerail_sim import bench_folder
from wakerail_sim.board import GROUND, TOGETHER
from wakerail_sim.far_ends import check_unix_path
from wakerail_sim.instruments import Rig
from wakerail_sim.terminals import Place
from wakerail_sim.world import World

_ANSWER_WITHIN_S = 10.0
_CABLE = "usb"
_BOARDS, _UPPER = "boards", "upper-board"
_MAX_GARBLED = 1_000_000
#: What can be typed, each with an example.
USAGE = {
    "press": "press power-button",
    "clean": "clean port",
    "clamp": "clamp boards",
    "lift": "lift upper-board",
    "set": "set upper-board",
    "take-off": "take-off boards",
    "unplug": "unplug <part or instrument>",
    "replug": "replug <part or instrument>",
    "replace": "replace <part>",
    "switch-off": "switch-off supply",
    "switch-on": "switch-on supply",
    "hang": "hang supply 5 s",
    "garble": "garble supply 3",
    "slow": "slow supply 300 ms",
    "clip": "clip port",
    "probe": "probe display.3",
    "state": "state",
}


class Hands:
    """What a person can do at the bench. Each method raises ConfigInvalid with one line if it cannot be done.

    ``unplug`` takes a part of the device by any name, ``usb`` for its cable, or an instrument, whose link is then
    pulled while it goes on with what it was doing (a supply keeps its output on).
    """

    def __init__(self, world: World, rigs: Mapping[str, Rig]) -> None:
        self._world = world
        self._rigs = rigs

    def press(self, what: str = "power-button") -> None:
        """Press the device's power button."""
        _only(what, "power-button", "pressed")
        with self._world.present():
            self._world.press_button()

    def clean(self, what: str = "port") -> None:
        """Clean the charge port, or the pads of the boards while they are apart and cool."""
        if what != _BOARDS:
            _only(what, "port", "cleaned")
        with self._world.present():
            if what == _BOARDS:
                self._world.stack.clean()
            else:
                self._world.clean_port()

    def clamp(self, what: str = _BOARDS) -> None:
        """Clamp the boards on the plate."""
        _only(what, _BOARDS, "clamped")
        with self._world.present():
            self._world.clamp_boards()

    def take_off(self, what: str = _BOARDS) -> None:
        """Take the boards off the plate, once they are cool."""
        _only(what, _BOARDS, "taken off")
        with self._world.present():
            self._world.stack.take_off()

    def lift(self, what: str = _UPPER) -> None:
        """Lift the upper board, which the solder lets go of while it is liquid."""
        _only(what, _UPPER, "lifted")
        with self._world.present():
            self._world.stack.lift()

    def set_on(self, what: str = _UPPER) -> None:
        """Set the upper board on the lower one."""
        _only(what, _UPPER, "set")
        with self._world.present():
            self._world.stack.set_upper()

    def unplug(self, part: str) -> None:
        """Unplug a part, the USB cable or an instrument."""
        self._plug(part, plugged=False)

    def replug(self, part: str) -> None:
        """Plug in again what was unplugged."""
        self._plug(part, plugged=True)

    def replace(self, part: str) -> None:
        """Put a sound part in the place of one of the device's, and plug it in."""
        if part in self._rigs or part == _CABLE:
            raise ConfigInvalid(f"{part!r} is no part of the device")
        if part not in self._unplugged():
            self._plug(part, plugged=False)
        self._plug(part, plugged=True)
        with self._world.present():
            self._world.device.replaced.add(part)

    def switch_off(self, instrument: str) -> None:
        """Switch an instrument off at the mains."""
        self._rig(instrument).switch(on=False)

    def switch_on(self, instrument: str) -> None:
        """Switch an instrument on at the mains."""
        self._rig(instrument).switch(on=True)

    def hang(self, instrument: str, duration_s: float) -> None:
        """Let an instrument answer nothing for so long, and then late."""
        rig = self._rig(instrument)
        rig.mishaps.hang(duration_s)
        rig.nudge()

    def garble(self, instrument: str, answers: int = 1) -> None:
        """Let an instrument garble its next answers."""
        self._rig(instrument).mishaps.garble(answers)

    def slow(self, instrument: str, delay_s: float) -> None:
        """Let an instrument take that long for each answer."""
        self._rig(instrument).mishaps.latency_s = delay_s

    def clip(self, where: str) -> None:
        """Put the supply's leads on the battery terminals or the charge port."""
        if where not in set(Place):
            raise ConfigInvalid(f"the supply's leads go on nothing called {where!r}; {nearest(where, list(Place))}")
        with self._world.present():
            self._world.clip(Place(where))

    def probe(self, *places: str) -> None:
        """Put the meter's leads on a pin (red on ground, black on it), on two pins, ``together``, or ``off``."""
        match places:
            case ["off"]:
                red = black = ""
            case ["together"]:
                red = black = TOGETHER
            case [place]:
                red, black = GROUND, place
            case [red, black]:
                pass
            case _:
                raise ConfigInvalid("write it like 'probe display.3', 'probe display.3 display.4' or 'probe together'")
        with self._world.present():
            self._world.put_leads(red, black)

    def state(self) -> str:
        """Return in one line how the world is, for a person who looks at the bench."""
        with self._world.present():
            world = self._world
            voltage_v, current_a = world.meter.read(world.now_step)
            shown = {
                "stage": "replay" if world.replay is not None else str(world.device.stage),
                "boots": str(world.device.boots),
                "output": "on" if world.supply.output_on else "off",
                "clipped": str(world.terminals.place),
                "voltage": f"{voltage_v:.3f}V",
                "current": f"{current_a:.4f}A",
                "plate": f"{world.plate.temperature_c:.1f}degC",
                "heater": "on" if world.plate.heater_on else "off",
                "hot-spot": f"{world.hot_spot_c():.0f}degC",
                "port": "dirty" if world.port.dirty else "clean",
                "boards": f"{world.stack.boards},{world.stack.temperature_c:.0f}degC",
                "leads": f"{world.board.leads.red or '-'}/{world.board.leads.black or '-'}",
                "unplugged": ",".join(self._unplugged()) or "-",
            }
        return " ".join(f"{name}={value}" for name, value in shown.items())

    def obey(self, line: bytes) -> bytes:
        """Carry out one line of text; return the line ``ok``, ``ok <state>`` or ``error: <why>``."""
        try:
            says = self._obey(line.decode("utf-8", "replace").split())
        except WakerailError as refused:
            return f"error: {refused}\n".encode()
        return f"ok {says}".strip().encode() + b"\n"

    def _obey(self, words: list[str]) -> str:
        verb, *given = words or [""]
        simple: dict[str, Callable[[str], None]] = {
            "press": self.press,
            "clean": self.clean,
            "clamp": self.clamp,
            "lift": self.lift,
            "set": self.set_on,
            "take-off": self.take_off,
            "clip": self.clip,
            "unplug": self.unplug,
            "replug": self.replug,
            "replace": self.replace,
            "switch-off": self.switch_off,
            "switch-on": self.switch_on,
        }
        match verb, given:
            case "state", []:
                return self.state()
            case (("hang" | "slow"), [instrument, *amount]) if amount:
                act = self.hang if verb == "hang" else self.slow
                act(instrument, _duration_s(" ".join(amount)))
            case "probe", [_, *_]:
                self.probe(*given)
            case "garble", [instrument, count] if re.fullmatch(r"\d{1,7}", count) and int(count) <= _MAX_GARBLED:
                self.garble(instrument, int(count))
            case _, [what] if verb in simple:
                simple[verb](what)
            case _:
                raise ConfigInvalid(
                    f"write it like '{USAGE[verb]}'"
                    if verb in USAGE
                    else f"{verb!r}? {nearest(verb, USAGE, 'known: ')}"
                )
        return ""

    def _plug(self, part: str, *, plugged: bool) -> None:
        if not NAME.match(part):
            raise ConfigInvalid(f"{part!r} is no part's name; use lower-case letters, digits, '-' and '_'")
        if plugged == (part not in self._unplugged()):
            raise ConfigInvalid(f"{part!r} is {'not' if plugged else 'already'} unplugged")
        if part in self._rigs:
            rig = self._rigs[part]
            (rig.replug if plugged else rig.unplug)()
            return
        with self._world.present():
            if part == _CABLE:
                self._world.usb.plug(plugged)
            elif plugged:
                self._world.device.unplugged.discard(part)
            else:
                self._world.device.unplugged.add(part)

    def _unplugged(self) -> list[str]:
        instruments = {name for name, rig in self._rigs.items() if not rig.plugged}
        cable = set() if self._world.usb.cable_in else {_CABLE}
        return sorted(self._world.device.unplugged | instruments | cable)

    def _rig(self, instrument: str) -> Rig:
        if instrument not in self._rigs:
            raise ConfigInvalid(f"no instrument {instrument!r} here; {nearest(instrument, self._rigs, 'known: ')}")
        return self._rigs[instrument]


def tell(folder: Path, line: str) -> str:
    """Say one line to the hands of the bench simulated in ``folder`` and return the answer, without its line feed.

    Raises DeviceUnavailable if no simulated bench is there or it does not answer, and ConfigInvalid if the
    folder's path is too long for a socket.
    """
    path = folder / bench_folder.HANDS
    check_unix_path(path)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as link:
        link.settimeout(_ANSWER_WITHIN_S)
        try:
            link.connect(str(path))
            link.sendall(" ".join(line.split()).encode() + b"\n")
            with link.makefile("r", encoding="utf-8") as answers:
                answer = answers.readline()
        except OSError as wrong:
            raise DeviceUnavailable(f"no simulated bench answers in {folder} ({wrong.strerror or wrong})") from None
    if not answer:
        raise DeviceUnavailable(f"the simulated bench in {folder} ended before it answered")
    return answer.rstrip("\n")


def _only(what: str, known: str, done: str) -> None:
    if what != known:
        raise ConfigInvalid(f"{what!r} cannot be {done}; write {known!r}")


def _duration_s(text: str) -> float:
    try:
        duration_s = parse_quantity(text, "s")
    except UnitInvalid as wrong:
        raise ConfigInvalid(str(wrong)) from None
    if duration_s < 0:
        raise ConfigInvalid(f"{text!r} is negative; write it like '5 s'")
    return duration_s
