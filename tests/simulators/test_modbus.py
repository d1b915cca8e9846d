from __future__ import annotations

import struct
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.framer.rtu import FramerRTU

from wakerail_kit.clock import SimulatedClock
from wakerail_sim.modbus import SILENCE_S, FrameCutter, checksum
from wakerail_sim.plate_protocol import IDENTITY
from wakerail_sim.plate_registers import SENSOR_OPEN, PlateRegisters

READ_TEN = bytes.fromhex("01030000000A")


def framed(body: bytes) -> bytes:
    return body + checksum(body)


def request(function: int, address: int, value: int, unit: int = 1) -> bytes:
    return framed(struct.pack(">BBHH", unit, function, address, value))


def registers(answer: bytes | None) -> list[int]:
    assert answer is not None
    assert checksum(answer[:-2]) == answer[-2:]
    return list(struct.unpack(f">{answer[2] // 2}H", answer[3:-2]))


def exception(answer: bytes | None) -> tuple[int, int]:
    assert answer is not None
    assert len(answer) == 5
    return answer[1], answer[2]


@settings(deadline=None)
@given(frame=st.binary(min_size=1, max_size=256))
def test_the_checksum_is_that_of_another_implementation(frame: bytes) -> None:
    assert checksum(frame) == FramerRTU.compute_CRC(frame).to_bytes(2, "big")


def test_the_checksum_of_a_published_frame() -> None:
    # "01 03 00 00 00 0A C5 CD", the example of many introductions to Modbus RTU
    assert checksum(READ_TEN).hex() == "c5cd"


FRAMES = st.one_of(
    st.builds(request, st.sampled_from([3, 4, 6]), st.integers(0, 65535), st.integers(0, 65535)),
    st.lists(st.integers(0, 65535), min_size=1, max_size=20).map(
        lambda values: framed(struct.pack(f">BBHHB{len(values)}H", 1, 16, 0, len(values), 2 * len(values), *values))
    ),
)


def cut_all(cutter: FrameCutter, received: bytearray) -> list[bytes]:
    found = []
    while (frame := cutter(received)) is not None:
        found.append(frame)
    return found


@settings(deadline=None)
@given(frames=st.lists(FRAMES, max_size=4), chunk=st.integers(1, 9))
def test_any_chunking_gives_the_same_frames(frames: list[bytes], chunk: int) -> None:
    stream = b"".join(frames)
    received, found, cutter = bytearray(), [], FrameCutter(SimulatedClock())
    for begin in range(0, len(stream), chunk):
        received += stream[begin : begin + chunk]
        found += cut_all(cutter, received)
    assert found == frames
    assert not received


@settings(deadline=None)
@given(noise=st.binary(max_size=300), frame=FRAMES)
def test_a_frame_is_heard_after_noise_and_silence(noise: bytes, frame: bytes) -> None:
    clock = SimulatedClock()
    cutter, received = FrameCutter(clock), bytearray(noise)
    cut_all(cutter, received)
    clock.advance(2 * SILENCE_S)
    received += frame
    assert cut_all(cutter, received) == [frame]


def test_a_frame_with_a_spoilt_byte_is_not_answered() -> None:
    spoilt = bytearray(request(3, 0, 2))
    spoilt[5] ^= 1
    assert cut_all(FrameCutter(SimulatedClock()), spoilt) == []


def test_the_plate_answers_on_its_registers(lab: Any) -> None:
    plate = PlateRegisters(lab().world)
    assert registers(plate.answer(request(3, 0, 2))) == [250, 0]
    assert registers(plate.answer(request(4, 0, 1)))[0] == pytest.approx(250, abs=3)
    text = struct.pack(">16H", *registers(plate.answer(request(4, 16, 16))))
    assert text.rstrip(b"\0").decode("ascii") == IDENTITY
    assert text.endswith(b"\0")


def test_settings_are_written_one_by_one_and_together(lab: Any) -> None:
    bench = lab()
    plate = PlateRegisters(bench.world)
    assert plate.answer(request(6, 0, 2300)) == request(6, 0, 2300)
    assert registers(plate.answer(request(3, 0, 1))) == [2300]
    both = framed(struct.pack(">BBHHBHH", 1, 16, 0, 2, 4, 2000, 1))
    assert plate.answer(both) == framed(struct.pack(">BBHH", 1, 16, 0, 2))
    assert registers(plate.answer(request(3, 0, 2))) == [2000, 1]
    assert registers(plate.answer(request(4, 1, 1))) == [1]
    bench.run(120)
    assert registers(plate.answer(request(4, 0, 1)))[0] > 1500


def test_an_open_sensor_shows_as_the_most_negative_number(lab: Any) -> None:
    bench = lab("plate-sensor-open-after:1s")
    bench.run(2)
    assert registers(PlateRegisters(bench.world).answer(request(4, 0, 1))) == [SENSOR_OPEN]


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        (request(1, 0, 1), 1),  # illegal function
        (request(3, 2, 1), 2),  # illegal data address
        (request(3, 1, 2), 2),
        (request(4, 31, 2), 2),
        (request(6, 7, 1), 2),
        (request(6, 0, 3501), 3),  # illegal data value
        (request(6, 1, 2), 3),
        (request(3, 0, 0), 3),
        (request(3, 0, 126), 3),
        (framed(struct.pack(">BBHHBHH", 1, 16, 0, 2, 4, 2000, 7)), 3),
        (framed(struct.pack(">BBHHBH", 1, 16, 0, 2, 2, 2000)), 3),
    ],
)
def test_a_wrong_request_gets_its_exception_and_changes_nothing(lab: Any, asked: bytes, code: int) -> None:
    # exception codes: MODBUS Application Protocol V1.1b3, section 7
    plate = PlateRegisters(lab().world)
    assert exception(plate.answer(asked)) == (asked[1] | 0x80, code)
    assert registers(plate.answer(request(3, 0, 2))) == [250, 0]


def test_other_units_are_left_alone_and_broadcasts_are_obeyed_in_silence(lab: Any) -> None:
    plate = PlateRegisters(lab().world)
    assert plate.answer(request(3, 0, 1, unit=2)) is None
    assert plate.answer(request(6, 0, 1000, unit=0)) is None
    assert registers(plate.answer(request(3, 0, 1))) == [1000]
