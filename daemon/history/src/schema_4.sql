-- The record, version 4: what was counted while a sensor was at the end of its range. Times as in
-- version 1.

-- Of the power, the part of such seconds, W: the true power is more. NULL: all of it was within.
ALTER TABLE five ADD COLUMN over_range_w_mean REAL;
ALTER TABLE five ADD COLUMN over_range_w_min REAL;
ALTER TABLE five ADD COLUMN over_range_w_max REAL;
ALTER TABLE hour ADD COLUMN over_range_w_mean REAL;
ALTER TABLE hour ADD COLUMN over_range_w_min REAL;
ALTER TABLE hour ADD COLUMN over_range_w_max REAL;

-- Of the outing's energy, the same.
ALTER TABLE outing ADD COLUMN over_range_wh REAL;

-- As in version 1, with that: "over" in `fine.data`.
DROP VIEW ten_seconds;
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
    (json_extract(f.data, '$.lvl[' || (3*n.k) || ']') + json_extract(f.data, '$.lvl[' || (3*n.k+2) || ']')) / 1000.0 AS level_max,
    json_extract(f.data, '$.over[' || (3*n.k) || ']') / 1000.0 AS over_range_w_mean,
    (json_extract(f.data, '$.over[' || (3*n.k) || ']') - json_extract(f.data, '$.over[' || (3*n.k+1) || ']')) / 1000.0 AS over_range_w_min,
    (json_extract(f.data, '$.over[' || (3*n.k) || ']') + json_extract(f.data, '$.over[' || (3*n.k+2) || ']')) / 1000.0 AS over_range_w_max
FROM fine AS f JOIN n ON n.k < f.n;
