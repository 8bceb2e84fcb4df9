-- What the book held when a document was issued. Rows of events booked before
-- have NULL here.
ALTER TABLE invoice_issued ADD COLUMN as_of VARCHAR[];
ALTER TABLE invoice_credited ADD COLUMN as_of VARCHAR[];
