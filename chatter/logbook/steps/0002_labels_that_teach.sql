-- Labels of passes: how each is known, where the pass lay, and whether it was said blind; what
-- was learned from them; and what each idle recording says of its machine.

ALTER TABLE labels ADD COLUMN how_known TEXT NOT NULL DEFAULT '';
ALTER TABLE labels ADD COLUMN start_s REAL;
ALTER TABLE labels ADD COLUMN end_s REAL;
ALTER TABLE labels ADD COLUMN blind INTEGER NOT NULL DEFAULT 0 CHECK (blind IN (0, 1));

CREATE TABLE tunings (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    machine TEXT REFERENCES machines (uid),
    made_by TEXT NOT NULL,
    tuning_json TEXT NOT NULL CHECK (json_valid(tuning_json))
) STRICT;

CREATE TABLE voices (
    number INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    recording TEXT NOT NULL REFERENCES recordings (uid),
    rev_min REAL NOT NULL,
    made_by TEXT NOT NULL,
    voice_json TEXT NOT NULL CHECK (json_valid(voice_json))
) STRICT;
