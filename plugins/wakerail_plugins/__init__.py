"""The instruments that Wakerail ships with. Each is a plugin like any other and knows the kit only."""
