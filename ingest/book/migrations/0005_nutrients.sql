-- What nutrient records need. Rows of events booked before have NULL in them,
-- also where the event's bytes said more; Rebuild fills those in.
ALTER TABLE job_finished ADD COLUMN method VARCHAR;
ALTER TABLE job_finished ADD COLUMN certificate_holder VARCHAR;
ALTER TABLE job_finished ADD COLUMN buffers VARCHAR;
ALTER TABLE register_field ADD COLUMN holding VARCHAR;
ALTER TABLE register_field ADD COLUMN land_use VARCHAR;
ALTER TABLE register_field ADD COLUMN zones VARCHAR[];
ALTER TABLE register_field ADD COLUMN previous_crop VARCHAR;
ALTER TABLE register_field ADD COLUMN sown_at TIMESTAMP_NS;
ALTER TABLE register_field ADD COLUMN slope_deg DOUBLE;
ALTER TABLE weather_noted ADD COLUMN temperature_c DOUBLE;
ALTER TABLE weather_noted ADD COLUMN forecast_rain_chance_pct DOUBLE;
ALTER TABLE weather_noted ADD COLUMN forecast_hours DOUBLE;
ALTER TABLE weather_noted ADD COLUMN forecast VARCHAR;
