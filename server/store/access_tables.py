"""The tables of who may do what: paired devices, codes to pair by, tokens of programs. No secret stands here
in clear but the key that signs cookies, which alone opens nothing."""

from sqlalchemy import JSON, BigInteger
from sqlmodel import Field

from server.store.tables import Row


class AccessKeyRow(Row, table=True):
    """The key that signs cookies: one row, made once."""

    __tablename__ = "access_key"
    id: int = Field(primary_key=True)
    key: str


class DeviceRow(Row, table=True):
    """A browser that was paired. key_hash: SHA-256 of the random key in its cookie."""

    __tablename__ = "device"
    id: int | None = Field(default=None, primary_key=True)
    name: str
    role: str
    key_hash: str = Field(index=True)
    paired_wall_ms: int = Field(sa_type=BigInteger)
    seen_wall_ms: int = Field(sa_type=BigInteger)
    revoked_wall_ms: int | None = Field(default=None, sa_type=BigInteger)


class PairingCodeRow(Row, table=True):
    """A code that pairs one device. code_hash: Argon2id, for a code is short."""

    __tablename__ = "pairing_code"
    id: int | None = Field(default=None, primary_key=True)
    code_hash: str
    role: str
    until_wall_ms: int = Field(sa_type=BigInteger)
    used_wall_ms: int | None = Field(default=None, sa_type=BigInteger)


class TokenRow(Row, table=True):
    """A program's token. token_hash: SHA-256, for a token is 256 random bits."""

    __tablename__ = "api_token"
    id: int | None = Field(default=None, primary_key=True)
    name: str
    scopes: list[str] = Field(sa_type=JSON)
    token_hash: str = Field(index=True)
    made_wall_ms: int = Field(sa_type=BigInteger)
    seen_wall_ms: int | None = Field(default=None, sa_type=BigInteger)
    revoked_wall_ms: int | None = Field(default=None, sa_type=BigInteger)
