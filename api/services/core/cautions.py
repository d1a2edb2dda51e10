"""What is said wherever people act: usual cautions. The school's risk assessment decides."""

DECIDES = "The school's own risk assessment, local rules and licensed practice decide."
ROTOR = (
    "Nobody stands in the plane of a spinning rotor; keep a metre to the side or behind a screen, "
    "and eye protection within three metres.",
    "Tie hair back, take lanyards off, and stop a rotor by switching the fan off, never by hand.",
    "First run of every new build: lowest fan setting, one minute, everybody behind the screen.",
    "Screw, pin or glue blades to the hub; a push fit alone is not enough. Pull each blade along "
    "its axis with the turbine stopped before it spins.",
    "Blades of one mass and one pitch; if the tower shakes, stop.",
)
BENCH = (
    "Use guarded, unmodified fans on a protected socket, cable covered, no water near; no pupil "
    "opens a fan.",
    "A load resistor may be too hot to touch: mount it on something that cannot burn, mark it HOT, "
    "and keep to half its rated power.",
    "An adult is at the fan at every test; know who gives first aid.",
)
WORKSHOP = (
    "Cut away from the body and clamp the work; powered tools are for adults by the school's "
    "rules, and no gloves near what turns.",
    "Hot glue burns: low-temperature guns, a mat, cold water at hand.",
    "Cut PVC with a hand saw or a cutter, never heat, burn or laser it; no dry sanding.",
)
FOOT = (
    "Before each test: an adult at the fan, nobody in the rotor's plane, eye protection on; stop a "
    "rotor by switching the fan off.",
    DECIDES,
)
ALL = (*ROTOR, *BENCH, *WORKSHOP, DECIDES)
EVENT = (*ROTOR, *BENCH, DECIDES)
