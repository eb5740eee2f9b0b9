"""Who acts: accounts, passwords and PINs, signing in, and which act needs which role.

`roles` says who may do what; `secret` makes and checks what people know; `attempts` limits guessing;
`sign_in` gives a :class:`~collector.people.person.Person`, the only form of a name that a store with accounts
lets act; `codes` hands out the one-time codes with which a first password is chosen. The check itself is made
where the journal is written (:mod:`collector.store.permit`), in the transaction of the act.
"""
