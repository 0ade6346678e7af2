"""What the simulated people are made of: every figure once, with where it comes from and how far it is to be trusted."""

from dataclasses import dataclass

PUBLISHED, MEMORY, ASSUMED = "published", "from memory", "assumption"
OHASAMA = "Kato et al., Ohasama study: morning home 123.4±15.1/75.7±9.0, within-person SD 8.6±3.1/5.8±2.0"
FILMED = "Nessler et al., BMC Cardiovasc Disord 2021;21:539: 3 % without error, 60 % with three or more, 76 % placement"
HONEST = "HONEST study, PMC3565096 (n=22,162 in Japan), mean of morning and bedtime"
RANGES = "Kallioinen et al., J Hypertens 2017;35:421"


@dataclass(frozen=True)
class Figure:
    """A figure of the simulation, for systolic and diastolic where they differ; mm[Hg], or a share."""

    systolic: float
    diastolic: float
    source: str
    standing: str


def both(value: float, source: str, standing: str) -> Figure:
    return Figure(value, value, source, standing)


FIGURES = {
    "home mean": Figure(123.4, 75.7, OHASAMA + "; taken as the settled mean", PUBLISHED),
    "home SD between people": Figure(15.1, 9.0, OHASAMA, PUBLISHED),
    "treated mean": Figure(132.4, 76.8, HONEST + ", after 16 weeks of treatment; used only where stated", PUBLISHED),
    "treated SD between people": Figure(13.7, 10.0, "as above", PUBLISHED),
    "untreated mean": Figure(148.0, 85.0, HONEST + ", before it; used only where stated", PUBLISHED),
    "untreated SD between people": Figure(16.6, 11.9, "as above", PUBLISHED),
    "SD between days": Figure(5.0, 3.4, OHASAMA + ", shared out in thirds of the variance", ASSUMED),
    "SD between sittings of a day": Figure(5.0, 3.4, "as above", ASSUMED),
    "SD within a sitting": Figure(4.9, 3.2, "as above", ASSUMED),
    "spread of SDs between people": both(0.33, OHASAMA + ": 3.1/8.6, less what 27 readings' sampling makes", PUBLISHED),
    "systolic with diastolic": both(0.6, "correlation at every level", ASSUMED),
    "morning above evening": Figure(1.5, 1.5, "mean of people", ASSUMED),
    "SD of morning above evening": Figure(5.0, 3.0, "between people", ASSUMED),
    "first day above later": Figure(2.8, 1.4, "Kyriakoulis, Stergiou, J Hypertens 2021 (n=2122)", PUBLISHED),
    "first home reading above next": Figure(3.0, 1.0, "size at home, after rest", ASSUMED),
    "first office reading above next": Figure(5.6, 2.0, "Salazar, J Hum Hypertens 2015;29:373: 5.1 to 6.1 systolic; "
                                              "diastolic assumed", PUBLISHED),
    "office above home": Figure(5.0, 2.0, "mean of people", MEMORY),
    "SD of office above home": Figure(11.0, 6.0, "between people", MEMORY),
    "SD between office visits": Figure(10.8, 7.0, "Asayama et al., J Hypertens 2021;40:398: SD of differences 15.3/√2; "
                                       "diastolic from Warren et al., Br J Gen Pract 2010;60:675: CV 8.6 %", PUBLISHED),
    "SD between weeks": Figure(4.5, 2.8, "Asayama et al. 2022: SD of home differences 7.7, over √2; Warren et al. 2010: CV "
                               "of week means 4.2/3.9 %; less what their days explain; used only where stated", PUBLISHED),
    "working days above Saturdays and Sundays": Figure(2.0, 1.5, "used only where stated", ASSUMED),
    "home device error": Figure(4.8, 3.5, "about 30 % of home devices off by 5 or more (n=210); as a normal spread; "
                                "diastolic assumed", PUBLISHED),
    "people who round to tens": both(0.10, "odds ratio 2.1 of a zero in readings sent by hand, cohort of 1,068 in "
                                     "South-East Scotland: 19 % zeros", PUBLISHED),
    "visits rounded to tens": both(0.38, "Am J Hypertens 2006;19:147: 44.6 % zeros in 85 practices", PUBLISHED),
    "missed sittings": both(0.10, "at random", ASSUMED),
    "third readings": both(0.15, "of sittings", ASSUMED),
    "errors' joint effect": Figure(0.56, 0.17, "share of the sum, so that a measurement errs by the 8.36/2.16 that "
                                   "Nessler et al., BMC Prim Care 2023, found between patient and researcher", ASSUMED),
    "habit in a sitting": both(0.85, "someone with a wrong habit has it in this share of sittings", ASSUMED),
    "technique recorded": both(0.6, "share of details that a person records at all", ASSUMED),
    "error recorded as right": both(0.2, "of the errors in recorded details", ASSUMED),
}  # fmt: skip


@dataclass(frozen=True)
class Habit:
    """A technique error: the share of people who have it, its size for each, and how a request says so."""

    field: str
    wrong: object
    right: object
    prevalence: float
    systolic: tuple[float, float]
    diastolic: tuple[float, float]
    source: str


# No study gives all prevalences: they are assumptions, chosen so that their joint shares come to the filmed ones.
# A person's size is drawn evenly from the published range.
PREVALENCES = f"{FILMED}; each one's own prevalence: {ASSUMED}"
HABITS = (
    Habit("rested_minutes", 1, 5, 0.58, (4.2, 11.6), (1.8, 4.3), RANGES),
    Habit("legs_crossed", True, False, 0.24, (2.5, 14.89), (1.4, 10.81), RANGES),
    Habit("back_supported", False, True, 0.42, (0, 0), (6.5, 6.5), RANGES),
    Habit("arm_supported", False, True, 0.42, (3.9, 6.5), (4.0, 4.4), "Liu et al., JAMA Intern Med 2024: lap, side"),
    Habit("arm_level", "below", "heart", 0.50, (3.9, 11.7), (3.9, 11.7), "5 to 15 cm, 0.78 mm[Hg] a cm; depth assumed"),
    Habit("talking", True, False, 0.18, (4, 19), (5, 14.3), f"{RANGES} ({MEMORY})"),
    Habit("cuff_mark_in_range", False, True, 0.24, (4.8, 4.8), (1.8, 1.8), "Ishigami et al., JAMA Intern Med 2023"),
    Habit("full_bladder", True, False, 0.09, (4.2, 33), (2.8, 18.5), RANGES),
    Habit("cuff_mark_over_artery", False, True, 0.58, (0, 0), (0, 0), "no size published; none taken"),
)


def table() -> str:
    """Write every figure with its source and standing."""
    lines = [
        f"{name:<34}{one.systolic:>7g}{one.diastolic:>7g}  {one.standing:<12} {one.source}" for name, one in FIGURES.items()
    ]
    lines += [
        f"habit {one.field:<28}{one.prevalence:>7g}{'':>7}  {'range':<12} {one.systolic}/{one.diastolic} {one.source}"
        for one in HABITS
    ]
    return "\n".join([f"{'figure':<34}{'syst.':>7}{'diast.':>7}  {'standing':<12} source", *lines, PREVALENCES])
