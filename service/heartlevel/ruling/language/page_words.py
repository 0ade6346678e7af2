"""The words of the pages that are handed to the person measured. Wording files say them in each language."""

# Questions of the log and their answers, which begin with `ask-` and `answer-`, are as many as a wording file has.
PAGE_WORDS = (
    "log-title", "log-name", "log-how", "log-readings", "log-empty", "log-day", "log-date", "log-when", "log-morning",
    "log-evening", "log-reading", "log-time", "log-systolic", "log-diastolic", "log-pulse", "log-wrong",
    "log-wrong-number", "log-wrong-word", "log-wrong-time", "log-wrong-date", "patient-title", "patient-went",
    "patient-counts", "patient-change", "patient-also", "patient-keep", "patient-when", "patient-plan",
    "patient-plan-other", "patient-enough", "patient-not-told", "gap-evenings", "gap-mornings", "gap-work-days",
    "gap-free-days", "gap-other-arm", "gap-better-cuff", "gap-device-check", "gap-ambulatory", "help-title",
    "help-symptoms", "help-high", "help-maternity", "patient-table", "patient-careful", "patient-caution",
    "patient-made", "drawing-cuff-size", "drawing-cuff-place", "drawing-heart-level", "drawing-posture",
    "drawing-rest", "drawing-pause", "drawing-write", "drawing-both-arms", "drawing-other-arm", "drawing-day",
    "drawing-device", "drawing-talk",
)  # fmt: skip
