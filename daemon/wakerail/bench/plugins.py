"""Finds the plugins by their entry points, one by one, so that a broken one is named and the rest still run."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points

import pluggy

from wakerail_kit import hooks
from wakerail_kit.errors import ContractViolation
from wakerail_kit.hooks import InstrumentType


@dataclass(frozen=True, slots=True)
class Plugins:
    """What was found: the sorts of instrument by name, and one line for each plugin that was refused."""

    types: dict[str, InstrumentType]
    refused: tuple[str, ...]


def load_plugins(found: Iterable[EntryPoint] | None = None) -> Plugins:
    """Load every plugin of the group ``wakerail.plugins``. Never raises: what is wrong is told in ``refused``."""
    manager = pluggy.PluginManager(hooks.PROJECT)
    manager.add_hookspecs(hooks)
    refused: list[str] = []
    types: dict[str, InstrumentType] = {}
    for point in found if found is not None else entry_points(group=hooks.ENTRY_POINT_GROUP):
        try:
            module = point.load()
            hooks.check_api_version(module, point.name)
            manager.register(module, name=point.name)
            _check_hook_names(manager)
        except ContractViolation as wrong:
            refused.append(str(wrong))
        except Exception as wrong:  # noqa: BLE001  a plugin may raise anything while it is imported
            refused.append(f"plugin {point.name!r} cannot be loaded: {type(wrong).__name__}: {wrong}")
    # Each implementation in its own try: a broadcast would stop at the first that raises.
    for offer in manager.hook.wakerail_instrument_types.get_hookimpls():
        try:
            offered: Sequence[InstrumentType] = offer.function()  # type: ignore[assignment]
            for sort in offered:
                if sort.name in types:
                    raise ContractViolation(f"plugin {offer.plugin_name!r} offers {sort.name!r}, which is taken")
                types[sort.name] = sort
        except ContractViolation as wrong:
            refused.append(str(wrong))
        except Exception as wrong:  # noqa: BLE001
            refused.append(f"plugin {offer.plugin_name!r} cannot be used: {type(wrong).__name__}: {wrong}")
    return Plugins(types, tuple(refused))


def _check_hook_names(manager: pluggy.PluginManager) -> None:
    try:
        manager.check_pending()
    except pluggy.PluginValidationError as wrong:
        manager.unregister(wrong.plugin)
        raise ContractViolation(str(wrong).splitlines()[0]) from None
