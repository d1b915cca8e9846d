"""Every mistake is one clear line on stderr, with file, line and key where a file is involved. Nothing switches on."""

from __future__ import annotations

import asyncio
import shutil
import subprocess
import sys

import pytest

from wakerail.cli import main
from wakerail.config import shipped
from wakerail_sim.hands import tell

BENCH = """\
bench: shop
broker: embedded:{port}
journal: shop.sqlite
instruments:
  supply:
    driver: supply
    address: TCPIP::127.0.0.1::9::SOCKET
    dialect: scpi-1999
    rate: 20 Hz
    limits: {{volts: 5 V, limit: 5 A}}
  plate:
    driver: plate
    address: nowhere/plate
    dialect: plate-ascii
    limits: {{temperature: 260 degC}}
"""


@pytest.fixture
def workplace(tmp_path, monkeypatch):
    """A folder with a right bench.yaml, and the shipped data beside it to be spoilt."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bench.yaml").write_text(BENCH.format(port=1883))
    for folder in ("dialects", "sequences", "devices"):
        shutil.copytree(shipped(folder), tmp_path / folder)
    return tmp_path


@pytest.fixture
def wakerail(monkeypatch, capfd):
    """Run a command line; return its exit code, stdout, and the lines on stderr.

    In this process, as that is quick; but what serves gets one of its own: it minds threads that others left here.
    """

    def call(*args):
        if args[0] == "serve":
            command = [sys.executable, "-m", "wakerail", *args]
            ended = subprocess.run(command, capture_output=True, text=True, timeout=50, check=False)
            return ended.returncode, ended.stdout, ended.stderr.splitlines()
        monkeypatch.setattr(sys, "argv", ["wakerail", *args])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capfd.readouterr()
        return ended.value.code or 0, said.out, said.err.splitlines()

    return call


def spoil(file, right, wrong):
    text = file.read_text()
    assert right in text
    file.write_text(text.replace(right, wrong, 1))


def test_check_touches_no_instrument(workplace, wakerail):
    code, out, err = wakerail("check", "--config", "bench.yaml")
    assert (code, err) == (0, [])
    assert "no instrument was touched" in out
    assert sorted(path.name for path in workplace.iterdir()) == ["bench.yaml", "devices", "dialects", "sequences"]


@pytest.mark.parametrize(
    ("right", "wrong", "line"),
    [
        ("rate: 20 Hz", "rte: 20 Hz", "bench.yaml:9: instruments.supply.rte: unknown key; did you mean 'rate'?"),
        ("20 Hz", "20 V", "bench.yaml:9: instruments.supply.rate: '20 V' is not a rate; write it like '20 Hz'"),
        ("20 Hz", "2 MHz", "bench.yaml:9: instruments.supply.rate: 2 MHz is too high; at most 1 kHz"),
        (
            "driver: supply",
            "driver: suply",
            "bench.yaml:6: instruments.supply.driver: 'suply' is not known; did you mean 'supply'?",
        ),
        (
            "volts: 5 V, ",
            "",
            (
                "bench.yaml:10: instruments.supply.limits: 'volts' is missing; "
                "the interlock needs the highest value ever allowed"
            ),
        ),
        (
            "dialect: scpi-1999",
            "dialect: scpi-2001",
            (
                "bench.yaml:8: instruments.supply.dialect: no dialect 'scpi-2001' in dialects; there are: "
                "ascii-serial-supply, scpi-1999, scpi-1999-buffered, scpi-1999-channels"
            ),
        ),
        (
            "broker: embedded:1883",
            "broker: embedded:99999",
            "bench.yaml:2: broker: 'embedded:99999' has no possible port; the highest is 65535",
        ),
        (
            "broker: embedded:1883",
            "broker: http://shop",
            "bench.yaml:2: broker: 'http://shop' is no broker; write 'embedded', 'embedded:1883' or 'mqtt://host:1883'",
        ),
        (
            "  plate:",
            "  ask:",
            "bench.yaml:12: instruments.ask: 'ask' is a word of the bus; give the instrument another name",
        ),
        (
            "bench: shop",
            "bench: shop: 1",
            "bench.yaml:1: not valid YAML: mapping values are not allowed in this context",
        ),
    ],
)
@pytest.mark.parametrize("command", ["check", "serve"])
def test_a_mistake_in_the_benchs_configuration(workplace, wakerail, command, right, wrong, line):
    spoil(workplace / "bench.yaml", right, wrong)
    assert wakerail(command, "--config", "bench.yaml") == (2, "", [f"wakerail: {line}"])
    assert not (workplace / "shop.sqlite").exists()


@pytest.mark.parametrize(
    ("file", "right", "wrong", "line"),
    [
        (
            "sequences/rail-check.yaml",
            "signal: supply.current",
            "signal: supply.amps",
            "sequences/rail-check.yaml:26: steps[3].measure.signal: a power-source has no signal 'amps'; known here: ",
        ),
        (
            "sequences/boot-watch.yaml",
            "default: 3.85 V",
            "default: 3.85",
            "sequences/boot-watch.yaml:13: inputs.volts.default: '3.85' has no unit, unlike its bounds; ",
        ),
        (
            "sequences/port-check.yaml",
            "port: port-tester",
            "port: port-testr",
            "sequences/port-check.yaml:7: needs.port: 'port-testr' is not known; did you mean 'port-tester'?",
        ),
        (
            "dialects/scpi-1999.yaml",
            '  output_off: "OUTP OFF"\n',
            "",
            "bench.yaml:8: instruments.supply.dialect: dialects/scpi-1999.yaml:",
        ),
        (
            "devices/fenmoor-t3.yaml",
            "nominal: 3.85 V",
            "nominal: 3.85 A",
            "devices/fenmoor-t3.yaml:4: nominal: '3.85 A' is not a voltage",
        ),
    ],
)
def test_check_finds_mistakes_in_all_that_belongs_to_a_bench(workplace, wakerail, file, right, wrong, line):
    spoil(workplace / file, right, wrong)
    code, out, err = wakerail("check", "--config", "bench.yaml")
    assert (code, out) == (2, "")
    assert err
    assert err[0].startswith(f"wakerail: {line}"), err
    assert len(err) == 1, err


def test_all_mistakes_come_out_together(workplace, wakerail):
    spoil(workplace / "bench.yaml", "20 Hz", "20 V")
    spoil(workplace / "bench.yaml", "temperature: 260 degC", "temperature: 260 V")
    spoil(workplace / "bench.yaml", "driver: plate", "driver: plate\n    colour: red")
    code, _, err = wakerail("check", "--config", "bench.yaml")
    assert code == 2
    assert [line.split(":")[2] for line in err] == ["9", "13", "16"], err


@pytest.mark.parametrize(
    ("args", "line"),
    [
        (["check", "--config", "none.yaml"], "none.yaml: no such file"),
        (["serve", "--config", "none.yaml"], "none.yaml: no such file"),
        (["run", "boot-watch", "--config", "none.yaml"], "none.yaml: no such file"),
        (["sequences", "--config", "none.yaml"], "none.yaml: no such file"),
        (["run"], "Missing argument 'sequence'."),
        (["run", "boot-watch", "--sett", "x"], "No such option: --sett (Possible options: --set)"),
        (["rum"], "No such command 'rum'. Did you mean 'run'?"),
        (
            ["run", "boot-watch", "--set", "volts"],
            "--set 'volts': write it as name=value, for example --set volts=\"3.85 V\"",
        ),
        (["replay", "none.csv"], "none.csv: no such file"),
        (["replay", "word.csv"], "word.csv:3: current_a: 'much' is not a number"),
        (["replay", "short.csv"], "short.csv:3: 1 columns; 'current_a' is missing"),
        (["replay", "back.csv"], "back.csv:4: time goes back: 0.1 s after 0.2 s"),
        (["replay", "still.csv"], "still.csv: all rows have the same time, 0 s; a recording lasts"),
        (["replay", "bench.yaml"], "bench.yaml:1: no column for time in s; name it 't_s' (the header has bench: shop)"),
        (["sim", "--trace", "none.csv"], "none.csv: no such file"),
        (
            ["serve", "--config", "bench.yaml", "--simulated", "sim"],
            "sim: no simulated bench runs there; start one with 'wakerail sim --dir sim'",
        ),
        (["sim", "--fault", "dead-shor"], "fault 'dead-shor' is not known; did you mean 'dead-short'?"),
        (
            ["log", "runs", "--journal", "bench.yaml"],
            "bench.yaml: cannot be opened as a journal: the file is something else, no SQLite database",
        ),
        (
            ["log", "show", "last", "--config", "bench.yaml"],
            "shop.sqlite: no journal yet; the daemon begins it on its first start",
        ),
    ],
)
def test_a_slip_at_the_command_line(workplace, wakerail, args, line):
    (workplace / "word.csv").write_text("t_s,current_a\n0,0.1\n0.1,much\n")
    (workplace / "short.csv").write_text("t_s,current_a\n0,0.1\n0.1\n")
    (workplace / "back.csv").write_text("t_s,current_a\n0,0.1\n0.2,0.1\n0.1,0.1\n")
    (workplace / "still.csv").write_text("t_s,current_a\n0,0.1\n0,0.1\n")
    assert wakerail(*args) == (2, "", [f"wakerail: {line}"])


def test_a_journal_that_is_none_is_left_as_it_is(workplace, wakerail):
    (workplace / "shop.sqlite").write_text("the shop's cash book")
    spoil(workplace / "bench.yaml", "embedded:1883", "embedded:0")
    code, out, err = wakerail("serve", "--config", "bench.yaml")
    assert (code, out) == (2, "")
    assert len(err) == 1
    assert err[0].startswith("wakerail: shop.sqlite: cannot be opened as a journal: the file is something else")
    assert (workplace / "shop.sqlite").read_text() == "the shop's cash book"


async def test_what_the_daemon_refuses_and_a_second_daemon(shop):
    async with shop.bench() as bench:
        config = str(bench.config)
        other = shop.folder / "other.yaml"
        other.write_text(bench.config.read_text().replace("shop", "other"))
        port = bench.url.rpartition(":")[2]
        run = ("run", "boot-watch", "--config", config)
        served = (
            f"bench 'shop' is served already (process {bench.daemon.pid}); stop that daemon first, "
            "or give this bench another name and journal"
        )
        in_use = f"{other}:2: broker: the embedded broker cannot listen on port {port} of 127.0.0.1 "
        expected = {
            ("run", "boot-wach", "--config", config): ["no sequence 'boot-wach'; did you mean 'boot-watch'?"],
            (*run, "--set", "volts=9 V"): ["input volts: 9 V is too high; at most 4.5 V"],
            (*run, "--set", "volts=3.85", "--set", "nonsense=1 V"): [
                "input volts: '3.85' has no unit; write it like '3.85 V'",
                "input nonsense: boot-watch has no such input; known here: volts, limit, window",
            ],
            ("abort", "nosuch", "--config", config): ["no run 'nosuch' is in progress"],
            ("cool", "nosuch", "--config", config): ["no run 'nosuch' is in progress"],
            ("cool", "--config", config): ["no run heats now; there is nothing to cut short"],
            ("run", "separate", "--config", config, "--family", "fenmoor-t3", "--set", "temperature=210 degC"): [
                "fenmoor-t3, profile 'separate': 210 °C cannot melt SAC305: its liquidus is 220 °C"
            ],
            ("reset", "suply", "--operator", "me", "--config", config): [
                "no instrument 'suply'; known: supply, plate, port, meter, usb"
            ],
            ("serve", "--config", config): [served],
            ("serve", "--config", str(other)): [in_use],
        }
        ended = await asyncio.gather(*(shop.command(*args) for args in expected))
        for (code, program), (args, lines) in zip(ended, expected.items(), strict=True):
            assert code == 2, args
            assert len(program.mistakes) == len(lines), program.err
            for mistake, line in zip(program.mistakes, lines, strict=True):
                assert mistake.startswith(f"wakerail: {line}")
        assert all(program.out == "" for _, program in ended)
        assert await bench.output_is_off()
        assert bench.kept_verdicts() == []
        assert bench.daemon.running


async def test_a_bench_without_its_broker_and_its_instruments(shop):
    config = shop.folder / "bench.yaml"
    config.write_text(BENCH.format(port=0).replace("embedded:0", "mqtt://127.0.0.1:9"))
    async with shop.daemon(config) as (daemon, url):
        assert url == "mqtt://127.0.0.1:9"
        assert daemon.err.count("the broker is away; the bench works on without it") == 1
        code, asked = await shop.command("instruments", "--config", str(config))
        assert code == 2
        assert asked.out == ""
        (line,) = asked.mistakes
        assert line.startswith(f"wakerail: {config}:2: broker: no broker answers at mqtt://127.0.0.1:9: ")
        assert line.endswith("; start `wakerail serve` or correct the address")


async def test_an_instrument_that_cannot_be_reached_and_a_kind_that_is_missing(shop, free_port):
    config = shop.folder / "bench.yaml"
    config.write_text(BENCH.format(port=free_port()))
    async with shop.daemon(config):
        (code, unreachable), (missing_code, missing) = await asyncio.gather(
            shop.command("run", "boot-watch", "--config", str(config)),
            shop.command("run", "port-check", "--config", str(config)),
        )
        assert code == 5
        (line,) = unreachable.mistakes
        assert line.startswith("wakerail: supply (supply) is not ready: ")
        assert "TCPIP::127.0.0.1::9::SOCKET cannot be reached" in line
        assert missing_code == 2
        assert missing.mistakes == ["wakerail: port-check needs a port-tester as 'port'; this bench has none to spare"]


async def test_a_real_instrument_never_runs_on_a_simulated_clock(shop):
    async with shop.sim("--speed", "10") as addresses:
        config = shop.configure({**addresses, "plate": "/dev/ttyUSB0"})
        code, daemon = await shop.command("serve", "--config", str(config), "--simulated", str(shop.folder / "sim"))
        assert (code, daemon.out) == (2, "")
        (line,) = daemon.mistakes
        assert ": instruments.plate: is none of the simulated bench's instruments; serve it without --simulated" in line
        state = await asyncio.to_thread(tell, shop.folder / "sim", "state")
        assert " output=off " in state
        assert " heater=off " in state
