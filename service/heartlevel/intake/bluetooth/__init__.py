"""Readings as a device's Bluetooth service sends them: the bytes of Blood Pressure Measurement (0x2A35)."""
