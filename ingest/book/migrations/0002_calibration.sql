-- The calibration kit's fields. Rows of events booked before have NULL in them,
-- also where the event's bytes said more; Rebuild fills those in.
ALTER TABLE check_machine ADD COLUMN position VARCHAR;
ALTER TABLE check_machine ADD COLUMN limit_low DOUBLE;
ALTER TABLE check_machine ADD COLUMN limit_high DOUBLE;
ALTER TABLE job_started ADD COLUMN override VARCHAR;
ALTER TABLE test_catch ADD COLUMN tare_kg DOUBLE;
ALTER TABLE test_catch ADD COLUMN revolutions DOUBLE;
ALTER TABLE test_catch ADD COLUMN disc_set VARCHAR;
ALTER TABLE test_catch ADD COLUMN caught_at VARCHAR;
ALTER TABLE test_catch ADD COLUMN ground_driven BOOLEAN;
ALTER TABLE test_density ADD COLUMN tare_kg DOUBLE;
ALTER TABLE test_density ADD COLUMN repeats DOUBLE[];
ALTER TABLE test_overlap ADD COLUMN product VARCHAR;
ALTER TABLE test_overlap ADD COLUMN bout_width_m DOUBLE;
ALTER TABLE test_tray ADD COLUMN positions_m DOUBLE[];
ALTER TABLE test_tray ADD COLUMN passes BIGINT;
ALTER TABLE test_tray ADD COLUMN catch_rate_kg_ha DOUBLE;
