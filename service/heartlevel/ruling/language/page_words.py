"""The words of the pages, for the person measured and for a clinician. Wording files say them in each language."""

# Questions of the log and their answers, which begin with `ask-` and `answer-`, are as many as a wording file has.
HANDOUT_WORDS = (
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
REPORT_WORDS = (
    "report-title", "report-as-of", "report-urgent", "report-severe", "report-count", "report-conclusion",
    "report-how-sure", "report-at-or-above", "report-patterns", "report-sustained", "report-office-only-elevation",
    "report-home-only-elevation", "report-normal-in-both", "report-next", "report-nothing", "report-days",
    "report-plot", "report-mean", "report-limit", "report-not-sure", "report-left-out", "report-systolic",
    "report-diastolic", "report-home", "report-office", "report-office-unattended", "report-office-attended",
    "report-ambulatory", "report-ambulatory-24h", "report-ambulatory-day", "report-ambulatory-night", "report-work",
    "report-pharmacy", "report-sides", "report-side", "report-days-column", "report-readings", "report-stands",
    "report-not-relied-on", "report-interval", "report-followed", "report-coverage", "report-mornings",
    "report-evenings", "report-work-days", "report-free-days", "report-enough", "report-too-few", "report-by-hour",
    "report-device", "report-verdict-agrees", "report-verdict-disagrees", "report-pairs", "report-bias",
    "report-device-plot", "report-device-across", "report-device-up", "report-also", "report-lost", "report-received",
    "report-assessed", "report-missing", "report-sources", "report-check-number", "report-verdict-undecided",
    "report-in-steps", "report-in-steps-usable", "report-in-steps-go-on", "report-in-steps-replace",
    "report-in-steps-order-not-followed", "report-episode-high", "report-episode-low", "report-episode-symptoms",
    "report-episode-unreadable", "report-episode-other", "report-by-numbers", "report-in-short", "report-guideline",
    "report-limits-of", "report-protocol", "report-rules", "missing-cuff", "missing-posture", "missing-before",
    "missing-device", "missing-person", "missing-readings", "missing-other", "missing-cuff-size",
    "missing-cuff-shape", "missing-cuff-place", "missing-cuff-fit", "missing-bare-arm", "missing-spared-arm",
    "missing-body-position", "missing-back-and-legs", "missing-arm-height", "missing-arm-rest", "missing-rest",
    "missing-talking", "missing-bladder", "missing-stimulants", "missing-circumstances", "missing-treatment-time",
    "missing-asleep", "missing-method", "missing-inflation", "missing-validation", "missing-range", "missing-status",
    "missing-age", "missing-pregnancy", "missing-rhythm", "missing-health", "missing-treatment", "missing-selection",
    "missing-taken-by", "missing-pulse",
)  # fmt: skip
PAGE_WORDS = (*HANDOUT_WORDS, *REPORT_WORDS)
