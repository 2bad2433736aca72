-- The first book.  STRICT: a column takes only its own type.  Rows name each other by uid.

CREATE TABLE machines (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    name TEXT NOT NULL,
    card TEXT NOT NULL,
    facts TEXT NOT NULL CHECK (json_valid(facts)),
    note TEXT NOT NULL
) STRICT;

CREATE TABLE cutters (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    name TEXT NOT NULL,
    card TEXT NOT NULL,
    facts TEXT NOT NULL CHECK (json_valid(facts)),
    note TEXT NOT NULL
) STRICT;

CREATE TABLE regrinds (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    cutter TEXT NOT NULL REFERENCES cutters (uid),
    ground_on TEXT NOT NULL,
    note TEXT NOT NULL
) STRICT;

CREATE TABLE recordings (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
    name TEXT NOT NULL,
    size_bytes INTEGER NOT NULL,
    keeping TEXT NOT NULL CHECK (keeping IN ('copy', 'reference')),
    place TEXT NOT NULL,
    kind TEXT NOT NULL,
    duration_s REAL,
    machine TEXT REFERENCES machines (uid),
    phone TEXT NOT NULL,
    position TEXT NOT NULL,
    hours REAL,
    recorded_at TEXT,
    dated_by TEXT NOT NULL,
    simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)),
    note TEXT NOT NULL
) STRICT;
CREATE INDEX recordings_of_machine ON recordings (machine);

CREATE TABLE jobs (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    card TEXT NOT NULL,
    facts TEXT NOT NULL CHECK (json_valid(facts)),
    machine TEXT REFERENCES machines (uid),
    cutter TEXT REFERENCES cutters (uid)
) STRICT;

CREATE TABLE listens (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    recording TEXT NOT NULL REFERENCES recordings (uid),
    job TEXT NOT NULL REFERENCES jobs (uid),
    findings_json TEXT NOT NULL CHECK (json_valid(findings_json)),
    schema_version INTEGER NOT NULL,
    made_by TEXT NOT NULL,
    verdict TEXT NOT NULL,
    confidence REAL NOT NULL,
    heard_at TEXT NOT NULL
) STRICT;
CREATE INDEX listens_of_recording ON listens (recording);

CREATE TABLE taps (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    findings_json TEXT NOT NULL CHECK (json_valid(findings_json)),
    schema_version INTEGER NOT NULL,
    tapped_at TEXT NOT NULL,
    what TEXT NOT NULL,
    machine TEXT REFERENCES machines (uid),
    cutter TEXT REFERENCES cutters (uid),
    recording TEXT REFERENCES recordings (uid)
) STRICT;

CREATE TABLE notes (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    text TEXT NOT NULL,
    machine TEXT REFERENCES machines (uid),
    cutter TEXT REFERENCES cutters (uid),
    recording TEXT REFERENCES recordings (uid)
) STRICT;

CREATE TABLE surfaces (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    sign TEXT NOT NULL,
    face TEXT NOT NULL,
    seen_on TEXT,
    machine TEXT REFERENCES machines (uid),
    cutter TEXT REFERENCES cutters (uid),
    recording TEXT REFERENCES recordings (uid),
    note TEXT NOT NULL
) STRICT;

CREATE TABLE labels (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    recording TEXT NOT NULL REFERENCES recordings (uid),
    verdict TEXT NOT NULL,
    cure TEXT NOT NULL,
    pass_index INTEGER,
    by TEXT NOT NULL,
    note TEXT NOT NULL
) STRICT;

CREATE TABLE photos (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    name TEXT NOT NULL,
    size_bytes INTEGER NOT NULL,
    place TEXT NOT NULL,
    caption TEXT NOT NULL,
    taken_at TEXT,
    machine TEXT REFERENCES machines (uid),
    cutter TEXT REFERENCES cutters (uid),
    recording TEXT REFERENCES recordings (uid)
) STRICT;

CREATE TABLE compares (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    title TEXT NOT NULL,
    sentence TEXT NOT NULL,
    result_json TEXT NOT NULL CHECK (json_valid(result_json)),
    schema_version INTEGER NOT NULL,
    recordings TEXT NOT NULL CHECK (json_valid(recordings))
) STRICT;

CREATE TABLE earlier (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    of_table TEXT NOT NULL,
    of_uid TEXT NOT NULL,
    row_json TEXT NOT NULL CHECK (json_valid(row_json))
) STRICT;
