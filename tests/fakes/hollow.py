"""An invented farm whose every name and number of a place could be found again by a search."""

from shared.farm_file import parse_farm

FARM = parse_farm("""
[farm]
id = "zebulon-hollow"
name = "Zebulon Quimby's"
timezone = "America/New_York"
elevation_ft = 1450
latitude_deg = 44.4321
longitude_deg = -72.6543

[[line]]  # behind Ottoline's barn
id = "ottoline"
kind = "conductor"
length_ft = 900
bore_in = 1.5

[[line]]
id = "barnaby-ridge"
kind = "mainline"
parent = "ottoline"
joins_at_ft = 300
length_ft = 800
bore_in = 1
taps = 410

[[tank]]
id = "quimby-vat"
shape = "vertical"
diameter_ft = 8
height_ft = 5
drains_to = "old-nellie"

[[tank]]
id = "old-nellie"
shape = "dipstick"
dipstick_in_gal = [[0, 0], [40, 800]]
rules = { tank_nearly_full = { trip_time_to_full_min = 30, clear_time_to_full_min = 40 } }

[ro]
feed_gal_h = 500
takes_from = ["quimby-vat"]
concentrate_to = "old-nellie"

[evaporator]
water_gal_h = 90
takes_from = "old-nellie"

[[sensor]]
id = "barnaby-far"
quantity = "vacuum"
unit = "inHg"
line = "barnaby-ridge"

[[sensor]]
id = "nellie-level"
quantity = "level"
unit = "in"
tank = "old-nellie"
topic = "quimby/lora/eui-70b3d5"
field = "/nellies/stick"
time_field = "/nellies/at"

[[sensor]]
id = "nellie-warmth"
quantity = "sap_temperature"
unit = "degC"
tank = "old-nellie"
topic = "quimby/lora/eui-70b3d5"
field = "/nellies/warmth"

[[contact]]
id = "zeb"
name = "Zebulon Quimby"

[[contact.channel]]
id = "phone"
url = "tel://8025550123"
""")
