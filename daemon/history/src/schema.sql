-- The record, version 1. Open a copy of it with any SQLite tool (`outlast export --whole FILE`
-- makes one); while the daemon runs, the file itself is locked.
--
-- Times. Every row says in which boot it was taken and how many seconds after switching on
-- (`*_s`; sleep counted). Wall time is attached to the whole boot: where `boot.wall_at_boot_ms` is
-- known, a moment's wall time is `wall_at_boot_ms + 1000 * at_s`, in milliseconds since 1970 UTC.
-- Units are the last part of a name: v, a, w, wh, c (degrees Celsius), s, ms. NULL: not known.

-- One row for each time the board was switched on, in the order of happening.
CREATE TABLE boot (
    id INTEGER PRIMARY KEY,
    uuid TEXT NOT NULL UNIQUE,          -- the kernel's identity of the boot
    wall_at_boot_ms INTEGER,            -- wall time of the first moment, once it could be believed
    wall_within_ms INTEGER,             -- right within so much
    wall_from TEXT                      -- 'phone' or 'synchronised'
);

-- Every time the clock could be believed anew (only where it moved by more than its bound).
CREATE TABLE clock (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL REFERENCES boot(id),
    at_s REAL NOT NULL,
    wall_ms INTEGER NOT NULL,
    within_ms INTEGER NOT NULL,
    told_by TEXT NOT NULL
);

-- One row for each start of the daemon; how it ended is written by a clean stop only.
CREATE TABLE run (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL REFERENCES boot(id),
    began_s REAL NOT NULL,
    ended_s REAL,                       -- NULL: it did not end cleanly, or runs still
    how TEXT,                           -- 'stopped', 'restarting' or 'switching_off'
    version TEXT NOT NULL               -- of the daemon
);

-- The banks, as their owner tells of them.
CREATE TABLE bank (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    cells TEXT NOT NULL,                -- 'li-ion', 'lifepo4' or 'lead-acid'
    series INTEGER NOT NULL,
    label_ah REAL NOT NULL,
    label_v REAL NOT NULL,
    measured_at TEXT NOT NULL,          -- 'output', 'cells' or 'nowhere'
    ambient_c REAL,
    cutoff_v REAL,
    forgotten INTEGER NOT NULL DEFAULT 0 -- 1: not offered any more; its outings stay
);

-- The outings. `ended_s` is the last moment known to be part of it, `ended_by_s` the first one
-- known not to be; both in `ended_boot`.
CREATE TABLE outing (
    id INTEGER PRIMARY KEY,
    bank INTEGER REFERENCES bank(id),
    name TEXT,
    start_share REAL,                   -- how full the bank was, 0 to 1; NULL: unknown
    began_boot INTEGER NOT NULL REFERENCES boot(id),
    began_s REAL NOT NULL,
    ended_boot INTEGER REFERENCES boot(id),
    ended_s REAL,
    ended_by_s REAL,
    ending TEXT NOT NULL DEFAULT 'open', -- 'open', 'switched_off', 'died', 'power_lost', 'swapped'
    died_chance REAL,                   -- for 'power_lost': the chance that the bank died, 0 to 1
    energy_wh REAL,
    bridged_wh REAL,                    -- of that, over gaps
    mean_power_w REAL,
    peak_power_w REAL,
    lasted_s REAL                       -- time switched on, all its boots together
);

-- Which stretches of which boots belong to an outing, and on which bank. `off_before_s` is the
-- time switched off before it (NULL: unknown).
CREATE TABLE span (
    id INTEGER PRIMARY KEY,
    outing INTEGER NOT NULL REFERENCES outing(id),
    boot INTEGER NOT NULL REFERENCES boot(id),
    bank INTEGER REFERENCES bank(id),
    from_s REAL NOT NULL,
    to_s REAL,                          -- NULL: goes on
    off_before_s REAL
);

-- Ten-second rows, those of one commit in one record; `ten_seconds` shows them one by one. The id
-- is boot * 2^32 + the first row's beginning in tenths of a second (so no second tree of pages has
-- to be written for an index). `data` is JSON: for each channel three whole numbers a row: mean,
-- how far the smallest look lay below it, how far the largest above it; thousandths of the unit,
-- for the temperature ("t") tenths. `null,0,0` where there was no value.
CREATE TABLE fine (
    id INTEGER PRIMARY KEY,
    step_ds INTEGER NOT NULL,           -- length of a row, tenths of a second
    n INTEGER NOT NULL,                 -- how many rows
    due_s INTEGER NOT NULL,             -- so long after its last row the next commit was due
    data TEXT NOT NULL
);

-- Five-minute rows: mean, smallest and largest look. They stay when the fine rows go.
CREATE TABLE five (
    boot INTEGER NOT NULL,
    from_s INTEGER NOT NULL,
    volts_v_mean REAL, volts_v_min REAL, volts_v_max REAL,
    current_a_mean REAL, current_a_min REAL, current_a_max REAL,
    power_w_mean REAL, power_w_min REAL, power_w_max REAL,
    modelled_w_mean REAL, modelled_w_min REAL, modelled_w_max REAL,
    counted_wh_mean REAL, counted_wh_min REAL, counted_wh_max REAL,
    cpu_busy_mean REAL, cpu_busy_min REAL, cpu_busy_max REAL,
    cpu_temp_c_mean REAL, cpu_temp_c_min REAL, cpu_temp_c_max REAL,
    level_mean REAL, level_min REAL, level_max REAL,
    PRIMARY KEY (boot, from_s)
) WITHOUT ROWID;

-- The same by the hour, for drawing long stretches quickly.
CREATE TABLE hour (
    boot INTEGER NOT NULL,
    from_s INTEGER NOT NULL,
    volts_v_mean REAL, volts_v_min REAL, volts_v_max REAL,
    current_a_mean REAL, current_a_min REAL, current_a_max REAL,
    power_w_mean REAL, power_w_min REAL, power_w_max REAL,
    modelled_w_mean REAL, modelled_w_min REAL, modelled_w_max REAL,
    counted_wh_mean REAL, counted_wh_min REAL, counted_wh_max REAL,
    cpu_busy_mean REAL, cpu_busy_min REAL, cpu_busy_max REAL,
    cpu_temp_c_mean REAL, cpu_temp_c_min REAL, cpu_temp_c_max REAL,
    level_mean REAL, level_min REAL, level_max REAL,
    PRIMARY KEY (boot, from_s)
) WITHOUT ROWID;

-- What happened: marks, activities, alarms, undervoltage.
CREATE TABLE event (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL,
    at_s REAL NOT NULL,
    kind TEXT NOT NULL,
    text TEXT NOT NULL
);

-- What was read from, and when it did not answer.
CREATE TABLE source (
    id INTEGER PRIMARY KEY,
    ident TEXT NOT NULL UNIQUE,
    title TEXT NOT NULL
);
CREATE TABLE gap (
    id INTEGER PRIMARY KEY,
    source INTEGER NOT NULL REFERENCES source(id),
    boot INTEGER NOT NULL,
    from_s REAL NOT NULL,
    to_s REAL,                          -- NULL: it did not come back in this boot
    why TEXT NOT NULL
);

-- Forecasts, to be judged by what came.
CREATE TABLE forecast (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL,
    at_s REAL NOT NULL,
    p10_s REAL NOT NULL, p50_s REAL NOT NULL, p90_s REAL NOT NULL,
    basis TEXT NOT NULL,                -- 'measured', 'modelled' or 'gauge'
    delivered_wh REAL NOT NULL, bridged_wh REAL NOT NULL,
    usable_p10_wh REAL, usable_p50_wh REAL, usable_p90_wh REAL
);

-- Run-downs: a full bank discharged until it cut out ('whole'), or not so far ('cut_short').
CREATE TABLE rundown (
    id INTEGER PRIMARY KEY,
    bank INTEGER NOT NULL REFERENCES bank(id),
    outing INTEGER REFERENCES outing(id),
    origin TEXT NOT NULL,               -- 'seen' or 'imported'
    name TEXT,
    whole INTEGER NOT NULL,             -- 1: until it cut out
    struck INTEGER NOT NULL DEFAULT 0,  -- 1: taken back by the operator; nothing learns from it
    lasted_s REAL NOT NULL,
    within_s REAL NOT NULL,             -- the true duration is at most this much longer
    before_s REAL NOT NULL DEFAULT 0,   -- or this much shorter
    delivered_wh REAL,
    bridged_wh REAL,
    mean_power_w REAL,
    ambient_c REAL,
    basis TEXT NOT NULL,
    start_share REAL,
    detail TEXT                         -- what else the forecast learned from, as JSON
);

-- What must survive a restart: chosen bank, finish, activity.
CREATE TABLE choice (
    key TEXT PRIMARY KEY,
    value TEXT NOT NULL
) WITHOUT ROWID;

CREATE VIEW ten_seconds AS
WITH RECURSIVE n(k) AS (SELECT 0 UNION ALL SELECT k + 1 FROM n WHERE k < 63)
SELECT f.id >> 32 AS boot,
    ((f.id & 4294967295) + n.k * f.step_ds) / 10.0 AS from_s,
    f.step_ds / 10.0 AS span_s,
    (SELECT wall_at_boot_ms FROM boot WHERE boot.id = f.id >> 32)
        + 100 * ((f.id & 4294967295) + n.k * f.step_ds) AS wall_ms,
    json_extract(f.data, '$.v[' || (3*n.k) || ']') / 1000.0 AS volts_v_mean,
    (json_extract(f.data, '$.v[' || (3*n.k) || ']') - json_extract(f.data, '$.v[' || (3*n.k+1) || ']')) / 1000.0 AS volts_v_min,
    (json_extract(f.data, '$.v[' || (3*n.k) || ']') + json_extract(f.data, '$.v[' || (3*n.k+2) || ']')) / 1000.0 AS volts_v_max,
    json_extract(f.data, '$.a[' || (3*n.k) || ']') / 1000.0 AS current_a_mean,
    (json_extract(f.data, '$.a[' || (3*n.k) || ']') - json_extract(f.data, '$.a[' || (3*n.k+1) || ']')) / 1000.0 AS current_a_min,
    (json_extract(f.data, '$.a[' || (3*n.k) || ']') + json_extract(f.data, '$.a[' || (3*n.k+2) || ']')) / 1000.0 AS current_a_max,
    json_extract(f.data, '$.w[' || (3*n.k) || ']') / 1000.0 AS power_w_mean,
    (json_extract(f.data, '$.w[' || (3*n.k) || ']') - json_extract(f.data, '$.w[' || (3*n.k+1) || ']')) / 1000.0 AS power_w_min,
    (json_extract(f.data, '$.w[' || (3*n.k) || ']') + json_extract(f.data, '$.w[' || (3*n.k+2) || ']')) / 1000.0 AS power_w_max,
    json_extract(f.data, '$.mw[' || (3*n.k) || ']') / 1000.0 AS modelled_w_mean,
    (json_extract(f.data, '$.mw[' || (3*n.k) || ']') - json_extract(f.data, '$.mw[' || (3*n.k+1) || ']')) / 1000.0 AS modelled_w_min,
    (json_extract(f.data, '$.mw[' || (3*n.k) || ']') + json_extract(f.data, '$.mw[' || (3*n.k+2) || ']')) / 1000.0 AS modelled_w_max,
    json_extract(f.data, '$.wh[' || (3*n.k) || ']') / 1000.0 AS counted_wh_mean,
    (json_extract(f.data, '$.wh[' || (3*n.k) || ']') - json_extract(f.data, '$.wh[' || (3*n.k+1) || ']')) / 1000.0 AS counted_wh_min,
    (json_extract(f.data, '$.wh[' || (3*n.k) || ']') + json_extract(f.data, '$.wh[' || (3*n.k+2) || ']')) / 1000.0 AS counted_wh_max,
    json_extract(f.data, '$.cpu[' || (3*n.k) || ']') / 1000.0 AS cpu_busy_mean,
    (json_extract(f.data, '$.cpu[' || (3*n.k) || ']') - json_extract(f.data, '$.cpu[' || (3*n.k+1) || ']')) / 1000.0 AS cpu_busy_min,
    (json_extract(f.data, '$.cpu[' || (3*n.k) || ']') + json_extract(f.data, '$.cpu[' || (3*n.k+2) || ']')) / 1000.0 AS cpu_busy_max,
    json_extract(f.data, '$.t[' || (3*n.k) || ']') / 10.0 AS cpu_temp_c_mean,
    (json_extract(f.data, '$.t[' || (3*n.k) || ']') - json_extract(f.data, '$.t[' || (3*n.k+1) || ']')) / 10.0 AS cpu_temp_c_min,
    (json_extract(f.data, '$.t[' || (3*n.k) || ']') + json_extract(f.data, '$.t[' || (3*n.k+2) || ']')) / 10.0 AS cpu_temp_c_max,
    json_extract(f.data, '$.lvl[' || (3*n.k) || ']') / 1000.0 AS level_mean,
    (json_extract(f.data, '$.lvl[' || (3*n.k) || ']') - json_extract(f.data, '$.lvl[' || (3*n.k+1) || ']')) / 1000.0 AS level_min,
    (json_extract(f.data, '$.lvl[' || (3*n.k) || ']') + json_extract(f.data, '$.lvl[' || (3*n.k+2) || ']')) / 1000.0 AS level_max
FROM fine AS f JOIN n ON n.k < f.n;
