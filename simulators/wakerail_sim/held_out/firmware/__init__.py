"""What a device does by itself and when it is used: processes that drive a machine's loads."""
