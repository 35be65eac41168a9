BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE fit (
	id INTEGER NOT NULL, 
	material_id INTEGER NOT NULL, 
	created_at DATETIME NOT NULL, 
	program_version VARCHAR(40) NOT NULL, 
	seed BIGINT, 
	meta JSON NOT NULL, 
	fingerprint VARCHAR(64) NOT NULL, 
	arrays BLOB NOT NULL, 
	CONSTRAINT pk_fit PRIMARY KEY (id), 
	CONSTRAINT fk_fit_material_id_material FOREIGN KEY(material_id) REFERENCES material (id)
);
INSERT INTO "fit" VALUES(1,1,'2026-11-25 10:20:49.415771','0.1.0',7,'{"laws": {"wlf": 0.75}}','352fbb1ea1dba803c68de6619b45c9b066cd2246ff44a4fbe1fbd5d138aeb494',X'4D4154444200010A200000005B7B226E616D65223A226472617773222C227368617065223A5B322C335D7D5D000000000000F03F8DEDB5A0F7C690BE182D4454FB21094000000000000000009C7500883CE4377E9A9999999999B9BF59FD4FAEF9C1829070341C062363E1AB42964C5E808EEFE9C8887780B0ECB28A');
CREATE TABLE fit_reading (
	fit_id INTEGER NOT NULL, 
	reading_id INTEGER NOT NULL, 
	CONSTRAINT pk_fit_reading PRIMARY KEY (fit_id, reading_id), 
	CONSTRAINT fk_fit_reading_fit_id_fit FOREIGN KEY(fit_id) REFERENCES fit (id), 
	CONSTRAINT fk_fit_reading_reading_id_reading FOREIGN KEY(reading_id) REFERENCES reading (id)
);
INSERT INTO "fit_reading" VALUES(1,2);
INSERT INTO "fit_reading" VALUES(1,3);
INSERT INTO "fit_reading" VALUES(1,4);
INSERT INTO "fit_reading" VALUES(1,5);
INSERT INTO "fit_reading" VALUES(1,8);
CREATE TABLE material (
	id INTEGER NOT NULL, 
	name VARCHAR(120) NOT NULL, 
	family VARCHAR(120) NOT NULL, 
	hardness VARCHAR(40), 
	density_kg_m3 DOUBLE, 
	glass_transition_c DOUBLE, 
	service_min_c DOUBLE, 
	service_max_c DOUBLE, 
	source TEXT NOT NULL, 
	note TEXT NOT NULL, 
	added_at DATETIME NOT NULL, 
	CONSTRAINT pk_material PRIMARY KEY (id), 
	CONSTRAINT uq_material_name UNIQUE (name)
);
INSERT INTO "material" VALUES(1,'amber 40A','silicone','40 A',1120.0,NULL,NULL,NULL,'label','','2026-11-25 10:20:49.370623');
INSERT INTO "material" VALUES(2,'coral 00','unknown',NULL,NULL,-50.0,NULL,NULL,'','two
lines','2026-11-25 10:20:49.370623');
CREATE TABLE mounting (
	id INTEGER NOT NULL, 
	name VARCHAR(120) NOT NULL, 
	definition JSON NOT NULL, 
	added_at DATETIME NOT NULL, 
	CONSTRAINT pk_mounting PRIMARY KEY (id), 
	CONSTRAINT uq_mounting_name UNIQUE (name)
);
INSERT INTO "mounting" VALUES(1,'nose','{"name": "nose", "mass_kg": 0.9, "count": 4, "rpm_idle": 3600.0, "rpm_full": 7200.0, "blades": 2, "manoeuvre_hz": 10.0, "load_factors": [0.5, 2.0], "inclination_deg": 0.0, "centre_mm": [0.0, 0.0, 0.0]}','2026-11-25 10:20:49.370623');
CREATE TABLE part (
	id INTEGER NOT NULL, 
	name VARCHAR(120) NOT NULL, 
	material_id INTEGER NOT NULL, 
	form_kind VARCHAR(40) NOT NULL, 
	form JSON NOT NULL, 
	thread VARCHAR(120), 
	note TEXT NOT NULL, 
	added_at DATETIME NOT NULL, 
	CONSTRAINT pk_part PRIMARY KEY (id), 
	CONSTRAINT fk_part_material_id_material FOREIGN KEY(material_id) REFERENCES material (id), 
	CONSTRAINT uq_part_name UNIQUE (name)
);
INSERT INTO "part" VALUES(1,'007',1,'ring','{"form": "ring", "outer_mm": 16.0, "inner_mm": 6.0, "height_mm": 5.0, "bonded": true}','M3','','2026-11-25 10:20:49.370623');
INSERT INTO "part" VALUES(2,'pad 10x5',1,'pad','{"form": "pad", "diameter_mm": 10.0, "height_mm": 5.0, "bonded": true}',NULL,'','2026-11-25 10:20:49.370623');
INSERT INTO "part" VALUES(3,'bush',2,'bush','{"form": "bush", "outer_mm": 16.0, "inner_mm": 8.0, "length_mm": 12.0, "bonded": false}',NULL,'','2026-11-25 10:20:49.370623');
CREATE TABLE reading (
	id INTEGER NOT NULL, 
	kind VARCHAR(40) NOT NULL, 
	material_id INTEGER NOT NULL, 
	part_id INTEGER, 
	temperature_c DOUBLE NOT NULL, 
	temperature_sd_c DOUBLE, 
	soak_min DOUBLE, 
	seconds_out DOUBLE, 
	who VARCHAR(120) NOT NULL, 
	taken_at DATETIME NOT NULL, 
	note TEXT NOT NULL, 
	count INTEGER, 
	axis VARCHAR(120), 
	squeeze_mm DOUBLE, 
	mass_kg DOUBLE, 
	frequency_hz DOUBLE, 
	frequency_sd_hz DOUBLE, 
	log_decrement DOUBLE, 
	log_decrement_sd DOUBLE, 
	half_power_width_hz DOUBLE, 
	amplification DOUBLE, 
	deflection_mm DOUBLE, 
	deflection_sd_mm DOUBLE, 
	dwell_s DOUBLE, 
	storage_mpa DOUBLE, 
	storage_sd DOUBLE, 
	loss_factor DOUBLE, 
	loss_factor_sd DOUBLE, 
	value VARCHAR(40), 
	logged_at DATETIME NOT NULL, 
	corrects_id INTEGER, 
	retired_at DATETIME, 
	retired_why TEXT, 
	CONSTRAINT pk_reading PRIMARY KEY (id), 
	CONSTRAINT ck_reading_retired CHECK ((retired_at IS NULL) = (retired_why IS NULL)), 
	CONSTRAINT ck_reading_temperature CHECK (temperature_c > -273.15), 
	CONSTRAINT fk_reading_corrects_id_reading FOREIGN KEY(corrects_id) REFERENCES reading (id), 
	CONSTRAINT fk_reading_material_id_material FOREIGN KEY(material_id) REFERENCES material (id), 
	CONSTRAINT fk_reading_part_id_part FOREIGN KEY(part_id) REFERENCES part (id)
);
INSERT INTO "reading" VALUES(1,'ring-down',1,1,-18.0,NULL,NULL,NULL,'zoë','2026-11-25 10:20:49.370623','',1,'axial',0.0,0.25,31.2,NULL,0.55,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-25 10:20:49.370623',NULL,'2026-11-25 10:20:49.406509','corrected: read again');
INSERT INTO "reading" VALUES(2,'ring-down',1,1,23.0,NULL,NULL,NULL,'','2026-11-25 10:20:49.370623','',2,'axial',0.4,0.25,20.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-25 10:20:49.370623',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(3,'resonance',1,2,0.0,NULL,NULL,NULL,'','2026-11-25 10:20:49.370623','',1,'axial',0.0,0.5,25.0,NULL,NULL,NULL,4.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-25 10:20:49.370623',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(4,'deflection',1,1,23.0,NULL,60.0,NULL,'','2026-11-25 10:20:49.370623','',1,'axial',0.0,0.5,NULL,NULL,NULL,NULL,NULL,NULL,0.31,NULL,10.0,NULL,NULL,NULL,NULL,NULL,'2026-11-25 10:20:49.370623',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(5,'modulus',1,NULL,0.0,NULL,NULL,NULL,'','2026-11-25 10:20:49.370623','',NULL,NULL,NULL,NULL,10.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,2.1,NULL,0.12,NULL,NULL,'2026-11-25 10:20:49.370623',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(6,'hardness',2,NULL,23.0,NULL,NULL,5.0,'','2026-11-25 10:20:49.370623','',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'30 OO','2026-11-25 10:20:49.370623',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(7,'ring-down',2,3,5.0,NULL,NULL,NULL,'','2024-02-03 11:05:06.000007','',1,'axial',0.0,0.3,40.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-25 10:20:49.370623',NULL,NULL,NULL);
INSERT INTO "reading" VALUES(8,'ring-down',1,1,-18.0,NULL,NULL,NULL,'zoë','2026-11-25 10:20:49.406509','',1,'axial',0.0,0.25,31.2,NULL,0.55,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-25 10:20:49.406509',1,NULL,NULL);
CREATE TABLE replaced (
	id INTEGER NOT NULL, 
	what VARCHAR(40) NOT NULL, 
	record_id INTEGER NOT NULL, 
	"before" JSON NOT NULL, 
	replaced_at DATETIME NOT NULL, 
	why TEXT NOT NULL, 
	CONSTRAINT pk_replaced PRIMARY KEY (id)
);
CREATE INDEX ix_replaced_record ON replaced (what, record_id);
CREATE INDEX ix_fit_material_newest ON fit (material_id, id);
CREATE INDEX ix_part_material_id ON part (material_id);
CREATE INDEX ix_reading_material_active ON reading (material_id, retired_at, id);
CREATE INDEX ix_reading_part_active ON reading (part_id, retired_at, id);
COMMIT;
