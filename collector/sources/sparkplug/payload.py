"""Payloads of Sparkplug B: from bytes to metrics, and the one command that we send.

The protobuf messages are described here field by field, as chapter 6 of the standard numbers them; data sets,
templates, metadata and bodies are not, so that protobuf passes over them.

References
----------
ISO/IEC 20237:2023, 6.4 (payload components and data types); Protocol Buffers Encoding (wire format).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from google.protobuf import descriptor_pb2, descriptor_pool, message_factory
from google.protobuf.message import DecodeError, Message

from collector.contract.unreadable import Unreadable

__all__ = ["Metric", "Payload", "Value", "as_signed", "decode", "rebirth_command"]

Value = bool | int | float | str
REBIRTH = "Node Control/Rebirth"
GOOD = 192  # of the property Quality; 0 is bad, 500 stale
BOOLEAN = 11
_SIGNED_BITS = {1: 8, 2: 16, 3: 32, 4: 64}  # Int8 to Int64 travel as unsigned numbers, in two's complement
_LARGEST_METRICS = 20_000

_Field = descriptor_pb2.FieldDescriptorProto
_SCALARS = {
    "bool": _Field.TYPE_BOOL, "double": _Field.TYPE_DOUBLE, "float": _Field.TYPE_FLOAT,
    "string": _Field.TYPE_STRING, "uint32": _Field.TYPE_UINT32, "uint64": _Field.TYPE_UINT64,
}  # fmt: skip
_VALUES = ("int_value", "long_value", "float_value", "double_value", "boolean_value", "string_value")
_KINDS = ("uint32", "uint64", "float", "double", "bool", "string")


@dataclass(frozen=True, slots=True)
class Metric:
    """One metric as it was sent.

    Attributes
    ----------
    name : str or None
        Absent where the alias stands for it.
    alias : int or None
    at_ms : int or None
        Time of the value, UTC, in milliseconds since 1970.
    datatype : int or None
        Absent in data messages, whose metrics have that of their birth.
    value : bool, int, float, str or None
        None is no value: null, or of a kind that is not read here.
    good : bool
        False where the property Quality says anything but good.
    historical : bool
        Kept by the edge node while it was offline; says nothing about now.
    """

    name: str | None
    alias: int | None
    at_ms: int | None
    datatype: int | None
    value: Value | None
    good: bool
    historical: bool


@dataclass(frozen=True, slots=True)
class Payload:
    """A payload with its time (ms since 1970), its sequence number and its metrics."""

    at_ms: int | None
    seq: int | None
    metrics: tuple[Metric, ...]


def decode(raw: bytes) -> Payload:
    """Read a payload.

    Raises
    ------
    Unreadable
        When it is none.
    """
    payload: Any = _new("Payload")
    try:
        payload.ParseFromString(raw)
    except DecodeError as error:
        raise Unreadable(
            "not_protobuf",
            f"the payload is no Sparkplug B protobuf ({error})",
            "let the edge node publish Sparkplug B payloads under this topic",
        ) from error
    if len(payload.metrics) > _LARGEST_METRICS:
        raise Unreadable(
            "too_large", f"the payload has {len(payload.metrics)} metrics", "spread them over devices"
        )
    return Payload(
        at_ms=payload.timestamp if payload.HasField("timestamp") else None,
        seq=payload.seq if payload.HasField("seq") else None,
        metrics=tuple(_metric(each) for each in payload.metrics),
    )


def as_signed(value: Value | None, datatype: int | None) -> Value | None:
    """A number in its data type: what travels unsigned may be meant signed."""
    bits = _SIGNED_BITS.get(datatype or 0)
    if bits is None or not isinstance(value, int) or isinstance(value, bool):
        return value
    value &= (1 << bits) - 1
    return value - (1 << bits) if value >> (bits - 1) else value


def rebirth_command(at_ms: int) -> bytes:
    """The payload that asks an edge node for its births."""
    payload: Any = _new("Payload")
    payload.timestamp = at_ms
    metric = payload.metrics.add()
    metric.name, metric.timestamp, metric.datatype, metric.boolean_value = REBIRTH, at_ms, BOOLEAN, True
    raw: bytes = payload.SerializeToString()
    return raw


def _metric(metric: Any) -> Metric:
    datatype = metric.datatype if metric.HasField("datatype") else None
    return Metric(
        name=_text(metric.name) if metric.HasField("name") else None,
        alias=metric.alias if metric.HasField("alias") else None,
        at_ms=metric.timestamp if metric.HasField("timestamp") else None,
        datatype=datatype,
        value=None if metric.is_null else _value(metric),
        good=_is_good(metric.properties),
        historical=metric.is_historical,
    )


def _value(metric: Any) -> Value | None:
    chosen = metric.WhichOneof("value")
    value: Value | None = None if chosen is None else getattr(metric, chosen)
    return _text(value) if chosen == "string_value" else value


def _text(sent: Any) -> str:
    """A text; protobuf hands out bytes where it was not written in UTF-8."""
    return sent.decode("utf-8", "replace") if isinstance(sent, bytes) else str(sent)


def _is_good(properties: Any) -> bool:
    for key, value in zip(properties.keys, properties.values, strict=False):
        if key == "Quality":
            return bool(_value(value) == GOOD)
    return True


def _new(name: str) -> Message:
    return _CLASSES[f"evenrun.sparkplug.{name}"]()


def _described() -> dict[str, type[Message]]:
    """The classes of the messages below, made from their numbers."""
    file = descriptor_pb2.FileDescriptorProto(
        name="evenrun/sparkplug_b.proto", package="evenrun.sparkplug", syntax="proto2"
    )
    values = list(zip(_VALUES, _KINDS, strict=True))
    _message(file, "PropertyValue", [(1, "type", "uint32"), (2, "is_null", "bool")], values, first=3)
    _message(file, "PropertySet", [(1, "keys", "string*"), (2, "values", "PropertyValue*")])
    flags = [(5, "is_historical", "bool"), (6, "is_transient", "bool"), (7, "is_null", "bool")]
    _message(
        file, "Metric",
        [
            (1, "name", "string"), (2, "alias", "uint64"), (3, "timestamp", "uint64"),
            (4, "datatype", "uint32"), *flags, (9, "properties", "PropertySet"),
        ],
        values, first=10,
    )  # fmt: skip
    _message(file, "Payload", [(1, "timestamp", "uint64"), (2, "metrics", "Metric*"), (3, "seq", "uint64")])
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    classes: dict[str, type[Message]] = message_factory.GetMessageClassesForFiles([file.name], pool)
    return classes


def _message(
    file: descriptor_pb2.FileDescriptorProto,
    name: str,
    numbered: list[tuple[int, str, str]],
    values: list[tuple[str, str]] | None = None,
    *,
    first: int = 0,
) -> None:
    """Describe one message: its fields by number, and one of `values` from number `first` on."""
    message = file.message_type.add(name=name)
    for number, field, kind in numbered:
        _field(message, number, field, kind)
    if values:
        message.oneof_decl.add(name="value")
        for number, (field, kind) in enumerate(values, first):
            _field(message, number, field, kind).oneof_index = 0


def _field(message: descriptor_pb2.DescriptorProto, number: int, name: str, kind: str) -> Any:
    """Add a field; a star means that it is repeated."""
    label = _Field.LABEL_REPEATED if kind.endswith("*") else _Field.LABEL_OPTIONAL
    plain = kind.rstrip("*")
    if plain in _SCALARS:
        return message.field.add(name=name, number=number, label=label, type=_SCALARS[plain])
    return message.field.add(
        name=name, number=number, label=label, type=_Field.TYPE_MESSAGE,
        type_name=f".evenrun.sparkplug.{plain}",
    )  # fmt: skip


_CLASSES = _described()
