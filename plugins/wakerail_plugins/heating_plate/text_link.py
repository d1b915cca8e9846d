"""A plate that speaks text on a serial port, worded by a dialect."""

from __future__ import annotations

from collections.abc import Mapping

from wakerail_kit.clock import Clock
from wakerail_kit.dialect import Dialect
from wakerail_kit.dialect_wording import Value
from wakerail_kit.errors import OutOfSync
from wakerail_kit.messages import Identity
from wakerail_plugins.heating_plate.plate_link import PlateState
from wakerail_plugins.serial_link import TextLink


class TextPlateLink:
    """Speaks a heat-source dialect; answers that the dialect calls slow are kept for as long as it says."""

    def __init__(self, address: str, dialect: Dialect, timeout_s: float, clock: Clock) -> None:
        self._link = TextLink(address, dialect, timeout_s, clock)
        self._dialect = dialect
        self._clock = clock
        self._kept: dict[int, tuple[float, Mapping[str, Value]]] = {}
        sends = [exchange.send.fields for exchange in dialect.commands.get("set_temperature", ())]
        self.setpoint_step_c = max(
            (fields["setpoint"].resolution for fields in sends if "setpoint" in fields), default=0
        )

    def connect(self) -> None:
        self._kept.clear()
        self._link.connect()

    def identify(self) -> Identity:
        return self._link.identify()

    def read(self) -> PlateState:
        values: dict[str, Value] = {}
        now_s = self._clock.monotonic_s()
        for index, exchange in enumerate(self._dialect.reads):
            asked_s, answer = self._kept.get(index, (float("-inf"), {}))
            if now_s - asked_s >= exchange.every_s:
                answer = self._link.run(exchange).values
                self._kept[index] = (now_s, answer)
            values |= answer
        return PlateState(
            _number(values.get("temperature")), _number(values.get("setpoint")), _switched_on(values.get("heater"))
        )

    def held_c(self) -> float | None:
        return _number(self._ask("setpoint"))

    def heater_is_on(self) -> bool:
        return _switched_on(self._ask("heater"))

    def _ask(self, quantity: str) -> Value:
        self._kept.clear()
        exchange = self._dialect.reader_of(quantity)
        return self._link.run(exchange).values.get(quantity) if exchange is not None else None

    def set_temperature_c(self, temperature_c: float) -> None:
        self._link.command("set_temperature", {"setpoint": temperature_c})

    def set_heater(self, on: bool) -> None:
        self._link.command("heater_on" if on else "heater_off")

    def close(self) -> None:
        self._link.close()


def _switched_on(value: Value) -> bool:
    if not isinstance(value, float):
        raise OutOfSync("the plate did not say whether its heater is on")
    return value != 0.0


def _number(value: Value) -> float | None:
    return value if isinstance(value, float) else None
