"""Of every picture in a bound report: what to see in it."""

from simfan.report.sections import Drawing

SEEN = (
    ("energy-and-travel", "Shorter is better, on both sides: what a strategy takes from the supply "
     "over the run, and how far its elements travel for it, which is wear."),
    ("map-", "The path of the run over the fan's curves: the further it stays to the right of the "
     "stall line, the safer; a cross marks where it left its bounds, numbers are the events."),
    ("trends-", "From above: does the measured value follow the setpoint; what the controller and "
     "the elements do for it; where pressure, speed and motor load go. Hatching is left of the "
     "stall line; dotted lines are the numbered events."),
    ("operating-map/power", "Lower is cheaper: power from the supply against flow, at rest. Where "
     "lines cross the cheaper strategy changes."),
    ("operating-map/stall-margin", "Higher is safer: room to the stall line against flow, at rest. "
     "Where a line falls below zero the fan stands left of it."),
    ("operating-map/positions", "Where each element stands against flow: a flat end is an element "
     "that has no more to give, a steep one asks for a fine actuator."),
    ("operating-map/gain", "The flatter the better: how much the value moves for a percent of "
     "output. A steep line is a loop whose tuning suits one end of the range alone."),
    ("operating-map/year", "Where the hours of the year lie, and what they take: a strategy must "
     "be good where the bars are tall."),
    ("operating-map/least-power/", "The least power for two elements that share an output, beside "
     "other ways of sharing it."),
    ("tuning/process", "The flatter the better: gain, lag and dead time of what each loop has to "
     "control, over the range."),
    ("tuning/over-range/", "Left: |S| over frequency, its highest point is Ms. Middle: the Nyquist "
     "curves keep out of the circle. Right: answers to a small setpoint step over the range; they "
     "should look alike and not swing."),
    ("stress/ramps", "How fast a setpoint may move, from the value below to the value on the left, "
     "with every requirement kept: the lower the number in a field, the slower the ramp must be."),
    ("stress/distances", "Bars right of zero have room to the limit, bars left of it are runs that "
     "broke the requirement; how near the bulk lies to zero is how near the plant lives to it."),
    ("stress/region-", "Every run as a point over the two inputs that matter most: where the "
     "broken ones gather is where the plant must not go."),
    ("stress/worst-", "The worst run found beside the run as it stands: what moved, and what it "
     "led to."),
    ("stress/sensitivity", "The longest bars are the inputs that make the room to a limit vary: "
     "what is worth measuring or holding."),
)
"""Beginning of a picture's name → its caption."""


def caption(drawing: Drawing) -> str:
    """What to see, with whose picture it is. Raises KeyError for one that has no caption."""
    for start, words in SEEN:
        if drawing.name.startswith(start):
            whose = drawing.name[len(start):] if start.endswith(("-", "/")) else ""
            return f"{whose.replace('_', ' ')}: {words}" if whose else words
    raise KeyError(f"no caption for the picture {drawing.name}")
