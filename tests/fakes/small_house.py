"""A small farm with two tanks of sap, an RO and a pan, and a picture of it from levels told as functions of time."""

from shared.estimates.picture import new_picture, observe
from shared.readings import Reading
from shared.units import to_si

MINUTE_MS = 60_000
NOW = 1_774_299_600_000
"""2026-03-23 17:00 in New York."""
GALLONS_AN_INCH = 5 * 5 * 7.480519 / 12
"""Both tanks of sap are boxes of 5 by 5 ft; the concentrate's is as wide."""

SMALL_HOUSE = """
[farm]
id = "small"
name = "Small House"
timezone = "America/New_York"
elevation_ft = 900
latitude_deg = 44.0
longitude_deg = -73.0
[[tank]]
id = "lower"
shape = "box"
length_ft = 5
width_ft = 5
height_ft = 8
holds = "sap"
drains_to = "upper"
[[tank]]
id = "upper"
shape = "box"
length_ft = 5
width_ft = 5
height_ft = 8
holds = "sap"
[[tank]]
id = "concentrate"
shape = "box"
length_ft = 5
width_ft = 5
height_ft = 2
holds = "concentrate"
[[sensor]]
id = "lower-level"
quantity = "level"
unit = "in"
tank = "lower"
interval_s = 60
[[sensor]]
id = "upper-level"
quantity = "level"
unit = "in"
tank = "upper"
interval_s = 60
[[sensor]]
id = "concentrate-level"
quantity = "level"
unit = "in"
tank = "concentrate"
interval_s = 60
[[contact]]
id = "owner"
name = "Wren"
channel = [{ id = "phone", url = "terminal:" }]
[ro]
feed_gal_h = 500
takes_from = ["upper"]
concentrate_to = "concentrate"
concentrate_brix = 12
[evaporator]
water_gal_h = 90
"""


def lived(farm, levels, hours, *, now_ms=NOW):
    """The picture after so many hours; `levels` give gallons by the hour, 0 being now and the past negative."""
    picture = new_picture(farm)
    for back_min in range(round(hours * 60), -1, -1):
        at_ms = now_ms - back_min * MINUTE_MS
        for number, (tank, gallons) in enumerate(levels.items()):
            # A sensor's last digit, so that the level is not taken for stuck.
            jitter = ((back_min * 7919 + number * 104_729) % 7 - 3) * 0.01
            inches = gallons(-back_min / 60) / GALLONS_AN_INCH + jitter
            observe(picture, farm, Reading(f"{tank}-level", at_ms, to_si(inches, "in"), at_ms))
    picture.listening_ms = now_ms - round(hours * 60) * MINUTE_MS
    return picture
