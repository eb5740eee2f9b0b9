"""What a Sparkplug B message says, in words, for whoever writes its mapping."""

from __future__ import annotations

from collector.sources.sparkplug.payload import Metric, as_signed, decode
from collector.sources.sparkplug.topics import read_topic

__all__ = ["is_sparkplug", "metrics_of"]

# Data types by number: ISO/IEC 20237:2023, 6.4.
TYPES = (
    "unknown", "Int8", "Int16", "Int32", "Int64", "UInt8", "UInt16", "UInt32", "UInt64", "Float", "Double",
    "Boolean", "String", "DateTime", "Text", "UUID", "DataSet", "Bytes", "File", "Template",
)  # fmt: skip


def is_sparkplug(topic: str) -> bool:
    """Whether a topic is one of an edge node's or a device's messages."""
    return read_topic(topic) is not None


def metrics_of(payload: bytes) -> list[tuple[str, str]]:
    """Each metric of a payload: its name, or its alias where it has only that, and its type and value.

    Raises
    ------
    Unreadable
        When it is no Sparkplug B payload.
    """
    return [(_name(each), _value(each)) for each in decode(payload).metrics]


def _name(metric: Metric) -> str:
    return metric.name or f"alias {metric.alias}"


def _value(metric: Metric) -> str:
    known = metric.datatype is not None and metric.datatype < len(TYPES)
    kind = f"{TYPES[metric.datatype or 0]} " if known else ""
    value = as_signed(metric.value, metric.datatype)
    told = "no value" if value is None else repr(value)
    return f"{kind}{told}{'' if metric.good else ', not good'}{', historical' if metric.historical else ''}"
