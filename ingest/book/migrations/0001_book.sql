-- The book, version 1. Applied in one transaction by migrate.go, which keeps
-- the table migration itself.

-- head grows with every commit that changed something.
CREATE TABLE state (head BIGINT NOT NULL);
INSERT INTO state VALUES (0);

CREATE TABLE source (source_no BIGINT NOT NULL, source VARCHAR NOT NULL);

-- No key and no index: identity is kept by the marks (measured: a primary key
-- made the writer seven times slower and the file five times larger).
-- head: the commit that brought the event. digest: first 16 bytes of SHA-256
-- of raw.
CREATE TABLE event (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	id VARCHAR NOT NULL,
	type VARCHAR NOT NULL,
	version BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	received_at TIMESTAMP_NS NOT NULL,
	head BIGINT NOT NULL,
	digest UUID NOT NULL,
	raw VARCHAR NOT NULL USING COMPRESSION zstd
);

-- What the book holds of each source: everything up to up_to, and the ranges
-- low..high above it.
CREATE TABLE mark (source_no BIGINT NOT NULL, up_to BIGINT NOT NULL);
CREATE TABLE mark_range (source_no BIGINT NOT NULL, low BIGINT NOT NULL, high BIGINT NOT NULL);

-- Messages that break the contract, whole. Without an identity source is ''
-- and sequence 0. repaired_at: when an event with the identity was received.
CREATE TABLE reject (
	source VARCHAR NOT NULL,
	sequence BIGINT NOT NULL,
	subject VARCHAR NOT NULL,
	received_at TIMESTAMP_NS NOT NULL,
	digest UUID NOT NULL,
	pointer VARCHAR NOT NULL,
	rule VARCHAR NOT NULL,
	detail VARCHAR NOT NULL,
	repaired_at TIMESTAMP_NS,
	raw BLOB NOT NULL
);

-- Events whose identity was taken by other bytes.
CREATE TABLE quarantine (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	id VARCHAR NOT NULL,
	received_at TIMESTAMP_NS NOT NULL,
	digest UUID NOT NULL,
	raw VARCHAR NOT NULL
);

-- Stored events whose own time and time of receipt cannot both be right.
CREATE TABLE clock_flag (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	id VARCHAR NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	received_at TIMESTAMP_NS NOT NULL,
	detail VARCHAR NOT NULL
);

-- What was computed from the events up to head.
CREATE TABLE result (name VARCHAR NOT NULL, head BIGINT NOT NULL, doc BLOB NOT NULL);

-- pass.logged. machine: the event's machine, data.machine or the device of
-- its source. packed: all fixes, see pack.go.
CREATE TABLE pass_log (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	id VARCHAR NOT NULL,
	machine VARCHAR NOT NULL,
	job VARCHAR,
	field VARCHAR,
	first_fix_at TIMESTAMP_NS NOT NULL,
	last_fix_at TIMESTAMP_NS NOT NULL,
	fixes BIGINT NOT NULL,
	lat_min_deg DOUBLE NOT NULL,
	lat_max_deg DOUBLE NOT NULL,
	lon_min_deg DOUBLE NOT NULL,
	lon_max_deg DOUBLE NOT NULL,
	packed BLOB NOT NULL
);

-- One table for every other event type, named after it; a column for every
-- field, named after it: date-time as TIMESTAMP_NS, lists of scalars as lists,
-- objects, boundaries and lists of objects as their JSON text.
CREATE TABLE check_machine (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	item VARCHAR NOT NULL,
	value DOUBLE NOT NULL,
	unit VARCHAR NOT NULL,
	pass BOOLEAN NOT NULL,
	note VARCHAR,
	machine VARCHAR
);
CREATE TABLE docket_received (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	docket VARCHAR NOT NULL,
	product VARCHAR NOT NULL,
	stockpile VARCHAR NOT NULL,
	net_kg DOUBLE NOT NULL,
	gross_kg DOUBLE,
	tare_kg DOUBLE,
	supplier VARCHAR,
	sd_kg DOUBLE
);
CREATE TABLE event_amended (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	amends VARCHAR NOT NULL,
	action VARCHAR NOT NULL,
	reason VARCHAR NOT NULL,
	replacement VARCHAR
);
CREATE TABLE hopper_refilled (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	refill VARCHAR NOT NULL,
	product VARCHAR NOT NULL,
	loads VARCHAR[] NOT NULL,
	residual_kg DOUBLE,
	residual_sd_kg DOUBLE,
	residual_method VARCHAR,
	machine VARCHAR
);
CREATE TABLE invoice_credited (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	number VARCHAR NOT NULL,
	credits VARCHAR NOT NULL,
	currency VARCHAR NOT NULL,
	lines VARCHAR NOT NULL,
	totals VARCHAR NOT NULL,
	digest VARCHAR NOT NULL
);
CREATE TABLE invoice_issued (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	number VARCHAR NOT NULL,
	customer VARCHAR,
	job VARCHAR,
	"from" TIMESTAMP_NS,
	"to" TIMESTAMP_NS,
	currency VARCHAR NOT NULL,
	lines VARCHAR NOT NULL,
	totals VARCHAR NOT NULL,
	digest VARCHAR NOT NULL
);
CREATE TABLE job_finished (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	job VARCHAR NOT NULL,
	field VARCHAR,
	operator VARCHAR,
	machine VARCHAR
);
CREATE TABLE job_started (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	job VARCHAR NOT NULL,
	field VARCHAR,
	operator VARCHAR,
	machine VARCHAR
);
CREATE TABLE load_weighed (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	load VARCHAR NOT NULL,
	product VARCHAR NOT NULL,
	net_kg DOUBLE NOT NULL,
	method VARCHAR NOT NULL,
	lifts_kg DOUBLE[],
	gross_kg DOUBLE,
	tare_kg DOUBLE,
	sd_kg DOUBLE,
	scale VARCHAR,
	docket VARCHAR,
	stockpile VARCHAR,
	volume_m3 DOUBLE,
	bulk_density_kg_m3 DOUBLE,
	machine VARCHAR
);
CREATE TABLE notice_acknowledged (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	notice VARCHAR NOT NULL,
	machine VARCHAR NOT NULL,
	kind VARCHAR NOT NULL,
	text VARCHAR NOT NULL
);
CREATE TABLE notice_raised (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	notice VARCHAR NOT NULL,
	machine VARCHAR NOT NULL,
	kind VARCHAR NOT NULL,
	text VARCHAR NOT NULL,
	evidence VARCHAR
);
CREATE TABLE register_agreement (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	agreement VARCHAR NOT NULL,
	customer VARCHAR NOT NULL,
	currency VARCHAR NOT NULL,
	lines VARCHAR NOT NULL,
	valid_from TIMESTAMP_NS,
	valid_to TIMESTAMP_NS
);
CREATE TABLE register_customer (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	customer VARCHAR NOT NULL,
	name VARCHAR NOT NULL,
	address VARCHAR,
	tax_id VARCHAR,
	email VARCHAR
);
CREATE TABLE register_field (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	field VARCHAR NOT NULL,
	customer VARCHAR NOT NULL,
	name VARCHAR NOT NULL,
	boundary VARCHAR NOT NULL,
	soil VARCHAR,
	crop VARCHAR,
	exclusion VARCHAR
);
CREATE TABLE register_job (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	job VARCHAR NOT NULL,
	customer VARCHAR NOT NULL,
	fields VARCHAR[] NOT NULL,
	product VARCHAR NOT NULL,
	set_rate_kg_ha DOUBLE NOT NULL,
	agreement VARCHAR,
	wanted_by TIMESTAMP_NS,
	note VARCHAR
);
CREATE TABLE register_machine (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	machine VARCHAR NOT NULL,
	name VARCHAR NOT NULL,
	hopper_m3 DOUBLE NOT NULL,
	time_zone VARCHAR,
	kind VARCHAR,
	sensors VARCHAR[]
);
CREATE TABLE register_product (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	product VARCHAR NOT NULL,
	name VARCHAR NOT NULL,
	form VARCHAR NOT NULL,
	bulk_density_kg_m3 DOUBLE,
	analysis VARCHAR
);
CREATE TABLE setting_changed (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	product VARCHAR NOT NULL,
	bout_width_m DOUBLE NOT NULL,
	set_rate_kg_ha DOUBLE NOT NULL,
	gate_mm DOUBLE,
	belt_gear VARCHAR,
	pto_rpm DOUBLE,
	disc_set VARCHAR,
	rate_mode VARCHAR,
	catch_test VARCHAR,
	machine VARCHAR
);
CREATE TABLE stock_surveyed (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	stockpile VARCHAR NOT NULL,
	product VARCHAR NOT NULL,
	mass_kg DOUBLE NOT NULL,
	sd_kg DOUBLE NOT NULL,
	volume_m3 DOUBLE,
	bulk_density_kg_m3 DOUBLE
);
CREATE TABLE test_catch (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	catch_test VARCHAR NOT NULL,
	product VARCHAR NOT NULL,
	gate_mm DOUBLE NOT NULL,
	collected_kg DOUBLE NOT NULL,
	bout_width_m DOUBLE NOT NULL,
	distance_m DOUBLE,
	time_s DOUBLE,
	speed_kmh DOUBLE,
	belt_gear VARCHAR,
	pto_rpm DOUBLE,
	repeats DOUBLE[],
	machine VARCHAR
);
CREATE TABLE test_density (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	product VARCHAR NOT NULL,
	mass_kg DOUBLE NOT NULL,
	volume_l DOUBLE NOT NULL,
	machine VARCHAR
);
CREATE TABLE test_overlap (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	overlap_test VARCHAR NOT NULL,
	at_driving_line_g DOUBLE[] NOT NULL,
	between_lines_g DOUBLE[] NOT NULL,
	machine VARCHAR
);
CREATE TABLE test_tray (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	tray_test VARCHAR NOT NULL,
	product VARCHAR NOT NULL,
	bout_width_m DOUBLE NOT NULL,
	tray_spacing_m DOUBLE NOT NULL,
	tray_width_m DOUBLE NOT NULL,
	tray_length_m DOUBLE NOT NULL,
	masses_g DOUBLE[] NOT NULL,
	disc_set VARCHAR,
	vane_position VARCHAR,
	wind_m_s DOUBLE,
	machine VARCHAR
);
CREATE TABLE weather_noted (
	source_no BIGINT NOT NULL,
	sequence BIGINT NOT NULL,
	time TIMESTAMP_NS NOT NULL,
	wind_m_s DOUBLE NOT NULL,
	wind_from_deg DOUBLE NOT NULL,
	rain_mm DOUBLE NOT NULL,
	soil VARCHAR NOT NULL,
	forecast_rain_mm DOUBLE,
	machine VARCHAR
);
