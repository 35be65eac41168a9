BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0007');
CREATE TABLE effective_stiffness (
	id INTEGER NOT NULL, 
	part_id INTEGER NOT NULL, 
	axis VARCHAR(120) NOT NULL, 
	temperature_c DOUBLE NOT NULL, 
	given_hz DOUBLE, 
	given_kg DOUBLE, 
	frequency_hz DOUBLE NOT NULL, 
	stiffness_n_per_mm DOUBLE NOT NULL, 
	stiffness_low DOUBLE NOT NULL, 
	stiffness_high DOUBLE NOT NULL, 
	damping_ratio DOUBLE NOT NULL, 
	damping_low DOUBLE NOT NULL, 
	damping_high DOUBLE NOT NULL, 
	basis VARCHAR(40) NOT NULL, 
	extrapolated INTEGER NOT NULL, 
	fit_id INTEGER, loss_n_per_mm DOUBLE, loss_low DOUBLE, loss_high DOUBLE, 
	CONSTRAINT pk_effective_stiffness PRIMARY KEY (id), 
	CONSTRAINT ck_effective_stiffness_given CHECK ((given_hz IS NULL) <> (given_kg IS NULL)), 
	CONSTRAINT fk_effective_stiffness_part_id_part FOREIGN KEY(part_id) REFERENCES part (id), 
	CONSTRAINT fk_effective_stiffness_fit_id_fit FOREIGN KEY(fit_id) REFERENCES fit (id)
);
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
INSERT INTO "fit" VALUES(1,1,'2026-11-27 06:50:53.497586','0.1.0',7,'{"laws": {"wlf": 0.75}}','35e8224034967573ee3b7a08136105fb73ea7ce77976ca0e3d2646072a5587dc',X'4D4154444200010A200000005B7B226E616D65223A226472617773222C227368617065223A5B322C335D7D5D000000000000F03F8DEDB5A0F7C690BE182D4454FB21094000000000000000009C7500883CE4377E9A9999999999B9BF59FD4FAEF9C1829070341C062363E1AB42964C5E808EEFE9C8887780B0ECB28A');
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
	added_at DATETIME NOT NULL, relative_density DOUBLE, 
	CONSTRAINT pk_material PRIMARY KEY (id), 
	CONSTRAINT uq_material_name UNIQUE (name)
);
INSERT INTO "material" VALUES(1,'amber 40A','silicone','40 A',1120.0,NULL,NULL,NULL,'label','','2026-11-27 06:50:53.455675',NULL);
INSERT INTO "material" VALUES(2,'coral 00','unknown',NULL,NULL,-50.0,NULL,NULL,'','two
lines','2026-11-27 06:50:53.455675',NULL);
CREATE TABLE mounting (
	id INTEGER NOT NULL, 
	name VARCHAR(120) NOT NULL, 
	definition JSON NOT NULL, 
	added_at DATETIME NOT NULL, 
	CONSTRAINT pk_mounting PRIMARY KEY (id), 
	CONSTRAINT uq_mounting_name UNIQUE (name)
);
INSERT INTO "mounting" VALUES(1,'nose','{"name": "nose", "mass_kg": 0.9, "count": 4, "rpm_idle": 3600.0, "rpm_full": 7200.0, "blades": 2, "manoeuvre_hz": 10.0, "load_factors": [0.5, 2.0], "inclination_deg": 0.0, "centre_mm": [0.0, 0.0, 0.0]}','2026-11-27 06:50:53.455675');
CREATE TABLE part (
	id INTEGER NOT NULL, 
	name VARCHAR(120) NOT NULL, 
	material_id INTEGER NOT NULL, 
	form_kind VARCHAR(40) NOT NULL, 
	form JSON NOT NULL, 
	thread VARCHAR(120), 
	note TEXT NOT NULL, 
	added_at DATETIME NOT NULL, mass_kg DOUBLE, price DOUBLE, 
	CONSTRAINT pk_part PRIMARY KEY (id), 
	CONSTRAINT fk_part_material_id_material FOREIGN KEY(material_id) REFERENCES material (id), 
	CONSTRAINT uq_part_name UNIQUE (name)
);
INSERT INTO "part" VALUES(1,'007',1,'ring','{"form": "ring", "outer_mm": 16.0, "inner_mm": 6.0, "height_mm": 5.0, "bonded": true, "load_points": []}','M3','','2026-11-27 06:50:53.455675',NULL,NULL);
INSERT INTO "part" VALUES(2,'pad 10x5',1,'pad','{"form": "pad", "diameter_mm": 10.0, "height_mm": 5.0, "bonded": true, "load_points": []}',NULL,'','2026-11-27 06:50:53.455675',NULL,NULL);
INSERT INTO "part" VALUES(3,'bush',2,'bush','{"form": "bush", "outer_mm": 16.0, "inner_mm": 8.0, "length_mm": 12.0, "bonded": false}',NULL,'','2026-11-27 06:50:53.455675',NULL,NULL);
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
	retired_why TEXT, session VARCHAR(120), thermometer_sd_k DOUBLE, amplitude_mm DOUBLE, piece INTEGER, spacing_mm DOUBLE, gyration_mm DOUBLE, centre_above_mm DOUBLE, 
	CONSTRAINT pk_reading PRIMARY KEY (id), 
	CONSTRAINT ck_reading_retired CHECK ((retired_at IS NULL) = (retired_why IS NULL)), 
	CONSTRAINT ck_reading_temperature CHECK (temperature_c > -273.15), 
	CONSTRAINT fk_reading_corrects_id_reading FOREIGN KEY(corrects_id) REFERENCES reading (id), 
	CONSTRAINT fk_reading_material_id_material FOREIGN KEY(material_id) REFERENCES material (id), 
	CONSTRAINT fk_reading_part_id_part FOREIGN KEY(part_id) REFERENCES part (id)
);
INSERT INTO "reading" VALUES(1,'ring-down',1,1,-18.0,NULL,NULL,NULL,'zoë','2026-11-27 06:50:53.455675','',1,'axial',0.0,0.25,31.2,NULL,0.55,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-27 06:50:53.455675',NULL,'2026-11-27 06:50:53.486130','corrected: read again',NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "reading" VALUES(2,'ring-down',1,1,23.0,NULL,NULL,NULL,'','2026-11-27 06:50:53.455675','',2,'axial',0.4,0.25,20.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-27 06:50:53.455675',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "reading" VALUES(3,'resonance',1,2,0.0,NULL,NULL,NULL,'','2026-11-27 06:50:53.455675','',1,'axial',0.0,0.5,25.0,NULL,NULL,NULL,4.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-27 06:50:53.455675',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "reading" VALUES(4,'deflection',1,1,23.0,NULL,60.0,NULL,'','2026-11-27 06:50:53.455675','',1,'axial',0.0,0.5,NULL,NULL,NULL,NULL,NULL,NULL,0.31,NULL,10.0,NULL,NULL,NULL,NULL,NULL,'2026-11-27 06:50:53.455675',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "reading" VALUES(5,'modulus',1,NULL,0.0,NULL,NULL,NULL,'','2026-11-27 06:50:53.455675','',NULL,NULL,NULL,NULL,10.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,2.1,NULL,0.12,NULL,NULL,'2026-11-27 06:50:53.455675',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "reading" VALUES(6,'hardness',2,NULL,23.0,NULL,NULL,5.0,'','2026-11-27 06:50:53.455675','',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'30 OO','2026-11-27 06:50:53.455675',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "reading" VALUES(7,'ring-down',2,3,5.0,NULL,NULL,NULL,'','2024-02-03 11:05:06.000007','',1,'axial',0.0,0.3,40.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-27 06:50:53.455675',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "reading" VALUES(8,'ring-down',1,1,-18.0,NULL,NULL,NULL,'zoë','2026-11-27 06:50:53.486130','',1,'axial',0.0,0.25,31.2,NULL,0.55,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-11-27 06:50:53.486130',1,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE replaced (
	id INTEGER NOT NULL, 
	what VARCHAR(40) NOT NULL, 
	record_id INTEGER NOT NULL, 
	"before" JSON NOT NULL, 
	replaced_at DATETIME NOT NULL, 
	why TEXT NOT NULL, 
	CONSTRAINT pk_replaced PRIMARY KEY (id)
);
CREATE TABLE squeeze_factor (
	part_id INTEGER NOT NULL, 
	axis VARCHAR(120) NOT NULL, 
	squeeze_mm DOUBLE NOT NULL, 
	stiffness_factor DOUBLE NOT NULL, 
	CONSTRAINT pk_squeeze_factor PRIMARY KEY (part_id, axis, squeeze_mm), 
	CONSTRAINT fk_squeeze_factor_part_id_part FOREIGN KEY(part_id) REFERENCES part (id)
);
CREATE INDEX ix_replaced_record ON replaced (what, record_id);
CREATE INDEX ix_fit_material_newest ON fit (material_id, id);
CREATE INDEX ix_part_material_id ON part (material_id);
CREATE INDEX ix_reading_material_active ON reading (material_id, retired_at, id);
CREATE INDEX ix_reading_part_active ON reading (part_id, retired_at, id);
CREATE INDEX ix_effective_stiffness_state ON effective_stiffness (part_id, axis, given_hz, given_kg, temperature_c);
CREATE VIEW published_material AS
SELECT m.name AS material, m.family, m.hardness, m.density_kg_m3, m.glass_transition_c,
       m.service_min_c, m.service_max_c, m.source,
       (SELECT count(*) FROM reading r WHERE r.material_id = m.id AND r.retired_at IS NULL) AS readings,
       f.id AS fit_id, f.created_at AS fitted_at
FROM material m
LEFT JOIN fit f ON f.id = (SELECT max(n.id) FROM fit n WHERE n.material_id = m.id);
CREATE VIEW published_part AS
SELECT p.name AS part, m.name AS material, p.form_kind AS form, CAST(p.form AS TEXT) AS dimensions, p.thread
FROM part p
JOIN material m ON m.id = p.material_id;
CREATE VIEW published_reading AS
SELECT r.id AS number, r.kind, m.name AS material, p.name AS part, r.temperature_c, r.temperature_sd_c, r.mass_kg,
       r."count", r.axis, r.squeeze_mm, r.frequency_hz, r.log_decrement, r.half_power_width_hz, r.amplification,
       r.deflection_mm, r.dwell_s, r.storage_mpa, r.loss_factor, r.value AS hardness, r.taken_at
FROM reading r
JOIN material m ON m.id = r.material_id
LEFT JOIN part p ON p.id = r.part_id
WHERE r.retired_at IS NULL;
CREATE VIEW published_stiffness AS
SELECT p.name AS part, n.material, s.axis, s.temperature_c, s.given_hz, s.given_kg, s.frequency_hz,
       s.stiffness_n_per_mm, s.stiffness_low, s.stiffness_high, s.damping_ratio, s.damping_low, s.damping_high,
       s.loss_n_per_mm, s.loss_low, s.loss_high, s.basis, s.extrapolated, s.fit_id,
       CASE WHEN coalesce(s.fit_id, 0) = n.fit_id THEN 1 ELSE 0 END AS newest,
       CASE WHEN coalesce(s.fit_id, 0) = n.fit_id AND n.knows_all = 1 THEN 1 ELSE 0 END AS is_current,
       2 AS table_version
FROM effective_stiffness s
JOIN part p ON p.id = s.part_id
JOIN (SELECT DISTINCT m.id AS material_id, m.name AS material, coalesce(f.id, 0) AS fit_id,
             CASE WHEN NOT EXISTS (SELECT 1 FROM reading r WHERE r.material_id = m.id AND r.retired_at IS NULL
                                   AND r.id > (SELECT coalesce(max(u.reading_id), 0) FROM fit_reading u
                                               WHERE u.fit_id = f.id))
                   AND NOT EXISTS (SELECT 1 FROM reading r WHERE r.material_id = m.id AND r.retired_at IS NOT NULL
                                   AND (r.retired_at > f.created_at
                                        OR EXISTS (SELECT 1 FROM fit_reading u
                                                   WHERE u.fit_id = f.id AND u.reading_id = r.id)))
                   AND NOT EXISTS (SELECT 1 FROM part a WHERE a.material_id = m.id AND a.added_at > f.created_at)
                  THEN 1 ELSE 0 END AS knows_all
      FROM material m
      LEFT JOIN fit f ON f.id = (SELECT max(n.id) FROM fit n WHERE n.material_id = m.id)) n
  ON n.material_id = p.material_id;
CREATE VIEW published_stiffness_step AS
SELECT v.*,
       lead(v.temperature_c) OVER w AS next_c,
       lead(v.frequency_hz) OVER w AS next_hz,
       lead(v.stiffness_n_per_mm) OVER w AS next_stiffness,
       lead(v.damping_ratio) OVER w AS next_damping
FROM published_stiffness v
WINDOW w AS (PARTITION BY v.part, v.axis, v.given_hz, v.given_kg ORDER BY v.temperature_c);
CREATE VIEW published_squeeze AS
SELECT p.name AS part, q.axis, q.squeeze_mm, q.stiffness_factor
FROM squeeze_factor q
JOIN part p ON p.id = q.part_id;
CREATE INDEX ix_part_added_at ON part (added_at);
CREATE INDEX ix_reading_logged_at ON reading (logged_at);
CREATE INDEX ix_replaced_replaced_at ON replaced (replaced_at);
CREATE INDEX ix_reading_retired_at ON reading (retired_at) WHERE retired_at IS NOT NULL;
CREATE INDEX ix_reading_corrects_id ON reading (corrects_id) WHERE corrects_id IS NOT NULL;
COMMIT;
