"""The devices of a request, by the ids that readings and checks name them by."""

from collections.abc import Mapping
from typing import Any

from heartlevel.intake.faults import Problem, near, problem


def devices_by_id(devices: dict[int, dict[str, Any]]) -> tuple[dict[str, dict[str, Any]], list[Problem]]:
    """Key the devices by id. An id given twice names no device: which of them was meant cannot be known."""
    indices_of: dict[str, list[int]] = {}
    for index, device in devices.items():
        indices_of.setdefault(device["id"], []).append(index)
    faults = [
        problem(f"/devices/{index}/id", "id-repeated", name, hint="neither description is used")
        for name, indices in indices_of.items() if len(indices) > 1 for index in indices
    ]  # fmt: skip
    return {name: devices[indices[0]] for name, indices in indices_of.items() if len(indices) == 1}, faults


def unknown_devices(lists: dict[str, dict[int, dict[str, Any]]], devices: Mapping[str, Any]) -> list[Problem]:
    """Return a problem for each reading and check that names a device of which nothing was sent."""
    declared = {device["id"] for device in lists["devices"].values()} | set(devices)
    return [
        problem(f"/{name}/{index}/device", "unknown-device", item["device"], hint=near(item["device"], sorted(devices)))
        for name in ("readings", "device_checks")
        for index, item in lists[name].items()
        if item.get("device") is not None and item["device"] not in declared
    ]
