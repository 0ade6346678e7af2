"""The shape of `made_with`: what an answer was made with."""

from marshmallow import fields

from contract.declaring import ClosedSchema, a_count, a_field, a_flag, a_list, a_number, a_text, an_object


class LayerUsedSchema(ClosedSchema):
    """A clinic's own directory over the rules."""

    id = a_text("its id")
    name = a_text("its name")
    revision = a_text("its revision")
    fingerprint = a_text("hash of its own content")


class ChangeMadeSchema(ClosedSchema):
    """What a layer changed of a rule, where that is written, why, and what stood there before."""

    layer = a_text("id of the layer")
    file = a_text("file of the change")
    line = a_count("its line")
    reason = a_text("why")
    off = a_flag("the rule was switched off")
    replaced = a_field(fields.Dict, "what stood there before, by dotted field")


class ParameterSetSchema(ClosedSchema):
    """A threshold of a rule, and who set it."""

    name = a_text("its name in the rule")
    value = a_number("its value", unit="1")
    unit = a_text("its unit, that of the facts it is compared with; null for a count", nullable=True)
    file = a_text("file in which its value is written")
    line = a_count("its line")
    layer = a_text("id of the layer that set it; null where none changed it", nullable=True)
    was = a_number("what it was below that layer; null where none changed it", unit="1", nullable=True)
    reason = a_text("why that layer set it; null where none changed it", nullable=True)


class ProvenanceSchema(ClosedSchema):
    """Where a rule comes from."""

    layer = a_text("id of the layer that adds it; null for one of the rules below all layers", nullable=True)
    file = a_text("its file")
    line = a_count("its line")
    changes = a_list(fields.Nested(ChangeMadeSchema), "what layers changed of it, lowest first")
    parameters = a_list(fields.Nested(ParameterSetSchema), "its thresholds, and who set them")


class RulesUsedSchema(ClosedSchema):
    """The rule set an answer was made with."""

    name = a_text("its name")
    revision = a_text("its revision")
    layers = a_list(fields.Nested(LayerUsedSchema), "the clinic's layers over it, lowest first")
    fingerprint = a_text("hash of the content, layers included")


class PopulationPressureSchema(ClosedSchema):
    """One long-run pressure among people."""

    mean = a_number("mean of the people's own means")
    sd = a_number("standard deviation between people")


class PopulationKnownSchema(ClosedSchema):
    """The people the person is one of."""

    systolic = an_object(PopulationPressureSchema, "systolic pressure")
    diastolic = an_object(PopulationPressureSchema, "diastolic pressure")
    correlation = a_number("correlation of systolic with diastolic between people", unit="1")


class MadeWithSchema(ClosedSchema):
    """What gave this answer; the same input with the same of these gives the same answer."""

    service = a_text("version of the service")
    rules = an_object(RulesUsedSchema, "the rule set")
    guideline = a_text("guideline asked for, or the default")
    limits_from = a_text("guideline whose limits held; another one in pregnancy and soon after birth, and the one of both "
                         "with the lower severe limits where it could not be read which holds")  # fmt: skip
    protocol = a_text("averaging protocol")
    population = an_object(PopulationKnownSchema, "the people taken as known beforehand, as given", nullable=True)
    language = a_text("language of the wording")
    as_of = a_text("date of the assessment, as given", nullable=True)
