"""What is said first, declared."""

from marshmallow import fields

from contract.declaring import ClosedSchema, a_choice, a_field, a_list, a_list_of_names
from heartlevel.ruling.language.statements import STATEMENTS


class StatementSchema(ClosedSchema):
    """One statement, for programs: the sentences say it in words."""

    code = a_choice(STATEMENTS, "what is said")
    values = a_field(fields.Dict, "what its sentence shows: pressures as shown, names as codes", keys=fields.String())


class ConclusionSchema(ClosedSchema):
    """Up to three sentences for each reader, in the language of the answer, the most important first."""

    clinician = a_list_of_names("to the clinician")
    patient = a_list_of_names("to the person measured")
    statements = a_list(fields.Nested(StatementSchema), "what the sentences say, in their order")
