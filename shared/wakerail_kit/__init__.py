"""The contract between Wakerail's daemon, its plugins and its simulators: messages, kinds, hooks, units, clock."""
