"""The sheet that ``joblog sheet new`` writes: small, complete, and explained where it stands."""

from __future__ import annotations

import re

from joblog.errors import UsageError

PLACEHOLDERS = (  # of the skeleton: what its customer would read
    "One plain sentence for the customer: what this service is and why it is done.",
    "what to watch until then, in plain words",
)
SKELETON = """\
# A job sheet. Every value here is an example: replace it from service information, then set
# example = false. Check the sheet with: joblog sheet check THIS-FILE

[sheet]
key = "KEY"
title = "TITLE"
revision = "1"
summary = "One plain sentence for the customer: what this service is and why it is done."
example = true
minutes = 30                      # estimate for the whole job

[sheet.next_due]                  # whichever comes first
months = 24
watch = ["what to watch until then, in plain words"]

[applies]
to = []                           # unit types; empty means any
# not_to = [{ unit = "OTHER", why = "it takes another fluid", use = "other-sheet" }]

[conditions]                      # key = how it is said aloud
raised = "the vehicle stands on its stands"
drained = "the unit is drained"

[[cautions]]
text = "Fluid can be hot enough to burn. Wear gloves and eye protection."
steps = ["drained"]

[[parts]]
key = "washer"
name = "Sealing washer"
number = "EX-1"
quantity = 1
fitted = "flat side to the sealing face"

[[tools]]
key = "wrench"
name = "Torque wrench"
lowest = { value = 10, unit = "N.m" }
highest = { value = 60, unit = "N.m" }

[[fluids]]
key = "fluid"
name = "Fluid"
specification = "as the service information says"
service = { value = 2.5, unit = "L" }
total = { value = 3.0, unit = "L" }
container = { value = 1, unit = "L" }
tolerance = { value = 0.2, unit = "L" }

# A step: what marks it when spoken (words only, | for variants, [ ] for words that may be left
# out), what must come before it, and what is wanted with it.

[[steps]]
key = "raised"
title = "Lift and set on stands"
say = ["on stands", "raised and supported"]
sets = ["raised"]                 # conditions that hold from here on

[[steps]]
key = "drained"
title = "Drain, measure what came out"
say = ["draining done"]
customer = "The old fluid was drained and measured."
only_when = ["raised"]            # conditions that must hold
sets = ["drained"]
pour = { fluid = "fluid", direction = "out" }

[[steps]]
key = "plug-in"
title = "Plug in with a new washer, tighten"
say = ["plug is in", "plug tightened"]
after = ["drained"]               # steps that come first
parts = ["washer"]
tools = ["wrench"]
torque = { fastener = "drain plug", value = 30, unit = "N.m", tolerance = 3 }

[[steps]]
key = "filled"
title = "Fill with what came out"
say = ["filling done"]
customer = "New fluid went in, as much as came out."
after = ["plug-in"]
clears = ["drained"]
pour = { fluid = "fluid", direction = "in" }

[[steps]]
key = "leak-check"
title = "Look for leaks"
say = ["no leaks"]
after = ["filled"]
not_while = ["drained"]           # conditions that must not hold

# More that a step may have:
#   window = { since = "engine-off", opens = 60, closes = 120 }          seconds
#   photo = { kind = "plug", phase = "before", plug_diameter_mm = 18 }   its thread's outer diameter
#     (kinds of photo: plug, dipstick, fluid, label, other)
#   reading = { name = "fluid temperature", unit = "degC", low = 40, high = 80 }
"""


def skeleton(key: str) -> str:
    """Return a new sheet's text; raises UsageError where ``key`` is none."""
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", key):
        raise UsageError(
            f"'{key}' is no key; use lower-case words joined by hyphens, such as coolant-change."
        )
    return SKELETON.replace("KEY", key).replace("TITLE", key.replace("-", " ").capitalize())
