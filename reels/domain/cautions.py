"""What is said on every sheet before somebody works by it."""

CAUTIONS = (
    "The machine takes whatever numbers it is given and cannot check them. A wrong layer or wrap shows only when the "
    "cable runs out, or winds in, where nobody expects it.",
    "Work by the publication and revision named here. This sheet replaces neither them nor an authorised person.",
    "Count only a reel that is off the machine, secured on its stand and turned as installed. Keep hands clear of the "
    "cable and the flanges while the drum can turn.",
    "Whoever verifies reads the reel for themselves, at each hold point, before hearing what the other one read.",
    "Stop and ask when a reading does not fit. Do not make it fit.",
)
