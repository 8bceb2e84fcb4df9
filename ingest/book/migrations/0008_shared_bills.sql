-- Two customers share a bill. Rows of events booked before have NULL here.
ALTER TABLE invoice_issued ADD COLUMN share_pct VARCHAR;
ALTER TABLE invoice_issued ADD COLUMN shared_with VARCHAR;
ALTER TABLE invoice_issued ADD COLUMN share_notes VARCHAR[];
