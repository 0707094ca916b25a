"""The way in for readings: the MQTT codec, the listener, and the batches that are committed before they are acknowledged."""
