"""Text dialects: a YAML file says how one sort of instrument words its commands and answers.

A new instrument needs such a file and no code. Nothing here does I/O: a dialect gives texts to send and reads texts
that came; ``wakerail_kit.dialect_talk`` runs its exchanges over any link. How a single command or answer is
written is told in ``wakerail_kit.dialect_wording``. The file::

    dialect: bench-serial          # its name, as the file's
    says: A two-channel supply with a plain ASCII port
    kind: power-source
    variables: {channel: 1}        # defaults; the same key in bench.yaml overrides; no default: bench.yaml must give it
    link:
      write-end: "\r"              # what ends a command, what ends an answer ("" = answers have a fixed length)
      read-end: "\r\n"
      baud: 9600                   # and data-bits, parity, stop-bits, flow
      delay: 50 ms                 # rest after each command
      echo: on                     # the instrument repeats each command
    acknowledge: OK                # what it answers to any command or opening line given as a plain text
    refused: ["ERR {code}"]        # an answer like this, to whatever, means that it said no
    identify: {send: "ID?", answer: "{maker} {model}"}
    open: ["REM 1"]                # once after connecting; nothing here may energise
    close: ["REM 0"]               # before letting go
    before: ["SEL {channel}"]      # before each of the exchanges below
    commands:
      set_voltage: "V {voltage}"
      set_current_limit: "I {current|mA:04.0f}"
      output_on: "OUT 1"
      output_off: "OUT 0"
    reads:                         # one poll; one with every: (up to 1 s) is left out until that time has passed
      - {send: "MEAS?", answer: "{voltage},{current}"}
      - {send: "STAT?", answer: "{output|bit 4; limiting|bit 0}", every: 500 ms}
    readback: [{send: "V?", answer: "{voltage}"}, {send: "I?", answer: "{current|mA}"}]
    errors: {send: "ERR?", answer: "{code},\"{text}\""}   # read again and again until code is 0
    lines: {VBUS: vbus, "D+": d_plus}   # port testers: their word for each line that a test must tell, and ours

An exchange is a text to send, or a mapping: ``send``; ``answer`` (a wording, or a list of them, one a line);
``each`` (a wording of lines that come, any number of times, before the answer); ``length`` (of an answer without
terminator, where its wording leaves it open); ``block`` (the signal in an IEEE 488.2 definite-length block) with
``number`` (float32, float64) and ``order`` (big, little); ``every`` (in reads). Every part of a dialect may be one
exchange or a list. With blocks, ``spacing: 1 ms`` gives the time between samples, ``{spacing}`` in wordings.
``block`` and ``spacing`` are for a power-source alone, ``errors`` for it and a multimeter. ``lines`` is for a
port-tester; it and a multimeter are not polled and have neither ``reads`` nor ``readback``.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from wakerail_kit.dialect_exchange import VOCABULARIES, Block, Exchange, Exchanges, Link
from wakerail_kit.dialect_wording import FLAG, TEXT, Wording, WordingInvalid, read_wording
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.yamldoc import Section, load_yaml

#: What bench.yaml says of any instrument with a dialect; no variable may be called so.
RESERVED = frozenset(
    {"driver", "rate", "limits", "address", "dialect", "timeout", "spacing", "visa_library", "kind", "name"}
)
_IDENTITY = dict.fromkeys(("maker", "model", "serial", "firmware"), TEXT)
_FAULT = {"code": "1", "text": TEXT}


@dataclass(frozen=True, slots=True)
class Dialect:
    """A dialect file, checked. Take it with ``for_instrument`` before its exchanges are used.

    ``numbers`` are the variables that a wording formats, so that they must be whole numbers. ``lines`` are those of a
    port that a port tester must tell, its word for each mapped to ours; empty means that its own words will do.
    """

    name: str
    says: str
    kind: str
    link: Link
    variables: Mapping[str, str | None]
    commands: Mapping[str, Exchanges]
    identify: Exchanges
    open: Exchanges = ()
    close: Exchanges = ()
    before: Exchanges = ()
    reads: Exchanges = ()
    readback: Exchanges = ()
    errors: Exchange | None = None
    refused: tuple[Wording, ...] = ()
    spacing_s: float | None = None
    numbers: frozenset[str] = frozenset()
    lines: Mapping[str, str] = field(default_factory=dict)

    def for_instrument(self, section: Section) -> Dialect:
        """Return the dialect with its variables as an instrument's section of bench.yaml gives them.

        Takes the key of each variable from the section, and notes there what is missing or wrong.
        """
        values: dict[str, str] = {}
        for name, default in self.variables.items():
            values[name] = section.text(name) if default is None else section.text(name, default)
            if default is None and name not in section:
                values[name] = "0"
            elif not values[name].isprintable() or not values[name].isascii():
                section.note(name, f"{values[name]!r} cannot be sent to an instrument")
            elif name in self.numbers and not values[name].isdecimal():
                section.note(name, f"{values[name]!r} is not a whole number")
                values[name] = "0"
        if self.spacing_s is not None:
            spacing_s = section.quantity("spacing", "s", self.spacing_s, low=1e-6, high=1.0)
            return replace(self.bind(values), spacing_s=spacing_s)
        return self.bind(values)

    def bind(self, variables: Mapping[str, str]) -> Dialect:
        """Return the dialect with ``variables`` put into its wordings, defaults filling in what is not given."""
        values = {name: variables.get(name, default or "") for name, default in self.variables.items()}

        def bound(exchanges: Exchanges) -> Exchanges:
            return tuple(exchange.bind(values) for exchange in exchanges)

        return replace(
            self,
            commands={name: bound(exchanges) for name, exchanges in self.commands.items()},
            identify=bound(self.identify),
            open=bound(self.open),
            close=bound(self.close),
            before=bound(self.before),
            reads=bound(self.reads),
            readback=bound(self.readback),
            errors=self.errors.bind(values) if self.errors else None,
            refused=tuple(wording.bind(values) for wording in self.refused),
        )

    def reader_of(self, quantity: str) -> Exchange | None:
        """Return the exchange that reads a set value back, or None if the instrument does not tell it."""
        measured = VOCABULARIES[self.kind].measured
        candidates = (*self.readback, *(() if quantity in measured else self.reads))
        return next((exchange for exchange in candidates if quantity in exchange.gives), None)


def load_dialect(file: Path, kind: str) -> Dialect:
    """Read a dialect for instruments of ``kind``. Raises ConfigInvalid with one line for every mistake."""
    doc = load_yaml(file)
    if protocol := doc.top.text("protocol", ""):
        raise ConfigInvalid(f"{file}:{doc.top.line_of('protocol')}: protocol: {protocol!r} is no text dialect")
    reader = _Reader(doc.top, kind)
    dialect = reader.dialect(file.stem)
    doc.finish()
    return dialect


def find_dialect(folder: Path, name: str, kind: str) -> Dialect:
    """Return the dialect ``name`` in ``folder``. Raises ConfigInvalid, naming those that there are for ``kind``."""
    file = folder / f"{name}.yaml"
    if not file.is_file():
        names = ", ".join(names_for(folder, kind)) or "none"
        raise ConfigInvalid(f"no dialect {name!r} in {folder}; there are: {names}")
    return load_dialect(file, kind)


def names_for(folder: Path, kind: str, protocol: str = "") -> list[str]:
    """Return the names of what ``folder`` has for instruments of ``kind``; with no ``protocol``, its text dialects."""
    names = []
    for file in sorted(folder.glob("*.yaml"), key=lambda file: file.stem):
        with contextlib.suppress(ConfigInvalid):  # no YAML: nobody's dialect
            top = load_yaml(file).top
            if (top.text("kind", ""), top.text("protocol", "")) == (kind, protocol):
                names.append(file.stem)
    return names


class _Reader:
    """Reads one dialect file, noting mistakes at their lines."""

    def __init__(self, top: Section, kind: str) -> None:
        self.top = top
        self.doc = top.doc
        self.kind = top.text("kind", one_of=sorted(VOCABULARIES))
        if self.kind in VOCABULARIES and self.kind != kind:
            top.note("kind", f"this dialect is for a {self.kind}, not for a {kind}")
        self.vocabulary = VOCABULARIES.get(self.kind, VOCABULARIES[kind])
        self.variables = self._variables(top.section("variables", None))
        self.link = self._link(top.section("link", None))
        self.used: set[str] = set()
        self.numbers: set[str] = set()
        self.spacing_s = top.optional_quantity("spacing", "s", low=1e-6, high=1.0) if self._has("spacing") else None
        self.timing = {} if self.spacing_s is None else {"spacing": "s"}
        acknowledge = top.text("acknowledge", "")
        fixed = self._wording(top.line_of("acknowledge"), "acknowledge", acknowledge, {}, answer=True)
        self.acknowledge = (fixed,) if acknowledge and fixed else ()

    def dialect(self, stem: str) -> Dialect:
        top = self.top
        name = top.name("dialect")
        if name and name != stem:
            top.note("dialect", f"the file is called {stem}.yaml, the dialect {name!r}; they must be the same")
        refused = [
            self._wording(top.line_of("refused"), "refused", text, _FAULT, answer=True)
            for text in top.texts("refused", ())
        ]
        errors = self._exchanges(top, "errors", {}, _FAULT, optional=True) if self._has("errors") else ()
        if errors and (len(errors) > 1 or "code" not in errors[0].gives):
            top.note("errors", "must be one exchange whose answer has a {code}")
        dialect = Dialect(
            name=name,
            says=top.text("says", ""),
            kind=self.kind,
            link=self.link,
            variables=self.variables,
            identify=self._identify(),
            open=self._exchanges(top, "open", self.timing, {}, optional=True, plain=self.acknowledge),
            close=self._exchanges(top, "close", {}, {}, optional=True, plain=self.acknowledge),
            before=self._exchanges(top, "before", {}, {}, optional=True, plain=self.acknowledge),
            commands=self._commands(top.section("commands")),
            reads=self._reads(),
            readback=self._readback(),
            errors=errors[0] if errors else None,
            refused=tuple(wording for wording in refused if wording),
            spacing_s=self.spacing_s,
            numbers=frozenset(self.numbers),
            lines=self._lines() if self._has("lines") else {},
        )
        for name in sorted(self.numbers):
            if not (self.variables[name] or "0").isdecimal():
                top.note("variables", f"{name!r} has a number format, so its default must be a whole number")
        for unused in sorted(set(self.variables) - self.used):
            top.note("variables", f"nothing in this dialect uses {unused!r}")
        return dialect

    def _has(self, part: str) -> bool:
        """Tell whether the kind has a use for a part of the file; one that is there in vain is noted."""
        has = part in self.vocabulary.parts
        if not has and part in self.top:
            self._note_useless(self.top, part)
        return has

    def _note_useless(self, section: Section, *keys: str) -> None:
        for key in keys:
            section.raw(key, None)
        section.note(keys[0], f"a {self.kind} has no use for it; leave it out")

    def _lines(self) -> dict[str, str]:
        section = self.top.section("lines", None)
        return {word: section.name(word) for word in section}

    def _variables(self, section: Section) -> dict[str, str | None]:
        variables: dict[str, str | None] = {}
        known = {**self.vocabulary.quantities, **_IDENTITY, **_FAULT}
        for name in section:
            variables[name] = section.text(name) or None
            if name in RESERVED or name in known:
                section.note(name, f"{name!r} has a meaning of its own; choose another name")
        return variables

    def _link(self, section: Section) -> Link:
        plain = Link()
        return Link(
            write_end=section.text("write-end", plain.write_end),
            read_end=section.text("read-end", plain.read_end),
            baud=section.integer("baud", plain.baud, low=50, high=4_000_000),
            data_bits=section.integer("data-bits", plain.data_bits, low=5, high=8),
            parity=section.text("parity", plain.parity, one_of=("none", "even", "odd", "mark", "space")),
            stop_bits=section.integer("stop-bits", plain.stop_bits, low=1, high=2),
            flow=section.text("flow", plain.flow, one_of=("none", "xon-xoff", "rts-cts")),
            delay_s=section.quantity("delay", "s", plain.delay_s, low=0.0, high=5.0),
            echo=section.flag("echo", plain.echo),
        )

    def _identify(self) -> Exchanges:
        identify = self._exchanges(self.top, "identify", {}, _IDENTITY)
        if identify and not any(exchange.answer for exchange in identify):
            self.top.note("identify", "needs an answer, for only an answer shows that the instrument is there")
        return identify

    def _commands(self, section: Section) -> dict[str, Exchanges]:
        commands: dict[str, Exchanges] = {}
        for name in list(section):
            if name not in self.vocabulary.commands:
                continue
            quantity = self.vocabulary.commands[name]
            sends = {} if quantity is None else {quantity: self.vocabulary.quantities[quantity]}
            told = self.vocabulary.gives.get(name, "")
            gives = {key: unit for key, unit in self.vocabulary.quantities.items() if told in {None, key}}
            commands[name] = self._exchanges(section, name, sends, gives, plain=self.acknowledge)
            if told and not any(told in exchange.gives for exchange in commands[name]):
                section.note(name, f"never tells the {{{told}}} in an answer")
            if quantity and commands[name] and not any(quantity in each.send.fields for each in commands[name]):
                section.note(name, f"never says its {{{quantity}}}")
        for name in self.vocabulary.commands:
            if name not in section:
                section.raw(name, None)
            if name in self.vocabulary.needed and name not in section:
                section.note(name, f"is missing; a {self.kind} needs it")
        return commands

    def _readback(self) -> Exchanges:
        if not self._has("readback"):
            return ()
        return self._exchanges(self.top, "readback", {}, self.vocabulary.quantities, optional=True)

    def _reads(self) -> Exchanges:
        if not self._has("reads"):
            return ()
        known = self.vocabulary.signals | self.vocabulary.extra_signals
        units = {name: self.vocabulary.quantities[name] for name in sorted(known)}
        reads = self._exchanges(self.top, "reads", {}, units, polled=True)
        for signal in sorted(self.vocabulary.signals - {name for exchange in reads for name in exchange.gives}):
            self.top.note("reads", f"nothing reads the {signal}; a {self.kind} needs it")
        if any(exchange.block for exchange in reads) and self.spacing_s is None:
            self.top.note("spacing", "is missing; blocks need the time between their samples, like '1 ms'")
        return reads

    def _exchanges(
        self,
        section: Section,
        name: str,
        sends: Mapping[str, str],
        gives: Mapping[str, str],
        *,
        optional: bool = False,
        plain: tuple[Wording, ...] = (),
        polled: bool = False,
    ) -> Exchanges:
        """Read one exchange or a list.

        ``sends`` and ``gives`` are the fields of its command and its answer, ``plain`` the answer to one given as a
        plain text; one that is ``polled`` may be slow, or a block.
        """
        entries = section.entries(name, ()) if optional else section.entries(name)
        exchanges = []
        for line, key, entry in entries:
            if isinstance(entry, Section):
                exchanges.append(self._exchange(entry, sends, gives, polled=polled))
            elif (send := self._wording(line, key, entry, sends, answer=False)) is not None:
                exchanges.append(Exchange(send, plain))
        return tuple(exchange for exchange in exchanges if exchange)

    def _exchange(
        self, section: Section, sends: Mapping[str, str], gives: Mapping[str, str], *, polled: bool
    ) -> Exchange | None:
        def wording(key: str, text: str, known: Mapping[str, str]) -> Wording | None:
            return self._wording(section.line_of(key), section.key(key), text, known, answer=key != "send")

        send = wording("send", section.text("send"), sends)
        answer = [wording("answer", text, gives) for text in section.texts("answer", ())]
        each = wording("each", section.text("each"), gives) if "each" in section else section.raw("each", None)
        length = section.optional_integer("length", low=1, high=4096)
        every_s = section.quantity("every", "s", 0.0, low=0.0, high=1.0) if polled else 0.0
        block = self._block(section, gives) if polled else None
        if send is None or None in answer:
            return None
        exchange = Exchange(send, tuple(line for line in answer if line), each, block, length, every_s)
        self._check_exchange(section, exchange)
        return exchange

    def _check_exchange(self, section: Section, exchange: Exchange) -> None:
        if exchange.each is not None and not exchange.answer:
            section.note("each", "needs an answer too, to know where the lines end")
        if exchange.block is not None and exchange.answer:
            section.note("block", "an exchange has a block or an answer, not both")
        if self.link.read_end:
            if exchange.length is not None:
                section.note("length", "only means something where answers have no terminator (link.read-end is empty)")
        elif exchange.each or (not exchange.length and any(line.length is None for line in exchange.answer)):
            section.note("answer", "answers have no terminator here, so give fixed widths or a length")

    def _block(self, section: Section, gives: Mapping[str, str]) -> Block | None:
        keys = ("block", "number", "order")
        if "block" not in self.vocabulary.parts:
            if "block" in section:
                self._note_useless(section, *keys)
            return None
        if "block" not in section:
            for key in keys:
                section.raw(key, None)
                if key in section:
                    section.note(key, "has a meaning only beside 'block'")
            return None
        signal = section.text("block", one_of=[name for name, unit in gives.items() if unit not in {FLAG, TEXT}])
        number = section.text("number", one_of=("float32", "float64"))
        order = section.text("order", one_of=("big", "little"))
        return Block(signal, (">" if order == "big" else "<") + ("f" if number == "float32" else "d"))

    def _wording(self, line: int, key: str, text: str, known: Mapping[str, str], *, answer: bool) -> Wording | None:
        try:
            wording = read_wording(text, known, self.variables, answer)
        except WordingInvalid as wrong:
            self.doc.note(line, key, str(wrong))
            return None
        self.used |= wording.variables
        self.numbers |= wording.formatted_variables
        return wording
