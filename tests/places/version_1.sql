BEGIN TRANSACTION;
CREATE TABLE boundary (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom MULTIPOLYGON, uuid TEXT NOT NULL UNIQUE, recorded_at TEXT NOT NULL);
INSERT INTO "boundary" VALUES(1,X'47500003E610000000000000008058C039B4C876BE7F58C00000000000004340E3A59BC4200043400106000000010000000103000000010000000700000000000000008058C0000000000000434000000000008058C0E3A59BC4200043401D5A643BDF7F58C0E3A59BC42000434039B4C876BE7F58C0E3A59BC42000434039B4C876BE7F58C000000000000043401D5A643BDF7F58C0000000000000434000000000008058C00000000000004340','22f5512a-9a4a-4170-8f71-02bbefd3f07d','2026-11-26T02:08:29.124386Z');
CREATE TABLE burns (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, uuid TEXT NOT NULL UNIQUE, entry_id TEXT NOT NULL, ignition TEXT, temp_f REAL, rh_pct REAL, wind_mph REAL, wind_from_deg REAL, gust_mph REAL, shade_pct REAL, days_since_rain REAL, mixing_height_ft REAL, transport_wind_mph REAL, weather_elevation_ft REAL, wind_height TEXT, plan_kind TEXT, plans TEXT, notices TEXT NOT NULL, recorded_at TEXT NOT NULL);
INSERT INTO "burns" VALUES(1,'86f11a3e-9141-5de8-a9c0-cbcc0ec0815c','a4627c96-bc76-4997-b111-dee82fe23296','13:00',60.0,40.0,8.0,200.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{}','[]','2026-11-26T02:08:54.379971Z');
CREATE TABLE canopy (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, uuid TEXT NOT NULL UNIQUE, path TEXT NOT NULL, crs_wkt TEXT NOT NULL, vertical_unit TEXT NOT NULL, recorded_at TEXT NOT NULL);
CREATE TABLE cover_frames (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom POINT, uuid TEXT NOT NULL UNIQUE, reading_id TEXT NOT NULL, frame TEXT NOT NULL, unit_id TEXT NOT NULL, read_on DATE NOT NULL, canopy_pct REAL, lines TEXT NOT NULL, recorded_at TEXT NOT NULL);
INSERT INTO "cover_frames" VALUES(1,NULL,'d048af0f-f2d8-54a2-98a9-1848130d9a20','r1','1','A','2025-06-01',NULL,'[{"species": "Schizachyrium scoparium", "group": null, "cover_class": 3, "cover_pct": 37.5, "native": true}]','2026-11-26T02:09:21.248871Z');
CREATE TABLE drawn_blocks (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom MULTIPOLYGON, uuid TEXT NOT NULL UNIQUE, name TEXT NOT NULL, recorded_at TEXT NOT NULL);
INSERT INTO "drawn_blocks" VALUES(1,X'47500003E610000000000000008058C01D5A643BDF7F58C00000000000004340F2D24D62100043400106000000010000000103000000010000000500000000000000008058C000000000000043401D5A643BDF7F58C000000000000043401D5A643BDF7F58C0F2D24D621000434000000000008058C0F2D24D621000434000000000008058C00000000000004340','ba858ec6-984d-4815-97de-8c9cdb112c01','North','2026-11-26T02:09:05.629979Z');
INSERT INTO "drawn_blocks" VALUES(2,X'47500003E610000000000000008058C02B8716D9CE7F58C00000000000004340F2D24D62100043400106000000010000000103000000010000000500000000000000008058C000000000000043402B8716D9CE7F58C000000000000043402B8716D9CE7F58C0F2D24D621000434000000000008058C0F2D24D621000434000000000008058C00000000000004340','49f17728-70f2-4e82-8cb1-6086e979a101','North','2026-11-26T02:09:07.353508Z');
CREATE TABLE elevation (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, uuid TEXT NOT NULL UNIQUE, path TEXT NOT NULL, crs_wkt TEXT NOT NULL, vertical_unit TEXT NOT NULL, recorded_at TEXT NOT NULL);
INSERT INTO "elevation" VALUES(1,'89ef6bbf-25b5-40c4-b117-deb5028f2fa1','dem.tif','PROJCRS["WGS 84 / UTM zone 14N",BASEGEOGCRS["WGS 84",DATUM["World Geodetic System 1984",ELLIPSOID["WGS 84",6378137,298.257223563,LENGTHUNIT["metre",1]]],PRIMEM["Greenwich",0,ANGLEUNIT["degree",0.0174532925199433]],ID["EPSG",4326]],CONVERSION["UTM zone 14N",METHOD["Transverse Mercator",ID["EPSG",9807]],PARAMETER["Latitude of natural origin",0,ANGLEUNIT["degree",0.0174532925199433],ID["EPSG",8801]],PARAMETER["Longitude of natural origin",-99,ANGLEUNIT["degree",0.0174532925199433],ID["EPSG",8802]],PARAMETER["Scale factor at natural origin",0.9996,SCALEUNIT["unity",1],ID["EPSG",8805]],PARAMETER["False easting",500000,LENGTHUNIT["metre",1],ID["EPSG",8806]],PARAMETER["False northing",0,LENGTHUNIT["metre",1],ID["EPSG",8807]]],CS[Cartesian,2],AXIS["easting",east,ORDER[1],LENGTHUNIT["metre",1]],AXIS["northing",north,ORDER[2],LENGTHUNIT["metre",1]],ID["EPSG",32614]]','m','2026-11-26T02:09:24.781301Z');
CREATE TABLE entries (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom MULTIPOLYGON, entry_id TEXT NOT NULL UNIQUE, recorded_at TEXT NOT NULL, action TEXT NOT NULL, target TEXT, why TEXT, practice TEXT NOT NULL, date DATE NOT NULL, unit_ids TEXT NOT NULL, killed_pct REAL, burned_pct REAL, person_hours REAL, cost REAL, reported_acres REAL, acres_sd REAL, who TEXT, note TEXT, product TEXT, product_rate TEXT, look TEXT, source_id TEXT);
INSERT INTO "entries" VALUES(1,X'47500003E610000000000000008058C01D5A643BDF7F58C00000000000004340E3A59BC4200043400106000000010000000103000000010000000500000000000000008058C000000000000043401D5A643BDF7F58C000000000000043401D5A643BDF7F58C0E3A59BC42000434000000000008058C0E3A59BC42000434000000000008058C00000000000004340','8fe6e924-3610-5790-9b93-4e781f941bc0','2026-11-26T02:08:34.693608Z','log',NULL,NULL,'cut','2024-11-02','["A"]',100.0,NULL,12.0,300.0,NULL,NULL,'Ann',NULL,NULL,NULL,NULL,'t1');
INSERT INTO "entries" VALUES(2,X'47500003E61000001D5A643BDF7F58C039B4C876BE7F58C00000000000004340E3A59BC420004340010600000001000000010300000001000000050000001D5A643BDF7F58C0000000000000434039B4C876BE7F58C0000000000000434039B4C876BE7F58C0E3A59BC4200043401D5A643BDF7F58C0E3A59BC4200043401D5A643BDF7F58C00000000000004340','e62f4a2c-918d-4e25-890e-a09cdc7109be','2026-11-26T02:08:42.340693Z','log',NULL,NULL,'cut','2025-01-10','["B"]',60.0,NULL,5.0,NULL,NULL,NULL,'Bob',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "entries" VALUES(3,X'47500003E61000001D5A643BDF7F58C039B4C876BE7F58C00000000000004340E3A59BC420004340010600000001000000010300000001000000050000001D5A643BDF7F58C0000000000000434039B4C876BE7F58C0000000000000434039B4C876BE7F58C0E3A59BC4200043401D5A643BDF7F58C0E3A59BC4200043401D5A643BDF7F58C00000000000004340','9e61d5e4-78fb-4ef3-af62-70b9282b8dd1','2026-11-26T02:08:46.030946Z','amend','e62f4a2c-918d-4e25-890e-a09cdc7109be','counted again','cut','2025-01-10','["B"]',60.0,NULL,10.0,NULL,NULL,NULL,'Bob',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "entries" VALUES(4,X'47500003E61000001D5A643BDF7F58C039B4C876BE7F58C00000000000004340E3A59BC420004340010600000001000000010300000001000000050000001D5A643BDF7F58C0000000000000434039B4C876BE7F58C0000000000000434039B4C876BE7F58C0E3A59BC4200043401D5A643BDF7F58C0E3A59BC4200043401D5A643BDF7F58C00000000000004340','af987950-7bb9-45d9-b1bb-f7c663d70d20','2026-11-26T02:08:46.968189Z','amend','9e61d5e4-78fb-4ef3-af62-70b9282b8dd1','and the share','cut','2025-01-10','["B"]',90.0,NULL,10.0,NULL,NULL,NULL,'Bob',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "entries" VALUES(5,X'47500003E610000000000000008058C01D5A643BDF7F58C00000000000004340E3A59BC4200043400106000000010000000103000000010000000500000000000000008058C000000000000043401D5A643BDF7F58C000000000000043401D5A643BDF7F58C0E3A59BC42000434000000000008058C0E3A59BC42000434000000000008058C00000000000004340','ae4a2488-760f-49c4-b5c8-96cc73e46fe5','2026-11-26T02:08:48.084282Z','log',NULL,NULL,'girdle','2025-02-10','["A"]',90.0,NULL,NULL,NULL,NULL,NULL,'Cal',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "entries" VALUES(6,X'47500003E610000000000000008058C01D5A643BDF7F58C00000000000004340E3A59BC4200043400106000000010000000103000000010000000500000000000000008058C000000000000043401D5A643BDF7F58C000000000000043401D5A643BDF7F58C0E3A59BC42000434000000000008058C0E3A59BC42000434000000000008058C00000000000004340','c6332c07-3b39-465b-9d26-71a3e059498f','2026-11-26T02:08:50.650873Z','amend','ae4a2488-760f-49c4-b5c8-96cc73e46fe5','less','girdle','2025-02-10','["A"]',50.0,NULL,NULL,NULL,NULL,NULL,'Cal',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "entries" VALUES(7,NULL,'104f701d-5072-40fb-b3db-e67501160a75','2026-11-26T02:08:52.236492Z','void','ae4a2488-760f-49c4-b5c8-96cc73e46fe5','wrong unit','girdle','2025-02-10','[]',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "entries" VALUES(8,X'47500003E610000000000000008058C01D5A643BDF7F58C00000000000004340E3A59BC4200043400106000000010000000103000000010000000500000000000000008058C000000000000043401D5A643BDF7F58C000000000000043401D5A643BDF7F58C0E3A59BC42000434000000000008058C0E3A59BC42000434000000000008058C00000000000004340','ff03d4a6-1040-4f0a-b05c-3ad4e63c5652','2026-11-26T02:08:53.312837Z','log',NULL,NULL,'look','2025-06-01','["A"]',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{"live_stems_per_acre": 4.0, "tallest_ft": null, "seedlings_per_acre": null, "sprouts": [["sumac", 3]], "needles": "red", "fuel_lb_ac": null, "stump_treated": null}',NULL);
INSERT INTO "entries" VALUES(9,X'47500003E610000000000000008058C01D5A643BDF7F58C00000000000004340E3A59BC4200043400106000000010000000103000000010000000500000000000000008058C000000000000043401D5A643BDF7F58C000000000000043401D5A643BDF7F58C0E3A59BC42000434000000000008058C0E3A59BC42000434000000000008058C00000000000004340','a4627c96-bc76-4997-b111-dee82fe23296','2026-11-26T02:08:54.379971Z','log',NULL,NULL,'burn','2025-03-01','["A"]',NULL,80.0,NULL,NULL,NULL,NULL,'Ann',NULL,NULL,NULL,NULL,NULL);
CREATE TABLE features (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom GEOMETRY, uuid TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, name TEXT NOT NULL, sensitive BOOLEAN NOT NULL, extra TEXT NOT NULL, recorded_at TEXT NOT NULL);
INSERT INTO "features" VALUES(1,X'47500003E6100000F2D24D62108058C048E17A14AE7F58C00E2DB29DEFFF42400E2DB29DEFFF4240010200000002000000F2D24D62108058C00E2DB29DEFFF424048E17A14AE7F58C00E2DB29DEFFF4240','3de03adb-32fe-4a02-8ac3-7e1f727e588d','road','County road',0,'{}','2026-11-26T02:08:31.884867Z');
CREATE TABLE forecast (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, uuid TEXT NOT NULL UNIQUE, file_name TEXT NOT NULL, wind_height TEXT, hours TEXT NOT NULL, recorded_at TEXT NOT NULL);
INSERT INTO "forecast" VALUES(1,'a2a7e134-ea72-41af-9ac4-9f81898b8c57','fc.csv',NULL,'[{"at": "2025-03-01T12:00:00", "temp_f": 60.0, "rh_pct": 40.0, "wind_mph": 8.0, "gust_mph": null, "wind_from_deg": 200.0, "rain_in": null}, {"at": "2025-03-01T13:00:00", "temp_f": 62.0, "rh_pct": 38.0, "wind_mph": 9.0, "gust_mph": null, "wind_from_deg": 210.0, "rain_in": null}]','2026-11-26T02:08:40.027836Z');
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
  description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id)
);
INSERT INTO "gpkg_contents" VALUES('boundary','features','boundary','outer line of the property; the newest counts','2026-11-26T02:08:29.124Z',-98.0,38.0,-97.996,38.001,4326);
INSERT INTO "gpkg_contents" VALUES('units','features','units','versions of the mapped units','2026-11-26T02:09:09.369Z',-98.0,38.0,-97.996,38.0012,4326);
INSERT INTO "gpkg_contents" VALUES('features','features','features','roads, houses, water, lines and other things on the map','2026-11-26T02:08:31.884Z',-98.001,37.9995,-97.995,37.9995,4326);
INSERT INTO "gpkg_contents" VALUES('entries','features','entries','the work log: rows are added, never changed','2026-11-26T02:08:54.379Z',-98.0,38.0,-97.996,38.001,4326);
INSERT INTO "gpkg_contents" VALUES('plots','features','plots','density plots and quarter points','2026-11-26T02:08:37.187Z',NULL,NULL,NULL,NULL,4326);
INSERT INTO "gpkg_contents" VALUES('elevation','attributes','elevation','where the elevation raster is; the newest counts','2026-11-26T02:09:24.781Z',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "gpkg_contents" VALUES('canopy','attributes','canopy','where the raster of canopy heights is; the newest counts','2026-11-26T02:08:25.500Z',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "gpkg_contents" VALUES('burns','attributes','burns','weather observed at burns, who was told before, and the plans then in force; each belongs to a row of the log','2026-11-26T02:08:54.379Z',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "gpkg_contents" VALUES('drawn_blocks','features','drawn_blocks','burn blocks drawn and named; the newest of a name counts','2026-11-26T02:09:07.353Z',-98.0,38.0,-97.997,38.0005,4326);
INSERT INTO "gpkg_contents" VALUES('forecast','attributes','forecast','forecasts as loaded, the hours of each as one JSON list; of those that reach a day the newest counts','2026-11-26T02:08:40.027Z',NULL,NULL,NULL,NULL,NULL);
INSERT INTO "gpkg_contents" VALUES('photos','features','photos','photos of the ground; the pictures lie in photos/, of rows with one sha256 the newest counts','2026-11-26T02:09:13.019Z',-97.999,38.0004,-97.997,38.0005,4326);
INSERT INTO "gpkg_contents" VALUES('sightings','features','sightings','plants and animals seen, as Darwin Core occurrences','2026-11-26T02:08:38.622Z',-97.999,38.0005,-97.999,38.0005,4326);
INSERT INTO "gpkg_contents" VALUES('cover_frames','features','cover_frames','frames read for plant cover, the plants of each as one JSON list','2026-11-26T02:09:21.248Z',NULL,NULL,NULL,NULL,4326);
INSERT INTO "gpkg_contents" VALUES('habmap_meta','attributes','habmap_meta','identity, schema version and grid centre of the place','2026-11-26T02:08:25.501Z',NULL,NULL,NULL,NULL,NULL);
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL,
  z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
  CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id)
);
INSERT INTO "gpkg_geometry_columns" VALUES('boundary','geom','MULTIPOLYGON',4326,0,0);
INSERT INTO "gpkg_geometry_columns" VALUES('units','geom','MULTIPOLYGON',4326,0,0);
INSERT INTO "gpkg_geometry_columns" VALUES('features','geom','GEOMETRY',4326,0,0);
INSERT INTO "gpkg_geometry_columns" VALUES('entries','geom','MULTIPOLYGON',4326,0,0);
INSERT INTO "gpkg_geometry_columns" VALUES('plots','geom','POINT',4326,0,0);
INSERT INTO "gpkg_geometry_columns" VALUES('drawn_blocks','geom','MULTIPOLYGON',4326,0,0);
INSERT INTO "gpkg_geometry_columns" VALUES('photos','geom','POINT',4326,0,0);
INSERT INTO "gpkg_geometry_columns" VALUES('sightings','geom','POINT',4326,0,0);
INSERT INTO "gpkg_geometry_columns" VALUES('cover_frames','geom','POINT',4326,0,0);
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT
);
INSERT INTO "gpkg_spatial_ref_sys" VALUES('Undefined cartesian SRS',-1,'NONE',-1,'undefined','undefined cartesian coordinate reference system');
INSERT INTO "gpkg_spatial_ref_sys" VALUES('Undefined geographic SRS',0,'NONE',0,'undefined','undefined geographic coordinate reference system');
INSERT INTO "gpkg_spatial_ref_sys" VALUES('WGS 84 geodetic',4326,'EPSG',4326,'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],AUTHORITY["EPSG","4326"]]','longitude and latitude in degrees on the WGS 84 spheroid');
CREATE TABLE habmap_meta (
  id INTEGER PRIMARY KEY CHECK (id = 1), place_id TEXT NOT NULL, schema_version INTEGER NOT NULL,
  grid_lat REAL, grid_lon REAL
);
INSERT INTO "habmap_meta" VALUES(1,'30ab33c4-aa89-470c-bce3-68fc9b385882',1,38.0005,-9.79979999999999904468e+01);
CREATE TABLE photos (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom POINT, uuid TEXT NOT NULL UNIQUE, file_name TEXT NOT NULL, sha256 TEXT NOT NULL, picture TEXT NOT NULL, taken_at TEXT NOT NULL, taken_on DATE NOT NULL, direction_deg REAL, direction_ref TEXT, error_m REAL, unit_id TEXT, is_private BOOLEAN NOT NULL, recorded_at TEXT NOT NULL);
INSERT INTO "photos" VALUES(1,X'47500003E61000000E2DB29DEF7F58C00E2DB29DEF7F58C0F2D24D6210004340F2D24D621000434001010000000E2DB29DEF7F58C0F2D24D6210004340','5506ba67-6de8-5073-9165-216aa5364721','one.jpg','65f96134672efb78d6a17a3213446a028c6c33b59c445971c76d9213c78db0dd','65f96134672efb78d6a17a3213446a02.jpg','2025-03-01T16:00:00.000000Z','2025-03-01',90.0,'T',NULL,'A',0,'2026-11-26T02:09:11.347101Z');
INSERT INTO "photos" VALUES(2,X'47500003E61000002B8716D9CE7F58C02B8716D9CE7F58C08E75711B0D0043408E75711B0D00434001010000002B8716D9CE7F58C08E75711B0D004340','af97eb88-92bf-54c4-aa85-66b068dde97f','two.jpg','64e52b1bd2b0aee9ca9f8851fe196d12d14af285785f154ea21c544d670adab3','64e52b1bd2b0aee9ca9f8851fe196d12.jpg','2025-06-01T15:00:00.000000Z','2025-06-01',10.0,'T',NULL,'B',0,'2026-11-26T02:09:11.347101Z');
INSERT INTO "photos" VALUES(3,X'47500003E61000002B8716D9CE7F58C02B8716D9CE7F58C08E75711B0D0043408E75711B0D00434001010000002B8716D9CE7F58C08E75711B0D004340','9161d6da-c9ff-4d9c-af19-fa66880d88c0','two.jpg','64e52b1bd2b0aee9ca9f8851fe196d12d14af285785f154ea21c544d670adab3','64e52b1bd2b0aee9ca9f8851fe196d12.jpg','2025-06-01T15:00:00.000000Z','2025-06-01',10.0,'T',NULL,'B',1,'2026-11-26T02:09:13.019134Z');
CREATE TABLE plots (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom POINT, uuid TEXT NOT NULL UNIQUE, plot_id TEXT NOT NULL, method TEXT NOT NULL, unit_id TEXT, plot_acres REAL, stems INTEGER, distances_m TEXT NOT NULL, line_ft REAL, intercepts_ft TEXT NOT NULL, crown_ft REAL, height_ft REAL, stratum TEXT, measured_on DATE, recorded_at TEXT NOT NULL);
INSERT INTO "plots" VALUES(1,NULL,'60bf6932-b676-510e-8d28-4e85c5172089','p1','fixed','B',0.1,30,'[]',NULL,'[]',NULL,NULL,NULL,'2024-09-01','2026-11-26T02:08:37.187651Z');
CREATE TABLE sightings (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom POINT, uuid TEXT NOT NULL UNIQUE, occurrence_id TEXT, event_date TEXT NOT NULL, seen_from DATE NOT NULL, seen_to DATE NOT NULL, scientific_name TEXT NOT NULL, vernacular_name TEXT, individual_count INTEGER, is_present BOOLEAN NOT NULL, establishment_means TEXT, uncertainty_m REAL, recorded_by TEXT, remarks TEXT, recorded_at TEXT NOT NULL);
INSERT INTO "sightings" VALUES(1,X'47500003E61000000E2DB29DEF7F58C00E2DB29DEF7F58C0F2D24D6210004340F2D24D621000434001010000000E2DB29DEF7F58C0F2D24D6210004340','a540eccc-699a-5a3c-bec4-fd809c0c1fa2',NULL,'2025-05-01','2025-05-01','2025-05-01','Asclepias viridis','green milkweed',3,1,NULL,NULL,NULL,NULL,'2026-11-26T02:08:38.622181Z');
CREATE TABLE units (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom MULTIPOLYGON, uuid TEXT NOT NULL UNIQUE, unit_id TEXT NOT NULL, name TEXT NOT NULL, cover TEXT NOT NULL, stems_per_acre REAL, canopy_pct REAL, target_pct REAL, leave_stems_per_acre REAL, planned_acres REAL, stratum TEXT, notes TEXT, acres_sd REAL, extra TEXT NOT NULL, valid_from DATE, valid_to DATE, replaces TEXT NOT NULL, recorded_at TEXT NOT NULL);
INSERT INTO "units" VALUES(1,X'47500003E610000000000000008058C01D5A643BDF7F58C00000000000004340E3A59BC4200043400106000000010000000103000000010000000500000000000000008058C000000000000043401D5A643BDF7F58C000000000000043401D5A643BDF7F58C0E3A59BC42000434000000000008058C0E3A59BC42000434000000000008058C00000000000004340','4d110e1d-73e5-4cff-bcfa-ea443f2d603e','A','Ann''s stand','cedar',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{}',NULL,NULL,'[]','2026-11-26T02:08:26.523732Z');
INSERT INTO "units" VALUES(2,X'47500003E61000001D5A643BDF7F58C039B4C876BE7F58C00000000000004340E3A59BC420004340010600000001000000010300000001000000050000001D5A643BDF7F58C0000000000000434039B4C876BE7F58C0000000000000434039B4C876BE7F58C0E3A59BC4200043401D5A643BDF7F58C0E3A59BC4200043401D5A643BDF7F58C00000000000004340','be762402-9fb4-4873-957f-cebb0cdf4fae','B','Back','cedar',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{}',NULL,'2025-09-01','[]','2026-11-26T02:08:26.523732Z');
INSERT INTO "units" VALUES(3,X'47500003E61000001D5A643BDF7F58C039B4C876BE7F58C00000000000004340AA60545227004340010600000001000000010300000001000000050000001D5A643BDF7F58C0000000000000434039B4C876BE7F58C0000000000000434039B4C876BE7F58C0AA605452270043401D5A643BDF7F58C0AA605452270043401D5A643BDF7F58C00000000000004340','a76ddddb-050b-45d4-8262-0e2824723f8b','B','Back','mixed',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'{}','2025-09-01',NULL,'["be762402-9fb4-4873-957f-cebb0cdf4fae"]','2026-11-26T02:09:09.369124Z');
CREATE TRIGGER habmap_meta_grid_is_fixed BEFORE UPDATE ON habmap_meta
WHEN OLD.place_id IS NOT NEW.place_id
  OR (OLD.grid_lat IS NOT NULL AND (OLD.grid_lat IS NOT NEW.grid_lat OR OLD.grid_lon IS NOT NEW.grid_lon))
BEGIN SELECT RAISE(ABORT, 'the grid and the place id never change'); END;
CREATE TRIGGER boundary_no_update BEFORE UPDATE OF fid, geom, uuid, recorded_at ON boundary BEGIN SELECT RAISE(ABORT, 'boundary: rows are never changed or deleted'); END;
CREATE TRIGGER boundary_no_delete BEFORE DELETE ON boundary BEGIN SELECT RAISE(ABORT, 'boundary: rows are never changed or deleted'); END;
CREATE TRIGGER boundary_no_replace BEFORE INSERT ON boundary WHEN EXISTS (SELECT 1 FROM boundary WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER units_no_update BEFORE UPDATE OF fid, geom, uuid, unit_id, name, cover, stems_per_acre, canopy_pct, target_pct, leave_stems_per_acre, planned_acres, stratum, notes, acres_sd, extra, valid_from, replaces, recorded_at ON units BEGIN SELECT RAISE(ABORT, 'units: rows are never changed or deleted'); END;
CREATE TRIGGER units_no_delete BEFORE DELETE ON units BEGIN SELECT RAISE(ABORT, 'units: rows are never changed or deleted'); END;
CREATE TRIGGER units_no_replace BEFORE INSERT ON units WHEN EXISTS (SELECT 1 FROM units WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER features_no_update BEFORE UPDATE OF fid, geom, uuid, kind, name, sensitive, extra, recorded_at ON features BEGIN SELECT RAISE(ABORT, 'features: rows are never changed or deleted'); END;
CREATE TRIGGER features_no_delete BEFORE DELETE ON features BEGIN SELECT RAISE(ABORT, 'features: rows are never changed or deleted'); END;
CREATE TRIGGER features_no_replace BEFORE INSERT ON features WHEN EXISTS (SELECT 1 FROM features WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER entries_no_update BEFORE UPDATE OF fid, geom, entry_id, recorded_at, action, target, why, practice, date, unit_ids, killed_pct, burned_pct, person_hours, cost, reported_acres, acres_sd, who, note, product, product_rate, look, source_id ON entries BEGIN SELECT RAISE(ABORT, 'entries: rows are never changed or deleted'); END;
CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'entries: rows are never changed or deleted'); END;
CREATE TRIGGER entries_no_replace BEFORE INSERT ON entries WHEN EXISTS (SELECT 1 FROM entries WHERE entry_id = NEW.entry_id OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER plots_no_update BEFORE UPDATE OF fid, geom, uuid, plot_id, method, unit_id, plot_acres, stems, distances_m, line_ft, intercepts_ft, crown_ft, height_ft, stratum, measured_on, recorded_at ON plots BEGIN SELECT RAISE(ABORT, 'plots: rows are never changed or deleted'); END;
CREATE TRIGGER plots_no_delete BEFORE DELETE ON plots BEGIN SELECT RAISE(ABORT, 'plots: rows are never changed or deleted'); END;
CREATE TRIGGER plots_no_replace BEFORE INSERT ON plots WHEN EXISTS (SELECT 1 FROM plots WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER elevation_no_update BEFORE UPDATE OF fid, uuid, path, crs_wkt, vertical_unit, recorded_at ON elevation BEGIN SELECT RAISE(ABORT, 'elevation: rows are never changed or deleted'); END;
CREATE TRIGGER elevation_no_delete BEFORE DELETE ON elevation BEGIN SELECT RAISE(ABORT, 'elevation: rows are never changed or deleted'); END;
CREATE TRIGGER elevation_no_replace BEFORE INSERT ON elevation WHEN EXISTS (SELECT 1 FROM elevation WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER canopy_no_update BEFORE UPDATE OF fid, uuid, path, crs_wkt, vertical_unit, recorded_at ON canopy BEGIN SELECT RAISE(ABORT, 'canopy: rows are never changed or deleted'); END;
CREATE TRIGGER canopy_no_delete BEFORE DELETE ON canopy BEGIN SELECT RAISE(ABORT, 'canopy: rows are never changed or deleted'); END;
CREATE TRIGGER canopy_no_replace BEFORE INSERT ON canopy WHEN EXISTS (SELECT 1 FROM canopy WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER burns_no_update BEFORE UPDATE OF fid, uuid, entry_id, ignition, temp_f, rh_pct, wind_mph, wind_from_deg, gust_mph, shade_pct, days_since_rain, mixing_height_ft, transport_wind_mph, weather_elevation_ft, wind_height, plan_kind, plans, notices, recorded_at ON burns BEGIN SELECT RAISE(ABORT, 'burns: rows are never changed or deleted'); END;
CREATE TRIGGER burns_no_delete BEFORE DELETE ON burns BEGIN SELECT RAISE(ABORT, 'burns: rows are never changed or deleted'); END;
CREATE TRIGGER burns_no_replace BEFORE INSERT ON burns WHEN EXISTS (SELECT 1 FROM burns WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER drawn_blocks_no_update BEFORE UPDATE OF fid, geom, uuid, name, recorded_at ON drawn_blocks BEGIN SELECT RAISE(ABORT, 'drawn_blocks: rows are never changed or deleted'); END;
CREATE TRIGGER drawn_blocks_no_delete BEFORE DELETE ON drawn_blocks BEGIN SELECT RAISE(ABORT, 'drawn_blocks: rows are never changed or deleted'); END;
CREATE TRIGGER drawn_blocks_no_replace BEFORE INSERT ON drawn_blocks WHEN EXISTS (SELECT 1 FROM drawn_blocks WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER forecast_no_update BEFORE UPDATE OF fid, uuid, file_name, wind_height, hours, recorded_at ON forecast BEGIN SELECT RAISE(ABORT, 'forecast: rows are never changed or deleted'); END;
CREATE TRIGGER forecast_no_delete BEFORE DELETE ON forecast BEGIN SELECT RAISE(ABORT, 'forecast: rows are never changed or deleted'); END;
CREATE TRIGGER forecast_no_replace BEFORE INSERT ON forecast WHEN EXISTS (SELECT 1 FROM forecast WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER photos_no_update BEFORE UPDATE OF fid, geom, uuid, file_name, sha256, picture, taken_at, taken_on, direction_deg, direction_ref, error_m, unit_id, is_private, recorded_at ON photos BEGIN SELECT RAISE(ABORT, 'photos: rows are never changed or deleted'); END;
CREATE TRIGGER photos_no_delete BEFORE DELETE ON photos BEGIN SELECT RAISE(ABORT, 'photos: rows are never changed or deleted'); END;
CREATE TRIGGER photos_no_replace BEFORE INSERT ON photos WHEN EXISTS (SELECT 1 FROM photos WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER sightings_no_update BEFORE UPDATE OF fid, geom, uuid, occurrence_id, event_date, seen_from, seen_to, scientific_name, vernacular_name, individual_count, is_present, establishment_means, uncertainty_m, recorded_by, remarks, recorded_at ON sightings BEGIN SELECT RAISE(ABORT, 'sightings: rows are never changed or deleted'); END;
CREATE TRIGGER sightings_no_delete BEFORE DELETE ON sightings BEGIN SELECT RAISE(ABORT, 'sightings: rows are never changed or deleted'); END;
CREATE TRIGGER sightings_no_replace BEFORE INSERT ON sightings WHEN EXISTS (SELECT 1 FROM sightings WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE TRIGGER cover_frames_no_update BEFORE UPDATE OF fid, geom, uuid, reading_id, frame, unit_id, read_on, canopy_pct, lines, recorded_at ON cover_frames BEGIN SELECT RAISE(ABORT, 'cover_frames: rows are never changed or deleted'); END;
CREATE TRIGGER cover_frames_no_delete BEFORE DELETE ON cover_frames BEGIN SELECT RAISE(ABORT, 'cover_frames: rows are never changed or deleted'); END;
CREATE TRIGGER cover_frames_no_replace BEFORE INSERT ON cover_frames WHEN EXISTS (SELECT 1 FROM cover_frames WHERE uuid = NEW.uuid OR fid = NEW.fid) BEGIN SELECT RAISE(ABORT, 'a row with this id is already there'); END;
CREATE INDEX entries_by_date ON entries (date);
CREATE INDEX entries_by_target ON entries (target);
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('units',3);
INSERT INTO "sqlite_sequence" VALUES('boundary',1);
INSERT INTO "sqlite_sequence" VALUES('features',1);
INSERT INTO "sqlite_sequence" VALUES('entries',9);
INSERT INTO "sqlite_sequence" VALUES('plots',1);
INSERT INTO "sqlite_sequence" VALUES('sightings',1);
INSERT INTO "sqlite_sequence" VALUES('forecast',1);
INSERT INTO "sqlite_sequence" VALUES('burns',1);
INSERT INTO "sqlite_sequence" VALUES('drawn_blocks',2);
INSERT INTO "sqlite_sequence" VALUES('photos',3);
INSERT INTO "sqlite_sequence" VALUES('cover_frames',1);
INSERT INTO "sqlite_sequence" VALUES('elevation',1);
COMMIT;
