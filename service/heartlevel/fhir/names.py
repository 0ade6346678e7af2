"""Codes and addresses of the standards that have a fixed meaning here; what can be extended stands in `codes.yaml`.

LOINC codes as HL7's vital-signs profiles (FHIR R4) and the guide "Vital Signs with Qualifying Elements" have them.
"""

from heartlevel.vocabulary import PRESSURE_CODES

LOINC, UCUM = "http://loinc.org", "http://unitsofmeasure.org"
PRESSURE_PANEL, PRESSURES_WITHOUT_PANEL = "85354-9", "55284-4"
PANELS = {PRESSURE_PANEL: "Blood pressure panel with all children optional",
          PRESSURES_WITHOUT_PANEL: "Blood pressure systolic and diastolic"}  # fmt: skip
COMPONENTS = {**PRESSURE_CODES, "8867-4": "pulse"}
COMPONENT_TITLES = {"systolic": "Systolic blood pressure", "diastolic": "Diastolic blood pressure", "pulse": "Heart rate"}
HEART_RATE, BODY_POSITION, PREGNANCY_STATUS = "8867-4", "8361-8", "82810-3"
CUFF_SIZE = "8358-4"  # as the guide "Vital Signs with Qualifying Elements" maps its extension for it
MEAN_PANEL = ("96607-7", "Blood pressure panel mean systolic and mean diastolic")
MEANS = {"systolic": ("96608-5", "Systolic blood pressure mean"), "diastolic": ("96609-3", "Diastolic blood pressure mean")}
MEAN_PANEL_24H = ("97844-5", "Blood pressure panel 24 hour mean")
MEANS_24H = {"systolic": ("8490-5", "Systolic blood pressure 24 hour mean"),
             "diastolic": ("8472-3", "Diastolic blood pressure 24 hour mean")}  # fmt: skip
PER_MINUTE = "/min"

# Extensions of Observation that carry a coded detail: the standard's own, and those of the guide named above.
BODY_POSITION_EXTENSION = "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition"
SETTING_EXTENSION = "http://hl7.org/fhir/us/vitals/StructureDefinition/MeasurementSettingExt"
SLEEP_EXTENSION = "http://hl7.org/fhir/us/vitals/StructureDefinition/SleepStatusExt"
CUFF_SIZE_EXTENSION = "http://hl7.org/fhir/us/vitals/StructureDefinition/bp-cuff-size-ext"  # of Device
CODED_EXTENSIONS = (BODY_POSITION_EXTENSION, SETTING_EXTENSION, SLEEP_EXTENSION)
ABSENT_REASON = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"
# Classes of an Encounter, and those of a stay in hospital or an emergency (HL7 FHIR R4, code system v3-ActCode).
ENCOUNTER_CLASSES = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
TAKEN_IN_HOSPITAL = ("IMP", "ACUTE", "NONAC", "OBSENC", "SS", "EMER", "FLD")
# Critical abnormal, high and low (HL7 FHIR R4, code system v3-ObservationInterpretation).
CRITICAL_INTERPRETATIONS = ("AA", "HH", "LL")

# Our own: an extension of Observation, Device or Patient, whose parts are named as columns of a table are; and code systems
# whose codes are the values of a field of the request, or ids of rules.
OWN = "urn:heartlevel:"
OWN_DETAILS = {"Observation": f"{OWN}reading", "Device": f"{OWN}device", "Patient": f"{OWN}subject"}
# Systems of identifiers: names that a FHIR id cannot be.
OWN_NAMES = {"Observation": f"{OWN}readings", "Device": f"{OWN}devices", "Patient": f"{OWN}subjects"}
RULES, CATEGORIES, RELIABILITY = f"{OWN}rules", f"{OWN}categories", f"{OWN}reliability"
FHIR_JSON = "application/fhir+json"
