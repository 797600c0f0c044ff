"""Example files for ``driftbook work``: invented machines, one for each way of measuring; each of them works."""

from __future__ import annotations

from typing import Final

_HEAD: Final = """\
# {title}.  Machine and numbers are invented.
#
# Before you touch a machine: isolate it, lock it out, and try to start it.  A result is no permission to run.
#
# Offset: movable minus stationary shaft at the coupling centre; + is up, and to the right for somebody at the
# movable machine who looks towards the stationary one.  Angularity: slope of the movable shaft, in mm/m or mil/in;
# + rises, or runs to the right, away from the coupling: the gap there is wider at the bottom, or on the left.
# Distances run from the coupling centre, + towards the movable machine.  A dial reads + when its plunger is pushed in.
# A plain number is in the units named below; one with its own unit stands in quotes: "2.5 mil", "0,06 mm".

title = "{title}"
method = "{method}"
units = "{units}"
"""

REVERSE_INDICATOR: Final = (
    _HEAD.format(title="Reverse indicator over a spacer coupling", method="reverse indicator", units="mm")
    + """\
seen_from = "movable machine"            # from where 3 o'clock is the right hand
moves = "movable machine"                # or "stationary machine", or "both machines"
soft_foot = [0.02, 0.01, 0.09, 0.01]     # rise of each foot, row by row from the coupling, left before right

[machine]
tag = "P-20"
coupling = "spacer"                      # or "short flexible"
span = 180                               # between the flex planes
speed = 2970                             # rpm

[[dial]]                                 # runs on the stationary hub
bracket = "movable"                      # the shaft that carries the bracket
plane = -90
top = 0
right = 0.02
bottom = -0.05
left = -0.07
returned = 0                             # back at the top after the full turn
sag = 0.08                               # the bar rolled over on a pipe
sag_is = "full"                          # "full" or "half" of that roll-over reading

[[dial]]                                 # runs on the movable hub
bracket = "stationary"
plane = 90
top = 0
right = -0.14
bottom = "-0,25 mm"                      # a number with its own unit, and with a comma
left = "-4.3 mil"
returned = 0
sag = 0.08
sag_is = "full"

[noise]                                  # standard deviations, where they are known
reading = 0.005
distance = 1

[target]                                 # wanted while the machines are cold
offset_v = -0.02
source = "invented; take the machine maker's"

[feet]
movable = [{ at = 250, shim_out = 0.8 }, { at = 700, left = 1.5, right = 1.5 }]  # room where it is limited
"""
)

RIM_AND_FACE: Final = (
    _HEAD.format(title="Rim and face, in mil and inches", method="rim and face", units="mil")
    + """
[machine]
tag = "F-3"
speed = 1185

[[dial]]                                 # on the rim
bracket = "movable"
plane = -2                               # inches
top = 0
right = 4.5
bottom = 4
left = -0.5
returned = 0.2

[[dial]]                                 # on the face
diameter = 6                             # swept by the plunger, not the diameter of the hub
side = "front"                           # towards the other hub, or "back"
top = 0
right = -0.75
bottom = -3
left = -2.25

[limits]                                 # without this table the starter rule holds
offset = 3.5
angle = 0.7
source = "invented; take the coupling maker's"

[feet]
movable = [10, 31.5]
"""
)

TWO_FACES: Final = (
    _HEAD.format(title="Two faces of a spacer, with opposite dials against axial float", method="two faces", units="mm")
    + """
[machine]
tag = "K-1"
coupling = "spacer"
span = 400
speed = 1490

[[dial]]                                 # at the stationary end of the spacer
diameter = 200
top = 0
right = -0.06
bottom = -0.09
left = -0.03
opposite_top = 0                         # the dial half a turn away, when this one is at the top
opposite_right = 0.08
opposite_bottom = 0.12
opposite_left = 0.05

[[dial]]                                 # at the movable end
diameter = 200
top = 0
right = 0.01
bottom = -0.05
left = -0.06

[noise]
reading = 0.005
diameter = 1

[growth]                                 # the target follows from it; an estimate, to be checked hot
movable = [{ at = 500, material = "grey cast iron G1800 to G4000", height = 400, cold = 20, hot = 65 },
           { at = 1300, material = "grey cast iron G1800 to G4000", height = 400, cold = 20, hot = 55 }]
stationary = [{ at = 400, up = 0.10 }]

[feet]
movable = [500, 1300]
"""
)

AROUND: Final = (
    _HEAD.format(
        title="Readings around the shaft, over less than half a turn", method="readings around the shaft", units="mm"
    )
    + """\
moves = "both machines"

[machine]
tag = "B-7"
speed = 1485

[[dial]]                                 # or any sensor that reads across the shaft
bracket = "stationary"
plane = -60
angles = [-70, -42, -14, 14, 42, 70]     # clockwise from 12 o'clock
readings = [0, 0.00, -0.02, -0.06, -0.10, -0.15]

[[dial]]
bracket = "stationary"
plane = 60
angles = [-70, -42, -14, 14, 42, 70]
readings = [0, 0.03, 0.05, 0.02, -0.02, -0.08]

[feet]
movable = [220, 640]
stationary = [180, 520]
"""
)

RESULTS: Final = (
    _HEAD.format(title="Results as an instrument shows them", method="results", units="mm")
    + """\
soft_foot = [0.06, 0.02, 0.01, 0.02]

[machine]
tag = "P-4"
speed = 1485

[results]
offset_v = 0.12
angle_v = "0.30 mm/m"
offset_h = -0.05
angle_h = "0.02 mm/100mm"
sd_offset = 0.008                        # standard uncertainties, where they are known
sd_angle = 0.05

[feet]
movable = [200, 600]
"""
)

EXAMPLES: Final[dict[str, str]] = {
    "results": RESULTS,
    "reverse-indicator": REVERSE_INDICATOR,
    "rim-and-face": RIM_AND_FACE,
    "two-faces": TWO_FACES,
    "around-the-shaft": AROUND,
}
"""By the name that is typed after ``--example``."""
