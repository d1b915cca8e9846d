"""The supply's driver over real sockets, with a far end that misbehaves in every way we know of."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wakerail_kit.clock import RealClock
from wakerail_kit.dialect_exchange import Link
from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_plugins.visa_link import VisaLink

IDN = "Northfen Works,PS-3,0042,1.7"


@pytest.fixture
def supply(make):
    driver = make()
    driver.open()
    return driver


def test_open_tells_who_it_is_and_reads_the_settings_back(make):
    driver = make()
    identity = driver.open()
    assert identity.text == IDN
    assert (identity.maker, identity.model, identity.serial, identity.firmware) == tuple(IDN.split(","))
    assert driver.settings == {"voltage": 3.85, "current": 1.0, "output": 0.0}


def test_nothing_is_held_back_until_the_command_before_it_was_acknowledged(far):
    link = VisaLink(f"TCPIP::127.0.0.1::{far.port}::SOCKET", "@py", 1.0, Link(), RealClock())
    try:
        assert link._own_socket().getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
    finally:
        link.close()


def test_open_clears_faults_of_the_past(far, make):
    far.faults = ['-113,"Undefined header"', '-222,"Data out of range"']
    driver = make()
    driver.open()
    assert driver.faults() == []


def test_settings_are_sent_as_scpi_and_read_back(far, supply):
    far.asked.clear()
    supply.set_voltage_v(4.2)
    supply.set_current_limit_a(0.5)
    supply.set_over_voltage_v(4.5)
    supply.set_over_current_a(1.5)
    supply.set_output(True)
    sent = [line for line in far.asked if not line.endswith("?")]
    assert sent == ["VOLT 4.2", "CURR 0.5", "VOLT:PROT 4.5", "CURR:PROT 1.5", "CURR:PROT:STAT ON", "OUTP ON"]
    assert supply.settings["over_current"] == 1.5
    supply.set_output(False)
    assert far.output == "0"


def test_a_poll_gives_every_signal(far, supply):
    supply.set_output(True)
    far.condition = "1"
    reading = supply.read()
    assert reading.signals == {"voltage": [3.85], "current": [0.25], "limiting": [1.0], "output": [1.0]}
    assert reading.spacing_s is None


def test_slow_reads_are_asked_less_often_but_right_after_a_setting(far, supply):
    supply.read()
    far.asked.clear()
    supply.read()
    assert far.asked == ["MEAS:VOLT?", "MEAS:CURR?"]
    supply.set_output(True)
    assert supply.read().signals["output"] == [1.0]


def test_a_special_number_is_not_data(far, supply):
    far.current = "9.91E37"
    assert supply.read().signals["current"] == [None]


def test_a_refused_setting_is_told_with_the_instruments_own_words(far, supply):
    far.values["VOLT"] = "3.85"
    far.instead["VOLT 99"] = None
    far.instead["VOLT?"] = b"3.85\n"
    far.faults = ['-222,"Data out of range"']
    with pytest.raises(DeviceRefused, match=r"^voltage was to be 99 V, but reads back as 3.85 V; it says -222"):
        supply.set_voltage_v(99)


def test_an_instrument_slow_to_switch_is_asked_again(far, supply):
    """The answer to the first question after a setting may still be the old one."""
    answers = [b"0\n", b"1\n"]

    class Late(dict):
        def __contains__(self, question):
            return question == "OUTP?" and bool(answers)

        def __getitem__(self, question):
            return answers.pop(0)

    far.instead = Late()
    supply.set_output(True)
    assert answers == []


def test_faults_are_read_until_the_queue_is_empty(far, supply):
    far.faults = ['-113,"Undefined header"', '-350,"Queue overflow"']
    assert [(fault.code, fault.text) for fault in supply.faults()] == [
        (-113, "Undefined header"),
        (-350, "Queue overflow"),
    ]
    assert supply.faults() == []


def test_a_queue_that_never_empties_is_given_up(far, supply):
    far.instead["SYST:ERR?"] = b'-310,"System error"\n'
    assert len(supply.faults()) == 64


def test_a_number_that_is_none_is_not_sent(far, supply):
    far.asked.clear()
    for wrong in (float("nan"), float("inf")):
        with pytest.raises(DeviceRefused, match="not a number"):
            supply.set_voltage_v(wrong)
    assert far.asked == []


def test_a_dialect_without_the_command_says_so(far, make):
    driver = make("dialect: scpi-1999-channels")
    far.instead |= {f"{question} (@1)": b"0\n" for question in ("VOLT?", "CURR?", "OUTP?")}
    driver.open()
    with pytest.raises(DeviceRefused, match=r"no over-current setting .*'scpi-1999-channels' has no set_over_current"):
        driver.set_over_current_a(1.0)


# --- links that fail ---


def test_a_closed_port_is_one_clear_line(far, make):
    far.stop()
    with pytest.raises(DeviceUnavailable, match=r"^TCPIP::.*::SOCKET cannot be reached: .*refused") as told:
        make().open()
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("library", ["nowhere.yaml@sim", "@nonsense"])
def test_a_visa_library_that_is_not_there_is_one_clear_line(built, library):
    driver = built(f'address: TCPIP::127.0.0.1::9::SOCKET\nvisa_library: "{library}"\n')
    with pytest.raises(DeviceUnavailable, match=r"^the VISA library '.*' cannot be used: ") as told:
        driver.open()
    assert "\n" not in str(told.value)


def test_use_before_open_is_refused(make):
    with pytest.raises(DeviceUnavailable, match="supply is not open"):
        make().read()


def test_a_disconnect_is_noticed_at_once_and_without_spinning(far, make):
    driver = make(timeout="5 s")
    driver.open()
    far.hang_up()
    used_s, began_s = time.thread_time(), time.monotonic()
    with pytest.raises(DeviceUnavailable, match=r"closed the connection|cannot be reached"):
        driver.read()
    assert time.thread_time() - used_s < 0.5
    assert time.monotonic() - began_s < 2.0


def test_a_hang_ends_in_out_of_sync_without_spinning(far, make):
    driver = make(timeout="300 ms")
    driver.open()
    far.instead["MEAS:VOLT?"] = None
    used_s = time.thread_time()
    with pytest.raises(OutOfSync, match=r"^TCPIP::.* gave no answer within 0.3 s"):
        driver.read()
    assert time.thread_time() - used_s < 0.15


def test_a_late_answer_is_never_taken_for_the_next_one(far, make):
    """The trap this driver is built around: after a time-out the old answer is still on its way."""
    driver = make(timeout="300 ms")
    driver.open()
    far.instead["MEAS:VOLT?"] = None
    with pytest.raises(OutOfSync):
        driver.read()
    far.instead.clear()
    with pytest.raises(OutOfSync):  # and nothing is asked meanwhile
        driver.set_voltage_v(4.0)
    far.say(b"9.99\n")
    far.output = "1"
    driver.open()
    far.say(b"")
    assert driver.read().signals["voltage"] == [3.85]


def test_an_unasked_answer_in_front_puts_the_driver_out_of_step(far, supply):
    far.say(b"Northfen\n")
    with pytest.raises(OutOfSync, match=r"asked 'MEAS:VOLT\?', got 'Northfen', expected '{voltage}'"):
        supply.read()


def test_a_wrong_instrument_is_not_used(far, make):
    far.instead["*IDN?"] = b"3.85\n"
    with pytest.raises(OutOfSync, match=r"expected '{maker},{model},{serial},{firmware}'"):
        make().open()


def test_an_endless_answer_is_given_up(far, make):
    driver = make(timeout="2 s")
    driver.open()
    far.instead["MEAS:VOLT?"] = b"9" * 200_000
    with pytest.raises(OutOfSync, match="sends without end"):
        driver.read()


def test_answers_in_single_bytes_are_joined(far, make):
    far.pieces = [1]
    driver = make()
    assert driver.open().text == IDN
    assert driver.read().signals["current"] == [0.25]


def test_a_dribble_without_end_is_bounded_in_time(far, make):
    """Bytes that keep coming do not stretch the time-out of the whole answer."""
    driver = make(timeout="200 ms")
    driver.open()
    far.instead["MEAS:VOLT?"] = None
    stop, began_s = threading.Event(), time.monotonic()

    def dribble():
        while not stop.wait(0.02):
            far.say(b"1")

    thread = threading.Thread(target=dribble)
    thread.start()
    try:
        with pytest.raises(OutOfSync, match=r"gave no answer within 0.2 s"):
            driver.read()
        assert time.monotonic() - began_s < 2.0
    finally:
        stop.set()
        thread.join()


def test_two_supplies_do_not_disturb_each_other(far, make):
    first, second = make(), make()
    first.open()
    second.open()
    first.close()
    assert second.read().signals["current"] == [0.25]


def test_a_manager_that_somebody_else_closed_is_made_anew(far, make):
    pyvisa = pytest.importorskip("pyvisa")
    first = make()
    first.open()
    pyvisa.ResourceManager("@py").close()  # one for the whole process: ours is closed, too
    again = make()
    again.open()
    assert again.read().signals["current"] == [0.25]


# --- the safe state ---


def test_make_safe_uses_the_open_link_where_it_works(far, supply):
    supply.set_output(True)
    supply.make_safe()
    assert far.output == "0"
    supply.read()


def test_make_safe_opens_a_fresh_link_where_the_old_one_is_dead(far, supply):
    supply.set_output(True)
    far.hang_up()
    supply.make_safe()
    assert far.output == "0"
    with pytest.raises(OutOfSync, match="must be opened again"):
        supply.read()
    supply.open()
    assert supply.read().signals["output"] == [0.0]


def test_make_safe_after_a_time_out(far, make):
    driver = make(timeout="200 ms")
    driver.open()
    driver.set_output(True)
    far.instead["MEAS:VOLT?"] = None
    with pytest.raises(OutOfSync):
        driver.read()
    driver.make_safe()
    assert far.output == "0"


def test_make_safe_says_when_it_could_not_be_confirmed(far, make):
    driver = make(timeout="100 ms")
    driver.open()
    driver.set_output(True)
    far.instead["OUTP?"] = None
    with pytest.raises(OutOfSync, match="gave no answer"):
        driver.make_safe()
    assert far.output == "0"  # it was sent all the same


def test_make_safe_says_when_the_output_stays_on(far, supply):
    supply.set_output(True)
    far.instead["OUTP OFF"] = None
    with pytest.raises(DeviceRefused, match="output was to be off, but reads back as on"):
        supply.make_safe()


def test_make_safe_with_nobody_there(far, supply):
    far.stop()
    with pytest.raises(DeviceUnavailable, match="cannot be reached"):
        supply.make_safe()


BLIND = """\
dialect: blind
kind: power-source
identify: {send: "*IDN?", answer: "{maker},{model},{serial},{firmware}"}
commands: {set_voltage: "VOLT {voltage}", set_current_limit: "CURR {current}", output_on: OUTP 1, output_off: OUTP 0}
reads: [{send: "MEAS:VOLT?", answer: "{voltage}"}, {send: "MEAS:CURR?", answer: "{current}"}]
"""


@pytest.fixture
def blind(far, make, tmp_path):
    """A supply that cannot tell whether its output is on."""
    (tmp_path / "blind.yaml").write_text(BLIND, encoding="utf-8")
    driver = make("dialect: blind", dialects=tmp_path, timeout="200 ms")
    driver.open()
    driver.set_output(True)
    while far.output != "1":  # nothing answers it; heard late, over another link, it would come after what switches off
        far.heard.get(timeout=5.0)
    return driver


def test_a_supply_that_cannot_tell_its_output_must_at_least_answer(far, blind):
    assert blind.read().signals["output"] == [None]
    far.asked.clear()
    blind.make_safe()
    assert far.asked == ["OUTP 0", "*IDN?"]
    assert far.output == "0"
    far.instead["*IDN?"] = None
    with pytest.raises(OutOfSync, match="gave no answer"):
        blind.make_safe()


def test_make_safe_sends_off_although_nothing_is_ever_answered(far, make, tmp_path):
    """Only the answers may be lost; the opening question, unanswered, must not keep the command back."""
    opening = 'open: {send: "HELLO", answer: "HELLO"}\n'
    (tmp_path / "blind.yaml").write_text(BLIND + opening, encoding="utf-8")
    far.instead["HELLO"] = b"HELLO\n"
    driver = make("dialect: blind", dialects=tmp_path, timeout="100 ms")
    driver.open()
    driver.set_output(True)
    while far.output != "1":
        far.heard.get(timeout=5.0)
    far.hang_up()
    far.instead |= {"HELLO": None, "*IDN?": None}
    with pytest.raises(OutOfSync, match="gave no answer"):
        driver.make_safe()
    while far.output == "1":
        far.heard.get(timeout=5.0)


def test_a_command_into_a_closed_connection_is_not_lost_silently(far, blind):
    far.hang_up()
    with pytest.raises(DeviceUnavailable, match=r"closed the connection|cannot be reached"):
        blind.set_voltage_v(4.0)
    blind.make_safe()
    assert far.output == "0"


# --- buffered samples ---


@pytest.fixture
def buffered(make):
    driver = make("dialect: scpi-1999-buffered\nspacing: 500 us")
    driver.open()
    return driver


def test_buffered_samples_come_as_blocks(far, buffered, block):
    assert "SENS:SWE:TINT 0.0005" in far.asked
    assert "FORM REAL,32" in far.asked
    far.blocks["CURR"].append(block(0.5, 0.25, float("nan"), 9.91e37))
    far.blocks["VOLT"].append(block(3.5, 3.75, 4.0, 4.25))
    reading = buffered.read()
    assert reading.signals["current"] == [0.5, 0.25, None, None]
    assert reading.signals["voltage"] == [3.5, 3.75, 4.0, 4.25]
    assert reading.signals["output"] == [0.0] * 4
    assert reading.spacing_s == 0.0005


def test_blocks_of_two_signals_are_joined_sample_by_sample(far, buffered, block):
    """Between the two fetches the instrument goes on sampling, so the second block is longer."""
    far.blocks["CURR"] += [block(1, 2), block(3, 4, 5), block()]
    far.blocks["VOLT"] += [block(10, 20, 30), block(40, 50), block()]
    joined = []
    for _ in range(2):
        signals = buffered.read().signals
        joined += list(zip(signals["current"], signals["voltage"], strict=True))
    assert joined == [(1, 10), (2, 20), (3, 30), (4, 40), (5, 50)]
    assert buffered.read().signals == {}


def test_samples_from_before_the_opening_are_not_given(far, make, block):
    far.blocks["CURR"] += [block(9, 9), block(1)]
    far.blocks["VOLT"] += [block(9, 9, 9), block(2)]
    driver = make("dialect: scpi-1999-buffered")
    driver.open()
    signals = driver.read().signals
    assert (signals["current"], signals["voltage"]) == ([1.0], [2.0])


@pytest.mark.parametrize("pieces", [[1], [2, 3], [7, 1, 64], [4096]])
def test_a_block_comes_in_any_pieces(far, buffered, block, pieces):
    far.pieces = pieces
    # bytes that look like terminators and like the head of a block lie inside
    samples = [float.fromhex("0x1.0a0a0ap+3"), 2.0, -0.5, *range(300)]
    far.blocks["CURR"].append(block(*samples))
    far.blocks["VOLT"].append(block(*samples))
    assert buffered.read().signals["current"] == samples


@given(st.lists(st.integers(1, 700), min_size=1, max_size=6), st.lists(st.floats(0, 3, width=32), max_size=200))
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_chunking_gives_the_same_samples(far, buffered, block, pieces, samples):
    far.pieces = pieces
    far.blocks["CURR"].append(block(*samples))
    far.blocks["VOLT"].append(block(*samples))
    assert buffered.read().signals.get("current", []) == samples


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (b"3.85\n", "a block that starts with '#'"),
        (b"#0\x00\x00\x00\x00\n", "a block that starts with '#'"),
        (b"#2xx\n", "no whole number of samples"),
        (b"#15abcde\n", "no whole number of samples"),
        (b"#14abcdX", "after the block"),
        (b"#18abcd", "gave no answer"),
    ],
)
def test_a_garbled_block_puts_the_driver_out_of_step(far, make, answer, says):
    driver = make("dialect: scpi-1999-buffered", timeout="200 ms")
    driver.open()
    far.instead["FETC:ARR:CURR?"] = answer
    with pytest.raises(OutOfSync, match=says):
        driver.read()
    with pytest.raises(OutOfSync):
        driver.read()


# --- bench.yaml ---


def test_mistakes_in_bench_yaml_are_told_by_line(problems):
    assert problems("dialect: scpi-1999\ntimeout: 1\nadress: x\n") == (
        "bench.yaml:1: address: is missing",
        "bench.yaml:2: timeout: '1' has no unit; write it like '60 s'",
        "bench.yaml:3: adress: unknown key; did you mean 'address'?",
    )


def test_an_address_is_checked_before_anything_is_opened(problems):
    (told,) = problems("address: 192.0.2.7:5025\n")
    assert told.startswith("bench.yaml:1: address: '192.0.2.7:5025' is no VISA address of an instrument; like TCPIP::")


def test_an_unknown_dialect_names_those_there_are(problems):
    (told,) = problems("address: TCPIP::192.0.2.7::5025::SOCKET\ndialect: scpi\n")
    assert told.startswith("bench.yaml:2: dialect: no dialect 'scpi' in ")
    assert "scpi-1999-channels" in told


def test_a_mistake_in_a_dialect_is_told_by_its_own_line(problems, tmp_path):
    (tmp_path / "mine.yaml").write_text("dialect: mine\nkind: power-source\nidentify: X\nreads: []\ncommands: {}\n")
    told = problems("address: TCPIP::192.0.2.7::5025::SOCKET\ndialect: mine\n", tmp_path)
    assert any("mine.yaml:3: identify: needs an answer" in line for line in told)
    assert all(line.startswith("bench.yaml:2: dialect: ") for line in told)


def test_variables_of_the_dialect_are_keys_of_the_bench(far, make):
    far.instead |= {f"{question} (@2)": b"0\n" for question in ("VOLT?", "CURR?", "OUTP?", "MEAS:VOLT?", "MEAS:CURR?")}
    far.instead |= {f"STAT:QUES:INST:ISUM2{register}?": b"0\n" for register in ("", ":COND")}
    driver = make("dialect: scpi-1999-channels\nchannel: 2")
    driver.open()
    driver.read()
    assert "MEAS:CURR? (@2)" in far.asked


def test_the_plugin_is_cheap_to_import_and_states_its_version():
    code = "import sys, wakerail_plugins.power_supply as p; print(p.api_version, 'pyvisa' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
    assert done.stdout.split() == ["1", "False"]


def test_a_port_that_speaks_nothing_is_no_instrument(make):
    with socket.create_server(("127.0.0.1", 0)) as mute, pytest.raises(OutOfSync, match="gave no answer"):
        make(port=mute.getsockname()[1], timeout="100 ms").open()
