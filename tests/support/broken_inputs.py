"""A hundred inputs that cannot be, over every screen and form: where, what, and its mend.

``(page, field, typed, said)``: of the mend as much as tells it from others.
"""

import json
from collections.abc import Sequence

Broken = Sequence[tuple[str, str, str, str]]

_UNIT = "write a number with its unit"
_NUMBER = "does not start with a number"
_BELIEVED = "is outside what is believed"
_CHOICE = "is not one of the choices"
_CORNERS = "41.62, -96.95\n41.63, -96.94\n41.63, -96.95\n41.62, -96.94"
_METRES = {"type": "Polygon", "coordinates": [[[5e5, 4.6e6], [6e5, 4.6e6], [6e5, 4.7e6]]]}
_PLACE = "write latitude, longitude"
_PASTE = "paste one whole message"

FIRST_VISIT: Broken = (
    ("place", "place", "by the river", _PLACE),
    ("place", "place", "", _PLACE),
    ("place", "place", "41.62", _PLACE),
    ("place", "place", "95, 10", _PLACE),
    ("place", "place", "geo:41.62", _PLACE),
    ("place", "place", "41° 75' N, 96° 57' W, near the barn", _PLACE),
    ("place", "units", "furlongs", _CHOICE),
    ("place", "language", "xx", _CHOICE),
    ("place", "zone", "Mars/Base", "time zone"),
    ("field", "corners", "", "paste GeoJSON"),
    ("field", "corners", "41.62, -96.95", "add the corners that are missing"),
    ("field", "corners", "41.62, -96.95\nby the tree\n41.63, -96.94", _PLACE),
    ("field", "corners", "<kml/>", "paste GeoJSON"),
    ("field", "corners", "<gpx", "paste GeoJSON"),
    ("field", "corners", "{", "paste GeoJSON"),
    ("field", "corners", "data:application/zip;base64,AAAA", "export it again"),
    ("field", "corners", json.dumps(_METRES), "export"),
    ("field", "corners", _CORNERS, "crosses"),
    ("field", "corners", "10, 10\n10, 10.00001\n10.00001, 10", "check its corners"),
    ("crop", "canopy", "12", _UNIT),
    ("crop", "canopy", "12 acres", "does not fit here"),
    ("crop", "canopy", "tall", _NUMBER),
    ("crop", "canopy", "90 ft", _BELIEVED),
    ("crop", "weeds", "jungle", _CHOICE),
    ("crop", "target", "everything", _CHOICE),
    ("crop", "latest", "soon", "must be a date"),
    ("crop", "latest", "2026-02-30", "must be a date"),
    ("sides?field=hill_piece", "north:minds", "a lot", _CHOICE),
    ("sides?field=hill_piece", "north:grows", "", "write what grows or lives there"),
    ("sprayer", "width", "90", _UNIT),
    ("sprayer", "width", "900 ft", _BELIEVED),
    ("sprayer", "width", "wide", _NUMBER),
    ("sprayer", "height", "20", _UNIT),
    ("sprayer", "speed", "60 mph", _BELIEVED),
    ("sprayer", "speed", "6 gal", "does not fit here"),
    ("sprayer", "tank", "1000", _UNIT),
    ("sprayer", "efficiency", "650 %", _BELIEVED),
    ("sprayer", "fill", "20", _UNIT),
    ("sprayer", "fill", "9 h", _BELIEVED),
    ("sprayer", "nozzle", "garden hose", _CHOICE),
    ("sprayer", "droplets", "wet", _CHOICE),
    ("sprayer", "carrier", "15 gal", "does not fit here"),
    ("label", "wind:high", "10", _UNIT),
    ("label", "wind:high", "fast", _NUMBER),
    ("label", "wind:high", "10 mhp", "is not known"),
    ("label", "wind:low", "12 mph", "mph"),
    ("label", "wind:origin", "god", _CHOICE),
    ("label", "gust:high", "15", _UNIT),
    ("label", "temperature:high", "85 mph", "does not fit here"),
    ("label", "temperature:high", "85", _UNIT),
    ("label", "rain_free_after:low", "1 mph", "does not fit here"),
    ("label", "after_sunrise:low", "soon", _NUMBER),
    ("label", "before_sunset:low", "30", _UNIT),
    ("feed", "feed", "crystal ball", _CHOICE),
    ("station", "sent", "good morning", _PASTE),
    ("station", "sent", "{", _PASTE),
    ("station", "sent", "[]", _PASTE),
    ("station", "sent", '{"color": "blue"}', _PASTE),
    ("station", "sent", "", "let it post"),
    ("phone", "new_name", "json://127.0.0.1/phone", "write it below, and a short name here"),
    ("phone", "new_name", "ana", "Type the push address"),
    ("phone", "address", "nfty://127.0.0.1/phone", "did you mean ntfy://?"),
    ("phone", "address", "mailto://at-home", "a part is missing or wrong"),
    ("phone", "address", "at home", "a scheme, ://, and no spaces"),
    ("phone", "grower:start", "late", "must be a time of day"),
    ("phone", "grower:start", "21:30", "is missing"),
    ("phone", "grower:end", "25:00", "must be a time of day"),
)
"""Of the first visit, with everything else on the screen as it should be."""

_HILL, _BOUND = "/fields/hill/change", "/fields/hill/bound"
_BOOM, _SETUP = "/farm/sprayers/boom", "/farm/setups/coarse"
_WINDOW, _PRODUCT = "/farm/windows/contact", "/farm/products/a"
_GROWER = "/farm/people/grower"

PAGES: Broken = (
    (_HILL, "canopy", "30", _UNIT),
    (_HILL, "canopy", "300 ft", _BELIEVED),
    (_HILL, "canopy", "tall", _NUMBER),
    (_HILL, "latest", "soon", "must be a date"),
    (_HILL, "done_on", "2026-13-40", "must be a date"),
    (_HILL, "weeds", "claen", "did you mean"),
    (_HILL, "window", "contakt", "did you mean"),
    (_HILL, "crop", "", "is missing"),
    (f"{_BOUND}/wind", "field:high", "10", _UNIT),
    (f"{_BOUND}/wind", "field:high", "12 mph", "is looser than the label"),
    (f"{_BOUND}/wind", "field:high", "10 mhp", "is not known"),
    (f"{_BOUND}/wind", "window:low", "11 mph", "mph"),
    (f"{_BOUND}/wind", "window:origin", "mine", _CHOICE),
    (f"{_BOUND}/humidity", "window:low", "120 %", _BELIEVED),
    (f"{_BOUND}/rain_free_after", "window:low", "soon", _NUMBER),
    (_GROWER, "start", "22:00", "is missing"),
    (_GROWER, "end", "25:00", "must be a time of day"),
    (_GROWER, "form", "pigeon", _CHOICE),
    (_GROWER, "backup", "nobody_known", "nobody_known"),
    (_GROWER, "most_an_hour", "many", "must be a whole number"),
    (_GROWER, "most_an_hour", "0", "must be greater than or equal to 1"),
    (_BOOM, "kind", "drone", "ground"),
    (_BOOM, "boom_width", "90", _UNIT),
    (_BOOM, "boom_width", "", "is missing"),
    (_BOOM, "boom_height", "20 gal", "does not fit here"),
    (_BOOM, "speed", "90 mph", _BELIEVED),
    (_BOOM, "tank", "full", _NUMBER),
    (_BOOM, "field_efficiency", "300 %", _BELIEVED),
    (_BOOM, "fill_time", "a while", _NUMBER),
    (_BOOM, "slowest", "4", _UNIT),
    (_SETUP, "sprayer", "bom", "did you mean"),
    (_SETUP, "nozzle", "hose", _CHOICE),
    (_SETUP, "droplets", "corse", "did you mean"),
    (_SETUP, "carrier", "15", _UNIT),
    (_SETUP, "carrier", "", "is missing"),
    (_SETUP, "pressure", "40", _UNIT),
    (_SETUP, "drift_reduction", "150 %", _BELIEVED),
    (_SETUP, "nozzle_size", "99", _CHOICE),
    (_WINDOW, "wind:high", "10", _UNIT),
    (_WINDOW, "wind:low", "11 mph", "mph"),
    (_WINDOW, "gust:origin", "mine", _CHOICE),
    (_WINDOW, "humidity:low", "damp", _NUMBER),
    (_WINDOW, "droplets:low", "tiny", _CHOICE),
    (_WINDOW, "inversion:tolerate", "all", _CHOICE),
    (_WINDOW, "beside:susceptible", "sometimes", _CHOICE),
    (_PRODUCT, "name", "", "is missing"),
    (_PRODUCT, "registration", "", "is missing"),
    (_PRODUCT, "rate", "some", "must be an amount"),
    (_PRODUCT, "mode", "poison", _CHOICE),
    (_PRODUCT, "valid_until", "next year", "must be a date"),
    ("/farm/feed", "feed", "crystal ball", _CHOICE),
    ("/farm/feed", "feed", "", "is missing"),
    ("/farm/add/sprayers", "called", "", "say what you call it"),
    ("/farm/add/windows", "called", "", "say what you call it"),
    ("/farm/copy/windows/contact", "called", "", "say what you call it"),
)
"""Of the watch's own pages."""
