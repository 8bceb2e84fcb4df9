-- What exclusion areas are. Rows of events booked before have NULL here, also
-- where the event's bytes said more; Rebuild fills those in.
ALTER TABLE register_field ADD COLUMN exclusion_to VARCHAR[];
