"""The guides say what the program does: what is new must be written down, and what is written down must be so."""

from __future__ import annotations

import importlib
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from wakerail.analysis.thermal.sensor import DoubtSort
from wakerail.bench import load_plugins
from wakerail.cli.app import app
from wakerail.config import load_bench_config
from wakerail.family_plans import load_family_plan
from wakerail.heat_limits import HEAT_LIMITS
from wakerail.planning.model import CauseSort
from wakerail.sequences import exit_code_of, load_sequences
from wakerail.sequences.loader import load_sequence, parse_sequence
from wakerail_kit import hooks, topics
from wakerail_kit.alloys import load_alloys
from wakerail_kit.clock import RealClock
from wakerail_kit.conformance import CHECKS
from wakerail_kit.dialect import find_dialect, load_dialect
from wakerail_kit.dialect_exchange import VOCABULARIES
from wakerail_kit.dialect_talk import Talk
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import EVENT_TYPES
from wakerail_kit.families import load_family
from wakerail_kit.heat_profiles import StageKind
from wakerail_kit.kinds import HEAT_SOURCE, KINDS
from wakerail_kit.messages import ASK_VERBS, InstrumentState
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins.heating_plate.register_map import find_register_map
from wakerail_sim.bench import FAULTS, SimSettings, SimulatedBench, parse_fault

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
GUIDES = {name: (ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md")}
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
INLINE = re.compile(r"`([^`\n]+)`")
#: A key that no file knows, so that the refusal lists those that are known.
NO_SUCH = "qqqq"


def code_of(text: str) -> list[str]:
    """Return every piece of code in a guide: the lines of its blocks, and what stands in backticks."""
    blocks = [line.strip() for _, body in BLOCK.findall(text) for line in body.splitlines()]
    return blocks + INLINE.findall(BLOCK.sub("", text))


def words_of(*texts: str) -> set[str]:
    """Return the words in the code of guides; a dash or an underscore is part of a word."""
    return {word for text in texts for code in code_of(text) for word in re.findall(r"[\w-]+", code)}


def section_of(text: str, heading: str) -> str:
    """Return what stands under a heading of a guide, up to the next of its rank or above."""
    rank = heading.index(" ")
    (found,) = re.findall(rf"^{re.escape(heading)}\n(.*?)(?=^#{{2,{rank}}} |\Z)", text, re.MULTILINE | re.DOTALL)
    return str(found)


def missing(wanted: object, *texts: str) -> set[str]:
    return set(map(str, wanted)) - words_of(*texts)  # type: ignore[call-overload]


# --- the command line ---

CLI = typer.main.get_command(app)


def commands(group: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    """Yield every command below a group with its words; typer brings its own click, so a group is known by its own."""
    for word, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, f"{word} ")
        else:
            yield name + word, command


COMMANDS = dict(commands(CLI))


def calls(text: str) -> list[list[str]]:
    """Return every call of ``wakerail`` in the code of a guide, its words without the program's name."""
    found = [re.match(r"(?:\.venv/bin/)?wakerail\s+(.+)", code) for code in code_of(text)]
    return [shlex.split(match[1], comments=True) for match in found if match]


@pytest.mark.parametrize("call", calls(README) + calls(DEVELOPERS) + calls(GUIDES["CHANGELOG.md"]), ids=" ".join)
def test_a_call_in_the_guides_can_be_made(call):
    """The command exists, has the options, and is given all its arguments where any are written."""
    if len(call) == 1 and hasattr(CLI.commands.get(call[0]), "commands"):
        return  # a group, named as a whole
    name = next((name for name in (" ".join(call[:2]), call[0]) if name in COMMANDS), None)
    assert name is not None, f"no command {call[0]!r}"
    rest = call[len(name.split()) :]
    if rest:
        COMMANDS[name].make_context(name, rest)


def test_every_command_is_in_the_readme():
    """A new command is written down."""
    told = {" ".join(call[:size]) for call in calls(README) for size in (1, 2)}
    assert COMMANDS.keys() - told == set()


def test_options_named_alone_exist():
    """``--out`` and the like, in running text."""
    known = {option for command in COMMANDS.values() for param in command.params for option in param.opts}
    known |= {"--short"}  # of the benchmarks
    named = {word for code in INLINE.findall(README) for word in code.split() if word.startswith("--")}
    assert named - known == set()


def test_make_knows_what_the_guides_ask_of_it():
    """Every ``make TARGET``, and each target that is no file has its line."""
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    targets = set(re.findall(r"^([a-z]+):", makefile, re.MULTILINE))
    asked = {match[1] for text in GUIDES.values() for code in code_of(text) if (match := re.match(r"make (\w+)", code))}
    assert asked - targets == set()
    assert {"demo", "test"} <= asked


def test_benchmarks_are_named_and_there():
    """Each figure's program."""
    named = set(re.findall(r"benchmarks/(\w+\.py)", README))
    assert named == {file.name for file in (ROOT / "benchmarks").glob("[!_]*.py")}


# --- what is in the code is in the guides ---


def test_exit_codes_are_those_of_the_program():
    """One row for each, with the outcome that it tells."""
    rows = dict(re.findall(r"^\| `(\w+)` \| (\d) \|", README, re.MULTILINE))
    assert {outcome: int(rows[outcome]) for outcome in Outcome} == {
        outcome: exit_code_of(type("Verdict", (), {"outcome": outcome, "finding": Finding.STOPPED}))
        for outcome in Outcome
    }


def test_findings_are_told():
    """Each finding that a verdict can give is explained to whoever reads it."""
    assert missing(Finding, README) == set()


def test_faults_are_told_and_can_be_typed():
    """Each sort of fault, in the words in which it is typed."""
    table = section_of(README, "### Faults of the simulated bench")
    written = [parse_fault(text) for text in re.findall(r"^\| `([^`]+)`", table, re.MULTILINE)]
    assert sorted(fault.sort for fault in written) == sorted(FAULTS)


def test_limits_and_interlocks_of_a_plate_are_told():
    """A row for each limit with its default, and each interlock by the name that its trip has."""
    section = section_of(README, "### What keeps the heat safe")
    rows = dict(re.findall(r"^\| `([\w-]+)` \| ([^|]+) \|", section, re.MULTILINE))
    assert rows == {"temperature": "must be given"} | {
        key: human(limit.default, limit.unit) for key, limit in HEAT_LIMITS.items()
    }
    source = "".join(file.read_text() for file in (ROOT / "daemon/wakerail/bench/interlocks").glob("*.py"))
    names = set(re.findall(r'(?:Trip|_too_long)\(\s*"([\w-]+)"', source)) | {f"sensor-{sort}" for sort in DoubtSort}
    assert {"no-rise", "session", "sensor-open"} < names
    assert missing(names - {"over-voltage", "allowance"}, section) == set()


def test_shipped_sequences_and_their_inputs_are_told():
    """A row for each, with its inputs."""
    for name, sequence in load_sequences(ROOT / "config" / "sequences").items():
        (row,) = re.findall(rf"^\| `{name}` .*$", README, re.MULTILINE)
        assert set(INLINE.findall(row)) == {name, *sequence.inputs}
        assert sequence.purpose in row


def test_kinds_are_told():
    """A row for each kind, with its settings, methods, signals and tests, and in bold what must be limited."""
    section = section_of(DEVELOPERS, "### Kinds")
    for name, kind in KINDS.items():
        (row,) = re.findall(rf"^\| `{name}` \|.*\|$", section, re.MULTILINE)
        methods = {setting.method for setting in kind.settings.values()} | set(kind.tests.values())
        assert {name, *kind.settings, *methods, *kind.signals, *kind.tests} - set(INLINE.findall(row)) == set()
        assert set(re.findall(r"\*\*`([\w-]+)`\*\*", row)) == set(kind.must_be_limited)
        for signal, unit in kind.signals.items():
            assert f"`{signal}` {unit}" in row


def test_events_are_told():
    """A row for each type, with when it comes."""
    rows = re.findall(r"^\| `(wakerail\.[\w.-]+)` \| (.+) \|$", DEVELOPERS, re.MULTILINE)
    assert [kind for kind, _ in rows] == list(EVENT_TYPES)
    assert {kind for kind, says in rows if "*job*" in says} == {
        kind for kind, data in EVENT_TYPES.items() if data.__module__ == "wakerail_kit.job_events"
    }
    assert {kind for kind, says in rows if "*run*" in says} == {
        kind for kind, data in EVENT_TYPES.items() if "run" in data.__struct_fields__
    }


def test_topics_are_told():
    """A row for each, and each row's topic is one of the grammar."""
    section = section_of(DEVELOPERS, "## Topics")
    rows = re.findall(r"^\| `([^`]*/[^`]*)` \|", section, re.MULTILINE)
    told = [topics.parse("/".join((topics.ROOT, "bench-1", row.replace("<", "").replace(">", "")))) for row in rows]
    assert {topic.leaf for topic in told if topic.branch == "instrument"} == set(topics.INSTRUMENT_LEAVES)
    assert {topic.leaf for topic in told if topic.branch == "sequence"} == set(topics.RUN_LEAVES)
    assert {topic.branch for topic in told} == {"instrument", "sequence", "job", "ask", "answer"}
    assert missing(InstrumentState, section) == set()


def test_requests_are_told():
    """A row for each verb, with what it takes."""
    section = section_of(DEVELOPERS, "## Topics")
    for verb, args in ASK_VERBS.items():
        (row,) = re.findall(rf"^\| `{verb}` \|.*\|$", section, re.MULTILINE)
        assert set(INLINE.findall(row)) == {verb, *args.__struct_fields__}


def test_the_hook_and_the_version_are_told():
    """Every hook of the specification, and the version that this kit speaks."""
    specified = [name for name in vars(hooks) if hasattr(getattr(hooks, name), f"{hooks.PROJECT}_spec")]
    assert specified == ["wakerail_instrument_types"]
    assert missing(specified, DEVELOPERS) == set()
    assert f"api_version = {hooks.API_VERSION}" in DEVELOPERS
    assert hooks.ENTRY_POINT_GROUP in DEVELOPERS


def test_the_conformance_checks_are_told():
    """A row for each."""
    assert missing((check.__name__ for check in CHECKS), DEVELOPERS) == set()


def test_hands_are_told():
    """Each thing that a person can do at the simulated bench."""
    family = load_family(ROOT / "config" / "devices" / "fenmoor-t3.yaml")
    answer = SimulatedBench(SimSettings(ROOT, family)).hands.obey(f"{NO_SUCH}\n".encode()).decode()
    assert missing(answer.split("known: ")[1].strip().split(", "), README, DEVELOPERS) == set()


def test_every_shipped_plugin_has_its_state_in_the_quality_list():
    """A plugin that is not in the list has not been looked at."""
    plugins = {file.parent.name for file in (ROOT / "plugins" / "wakerail_plugins").glob("*/__init__.py")}
    section = section_of(DEVELOPERS, "### The state of the shipped plugins")
    rows = dict(re.findall(r"^\| `(\w+)` \| (.*) \|$", section, re.MULTILINE))
    assert rows.keys() == plugins
    notes = set(re.findall(r"^(\d)\. ", section, re.MULTILINE))
    for row in rows.values():
        assert all(cell.strip() for cell in row.split("|"))
        assert set(re.findall(r"\((\d)\)", row)) <= notes


# --- every key of every sort of file ---


def known_keys(read: Callable[[], object]) -> set[str]:
    """Return the keys that a file may have, as its reader tells them to whoever wrote one that is unknown."""
    with pytest.raises(ConfigInvalid) as refused:
        read()
    lists = [re.search(rf"{NO_SUCH}: .*known here: (.*)$", problem) for problem in refused.value.problems]
    keys = {key for found in lists if found for key in found[1].split(", ")}
    assert keys, refused.value.problems
    return keys


@pytest.mark.parametrize("kind", VOCABULARIES)
def test_dialect_keys_are_told(tmp_path, kind):
    """Of the file, of its link, of its commands and of an exchange; and what a wording may name."""
    (tmp_path / "x.yaml").write_text(
        f"dialect: x\nkind: {kind}\n{NO_SUCH}: 1\nlink: {{{NO_SUCH}: 1}}\ncommands: {{{NO_SUCH}: 1}}\n"
        f'identify: {{send: a, answer: "{{maker}}", {NO_SUCH}: 1}}\nreads: [{{send: a, {NO_SUCH}: 1}}]\n'
    )
    keys = known_keys(lambda: load_dialect(tmp_path / "x.yaml", kind))
    assert {"dialect", "baud", "answer"} < keys
    assert ("every" in keys) == ("reads" in VOCABULARIES[kind].parts)
    assert missing(keys | VOCABULARIES[kind].quantities.keys(), DEVELOPERS) == set()


def test_register_map_keys_are_told(tmp_path):
    """Of the file, its link and its registers."""
    (tmp_path / "m.yaml").write_text(
        f"dialect: m\n{NO_SUCH}: 1\nlink: {{{NO_SUCH}: 1}}\nregisters: {{{NO_SUCH}: 1, temperature: {{{NO_SUCH}: 1}},"
        f" heater: {{{NO_SUCH}: 1}}, heater-state: {{{NO_SUCH}: 1}}, identity: {{{NO_SUCH}: 1}}}}\n"
    )
    assert missing(known_keys(lambda: find_register_map(tmp_path, "m")), DEVELOPERS) == set()


def test_sequence_keys_are_told():
    """Of the file, of an input, and of a step of every verb; verbs included."""
    steps = [f"{NO_SUCH}: 1", f"{{wait: 1 s, {NO_SUCH}: 1}}", f"measure: {{signal: a.b, {NO_SUCH}: 1}}"]
    steps += [f"watch: {{{NO_SUCH}: 1}}", f"{{test: {{port: lines, as: x, {NO_SUCH}: 1}}}}", "prompt: x"]
    steps += [f"heat: {{plate: x, {NO_SUCH}: 1}}", f"survey: {{meter: x, {NO_SUCH}: 1}}", "checklist: functions"]
    steps += [f"inject: {{supply: x, meter: meter, {NO_SUCH}: 1}}"]
    steps += [f"usb-mode: {{usb: x, {NO_SUCH}: 1}}", f"charge: {{supply: port, {NO_SUCH}: 1}}"]
    kinds = {"port": "port-tester", "plate": "heat-source", "meter": "multimeter"}
    kinds |= {"usb": "usb-watcher", "supply": "power-source"}
    text = f"sequence: x\npurpose: x\n{NO_SUCH}: 1\nneeds:\n"
    text += "".join(f"  {role}: {kind}\n" for role, kind in kinds.items())
    text += f"inputs: {{volts: {{default: 3 V, {NO_SUCH}: 1}}, hold: {{unit: s, {NO_SUCH}: 1}}}}\nsteps:\n" + "".join(
        f"  - {step}\n" for step in steps
    )
    keys = known_keys(lambda: parse_sequence(text, "x.yaml"))
    assert {
        "heat",
        "survey",
        "unpowered",
        "at_most",
        "within",
        "over",
        "measure",
        "prompt",
        "test",
        "wait",
        "watch",
        "sequence",
        "meanwhile",
        "unit",
        "signal",
        "stat",
        "fail_on",
        "title",
    } < keys
    assert missing(keys | {"as"}, DEVELOPERS) == set()


def test_bench_and_driver_keys_are_told(tmp_path):
    """Of bench.yaml, and of the section of every driver that is shipped."""
    types = load_plugins().types
    lines = [f"  i-{name}: {{driver: {name}, {NO_SUCH}: 1}}\n" for name in types]
    lines.append(f"  i-uevents: {{driver: usb-watcher, source: uevents, {NO_SUCH}: 1}}\n")
    file = tmp_path / "bench.yaml"
    file.write_text(f"bench: b\n{NO_SUCH}: 1\ninstruments:\n" + "".join(lines))
    keys = known_keys(lambda: load_bench_config(file, types, RealClock()))
    assert {"bench", "visa_library", "unit", "sysfs"} < keys
    section = section_of(DEVELOPERS, "## Configuration keys")
    assert missing(keys | types.keys(), section) == set()


def test_device_family_keys_are_told(tmp_path):
    """Of the file, a boot mode, a connector with its pins, a heat profile with its stages and limits, and an alloy."""
    stages = ", ".join(f"{{{stage}: 1, {NO_SUCH}: 1}}" for stage in StageKind)
    board = f"{{{NO_SUCH}: 1, capacity: {{{NO_SUCH}: 1}}}}"
    connector = f"{{{NO_SUCH}: 1, pins: [{{{NO_SUCH}: 1}}]}}"
    profile = f"{{{NO_SUCH}: 1, board: {board}, stages: [{stages}], limits: {{{NO_SUCH}: 1, soak: {{{NO_SUCH}: 1}}}}}}"
    lists = {"usb-modes": f"{{{NO_SUCH}: 1}}", "profiles": profile, "connectors": connector}
    lists |= dict.fromkeys(("functions", "rails"), f"{{{NO_SUCH}: 1}}")
    text = f"family: f\n{NO_SUCH}: 1\ncharging: {{{NO_SUCH}: 1, current: {{{NO_SUCH}: 1}}}}\n"
    (tmp_path / "f.yaml").write_text(text + "".join(f"{key}: [{each}]\n" for key, each in lists.items()))
    keys = known_keys(lambda: load_family(tmp_path / "f.yaml", {}))
    assert {
        "vendor",
        "ohms",
        "sag-to",
        "asks",
        "short-below",
        "ceiling",
        "within",
        "hold",
        "above-liquidus",
        "source",
    } < keys
    (tmp_path / "a.yaml").write_text(f"alloys: [{{{NO_SUCH}: 1}}]")
    assert missing(keys | known_keys(lambda: load_alloys(tmp_path / "a.yaml")), DEVELOPERS) == set()


def test_plan_keys_are_told(tmp_path):
    """Of the plan of an isolation, and of each of its lists."""
    lists = ("causes", "actions", "boot-by", "missing", "checks", "signs")
    sections = "".join(f"  {name}: [{{{NO_SUCH}: 1, restarts: {{{NO_SUCH}: 1}}}}]\n" for name in lists)
    (tmp_path / "f.yaml").write_text(f"family: f\nplan:\n  {NO_SUCH}: 1\n  watch: {{{NO_SUCH}: 1}}\n{sections}")
    keys = known_keys(lambda: load_family_plan(tmp_path / "f.yaml"))
    assert {"strength", "disconnects", "through", "otherwise", "miss", "without", "from"} < keys
    assert missing(keys | set(CauseSort), section_of(DEVELOPERS, "### The plan of an isolation")) == set()


# --- the worked examples work ---


@pytest.fixture
def worked(tmp_path) -> Path:
    """Every block of the developers' guide whose first line names a file, as that file."""
    for _, body in BLOCK.findall(DEVELOPERS):
        if (named := re.match(r"# ([\w/-]+\.\w+)\n", body)) is not None:
            file = tmp_path / named[1]
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(body, encoding="utf-8")
    return tmp_path


class ScriptedWire:
    """The other end of a link that goes as the guide's conversation says, and no other way."""

    def __init__(self, lines: list[tuple[str, str]], write_end: bytes, read_end: bytes) -> None:
        self.lines, self.write_end, self.read_end = lines, write_end, read_end

    def write(self, data: bytes) -> None:
        assert self.lines.pop(0) == (">", data.removesuffix(self.write_end).decode())

    def read_until(self, end: bytes) -> bytes:
        came, text = self.lines.pop(0)
        assert (came, end) == ("<", self.read_end)
        return text.encode() + end

    def read_exactly(self, count: int) -> bytes:
        raise AssertionError(f"{count} bytes were asked for, and the conversation has lines only")

    def pause(self, delay_s: float) -> None:
        """The conversation does not tell of rests."""


def test_the_worked_dialect_says_what_the_guide_says(worked):
    """Its bench is configured without a mistake, and one poll goes over the line as the conversation shows."""
    config = load_bench_config(worked / "bench.yaml", load_plugins().types, RealClock())
    assert [(instrument.name, instrument.dialect) for instrument in config.instruments] == [
        ("supply", "brackwell-bl30")
    ]
    section = parse_yaml("place: 2", "bench.yaml").top
    dialect = find_dialect(worked / "dialects", "brackwell-bl30", "power-source").for_instrument(section)
    (conversation,) = [body for name, body in BLOCK.findall(DEVELOPERS) if name == "text"]
    lines = [(line[0], line[2:]) for line in conversation.splitlines()]
    wire = ScriptedWire(
        [line for line in lines if line[0] != "="], dialect.link.write_end.encode(), dialect.link.read_end.encode()
    )
    talk = Talk(dialect, wire)
    for exchange, (_, told) in zip(dialect.reads, [line for line in lines if line[0] == "="], strict=True):
        values = {name: float(value) for name, value in (pair.split() for pair in told.split(", "))}
        assert talk.run(exchange).values == values
    assert wire.lines == []


def test_the_worked_plugin_is_found_by_its_entry_point(worked, monkeypatch):
    """Installed beside the shipped ones, it is loaded and none is refused; its keys are read with their lines."""
    points = tomllib.loads((worked / "pyproject.toml").read_text())["project"]["entry-points"]
    info = worked / "holmsey-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: holmsey\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(
        "".join(
            f"[{group}]\n" + "".join(f"{name} = {target}\n" for name, target in entries.items())
            for group, entries in points.items()
        )
    )
    monkeypatch.syspath_prepend(worked)
    importlib.invalidate_caches()
    try:
        plugins = load_plugins()
    finally:
        sys.modules.pop("holmsey_plugin", None)
    assert plugins.refused == ()
    assert plugins.types["holmsey-hb2"].kind is HEAT_SOURCE
    (worked / "bench.yaml").write_text(
        "bench: b\ninstruments:\n  plate: {driver: holmsey-hb2, address: 192.0.2.7, limits: {temperature: 260 degC}}\n"
    )
    (built,) = load_bench_config(worked / "bench.yaml", plugins.types, RealClock()).instruments
    assert built.address == "192.0.2.7"
    (worked / "bench.yaml").write_text(
        "bench: b\ninstruments:\n  plate: {driver: holmsey-hb2, port: 0, limits: {temperature: 260 degC}}\n"
    )
    with pytest.raises(ConfigInvalid) as refused:
        load_bench_config(worked / "bench.yaml", plugins.types, RealClock())
    assert [problem.split("yaml:")[1] for problem in refused.value.problems] == [
        "3: instruments.plate.address: is missing",
        "3: instruments.plate.port: 0 is out of bounds; from 1 to 65535",
    ]


def test_the_worked_plugin_keeps_its_contract(worked):
    """The guide's own test, run as its writer would: each of the kit's checks, and warnings are errors."""
    options = ["-q", "-p", "no:cacheprovider", "-p", "no:asyncio", "-W", "error", "--timeout=50"]
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", *options, "--rootdir", worked, worked / "tests"],
        cwd=worked,
        env={"PYTHONPATH": str(worked), "PATH": ""},
        capture_output=True,
        text=True,
        check=False,
        timeout=55,
    )
    assert ran.returncode == 0, ran.stdout
    assert f"{len(CHECKS)} passed" in ran.stdout


def test_the_worked_sequence_is_sound(worked):
    """It loads without a mistake."""
    sequence = load_sequence(worked / "sequences" / "idle-draw.yaml")
    assert [step.action.verb for step in sequence.steps] == ["set", "prompt", "wait", "measure"]


# --- what a reader trips over ---


def anchor_of(heading: str) -> str:
    """Return the anchor that a heading gets where the guides are read."""
    return re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-")


@pytest.mark.parametrize("name", GUIDES)
def test_links_and_pictures_are_there(name):
    """Relative ones, and the heading that they point to."""
    for target in re.findall(r"\]\(([^)\s]+)\)", BLOCK.sub("", GUIDES[name])):
        assert "://" not in target, f"{target}: the guides stand by themselves"
        path, _, anchor = target.partition("#")
        assert (ROOT / path).exists(), target
        text = GUIDES[path or name] if anchor else ""
        assert not anchor or anchor in map(anchor_of, re.findall(r"^#+ (.+)$", text, re.MULTILINE)), target


def test_files_named_in_the_guides_are_there():
    """``shared/...``, ``config/...`` and the like."""
    rooms = "daemon|plugins|simulators|shared|config|tests|benchmarks|docs"
    named = {path for text in GUIDES.values() for path in re.findall(rf"`((?:{rooms})/[\w./-]*)`(?! \|)", text)}
    assert {path for path in named if not (ROOT / path).exists()} == set()


@pytest.mark.parametrize("name", [*GUIDES, "Makefile", "requirements.lock", "pyproject.toml"])
def test_nothing_points_at_one_machine_or_registry(name):
    """No address of a package registry, and no path that only one machine has."""
    text = (ROOT / name).read_text(encoding="utf-8")
    assert (
        re.findall(r"https?://\S+|index-url\s*=\s*\S+|\bpypi\.\w+|(?<![\w.])/(?:home|work|tmp|root|Users)/", text) == []
    )
