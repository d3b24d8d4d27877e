"""A small invented farm with one sensor of every kind of payload and conversion."""

import json

from collector.intake import Intake, Memory, take_in
from collector.topics import router_of
from shared.farm import Farm
from shared.farm_file import parse_farm
from shared.readings import Reading

TEXT = """
[farm]
id = "knob"
name = "Juniper Knob"
timezone = "America/New_York"
elevation_ft = 1450
sap_brix = 2.0

[[line]]
id = "ledge"
kind = "mainline"
length_ft = 1200
bore_in = 0.75

[[tank]]
id = "lower"
shape = "vertical"
diameter_ft = 8
height_ft = 5

[[tank]]
id = "permeate"
shape = "box"
holds = "permeate"
length_ft = 6
width_ft = 4
height_ft = 4

[[sensor]]
id = "ledge-vacuum"
quantity = "vacuum"
unit = "inHg"
line = "ledge"

[[sensor]]
id = "pump-vacuum"
quantity = "vacuum"
unit = "mA"
span = [0, 30]
span_unit = "inHg"
line = "pump"

[[sensor]]
id = "lower-level"
quantity = "level"
unit = "in"
tank = "lower"
mount_height_in = 80

[[sensor]]
id = "lower-pressure"
quantity = "level"
unit = "kPa"
tank = "lower"
topic = "plc/lower"
field = "/pressure"

[[sensor]]
id = "permeate-pressure"
quantity = "level"
unit = "kPa"
tank = "permeate"

[[sensor]]
id = "stick"
quantity = "level"
unit = "in"
tank = "lower"

[[sensor]]
id = "stack"
quantity = "stack_temperature"
unit = "degF"
topic = "tele/arch/SENSOR"
field = "/MAX6675/ProbeTemp"

[[sensor]]
id = "shed"
quantity = "shed_temperature"
unit = "degC"
topic = "tele/arch/SENSOR"
field = "/DS18B20/Temperature"
time_field = "/Epoch"

[[sensor]]
id = "pump"
quantity = "running"
unit = "/"
topic = "tele/pump/STATE"
field = "/POWER"

[[sensor]]
id = "air"
quantity = "air_temperature"
unit = "degC"
offset = -0.5
gain = 1.1
low = -40
high = 40

[[sensor]]
id = "barometer"
quantity = "air_pressure"
unit = "hPa"
topic = "senml/mast"

[[sensor]]
id = "mast-temperature"
quantity = "air_temperature"
unit = "Cel"
topic = "senml/mast"

[[sensor]]
id = "drawn"
quantity = "pan_temperature"
unit = "degF"
calibration = [[32, 33], [212, 210], [220, 219]]
"""


def knoll() -> Farm:
    return parse_farm(TEXT)


FARM = knoll()
ROUTER = router_of(FARM)
NOW_MS = 1_772_424_306_000  # 2026-03-02T04:05:06Z


def told(topic: str, payload: object, at_ms: int = NOW_MS, **how: object) -> Intake:
    """What the collector makes of one message, with nothing remembered of earlier ones."""
    if not isinstance(payload, bytes):
        payload = (payload if isinstance(payload, str) else json.dumps(payload)).encode()
    return take_in(ROUTER, Memory(), topic, payload, at_ms, **how)


def reading_of(intake: Intake) -> Reading:
    assert intake.rejects == ()
    (reading,) = intake.readings
    return reading


def reason_of(intake: Intake) -> str:
    assert intake.readings == ()
    (reject,) = intake.rejects
    return reject.reason
