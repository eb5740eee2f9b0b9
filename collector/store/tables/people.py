"""What people did, and who they are: the journal, accounts, sign-ins.

Times here are wall time, except `journal.at`. No password, PIN, code or token is kept, only what it can be
checked against.
"""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, LargeBinary, String, Table, Text

from collector.store.tables.base import metadata, row_id
from collector.store.types import Json, UtcTime

journal = Table(
    "journal", metadata, row_id(),
    Column("at", UtcTime, nullable=False),
    Column("wall_at", UtcTime, nullable=False),
    Column("who", String, nullable=False),
    Column("action", String, nullable=False),
    Column("subject", String, nullable=False),    # "alarm 12"
    Column("before", Json),
    Column("after", Json),
    Column("why", Text),
    Column("previous_digest", LargeBinary, nullable=False, unique=True),  # no two follow the same one
    Column("digest", LargeBinary, nullable=False, unique=True),
)
Index("ix_journal_action", journal.c.action, journal.c.id)

accounts = Table(
    "accounts", metadata, row_id(),
    Column("name", String, nullable=False),       # as people write it
    Column("name_key", String, nullable=False, unique=True),  # no two names that read alike
    Column("roles", Json, nullable=False),        # ["operator", "technician"]
    Column("password_hash", Text),                # Argon2id; null: none was chosen yet
    Column("pin_hash", Text),                     # Argon2id; null: no PIN
    Column("created_at", UtcTime, nullable=False),
    Column("created_by", String, nullable=False),
    Column("disabled_at", UtcTime),               # never deleted: the journal names them
    Column("provider_issuer", String),            # whose word it is that somebody is this person
    Column("provider_subject", String),           # what that provider calls them; it never gives it again
)
Index("uq_accounts_provider", accounts.c.provider_issuer, accounts.c.provider_subject, unique=True)

sign_ins = Table(
    "sign_ins", metadata, row_id(),
    Column("token_digest", LargeBinary, nullable=False, unique=True),
    Column("account_id", ForeignKey("accounts.id"), index=True),  # null: the terminal
    Column("kind", String, nullable=False),       # browser | pin | provider | terminal
    Column("at", UtcTime, nullable=False),
    Column("expires_at", UtcTime, nullable=False),
    Column("ended_at", UtcTime),
    Column("address", String),
)

sign_in_codes = Table(
    "sign_in_codes", metadata, row_id(),
    Column("code_digest", LargeBinary, nullable=False, unique=True),
    Column("account_id", ForeignKey("accounts.id")),  # null: whoever becomes the first admin
    Column("at", UtcTime, nullable=False),
    Column("expires_at", UtcTime, nullable=False),
    Column("used_at", UtcTime),
)

sign_in_attempts = Table(
    "sign_in_attempts", metadata, row_id(),
    Column("at", UtcTime, nullable=False),
    Column("name_key", String, nullable=False),
    Column("address", String, nullable=False),
    Column("kind", String, nullable=False),       # password | pin | code
    Column("worked", Boolean, nullable=False),
)
Index("ix_sign_in_attempts_name", sign_in_attempts.c.name_key, sign_in_attempts.c.at)
Index("ix_sign_in_attempts_address", sign_in_attempts.c.address, sign_in_attempts.c.at)

sign_in_states = Table(                           # each used up by one sign-in at a provider
    "sign_in_states", metadata,
    Column("state_digest", LargeBinary, primary_key=True),
    Column("expires_at", UtcTime, nullable=False),
)

sign_in_keys = Table(
    "sign_in_keys", metadata,
    Column("id", Integer, primary_key=True),      # always 1
    Column("signing_key", LargeBinary, nullable=False),  # signs the cookies of this store's screens
)
