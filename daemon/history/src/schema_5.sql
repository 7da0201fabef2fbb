-- The record, version 5: the plan that an outing was started with. Times as in version 1.

-- As it stood then; a later plan of the same outing takes its place.
CREATE TABLE outing_plan (
    outing INTEGER PRIMARY KEY REFERENCES outing(id) ON DELETE CASCADE,
    boot INTEGER NOT NULL REFERENCES boot(id),
    began_s REAL NOT NULL,              -- when the outing was started with it
    bank TEXT NOT NULL,                 -- planned with; the name as it was then
    finish_s REAL NOT NULL,             -- wanted, since then
    reserve_s REAL NOT NULL,            -- beyond the finish
    lasts_p10_s REAL NOT NULL,          -- when it would end, since then
    lasts_p50_s REAL NOT NULL,
    lasts_p90_s REAL NOT NULL,
    energy_p10_wh REAL NOT NULL,        -- usable at the start
    energy_p50_wh REAL NOT NULL,
    energy_p90_wh REAL NOT NULL,
    ambient_c REAL,
    stretches TEXT NOT NULL             -- JSON, in order: a list of name, lasts_s, draw_w, draw_log_sd
);
