-- The record, version 2: the contact log, corrections of what the operator was doing, folds, and
-- seconds around what happened. Times as in version 1; `began_ms` and `ended_ms` are wall time as
-- the contact log has it, milliseconds since 1970 UTC.

-- Contacts as read from logs. A log read again finds each in its place and adds nothing.
CREATE TABLE contact (
    id INTEGER PRIMARY KEY,
    began_ms INTEGER NOT NULL,
    ended_ms INTEGER,
    band TEXT,
    mode TEXT,
    nth INTEGER NOT NULL,               -- of those alike in the log (logs in whole minutes): 0, 1, ...
    with_call TEXT                      -- only if the settings ask for it
);
-- Two NULLs are never the same to a unique index.
CREATE UNIQUE INDEX contact_once
    ON contact (began_ms, ifnull(band, ''), ifnull(mode, ''), nth);

-- What the operator was doing, put right afterwards or taken from the contact log. Of two that
-- overlap the later one holds.
CREATE TABLE doing (
    id INTEGER PRIMARY KEY,
    said INTEGER NOT NULL,              -- the first row's id: one word may span several boots
    boot INTEGER NOT NULL,
    from_s REAL NOT NULL,
    to_s REAL NOT NULL,
    activity TEXT,                      -- NULL: none
    origin TEXT NOT NULL                -- 'operator' or 'contacts'
);
CREATE INDEX doing_boot ON doing (boot);

-- The draw averaged over the period of a timed mode, one row for each stretch folded (about an
-- hour). Energies add up: energy_j = receive_j + transmit_j + decode_j. NULL: no such part.
CREATE TABLE fold (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL,
    from_s REAL NOT NULL,
    to_s REAL NOT NULL,
    seconds REAL NOT NULL,              -- of record that it rests on
    period_s REAL NOT NULL,             -- after this the draw repeats
    slot_s REAL NOT NULL,               -- in which one station sends
    mode TEXT,
    chance REAL NOT NULL,               -- that a draw without any period looks like this
    sent INTEGER NOT NULL,              -- slots with the key down
    slots INTEGER NOT NULL,
    energy_j REAL NOT NULL,
    receive_j REAL NOT NULL,
    transmit_j REAL, transmit_w REAL, transmit_begins_s REAL, transmit_lasts_s REAL,
    transmit_bridged INTEGER,
    decode_j REAL, decode_w REAL, decode_begins_s REAL, decode_lasts_s REAL,
    decode_bridged INTEGER,
    curve TEXT NOT NULL                 -- JSON: phase in hundredths of a second, milliwatts, ...
);
CREATE INDEX fold_boot ON fold (boot);

-- Second by second around what happened. `data` is JSON: "v" millivolts, "w" milliwatts, one for
-- each second from `from_s` on, null where nothing was read; `close_up_seconds` shows them singly.
CREATE TABLE close_up (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL,
    from_s REAL NOT NULL,
    n INTEGER NOT NULL,                 -- seconds
    why TEXT NOT NULL,
    data TEXT NOT NULL
);
CREATE INDEX close_up_boot ON close_up (boot);

CREATE VIEW close_up_seconds AS
SELECT c.id AS close_up, c.boot AS boot, c.from_s + v.key AS at_s,
    v.value / 1000.0 AS volts_v,
    json_extract(c.data, '$.w[' || v.key || ']') / 1000.0 AS power_w,
    c.why AS why
FROM close_up AS c, json_each(c.data, '$.v') AS v;
