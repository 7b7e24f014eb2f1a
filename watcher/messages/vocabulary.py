"""The words of the judgement and of the farm file, each as a text of its own."""

from watcher.farm.models import (
    Adjuvant,
    DropletClass,
    NozzleKind,
    Origin,
    SprayerKind,
    Susceptibility,
    WeedPressure,
    Weeds,
)
from watcher.i18n.message import Message, say
from watcher.limits.catalogue import CATALOGUE, Limit
from watcher.limits.status import LimitState, Status
from watcher.weather.inversion import Finding

STATUS_WORDS: dict[Status, Message] = {
    Status.SUITABLE: say("suitable"),
    Status.MARGINAL: say("marginal"),
    Status.UNSUITABLE: say("unsuitable"),
    Status.UNKNOWN: say("unknown"),
}
STATE_WORDS: dict[LimitState, Message] = {
    LimitState.BROKEN: say("broken"),
    LimitState.UNKNOWN: say("unknown"),
    LimitState.NEAR: say("near"),
    LimitState.HOLDS: say("holds"),
}
LIMIT_WORDS: dict[Limit, Message] = {limit: entry.words for limit, entry in CATALOGUE.items()}
ORIGIN_WORDS: dict[Origin, Message] = {
    Origin.LABEL: say("label"),
    Origin.LAW: say("law"),
    Origin.STATE_LAW: say("state law"),
    Origin.NATIONAL_LAW: say("national law"),
    Origin.OWN: say("own"),
    Origin.DEFAULT: say("our default"),
}
SUSCEPTIBILITY_WORDS: dict[Susceptibility, Message] = {
    Susceptibility.TOLERANT: say("takes no harm"),
    Susceptibility.SUSCEPTIBLE: say("takes harm"),
    Susceptibility.VERY_SUSCEPTIBLE: say("takes harm from very little, or people live there"),
}
POINTS: dict[str, Message] = {
    "N": say("N"),
    "NE": say("NE"),
    "E": say("E"),
    "SE": say("SE"),
    "S": say("S"),
    "SW": say("SW"),
    "W": say("W"),
    "NW": say("NW"),
}
"""The points of the compass."""
DROPLET_WORDS: dict[DropletClass, Message] = {
    DropletClass.EXTREMELY_FINE: say("extremely fine"),
    DropletClass.VERY_FINE: say("very fine"),
    DropletClass.FINE: say("fine"),
    DropletClass.MEDIUM: say("medium"),
    DropletClass.COARSE: say("coarse"),
    DropletClass.VERY_COARSE: say("very coarse"),
    DropletClass.EXTREMELY_COARSE: say("extremely coarse"),
    DropletClass.ULTRA_COARSE: say("ultra coarse"),
}
NOZZLE_WORDS: dict[NozzleKind, Message] = {
    NozzleKind.FLAT_FAN: say("flat fan"),
    NozzleKind.PRE_ORIFICE: say("pre-orifice"),
    NozzleKind.TURBULENCE_CHAMBER: say("turbulence chamber"),
    NozzleKind.AIR_INDUCTION: say("air induction"),
    NozzleKind.HOLLOW_CONE: say("hollow cone"),
}
SPRAYER_WORDS: dict[SprayerKind, Message] = {
    SprayerKind.BOOM: say("boom"),
    SprayerKind.HOODED_BOOM: say("hooded boom"),
    SprayerKind.HAND_HELD: say("hand-held"),
    SprayerKind.AIR_BLAST: say("air-blast"),
}
NOZZLE_COLOURS: dict[str, Message] = {
    "orange": say("orange"),
    "green": say("green"),
    "yellow": say("yellow"),
    "lilac": say("lilac"),
    "blue": say("blue"),
    "brown-red": say("brown-red"),
    "red": say("red"),
    "brown": say("brown"),
    "grey": say("grey"),
    "white": say("white"),
    "light blue": say("light blue"),
    "light green": say("light green"),
    "black": say("black"),
    "pink": say("pink"),
}
"""The colours of nozzle sizes after ISO 10625."""
ADJUVANT_WORDS: dict[Adjuvant, Message] = {
    Adjuvant.NONE: say("none"),
    Adjuvant.POLYACRYLAMIDE: say("polyacrylamide"),
    Adjuvant.GUAR: say("guar"),
    Adjuvant.OTHER: say("another retardant"),
}
WEED_WORDS: dict[WeedPressure, Message] = {
    WeedPressure.CLEAN: say("few"),
    WeedPressure.MODERATE: say("some"),
    WeedPressure.WEEDY: say("many"),
}
"""How many weeds stand in a field."""
TARGET_WORDS: dict[Weeds, Message] = {
    Weeds.GRASSES: say("grasses"),
    Weeds.BROADLEAVES: say("broadleaves"),
    Weeds.MIXED: say("both"),
}
"""What is to be killed."""
FINDING_WORDS: dict[Finding, Message] = {
    Finding.UNKNOWN: say("no data"),
    Finding.NONE: say("none"),
    Finding.POSSIBLE: say("possible"),
    Finding.LIKELY: say("likely"),
    Finding.MEASURED: say("measured"),
}
"""What a line of evidence says of an inversion; no data is no finding."""
ALERT_WORDS: dict[str, Message] = {
    "limit broken": say("limit broken"),
    "limit unknown": say("limit unknown"),
    "wind likely over": say("wind likely over its limit"),
    "ends soon": say("ends soon"),
    "stopped lately": say("stopped lately"),
    "get ready": say("get ready"),
    "stop": say("stop"),
    "cannot see": say("cannot see"),
    "job forgotten": say("job forgotten"),
    "retardant worn": say("retardant worn"),
    "job not watched": say("job not watched"),
    "strip to leave": say("strip to leave"),
    "source silent": say("source silent"),
    "source stuck": say("source stuck"),
    "source implausible": say("source implausible"),
    "source clock ahead": say("source clock ahead"),
    "source distrusted": say("source distrusted"),
    "source disagrees": say("source disagrees"),
    "recipient unreachable": say("recipient unreachable"),
    "field open": say("field open"),
    "field closing": say("field closing"),
    "next step due": say("next step due"),
    "plan changed": say("plan changed"),
    "morning brief": say("morning brief"),
    "evening look-ahead": say("evening look-ahead"),
}
"""The kinds of conditions that rule groups look after."""
JOB_STATE_WORDS: dict[str, Message] = {
    "running": say("running"),
    "paused": say("paused"),
    "finished": say("finished"),
    "abandoned": say("abandoned"),
}
JOB_EVENT_WORDS: dict[str, Message] = {
    "started": say("started"),
    "paused": say("paused"),
    "resumed": say("resumed"),
    "setup changed": say("setup changed"),
    "finished": say("finished"),
    "abandoned": say("abandoned"),
    "measured by hand": say("measured by hand"),
    "rig changed": say("rig changed"),
}
MESSAGE_STATE_WORDS: dict[str, Message] = {
    "waiting": say("waiting"),
    "sending": say("sending"),
    "sent": say("sent"),
    "failed": say("failed"),
    "expired": say("expired"),
    "overtaken": say("overtaken"),
    "seen": say("seen"),
}
