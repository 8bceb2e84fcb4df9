-- The contractor as its documents name it.
CREATE TABLE register_contractor (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	name VARCHAR NOT NULL,
	address VARCHAR,
	country VARCHAR,
	tax_id VARCHAR,
	legal_id VARCHAR,
	email VARCHAR,
	phone VARCHAR,
	time_zone VARCHAR,
	payment_note VARCHAR,
	tax_category VARCHAR,
	tax_pct VARCHAR,
	exempt_code VARCHAR,
	exempt_reason VARCHAR
);
