"""What other guidelines say, declared."""

from contract.declaring import ClosedSchema, a_choice, a_flag, a_list, a_number, a_text
from heartlevel.answer.compared import COMPARED
from heartlevel.vocabulary import MEASURED_SIDES, PATTERNS, SETTINGS, UNDETERMINED


class OtherGuidelineSchema(ClosedSchema):
    """What another guideline makes of the same readings; its categories bear its own names."""

    guideline = a_text("the guideline")
    limits_from = a_text("guideline whose limits held; another one in pregnancy and soon after birth")
    protocol = a_text("averaging protocol")
    side = a_choice(MEASURED_SIDES, "which side was classified", nullable=True)
    setting = a_choice(SETTINGS, "which average was classified", nullable=True)
    systolic = a_number("systolic average", nullable=True)
    diastolic = a_number("diastolic average", nullable=True)
    category = a_text("id of the category", nullable=True)
    title = a_text("the guideline's own term", nullable=True)
    raised = a_flag("at or above its limit of hypertension, either pressure", nullable=True)
    holds = a_flag("no alternative changes the category", nullable=True)
    pattern = a_choice((*PATTERNS, UNDETERMINED), "home against office")
    urgent = a_flag("at least one finding is urgent")
    disagrees_in = a_list(a_choice(COMPARED, "a statement"), "what it says otherwise than the guideline asked for")
