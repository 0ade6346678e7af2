"""Which devices disagree with their references; a device is named only where it measured people enough."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from heartlevel.practice.folder import Folder
from heartlevel.practice.groups import device_people


@dataclass
class CheckedDevice:
    """The checks of a device."""

    device: str
    people: int  # whom it measured
    verdicts: Counter[str] = field(default_factory=Counter)
    systolic_biases: list[float] = field(default_factory=list)


@dataclass
class CheckedDevices:
    """All checks by verdict, and the devices that may be named."""

    verdicts: Counter[str]
    people: dict[str, int]  # whose devices came to each verdict, by verdict
    shared: list[CheckedDevice]


def checked_devices(folder: Folder, smallest: int) -> CheckedDevices:
    """Return how devices agree; named are those that measured at least so many people, those that disagree most first."""
    shared = {name: CheckedDevice(name, count) for name, count in device_people(folder).items() if count >= smallest}
    verdicts, owners = Counter[str](), dict[str, set[int]]()
    for rows in folder.batches("device_checks"):
        for at in range(len(rows["subject"])):
            verdict = rows["verdict"].names[rows["verdict"].codes[at]]
            verdicts[verdict] += 1
            owners.setdefault(verdict, set()).add(int(rows["subject"][at]))
            device = shared.get(rows["device"].names[rows["device"].codes[at]])
            if device is not None:
                device.verdicts[verdict] += 1
                if not np.isnan(rows["systolic_bias"][at]):
                    device.systolic_biases.append(float(rows["systolic_bias"][at]))
    named = [device for device in shared.values() if device.verdicts]
    named.sort(key=lambda device: (-device.verdicts["disagrees"], -device.people, device.device))
    return CheckedDevices(verdicts, {name: len(numbers) for name, numbers in owners.items()}, named)
