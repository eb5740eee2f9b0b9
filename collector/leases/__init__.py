"""Several collectors on one store: who collects which presses.

The presses of a site are split into parts (`division`), one by default. A part is a lease in the store and a
session on the broker: the MQTT client id is the lease's name, so whoever holds the lease resumes the session
and with it every message that was not acknowledged. `keeper` takes, renews and gives up leases by `plan`;
`part` collects one part, `crew` all that this process holds.

Every session subscribes to the whole site; what belongs to another part is acknowledged unread. A
subscription for each press would spare the broker those copies, but no list of presses is complete before
a press's first message, and between two sessions of which one drops a topic and the other adds it messages
are lost or doubled. With one part there are no copies. A copy costs 71 microseconds of the processor, a
shot that is received, judged and stored 159 (measured with the messages of `bench_ingest` on SQLite), which
makes two parts on two machines 1.4 times as fast as one: several collectors are for staying up, and for speed
only then.

Invariants: nothing is stored for a part but in a transaction that has checked the part's fence, and nothing
is acknowledged but on the connection it came on. So a collector that stood still and wakes up can neither
commit nor acknowledge. Nothing here compares the clocks of two machines.
"""
