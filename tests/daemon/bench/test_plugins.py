"""Plugins are found by entry point; one that is broken is named in one line and the rest still run."""

from __future__ import annotations

import sys
from importlib.metadata import EntryPoint
from types import ModuleType

import pytest

from wakerail.bench.plugins import load_plugins
from wakerail_kit.hooks import API_VERSION, ENTRY_POINT_GROUP, InstrumentType, hookimpl
from wakerail_kit.kinds import PORT_TESTER


@pytest.fixture
def plugin(monkeypatch: pytest.MonkeyPatch):
    """Make an importable plugin module and return its entry point."""

    def make(
        name: str,
        offers: str = "",
        api_version: object = API_VERSION,
        hook: str = "wakerail_instrument_types",
        fail=None,
    ):
        module = ModuleType(f"made_up_{name}")
        if api_version is not None:
            module.api_version = api_version

        def types():
            if fail:
                raise fail
            return [InstrumentType(offers or name, PORT_TESTER, "made up", lambda *_: None)]

        types.__name__ = hook
        setattr(module, hook, hookimpl(types))
        monkeypatch.setitem(sys.modules, module.__name__, module)
        return EntryPoint(name, module.__name__, ENTRY_POINT_GROUP)

    return make


def test_a_plugin_of_this_version_is_taken(plugin) -> None:
    found = load_plugins([plugin("good")])
    assert list(found.types) == ["good"]
    assert found.refused == ()


@pytest.mark.parametrize(
    ("broken", "line"),
    [
        ({"api_version": 99}, "plugin 'bad' was written for API version 99; this Wakerail speaks version 1"),
        ({"api_version": None}, "plugin 'bad' states no api_version; this Wakerail needs api_version = 1"),
        ({"hook": "wakerail_instrument_typos"}, "unknown hook 'wakerail_instrument_typos'"),
        ({"fail": ZeroDivisionError("slip")}, "plugin 'bad' cannot be used: ZeroDivisionError: slip"),
        ({"offers": "good"}, "plugin 'bad' offers 'good', which is taken"),
    ],
)
def test_a_broken_plugin_is_named_in_one_line_and_the_rest_run(plugin, broken, line: str) -> None:
    found = load_plugins([plugin("good"), plugin("bad", **broken)])
    assert list(found.types) == ["good"]
    assert len(found.refused) == 1
    assert line in found.refused[0]
    assert "\n" not in found.refused[0]


def test_a_plugin_that_cannot_be_imported_is_named(plugin) -> None:
    found = load_plugins([EntryPoint("gone", "no_such_module_here", ENTRY_POINT_GROUP), plugin("good")])
    assert list(found.types) == ["good"]
    assert found.refused[0].startswith("plugin 'gone' cannot be loaded: ModuleNotFoundError")


def test_the_shipped_plugins_come_by_the_same_way() -> None:
    found = load_plugins()
    assert found.refused == ()
    assert {"supply", "plate", "plate-modbus", "port-tester", "multimeter", "usb-watcher"} <= set(found.types)
