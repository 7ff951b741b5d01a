"""The usual cautions, in the words of every report and of `calib help cautions`."""

CAUTIONS = (
    "The figures hold for the air flow at each outlet at the time it was observed, with the system as it ran then.",
    "Work at height and on ladders, near moving machinery, hot surfaces or live electrical parts follows the site's own safety rules and local codes.",
    (
        "Do not drill or open test holes in a duct that may carry hazardous air, and do not disturb fire or smoke dampers, without the "
        "permission the site requires."
    ),
    (
        "Flows that protect life or health (smoke control, fume cupboards, isolation and operating rooms, combustion air) are judged by the "
        "local code and a licensed practitioner; this report is no substitute for either."
    ),
    (
        "The measurement uncertainty covers the contributions listed in each budget. What is not listed, such as a flow that changed during the "
        "reading, is not covered."
    ),
)

RULES_IN_WORDS = {
    "simple": "Simple acceptance: a flow passes if its measured value lies within the tolerance interval; its measurement uncertainty is "
    "stated beside it and not subtracted. At a limit, the risk of a wrong pass is up to 50 % (JCGM 106:2012, 8.2; ILAC-G8:09/2019, 4.2.1; from memory).",
    "guarded": "Guarded acceptance: a flow passes if its measured value lies inside the tolerance interval by at least its expanded "
    "uncertainty, w = U; the risk of a wrong pass is below 2.5 % at each limit. A flow with one limit only, a minimum or a maximum, passes "
    "inside it by w = k u with the one-sided k of the same coverage probability, at a risk below 5 % "
    "(JCGM 106:2012, 8.3.2; ILAC-G8:09/2019, 4.2.2; from memory).",
    "guarded non-binary": "Guarded acceptance with w = U, in four statements: pass and fail where the value is clear of the limit by at least "
    "U, conditional pass and conditional fail where it is not; with one limit only w = k u, k one-sided (ILAC-G8:09/2019, 4.2.3; from memory).",
}

# The same in one plain sentence, for a first page.
RULES_IN_BRIEF = {
    "simple": "Decision rule: a flow complies if its measured value lies within the allowed range; its uncertainty is stated beside it and "
    "not subtracted (simple acceptance, ILAC-G8:09/2019, 4.2.1).",
    "guarded": "Decision rule: a flow complies if it lies within the allowed range by at least its uncertainty U (guarded acceptance, "
    "ILAC-G8:09/2019, 4.2.2).",
    "guarded non-binary": "Decision rule: a flow complies if it lies within the allowed range by at least its uncertainty U. Nearer to the "
    "limit it probably complies (conditional pass); beyond the limit by less than U it probably does not (conditional fail; "
    "ILAC-G8:09/2019, 4.2.3).",
}
