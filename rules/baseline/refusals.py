"""What a phase I study cannot be made from: the errors it raises, each a ``ValueError`` with a remedy.

```
ValueError
├── TooFewValues       collect more
├── ConstantValues     give the resolution, or watch for change
└── InfiniteValue      leave it out, or mark it missing
```

Our own names; no source.
"""

from __future__ import annotations

from rules.series import InfiniteValue

__all__ = ["ConstantValues", "InfiniteValue", "TooFewValues"]


class TooFewValues(ValueError):
    """Fewer values are present than the question needs."""


class ConstantValues(ValueError):
    """All values are the same and no resolution is known, so there is no spread to judge by."""
