"""The way in for readings: the MQTT codec, the listener, batches committed before they are acknowledged."""
