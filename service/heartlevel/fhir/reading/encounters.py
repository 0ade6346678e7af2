"""Where a reading was taken whose Observation does not say it: by its Encounter, or as the Parameters say of all."""

from dataclasses import dataclass

from heartlevel.fhir.codes import Codes
from heartlevel.fhir.names import ENCOUNTER_CLASSES, TAKEN_IN_HOSPITAL
from heartlevel.fhir.reading.element import Element
from heartlevel.fhir.reading.sent import Sent


@dataclass(frozen=True, slots=True)
class Setting:
    """A setting and where it was said."""

    value: object
    at: str


def setting_of(observation: Element, sent: Sent, codes: Codes) -> Setting | None:
    """Return where an Observation was taken by its Encounter's class, else by the parameter for all.

    A stay in hospital is none of the settings, and not what the parameter says: its class is returned, so that the
    reading is named and not averaged with those of an office.
    """
    encounter = sent.referred(observation.part("encounter"), observation)
    kind = encounter.part("class") if encounter is not None else None
    for system, code in kind.codings() if kind is not None else ():
        known = dict(codes.meanings(system, code)).get("setting")
        if kind is not None and (known or (system == ENCOUNTER_CLASSES and code in TAKEN_IN_HOSPITAL)):
            return Setting(known or code, kind.at)
    return Setting(sent.setting.value, sent.setting.at) if sent.setting is not None else None
