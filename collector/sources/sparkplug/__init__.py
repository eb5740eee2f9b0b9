"""Sparkplug B: edge nodes that report metrics by exception, as shots of this contract.

`topics` and `payload` read what comes, `order` puts it in the order of its sequence numbers, `session` keeps
what an edge node and its devices have told since their births, `shots` makes a shot of it by the mapping in
the settings, `host` is the connection with its STATE, and `work` brings all of it into the pipeline.

What is not sent is unchanged, not missing, so a value is carried forward until it changes; but only while it
is certain that nothing was lost. After a gap in the sequence numbers, a death, or a lost connection, a metric
counts as not written until the edge node has been born again.

References
----------
ISO/IEC 20237:2023 (Sparkplug 3.0), chapters 4 (topics), 5 (operational behavior) and 6 (payloads).
"""
