"""The words of headers for what a press measures: English, German, and the tokens of the old interface.

A header becomes a set of ideas, such as {pressure, injection, peak}; which quantity it is, others decide.

References
----------
OPC 40077 (EUROMAP 77): browse names such as TransferStroke, DosingTime and CushionVolume. EUROMAP 63:
tokens such as ActPrsXfrSpec[1] and ActTmpBrlZn[1,3], made of three-letter words. The rest is common
practice, no source.
"""

from __future__ import annotations

import re

# Words of four letters and more may stand anywhere in a longer one, as in German compounds; shorter ones, and
# those that other words hold by chance, must be a word of their own.
WORDS: dict[str, tuple[str, ...]] = {
    "actual": ("actual", "act", "ist", "istwert", "iw"),
    "set": ("setpoint", "set", "soll", "sollwert", "sp", "sw", "nominal", "target", "plan", "vorgabe"),
    "time": ("time", "zeit", "tim", "dauer", "duration"),
    "pressure": ("pressure", "druck", "prs", "pmax"),
    "temperature": ("temp", "tmp"),
    "volume": ("volume", "volumen", "vol"),
    "position": ("position", "pos", "stroke", "str", "weg", "hub", "punkt", "point", "stellung"),
    "speed": ("speed", "spd", "geschwindigkeit", "velocity", "geschw"),
    "rotation": ("drehzahl", "rotation", "rpm", "revolution"),
    "force": ("force", "kraft", "frc"),
    "torque": ("torque", "drehmoment"),
    "flow": ("flow", "durchfluss", "flw"),
    "weight": ("weight", "gewicht", "wgt", "wt"),
    "count": (
        "count",
        "counter",
        "cnt",
        "zaehler",
        "nummer",
        "number",
        "nr",
        "no",
        "num",
        "lfd",
        "laufende",
        "index",
    ),
    "peak": ("peak", "maximum", "max", "spitze", "pmax"),
    "minimum": ("minimum", "min"),
    "average": ("average", "avg", "mean", "mittel"),
    "integral": ("integral",),
    "injection": ("injection", "inject", "inj", "fill", "einspritz", "fuell", "spritz"),
    "switchover": ("switchover", "transfer", "xfr", "umschalt", "changeover", "um", "vp", "cutoff"),
    "hold": ("hold", "hld", "holding", "nachdruck", "pack", "packing"),
    "cooling": ("cooling", "kuehlzeit", "restkuehl", "cool", "col"),
    "recovery": ("recovery", "dosing", "dosier", "plast", "plst", "plastification", "dos", "metering"),
    "cushion": ("cushion", "cush", "csh", "polster"),
    "cycle": ("cycle", "zyklus", "cyc", "zykl"),
    "shot": ("shot", "schuss"),
    "back": ("back", "staudruck", "backpressure"),
    "screw": ("screw", "schnecke", "schnecken"),
    "start": ("start",),
    "size": ("size",),
    "hydraulic": ("hydraulic", "hyd", "hydr", "hydraulik"),
    "specific": ("specific", "spec", "spez", "melt", "massedruck"),
    "limit": ("limit", "grenze"),
    "barrel": ("barrel", "brl", "bbl", "zylinder", "zyl", "heating", "heat"),
    "zone": ("zone", "zn"),
    "nozzle": ("nozzle", "duese", "nzl", "noz"),
    "mold": ("mold", "mould", "mld", "werkzeug", "wkz", "tool"),
    "core": ("core", "kern", "moving", "auswerferseite", "as"),
    "cavity": ("cavity", "cav", "kavitaet", "nest", "fixed", "duesenseite", "ds"),
    "coolant": ("coolant", "water", "wasser", "kuehlwasser", "vorlauf", "ruecklauf"),
    "supply": ("supply", "inlet", "vorlauf", "in"),
    "return": ("return", "outlet", "ruecklauf", "out"),
    "open": ("open", "opening", "offen", "oeffnung"),
    "clamp": ("clamp", "clp", "clamping", "schliess", "locking"),
    "ambient": ("ambient", "umgebung", "room", "hall", "raum"),
    "oil": ("oil", "oel"),
    "part": ("part", "teil"),
    "dome": ("dome", "crown", "woelbung", "domhoehe", "dom"),
    "diameter": ("diameter", "durchmesser", "dia"),
    "inner": ("inner", "innen", "inside"),
    "roundness": ("roundness", "rundheit"),
    "width": ("width", "breite"),
    "height": ("height", "hoehe"),
    "thickness": ("thickness", "dicke"),
    "quality": ("quality", "qualitaet"),
}
# Words that mean something else by themselves (a press, a record), and beside which ideas they mean what.
_BESIDE = {
    "press": (
        "pressure",
        frozenset({"injection", "hold", "back", "switchover", "peak", "hydraulic", "specific"}),
    ),
    "rec": ("recovery", frozenset({"screw"})),
}
# What a unit says of a quantity, by the canonical unit of its kind.
OF_UNITS = {
    "s": "time", "MPa": "pressure", "degC": "temperature", "cm3": "volume", "mm": "position", "kN": "force",
    "g": "weight", "1/min": "rotation", "mm/s": "speed", "L/min": "flow", "N*m": "torque",
}
# Formula signs, in the letter case in which they are written; a small t only at the start of a name.
_SIGNS = {"p": "pressure", "T": "temperature", "V": "volume", "F": "force"}
# What takes a time, and has no temperature of its own; what is done under a pressure.
_ACTS = frozenset({"injection", "hold", "cooling", "recovery", "cycle"})
_PRESSED = frozenset({"injection", "hold", "back", "switchover", "peak"})
_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})
_CHANGEOVER = re.compile(r"(?:switch|change)[- _]?over", re.IGNORECASE)
_PARTS = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+")
_ALONE = frozenset(
    {"plan", "back", "room", "hall", "size", "mean", "part", "teil", "spec", "open", "core", "pack"}
)
_SHORT = {word: idea for idea, words in WORDS.items() for word in words if len(word) < 4 or word in _ALONE}
_LONG = [
    (word, idea) for idea, words in WORDS.items() for word in words if len(word) >= 4 and word not in _ALONE
]
TOKEN = re.compile(r"(?:Act|Set)[A-Z][A-Za-z]+(?:\[\d+(?:,\d+)?\])?")


def parts(name: str) -> list[str]:
    """The words of a name, as written: camel case, underscores and digits part them."""
    whole = _CHANGEOVER.sub("Switchover", name.replace("V/P", "VP"))
    return _PARTS.findall(whole.translate(_UMLAUTS))


def ideas(name: str, kind: str | None = None) -> frozenset[str]:
    """What a name speaks of; `kind` is what its unit speaks of, where it has one."""
    words = parts(name)
    found = {idea for word in words for idea in _of_word(word.lower())}
    letters = guessed_letters(name, kind)
    if len(words) > 1:
        signs = {_SIGNS[word] for word in words if word in _SIGNS and word not in letters}
        found |= signs | ({"time"} if words[0] == "t" else set()) | set(letters.values())
    beside = (_BESIDE[word.lower()] for word in words if word.lower() in _BESIDE)
    return frozenset(found | {idea for idea, others in beside if found & others})


def guessed_letters(name: str, kind: str | None = None) -> dict[str, str]:
    """What single letters of a name without a unit most likely stand for: T in INJ_T, P in P_MAX."""
    words = parts(name)
    found = {idea for word in words for idea in _of_word(word.lower())}
    letters = {}
    if words[-1:] == ["T"] and found & _ACTS and kind in {None, "time"}:
        letters["T"] = "time"
    if "P" in words and found & _PRESSED and kind is None and not found & set(OF_UNITS.values()):
        letters["P"] = "pressure"
    return letters


def _of_word(word: str) -> set[str]:
    if word in _SHORT:
        return {_SHORT[word]}
    return {idea for long, idea in _LONG if long in word}


def last_number(name: str) -> int | None:
    """The last number in a name: the zone in ActTmpBrlZn[1,3] and in T_zyl3_ist."""
    numbers = [int(part) for part in parts(name) if part.isdigit()]
    return numbers[-1] if numbers else None


def slug(name: str) -> str:
    """A key of our spelling made from a name."""
    plain = re.sub(r"[^a-z0-9]+", "_", name.translate(_UMLAUTS).lower()).strip("_")
    return re.sub(r"^[^a-z]+", "", plain)[:60] or "column"
