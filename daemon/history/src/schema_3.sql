-- The record, version 3: what the processor's load takes, as the fit stood. Times as in version 1.

-- One row for each stretch of an outing in which the daemon ran without a stop, brought up to date
-- as the fit goes on. It is made from single seconds, which are not kept. NULL: nothing could be
-- told (yet).
CREATE TABLE load_line (
    boot INTEGER NOT NULL,
    from_s REAL NOT NULL,
    to_s REAL NOT NULL,
    idle_w REAL, idle_error_w REAL,     -- with its cores idle, and the standard error
    load_w REAL, load_error_w REAL,     -- with all of them busy, more by so much
    explained REAL,                     -- share of the scatter, 0 to 1
    minutes REAL,                       -- it rests on
    PRIMARY KEY (boot, from_s)
) WITHOUT ROWID;
