"""A Modbus plate that misbehaves, on a real serial line; its frames are made here, without the library under test."""

import struct

import pytest

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.conformance import CHECKS
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.hooks import BuildContext
from wakerail_kit.kinds import HEAT_SOURCE
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins import heating_plate

HANG = ()


def crc16(data: bytes) -> bytes:
    """Return the CRC of MODBUS over Serial Line V1.02, 6.2.2, as it goes over the line, low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc.to_bytes(2, "little")


def framed(data: bytes) -> bytes:
    return data + crc16(data)


def one_request(arrived: bytes) -> int:
    """Take a request: eight bytes, or as many as a write of several registers says."""
    if len(arrived) < 8:
        return 0
    size = 9 + arrived[6] if arrived[1] == 16 else 8
    return size if len(arrived) >= size else 0


class Plate:
    """The shipped map's far end; ``instead`` gives other answers by function code and address, once each."""

    def __init__(self) -> None:
        self.holding = {0: 250, 1: 0}
        self.asked: list[bytes] = []
        self.temperature = 2314
        self.instead: dict[tuple[int, int], list] = {}

    @property
    def heater(self) -> bool:
        return self.holding[1] == 1

    def __call__(self, request: bytes):
        self.asked.append(request)
        assert framed(request[:-2]) == request
        unit, function, address, value = struct.unpack(">BBHH", request[:6])
        answer = framed(bytes([unit, function]) + self.answer(function, address, value))
        if self.instead.get((function, address)):
            return self.instead[function, address].pop(0)
        return [answer]

    def answer(self, function: int, address: int, value: int) -> bytes:
        if function == 6:
            self.holding[address] = value
            return struct.pack(">HH", address, value)
        text = b"Tarnwick,HP-3,SN1042,1.3".ljust(32, b"\0")
        registers = {
            (3, 0): [self.holding[0]],
            (3, 1): [self.holding[1]],
            (4, 0): [self.temperature & 0xFFFF, self.holding[1]],
            (4, 1): [self.holding[1]],
            (4, 16): list(struct.unpack(">16H", text)),
        }[function, address]
        assert len(registers) == value
        return bytes([2 * value]) + struct.pack(f">{value}H", *registers)


@pytest.fixture
def plate():
    return Plate()


@pytest.fixture
def far_end(plate, serve_serial):
    return serve_serial(plate, one_request)


def build(text, dialects):
    document = parse_yaml(text, "bench.yaml")
    (offered,) = [each for each in heating_plate.wakerail_instrument_types() if each.name == "plate-modbus"]
    built = offered.build(document.top, BuildContext(SimulatedClock(), "bench", "plate", dialects, ()))
    document.finish()
    return built


@pytest.fixture
def driver(far_end, project):
    built = build(f"address: {far_end.address}\ntimeout: 300 ms", project / "config" / "dialects")
    yield built
    built.close()


def test_a_sound_plate_is_read_set_and_heated(plate, driver):
    """The shipped register map, register by register."""
    identity = driver.open()
    assert (identity.maker, identity.model, identity.serial, identity.firmware) == ("Tarnwick", "HP-3", "SN1042", "1.3")
    assert {request[1] for request in plate.asked} == {4}, "opening only reads"
    assert driver.read().signals == {"temperature": [231.4], "setpoint": [25.0], "heater": [0.0]}
    with pytest.raises(DeviceRefused, match="no temperature has been set"):
        driver.set_heater(True)
    driver.set_temperature_c(230.0)
    driver.set_heater(True)
    assert plate.holding == {0: 2300, 1: 1}
    driver.make_safe()
    assert not plate.heater
    plate.temperature = 0x8000
    assert driver.read().signals["temperature"] == [None]


def test_what_the_register_cannot_hold_is_not_sent(plate, driver):
    """3276.8 °C does not fit into tenths in 16 bits."""
    driver.open()
    asked = len(plate.asked)
    with pytest.raises(DeviceRefused, match="does not fit"):
        driver.set_temperature_c(3276.8)
    assert len(plate.asked) == asked


@pytest.mark.parametrize(
    ("code", "says"), [(1, "does not know"), (2, "no such register"), (3, "does not take"), (99, "no known reason")]
)
def test_an_exception_answer_is_a_refusal_in_words(plate, driver, code, says):
    """The plate said no; the link stays in step."""
    driver.open()
    plate.instead[6, 0] = [[framed(bytes([1, 0x86, code]))]]
    with pytest.raises(DeviceRefused, match=says):
        driver.set_temperature_c(100.0)
    driver.read()


READ = framed(bytes([1, 4, 4]) + struct.pack(">HH", 2314, 0))


@pytest.mark.parametrize(
    "answer",
    [
        HANG,
        [READ[:-1] + bytes([READ[-1] ^ 1])],  # wrong CRC
        [READ[:5]],  # half an answer
        [framed(bytes([2, 4, 4]) + READ[3:7])],  # another unit's
        [framed(bytes([1, 3, 4]) + READ[3:7])],  # the answer to another function
        [framed(bytes([1, 4, 2]) + READ[3:5])],  # the answer to a shorter question
        [framed(bytes([1, 0x86, 2]))],  # a refusal of something else
        [b"\xff" * 40],
        [framed(bytes([1, 4, 4]) + struct.pack(">HH", 2314, 7))],  # a heater that is neither on nor off
    ],
)
def test_a_wrong_answer_is_out_of_step_and_the_link_is_not_used_further(plate, driver, answer):
    """No answer, or one that cannot belong to the question: never a number; reopened, it works."""
    driver.open()
    plate.instead[4, 0] = [answer]
    with pytest.raises(OutOfSync):
        driver.read()
    asked = len(plate.asked)
    with pytest.raises(OutOfSync, match="must be reopened first"):
        driver.read()
    assert len(plate.asked) == asked
    driver.open()
    assert driver.read().signals["temperature"] == [231.4]


def test_a_question_is_asked_once(plate, driver):
    """A write that got no answer is not sent again behind our back."""
    driver.open()
    plate.instead[6, 0] = [HANG]
    with pytest.raises(OutOfSync):
        driver.set_temperature_c(100.0)
    assert len([request for request in plate.asked if request[1] == 6]) == 1


@pytest.mark.parametrize("spoilt", [[HANG], [[READ, b""]], [[framed(bytes([1, 0x86, 6]))]], [HANG, [READ]]])
def test_made_safe_whatever_state_the_link_is_in(plate, driver, spoilt):
    """Lost, late and refused: tried again over a fresh link until the plate says that it is off."""
    driver.open()
    plate.holding[1] = 1
    plate.instead[6, 1] = list(spoilt)
    driver.make_safe()
    assert not plate.heater
    assert plate.asked[-1][1:4] == bytes([4, 0, 1]), "the heater's state was read last"


def test_a_plate_that_never_answers_is_not_called_safe(plate, driver):
    """Three times told, never confirmed."""
    driver.open()
    plate.instead[6, 1] = [HANG] * 9
    with pytest.raises(OutOfSync):
        driver.make_safe()
    assert len([request for request in plate.asked if request[1] == 6]) == 3


def test_a_register_without_text_is_no_identity(plate, driver):
    """Something answers that is not this plate."""
    plate.instead[4, 16] = [[framed(bytes([1, 4, 32]) + bytes(32))]]
    with pytest.raises(OutOfSync, match="hold no text"):
        driver.open()


def test_unplugged_and_plugged_in_again(far_end, driver):
    """The errors are ours; the same driver opens it again."""
    driver.open()
    far_end.unplug()
    with pytest.raises(DeviceUnavailable):
        driver.read()
    with pytest.raises(DeviceUnavailable, match="there is no such port"):
        driver.open()
    far_end.plug()
    driver.open()
    driver.close()
    driver.close()
    with pytest.raises(DeviceUnavailable, match="not open"):
        driver.read()


def test_a_port_in_use_is_told(far_end, driver, project):
    """One program at a time."""
    driver.open()
    second = build(f"address: {far_end.address}", project / "config" / "dialects")
    with pytest.raises(DeviceUnavailable, match="another program may be using it"):
        second.open()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("unit: 1", "bench.yaml:1: address: is missing"),
        ("address: x\nunit: 0", "bench.yaml:2: unit: 0 is out of bounds; from 1 to 247"),
        ("address: x\ndialect: nothing", "bench.yaml:2: dialect: no register map 'nothing'"),
    ],
)
def test_a_wrong_key_is_one_clear_line(project, text, says):
    """File, line, key and what would be right."""
    with pytest.raises(ConfigInvalid) as refused:
        build(text, project / "config" / "dialects")
    assert refused.value.problems[0].startswith(says)


PUBLISHED = """\
dialect: published
kind: heat-source
protocol: modbus-rtu
registers:
  temperature: {table: input, address: 8, type: uint16}
  setpoint: {table: holding, address: 1, type: uint16}
  heater: {table: coil, address: 172}
  identity: {table: holding, address: 107, count: 3}
"""


def test_frames_on_the_line_are_the_published_ones(serve_serial, tmp_path):
    """Byte for byte the worked examples that Modbus guides print (Modicon PI-MBUS-300's unit 17, registers 0x6B ...).

    The CRC's published check value (CRC-16/MODBUS, catalogue of parametrised CRCs) is 0x4B37 over "123456789".
    """
    assert crc16(b"123456789") == bytes.fromhex("37 4B")
    answers = {
        "11 03 00 6B 00 03 76 87": "11 03 06 41 42 43 2C 44 45",  # read holding registers; our own text in the answer
        "11 04 00 08 00 01 B2 98": "11 04 02 00 0A",  # read input registers: 10
        "11 06 00 01 00 03 9A 9B": "11 06 00 01 00 03",  # preset single register
        "11 05 00 AC FF 00 4E 8B": "11 05 00 AC FF 00",  # force single coil
    }
    asked = []

    def script(request: bytes):
        asked.append(request.hex(" ").upper())
        if asked[-1] in answers:
            return [framed(bytes.fromhex(answers[asked[-1]]))]
        if request[1] == 3:
            return [framed(bytes.fromhex("11 03 02 00 03"))]
        return [framed(bytes.fromhex("11 01 01 01"))]

    (tmp_path / "published.yaml").write_text(PUBLISHED)
    far_end = serve_serial(script, one_request)
    driver = build(f"address: {far_end.address}\ndialect: published\nunit: 17", tmp_path)
    assert driver.open().text == "ABC,DE"
    assert driver.read().signals == {"temperature": [10.0], "setpoint": [3.0], "heater": [1.0]}
    driver.set_temperature_c(3.0)
    driver.set_heater(True)
    driver.close()
    assert set(answers) <= set(asked)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_every_promise_of_the_kind_is_kept(check, plate, far_end, serial_rig, project):
    """The kit's own checks, over this line."""
    text = f"address: {far_end.address}\ntimeout: 300 ms"
    check(serial_rig(HEAT_SOURCE, far_end, lambda: build(text, project / "config" / "dialects"), lambda: plate.heater))
