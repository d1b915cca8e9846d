"""The bus: at once inside the daemon, mirrored to an MQTT broker for everybody else.

Importing this package is cheap; the MQTT libraries are imported when a connection is made.
"""

from wakerail.bus.broker import EmbeddedBroker
from wakerail.bus.client import BusClient, decode
from wakerail.bus.link import BrokerAddress
from wakerail.bus.local import Bus, Listener, Publication
from wakerail.bus.mirror import Mirror, Outbox, OutboxItem
from wakerail.bus.requests import Requests

__all__ = [
    "BrokerAddress",
    "Bus",
    "BusClient",
    "EmbeddedBroker",
    "Listener",
    "Mirror",
    "Outbox",
    "OutboxItem",
    "Publication",
    "Requests",
    "decode",
]
