"""The plate over a real serial line: whatever is set is read back, and the heater goes off whatever the link does."""

import pytest

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.conformance import CHECKS
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.hooks import BuildContext
from wakerail_kit.kinds import HEAT_SOURCE
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins import heating_plate

HANG = ()


class Plate:
    """The far end: a plate as its dialect file describes it, which can be told to say something else instead."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.temperature = "231.4"
        self.setpoint = 25.0
        self.highest = 300.0
        self.heater = False
        self.heater_is_stuck = False
        self.instead: dict[str, list] = {}

    def __call__(self, question: bytes):
        asked = question.decode().removesuffix("\r\n")
        self.asked.append(asked)
        answer = self.answer(asked)
        if self.instead.get(asked):
            return self.instead[asked].pop(0)
        return [f"{answer}\r\n".encode()]

    def answer(self, asked: str) -> str:
        match asked.split():
            case ["ID?"]:
                return "Tarnwick,HP-3,SN1042,1.3"
            case ["T?"]:
                return f"T={self.temperature}"
            case ["SP?"]:
                return f"SP={self.setpoint:.1f}"
            case ["H?"]:
                return f"H={int(self.heater)}"
            case ["SP", value] if float(value) < 0:
                return "ERR 2"
            case ["SP", value]:
                self.setpoint = min(float(value), self.highest)
                return "OK"
            case ["H", "1" | "0" as value]:
                self.heater = value == "1" or self.heater_is_stuck
                return "OK"
        return "ERR 1"


@pytest.fixture
def plate():
    return Plate()


@pytest.fixture
def far_end(plate, serve_serial):
    return serve_serial(plate)


def build(text, project, driver="plate"):
    document = parse_yaml(text, "bench.yaml")
    context = BuildContext(SimulatedClock(), "bench", "plate", project / "config" / "dialects", ())
    (offered,) = [each for each in heating_plate.wakerail_instrument_types() if each.name == driver]
    assert offered.kind is HEAT_SOURCE
    built = offered.build(document.top, context)
    document.finish()
    return built


@pytest.fixture
def driver(far_end, project):
    built = build(f"address: {far_end.address}\ntimeout: 1 s", project)
    yield built
    built.close()


@pytest.fixture
def hasty(far_end, project):
    """The same with a short time-out, for a plate that does not answer."""
    built = build(f"address: {far_end.address}\ntimeout: 250 ms", project)
    yield built
    built.close()


def test_opening_asks_who_it_is_and_changes_nothing(plate, driver):
    """Identity in its parts; nothing is sent that could energise."""
    identity = driver.open()
    assert (identity.maker, identity.model, identity.serial, identity.firmware) == ("Tarnwick", "HP-3", "SN1042", "1.3")
    assert identity.text == "Tarnwick,HP-3,SN1042,1.3"
    assert plate.asked == ["ID?"]
    assert list(driver.faults()) == []


def test_a_poll_gives_the_signals_of_the_kind(plate, driver):
    """Temperature, setpoint, heater; a lost sensor is no data, not a number."""
    driver.open()
    plate.heater = True
    assert driver.read().signals == {"temperature": [231.4], "setpoint": [25.0], "heater": [1.0]}
    plate.temperature = "OPEN"
    assert driver.read().signals["temperature"] == [None]
    assert set(driver.read().signals) == set(HEAT_SOURCE.signals)


def test_heating_needs_a_temperature_that_was_read_back(plate, driver):
    """Set, read back, switch on, read back; then off."""
    driver.open()
    driver.set_temperature_c(230.04)  # the plate takes tenths
    assert plate.setpoint == 230.0
    driver.set_heater(True)
    assert plate.heater
    driver.set_heater(False)
    assert not plate.heater


def test_the_heater_stays_off_without_a_temperature_set_here(plate, driver):
    """What the plate holds from before is not what was asked for."""
    driver.open()
    with pytest.raises(DeviceRefused, match="no temperature has been set"):
        driver.set_heater(True)
    assert "H 1" not in plate.asked


def test_a_plate_that_holds_another_temperature_is_not_heated(plate, driver):
    """A clamped setpoint is told in words, and the heater cannot be switched on after it."""
    plate.highest = 200.0
    driver.open()
    with pytest.raises(DeviceRefused, match="230 °C was set, but the plate holds 200 °C"):
        driver.set_temperature_c(230.0)
    with pytest.raises(DeviceRefused):
        driver.set_heater(True)
    assert "H 1" not in plate.asked


def test_a_setpoint_turned_at_the_plate_itself_is_noticed(plate, driver):
    """Between setting and heating somebody may turn the knob."""
    driver.open()
    driver.set_temperature_c(230.0)
    plate.setpoint = 290.0
    with pytest.raises(DeviceRefused, match="holds 290 °C"):
        driver.set_heater(True)
    assert "H 1" not in plate.asked


def test_a_reopened_plate_must_be_set_again(plate, driver):
    """Somebody else may have used it meanwhile."""
    driver.open()
    driver.set_temperature_c(230.0)
    driver.open()
    with pytest.raises(DeviceRefused, match="no temperature has been set"):
        driver.set_heater(True)


@pytest.mark.parametrize("wrong_c", [float("nan"), float("inf")])
def test_what_is_no_temperature_is_not_sent(plate, driver, wrong_c):
    """Not-a-number never reaches the plate."""
    driver.open()
    with pytest.raises(DeviceRefused):
        driver.set_temperature_c(wrong_c)
    assert plate.asked == ["ID?"]


def test_a_refusal_is_told_and_the_link_stays_in_step(plate, driver):
    """``ERR n`` is an answer: the next question gets its own."""
    driver.open()
    with pytest.raises(DeviceRefused, match=r"answered 'ERR 2' to 'SP -10.0'"):
        driver.set_temperature_c(-10.0)
    assert driver.read().signals["temperature"] == [231.4]


def test_after_a_time_out_the_link_is_not_used_until_it_is_reopened(plate, hasty):
    """No answer: out of step, and it stays so; a new open mends it."""
    hasty.open()
    plate.instead["T?"] = [HANG]
    with pytest.raises(OutOfSync, match=r"no answer within 0\.25 s"):
        hasty.read()
    asked = len(plate.asked)
    for _ in range(2):
        with pytest.raises(OutOfSync, match="must be reopened first"):
            hasty.read()
    assert len(plate.asked) == asked
    hasty.open()
    assert hasty.read().signals["temperature"] == [231.4]


def test_a_late_answer_is_never_taken_for_another_ones(plate, far_end, hasty):
    """The answer that comes after the time-out comes in place of the identity: refused. Then it is in step."""
    hasty.open()
    plate.instead["T?"] = [HANG]
    with pytest.raises(OutOfSync):
        hasty.read()
    # at one go: what came in between the two openings would rightly be out of step once more
    plate.instead["ID?"] = [[b"T=231.4\r\nTarnwick,HP-3,SN1042,1.3\r\n"]]
    with pytest.raises(OutOfSync, match=r"got 'T=231\.4'"):
        hasty.open()
    assert hasty.open().model == "HP-3"
    assert hasty.read().signals["heater"] == [0.0]


def test_bytes_that_nobody_asked_for_are_out_of_step(far_end, driver):
    """Something lies in the buffer before the question: whose answer is it?"""
    driver.open()
    far_end.say(b"T=99.9\r\n")
    with pytest.raises(OutOfSync, match="came unasked"):
        driver.read()


@pytest.mark.parametrize("garbage", [b"T=2x1.4\r\n", b"\xff\xfe\x00\r\n", b"SP=25.0\r\n", b"T=231.4", b"x" * 5000])
def test_a_garbled_answer_is_out_of_step_and_no_number(plate, hasty, garbage):
    """Wrong words, another question's answer, half an answer, noise without end."""
    hasty.open()
    plate.instead["T?"] = [[garbage]]
    with pytest.raises(OutOfSync):
        hasty.read()


@pytest.mark.parametrize("stage", ["open", "read", "set", "make_safe"])
def test_an_unplugged_plate_is_unavailable_until_it_is_back(plate, far_end, driver, stage):
    """Whatever is tried, the error is ours; plugged in again, the same driver opens it."""
    driver.open()
    far_end.unplug()
    with pytest.raises((DeviceUnavailable, OutOfSync)) as lost:
        {
            "open": driver.open,
            "read": driver.read,
            "set": lambda: driver.set_temperature_c(100.0),
            "make_safe": driver.make_safe,
        }[stage]()
    assert stage == "make_safe" or isinstance(lost.value, DeviceUnavailable)
    far_end.plug()
    assert driver.open().model == "HP-3"
    assert driver.read().signals["temperature"] == [231.4]


def test_a_port_in_use_and_an_absent_one_are_told_apart(far_end, driver, project, tmp_path):
    """One program at a time; the message says which it is."""
    driver.open()
    second = build(f"address: {far_end.address}", project)
    with pytest.raises(DeviceUnavailable, match="another program uses it"):
        second.open()
    absent = build(f"address: {tmp_path / 'nothing'}", project)
    with pytest.raises(DeviceUnavailable, match="No such file"):
        absent.open()
    with pytest.raises(DeviceUnavailable, match="not open"):
        absent.read()
    absent.close()
    absent.close()


def test_a_heater_that_stays_on_is_told(plate, driver):
    """Switched off and still on: the state is not known, and making safe fails rather than lies."""
    driver.open()
    plate.heater = plate.heater_is_stuck = True
    with pytest.raises(OutOfSync, match="the plate says it is not"):
        driver.set_heater(False)
    with pytest.raises(OutOfSync):
        driver.make_safe()


def test_made_safe_over_a_sound_link_it_can_be_used_on(plate, driver):
    """The ordinary case: off, read back, and the link stays open."""
    driver.open()
    plate.heater = True
    driver.make_safe()
    assert not plate.heater
    assert plate.asked[-2:] == ["H 0", "H?"]
    driver.read()


def test_made_safe_without_ever_being_opened(plate, driver):
    """The supervisor has never opened it. Afterwards it is closed again."""
    plate.heater = True
    driver.make_safe()
    assert not plate.heater
    with pytest.raises(DeviceUnavailable, match="not open"):
        driver.read()


@pytest.mark.parametrize(
    "spoilt",
    [
        {"H 0": [[b"T=231.4\r\n", b"OK\r\n"]]},  # the late answer to an earlier question comes first
        {"H 0": [HANG]},  # no answer at all, once
        {"H 0": [HANG, [b"OK\r\n", b"OK\r\n"]]},  # the first answer late, so that the second try gets two
        {"H 0": [[b"ERR 9\r\n"]]},
        {"H?": [[b"\x00\x01\r\n"]]},
    ],
)
def test_made_safe_when_the_link_is_out_of_step(plate, hasty, spoilt):
    """Late, lost or garbled answers: reopened and tried again until the plate itself says that it is off."""
    hasty.open()
    plate.heater = True
    plate.instead = {question: list(answers) for question, answers in spoilt.items()}
    hasty.make_safe()
    assert not plate.heater
    assert plate.asked[-1] == "H?"
    with pytest.raises((DeviceUnavailable, OutOfSync)):
        hasty.read()  # it was reopened for this alone
    assert hasty.open().model == "HP-3"


def test_a_plate_that_never_answers_is_not_called_safe(plate, hasty):
    """It was told to switch off each time, but nobody knows whether it did."""
    hasty.open()
    plate.instead["H 0"] = [HANG] * 10
    with pytest.raises(OutOfSync):
        hasty.make_safe()
    assert plate.asked.count("H 0") == 3


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("timeout: 1 s", "bench.yaml:1: address: is missing"),
        ("address: x\ntimeout: 5", "bench.yaml:2: timeout: '5' has no unit; write it like '60 s'"),
        ("address: x\ndialect: plate-asci", "bench.yaml:2: dialect: no dialect 'plate-asci' in "),
        ("address: x\nbaud: 9600", "bench.yaml:2: baud: unknown key"),
    ],
)
def test_a_wrong_key_is_one_clear_line(project, text, says):
    """File, line, key and what would be right."""
    with pytest.raises(ConfigInvalid) as refused:
        build(text, project)
    assert refused.value.problems[0].startswith(says)


def test_a_slow_reading_is_asked_again_only_after_its_time(plate, far_end, tmp_path):
    """A dialect may call an answer slow; a setting is read back at once all the same."""
    clock = SimulatedClock()
    (tmp_path / "slow.yaml").write_text(
        "dialect: slow\n"
        "kind: heat-source\n"
        'link: {write-end: "\\r\\n", read-end: "\\r\\n"}\n'
        "acknowledge: OK\n"
        'identify: {send: "ID?", answer: "{maker},{model},{serial},{firmware}"}\n'
        'commands: {set_temperature: "SP {setpoint:.1f}", heater_on: "H 1", heater_off: "H 0"}\n'
        "reads:\n"
        '  - {send: "T?", answer: "T={temperature|OPEN=none}"}\n'
        '  - {send: "SP?", answer: "SP={setpoint}", every: 1 s}\n'
        '  - {send: "H?", answer: "H={heater}", every: 1 s}\n'
    )
    document = parse_yaml(f"address: {far_end.address}\ndialect: slow", "bench.yaml")
    (offered, _) = heating_plate.wakerail_instrument_types()
    driver = offered.build(document.top, BuildContext(clock, "bench", "plate", tmp_path, ()))
    document.finish()
    driver.open()
    driver.read()
    driver.read()
    assert (plate.asked.count("T?"), plate.asked.count("SP?"), plate.asked.count("H?")) == (2, 1, 1)
    driver.set_temperature_c(100.0)
    assert driver.read().signals["setpoint"] == [100.0]
    clock.advance(1.0)
    asked = plate.asked.count("H?")
    driver.read()
    assert plate.asked.count("H?") == asked + 1
    driver.close()


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_every_promise_of_the_kind_is_kept(check, plate, far_end, serial_rig, project):
    """The kit's own checks, over this line."""
    text = f"address: {far_end.address}\ntimeout: 300 ms"
    check(serial_rig(HEAT_SOURCE, far_end, lambda: build(text, project), lambda: plate.heater))
