"""What is entered on the screens of a first visit: an invented farm."""

import re

TOKEN = re.compile(r'name="form_token" value="([^"]+)"')
CORNERS = "41.62, -96.95\n41.62, -96.94\n41.63, -96.94\n41.63, -96.95"
PLACE = {"place": "41.625, -96.945", "farm_name": "Invented", "units": "us", "language": "en"}
SPRAYER = {
    "width": "90 ft",
    "height": "20 in",
    "speed": "6 mph",
    "tank": "1000 gal",
    "efficiency": "65 %",
    "fill": "20 min",
    "nozzle": "air induction",
    "droplets": "coarse",
    "carrier": "15 gal/acre",
}
